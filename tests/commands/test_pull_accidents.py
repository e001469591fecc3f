"""Wrong coupon pulled: which coupon can take the place, by what is counted, and what follows; counted by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from study.commands.decide import check_decisions, issue_decision, stand_of
from study.commands.opening import open_study
from study.commands.pull import due_pulls, pull_effect, record_pulls, undo_pull
from study.commands.pull_accidents import (
    CAN_BE_SPARED,
    CHANGES_PLACES,
    SPARE,
    foresee_replan,
    replan,
    replan_options,
    undo_replan,
)
from study.commands.read import record_reading
from study.commands.register import register_one
from study.commands.shelf import remarks
from study.commands.today_calendar import calendar_events
from study.errors import NotPossible, Unknown
from study.model.person import Signature
from study.store.coupons import fetch_coupons, fetch_histories
from study.store.protocols import fetch_protocols
from study.store.study_file import StudyFile

THREE, TWELVE = date(2025, 4, 15), date(2026, 1, 15)
"""Days on which the small study's two pulls are due."""


def codes(study: StudyFile, *, pull: str, test: str = "pull-off-dot", set_key: str = "sheet") -> list[str]:
    """Coupons of one set made for a test and pull."""
    return [
        c.code
        for c in fetch_coupons(study).values()
        if (c.set_key, c.test, c.pull_label) == (set_key, test, pull)
    ]  # fmt: skip


def more(study: StudyFile, signature: Signature, **cells: str) -> None:
    """Further coupons of the sheet set."""
    entry = {"set": "sheet", "test": "pull-off-dot", "pull": "", "count": "1", **cells}
    register_one(study, "coupons", {name: cell for name, cell in entry.items() if cell}, signature=signature)


@pytest.fixture
def early(signature: Signature) -> Signature:
    """A signature within the window of the first pull."""
    return replace(signature, at=datetime(2025, 4, 16, 9, 0, tzinfo=UTC))


def test_a_time_zero_coupon_is_no_spare(study: StudyFile, early: Signature) -> None:
    """It is read on the day of placing; it neither stands on the list of options nor takes a place by name."""
    cells = {"set": "zero", "lot": "A-1", "substrate": "sheet", "environment": "store", "protocol": "display-dots",
             "placed_on": "2025-01-15", "role": "time-zero", "dot_diameter_mm": "8", "dots": "3",
             "dwell_load_n": "2"}  # fmt: skip
    register_one(study, "sets", cells, signature=early)
    more(study, early, set="zero")
    (zero,) = codes(study, pull="", set_key="zero")
    lost = codes(study, pull="12 months")[0]
    record_pulls(study, [lost], kind="lost", on=THREE, signature=early)
    assert zero not in [option.code for option in replan_options(study, lost, on=THREE).options]
    with pytest.raises(NotPossible, match="is a time-zero coupon"):
        foresee_replan(study, lost, zero, on=THREE)


def test_a_wrong_coupon_changes_places_with_the_one_it_stood_for(study: StudyFile, early: Signature) -> None:
    """A 12-month coupon came off at 3 months: one of the 3 still waiting there can wait on in its stead; 3 and 3."""
    wrong, waits = codes(study, pull="12 months")[0], codes(study, pull="3 months")
    record_pulls(study, [wrong], kind="pulled in error", on=THREE, signature=early)
    found = replan_options(study, wrong, on=THREE)
    assert (found.pull, found.test) == ("12 months", "pull-off-dot")
    assert found.why == "pulled in error on 2025-04-15, read at 3 months"
    assert [option.code for option in found.options] == waits
    first = found.options[0]
    assert first.kind == CHANGES_PLACES
    assert (first.gains, first.loses, first.minimum) == ((2, 3), (4, 3), 3)
    assert first.due_on == TWELVE
    coupon, _ = replan(study, wrong, waits[0], signature=early)
    assert (coupon.test, coupon.pull_label) == ("pull-off-dot", "12 months")
    assert fetch_coupons(study)[waits[0]].pull_label == "12 months"


def test_spares_come_first_and_other_sets_after(study: StudyFile, early: Signature) -> None:
    """A spare of the same set before a spare of another placement, both before the exchange of places."""
    more(study, early)
    register_one(
        study, "sets",
        {"set": "late", "substrate": "sheet", "lot": "A-1", "environment": "store", "protocol": "display-dots",
         "placed_on": "2025-03-01", "role": "spare", "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2"},
        signature=early,
    )  # fmt: skip
    register_one(study, "coupons", {"set": "late", "test": "hold-angle", "count": "1"}, signature=early)
    wrong = codes(study, pull="12 months")[0]
    record_pulls(study, [wrong], kind="pulled in error", on=THREE, signature=early)
    found = replan_options(study, wrong, on=THREE)
    assert [o.kind for o in found.options] == [SPARE, SPARE, CHANGES_PLACES, CHANGES_PLACES, CHANGES_PLACES]
    assert [o.set_key for o in found.options[:2]] == ["sheet", "late"]
    assert found.options[0].loses == (0, 0)
    assert [option.gains for option in found.options] == [(2, 3), (0, 1), (2, 3), (2, 3), (2, 3)]
    assert found.options[1].due_on == date(2026, 3, 1)
    assert (
        "of what was placed on 2025-03-01 then has 1 pull-off-dot coupons instead of 0"
        in (found.options[1].sentences[0])
    )


def test_a_decision_pull_is_never_taken_below_the_minimum(study: StudyFile, early: Signature) -> None:
    """At 12 months a decision is planned: with 3 coupons none can be spared, with 4 one can; a fifth test is free."""
    lost = codes(study, pull="3 months")[0]
    record_pulls(study, [lost], kind="lost", on=THREE, signature=early)
    assert replan_options(study, lost, on=THREE).options == ()
    twelve = codes(study, pull="12 months")
    with pytest.raises(NotPossible, match="would have 2 pull-off-dot coupons, below 3"):
        replan(study, lost, twelve[0], signature=early)
    more(study, early, pull="12 months")
    found = replan_options(study, lost, on=THREE)
    assert {option.kind for option in found.options} == {CAN_BE_SPARED}
    assert len(found.options) == 4
    assert (found.options[0].gains, found.options[0].loses) == ((2, 3), (4, 3))
    replan(study, lost, twelve[0], signature=early)
    assert [o.code for o in replan_options(study, lost, on=THREE).options] == []
    assert replan_options(study, lost, on=THREE).already == twelve[0]


def test_pulls_with_most_to_spare_are_offered_first(study: StudyFile, early: Signature) -> None:
    """18 months, no decision pull, with 5 coupons comes before 12 months with 4; below the minimum is said."""
    more(study, early, pull="12 months")
    more(study, early, pull="18 months", count="5")
    more(study, early, pull="6 months", count="2")
    lost = codes(study, pull="3 months")[0]
    record_pulls(study, [lost], kind="damaged", on=THREE, signature=early)
    options = replan_options(study, lost, on=THREE).options
    assert [option.pull for option in options] == ["18 months"] * 5 + ["12 months"] * 4 + ["6 months"] * 2
    assert "1 pull-off-dot coupons instead of 2, below the 3" in options[-1].sentences[1]
    assert options[0].loses == (5, 4)


def test_what_is_refused(study: StudyFile, early: Signature) -> None:
    """Nothing missing, too late, pulled, of another pairing, twice, without a reason: each is said."""
    three, twelve = codes(study, pull="3 months"), codes(study, pull="12 months")
    more(study, early)
    (spare,) = codes(study, pull="")
    with pytest.raises(NotPossible, match="still waits"):
        replan_options(study, three[0], on=THREE)
    record_pulls(study, three[:1], kind="pulled", on=THREE, signature=early)
    with pytest.raises(NotPossible, match="came off at its own pull"):
        replan_options(study, three[0], on=THREE)
    with pytest.raises(NotPossible, match="belongs to no pull"):
        replan_options(study, spare, on=THREE)
    record_pulls(study, [three[1], twelve[0]], kind="lost", on=THREE, signature=early)
    with pytest.raises(NotPossible, match=f"{twelve[0]} is off the shelf: lost"):
        replan(study, three[1], twelve[0], signature=early)
    with pytest.raises(NotPossible, match="not of the same pairing"):
        replan(study, three[1], codes(study, pull="3 months", set_key="tile")[0], signature=early)
    with pytest.raises(NotPossible, match="destined to that pull already"):
        replan(study, three[1], three[2], signature=early)
    with pytest.raises(NotPossible, match="needs a reason"):
        replan(study, three[1], spare, signature=early.because(" "))
    with pytest.raises(Unknown):
        replan(study, three[1], "AAAA-A", signature=early)
    later = replace(early, at=datetime(2025, 6, 1, 9, 0, tzinfo=UTC))
    with pytest.raises(NotPossible, match="its window closed on 2025-04-22"):
        replan(study, three[1], spare, signature=later)
    none = replan_options(study, three[1], on=date(2025, 6, 1))
    assert none.options == ()
    assert "no coupon can be read at that age any more" in none.none
    replan(study, three[1], spare, signature=early)
    with pytest.raises(NotPossible, match=f"{spare} took the place"):
        replan(study, three[1], codes(study, pull="12 months")[1], signature=early)


def test_due_lists_calendar_and_remarks_follow_and_go_back(study: StudyFile, early: Signature) -> None:
    """A spare joins the 3 months pull, is on its list and in the calendar, and leaves both when it is taken back."""
    more(study, early)
    (spare,) = codes(study, pull="")
    three = codes(study, pull="3 months")
    record_pulls(study, three[:1], kind="lost", on=date(2025, 3, 1), signature=early)
    before = {e.uid: e for e in calendar_events(study, on=THREE)}
    replan(study, three[0], spare, signature=early)
    (listed,) = [p for p in due_pulls(study, on=THREE) if p.set_key == "sheet"]
    assert spare in listed.codes
    after = {e.uid: e for e in calendar_events(study, on=THREE)}
    moved = [uid for uid in before if after[uid] != before[uid]]
    assert len(moved) == 1
    assert after[moved[0]].sequence > before[moved[0]].sequence
    assert any(f"{spare} took the place of {three[0]}" in told for told in remarks(study, "P01"))
    with pytest.raises(NotPossible, match="needs a reason"):
        undo_replan(study, spare, signature=early.because(""))
    said = pull_effect(study, three[0], "back in place", on=THREE).sentences[-1]
    assert said.startswith(f"{spare} has taken its place at 3 months meanwhile")
    back = undo_replan(study, spare, signature=early)
    assert "meanwhile" not in pull_effect(study, three[0], "back in place", on=THREE).sentences[-1]
    assert back.missing == three[0]
    assert fetch_coupons(study)[spare].pull_label == ""
    with pytest.raises(NotPossible, match="has not been replanned"):
        undo_replan(study, spare, signature=early)
    replan(study, three[0], spare, signature=early)
    record_pulls(study, [spare], kind="pulled", on=THREE, signature=early)
    with pytest.raises(NotPossible, match="has been pulled since"):
        undo_replan(study, spare, signature=early)
    undo_pull(study, spare, signature=early)
    undo_replan(study, spare, signature=early)


def test_histories_keep_real_ages_as_known_then(study: StudyFile, early: Signature, signature: Signature) -> None:
    """The wrong coupon counts at 90 d; the one in its stead at its own real age, destined to 12 months since then."""
    wrong, waits = codes(study, pull="12 months")[0], codes(study, pull="3 months")[0]
    record_pulls(study, [wrong], kind="pulled in error", on=THREE, signature=early)
    record_pulls(study, [waits], kind="pulled", on=date(2026, 1, 16), signature=signature)
    known = study.last_change()
    undo_pull(study, waits, signature=signature)
    replan(study, wrong, waits, signature=early)
    record_pulls(study, [waits], kind="pulled", on=date(2026, 1, 20), signature=signature)
    protocols = fetch_protocols(study)
    (now,) = fetch_histories(study, protocols).values()
    found = {history.code: history for history in now}
    assert (found[wrong].dwell_days, found[wrong].pull_group, found[wrong].planned_group) == (
        90,
        "3 months",
        "12 months",
    )
    assert (found[waits].dwell_days, found[waits].planned_group) == (370, "12 months")
    (then,) = fetch_histories(study, protocols, change=known).values()
    assert {h.code: (h.dwell_days, h.planned_group) for h in then}[waits] == (366, "3 months")


def test_an_earlier_decision_still_recomputes(demo_path: Path, signature: Signature) -> None:
    """A spare in a lost coupon's place counts at its real age; the decision issued before recomputes as it was."""
    with open_study(demo_path) as study:
        assert stand_of(study, "P01").decision is not None
        day = signature.at.date()
        cells = {"set": "GA-ACR", "test": "pull-off-dot", "pull": "36 months", "count": "1"}
        register_one(study, "coupons", cells, signature=signature)
        lost = list(fetch_coupons(study))[-1]
        record_pulls(study, [lost], kind="lost", on=day, signature=signature)
        best = replan_options(study, lost, on=day).options[0]
        assert (best.kind, best.set_key) == (SPARE, "GA-ACR-SP")
        # Five of the set itself were read at 36 months; the spare is a sixth, though its set has none of its own there.
        assert best.gains == (5, 6)
        replan(study, lost, best.code, signature=signature)
        record_pulls(study, [best.code], kind="pulled", on=day, signature=signature)
        typed = {"removal_force": "5.1", "force_unit": "N", "residue_grade": "1"}
        record_reading(study, best.code, typed, read_on=day, signature=signature)
        (now,) = [h for h in stand_of(study, "P01").analysed.evidence.histories if h.code == best.code]
        assert now.dwell_days == (day - date(2023, 3, 6)).days == 1092
        assert (now.planned_group, now.pull_group) == ("36 months", "36 months")
        (check,) = check_decisions(study, key="P01")
        assert check.same
        assert check.overtaken
        issue_decision(study, "P01", signature=signature, on=day)
        assert all(one.same for one in check_decisions(study))
