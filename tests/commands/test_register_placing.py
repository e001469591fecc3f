"""A wrong day of placing: corrected with a reason, foreseen first, kept on record, and decisions recompute."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from study.commands.decide import check_decisions, stand_of
from study.commands.opening import open_study
from study.commands.pull import due_pulls, record_pulls
from study.commands.read import record_reading
from study.commands.read_history import coupon_history
from study.commands.register import add_note
from study.commands.register_amend import amend_protocol
from study.commands.register_placing import correct_placing, foresee_placing, placing_moves
from study.commands.shelf import remarks
from study.errors import NotPossible, Unknown
from study.intake.protocol_file import known_protocols
from study.model.person import Signature
from study.store.chain import broken_links
from study.store.coupons import fetch_coupons
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile
from study.store.touched import fetch_touched_pulls

REGISTERED = date(2025, 1, 15)
DUE = date(2025, 4, 15)


@pytest.fixture
def pulled(study: StudyFile, signature: Signature) -> list[str]:
    """The set “sheet” with its pull of three months pulled on its day, the first coupon read."""
    codes = list(due_pulls(study, on=DUE)[0].codes)
    assert {fetch_coupons(study)[code].set_key for code in codes} == {"sheet"}
    record_pulls(study, codes, kind="pulled", on=DUE, signature=signature)
    force = next(code for code in codes if fetch_coupons(study)[code].test == "pull-off-dot")
    record_reading(study, force, {"removal_force": "5.1 N"}, read_on=DUE, signature=signature)
    return codes


def test_what_it_does_is_said_first(study: StudyFile, pulled: list[str], signature: Signature) -> None:
    """A year earlier: dwell, the pull they count for, what still waits, readings seen; and nothing is written."""
    before = study.last_change()
    (found,) = foresee_placing(study, ["sheet"], date(2024, 1, 15), signature=signature)
    assert study.last_change() == before
    assert found.sentences() == [
        "sheet: placed on 2024-01-15 instead of 2025-01-15, every dwell is 366 days longer.",
        f"{len(pulled)} coupons have left it already and count at that dwell, with every reading of theirs.",
        f"{len(pulled)} of them count for their own age (outside every window) instead of 3 months.",
        "sheet, 12 months: due 2025-01-15 instead of 2026-01-15.",
        "Labels and sheets printed before show the days until now: print them again.",
        "1 reading has been entered already: the correction stands beside every estimate for good.",
    ]


def test_it_is_corrected_and_stays_on_record(study: StudyFile, pulled: list[str], signature: Signature) -> None:
    """Every place that counts days follows; the first day stays in the history and beside the estimate."""
    correct_placing(study, ["sheet", "tile"], date(2025, 1, 10), signature=signature)
    assert {one.placed_on for one in fetch_sets(study).values()} == {date(2025, 1, 10)}
    waiting = {pull.set_key: pull.due_on for pull in due_pulls(study, on=date(2025, 4, 9))}
    assert waiting["tile"] == date(2025, 4, 10)
    rows = study.rows("SELECT placed_on, dwell_days FROM coupons_now WHERE code = :code", code=pulled[0])
    assert rows == [{"placed_on": "2025-01-10", "dwell_days": 95}]
    told = [(one.what, one.old, one.new) for one in coupon_history(study, pulled[0])]
    assert ("placing corrected", "placed on 2025-01-15", "placed on 2025-01-10") in told
    pairing = fetch_sets(study)["sheet"].pairing
    assert [h.dwell_days for h in stand_of(study, pairing).analysed.evidence.histories] == [95] * len(pulled)
    assert any(
        words.startswith(
            "sheet was placed on 2025-01-10 instead of 2025-01-15, corrected after 1 reading had been seen"
        )
        for words in remarks(study, pairing)
    )
    assert list(broken_links(study.db.conn)) == []


def test_the_second_correction_holds(study: StudyFile, signature: Signature) -> None:
    """The newest day is in force; back to the first one is a correction too."""
    for day in (date(2025, 1, 10), date(2025, 1, 12), REGISTERED):
        correct_placing(study, ["sheet"], day, signature=signature)
        assert fetch_sets(study)["sheet"].placed_on == day
    assert fetch_sets(study, change=0)["sheet"].placed_on == REGISTERED
    assert len(study.rows("SELECT * FROM placings WHERE superseded_change IS NULL")) == 1


def test_what_somebody_else_corrected_meanwhile_is_not_passed_over(study: StudyFile, signature: Signature) -> None:
    """A correction rests on the day that was looked at; with another on record nothing is written."""
    correct_placing(study, ["sheet"], date(2025, 1, 10), signature=replace(signature, by="M. Quill"))
    before = study.last_change()
    shown = {"sheet": REGISTERED, "tile": REGISTERED}
    with pytest.raises(
        NotPossible, match="Quill corrected this day meanwhile: sheet is on record as placed on 2025-01-10"
    ):
        correct_placing(study, ["tile", "sheet"], date(2025, 1, 12), seen=shown, signature=signature)
    assert study.last_change() == before
    shown["sheet"] = date(2025, 1, 10)
    correct_placing(study, ["tile", "sheet"], date(2025, 1, 12), seen=shown, signature=signature)
    assert {one.placed_on for one in fetch_sets(study).values()} == {date(2025, 1, 12)}


def test_a_corrected_blank_is_told_beside_what_its_drift_is_taken_off(demo_path: Path, signature: Signature) -> None:
    """Blanks belong to no pairing, but their drift moves durations: of the same surface and place, and of no other."""
    with open_study(demo_path) as study:
        earlier = fetch_sets(study)["BL-polished-oak"].placed_on - timedelta(days=20)
        moved = [one.key for one in placing_moves(study, ["BL-polished-oak"], earlier, signature=signature)]
        correct_placing(study, ["BL-polished-oak"], earlier, signature=signature)
        told = {
            key
            for key in fetch_pairings(study)
            if any(words.startswith("BL-polished-oak was placed on") for words in remarks(study, key))
        }
    assert "P06" in moved
    assert set(moved) <= told
    assert "P01" not in told


@pytest.mark.parametrize(
    ("keys", "day", "words"),
    [
        (["sheet"], date(2025, 4, 16), "is on record as pulled on 2025-04-15, before 2025-04-16"),
        (["sheet"], date(2031, 1, 1), "2031-01-01 lies ahead"),
        (["sheet"], REGISTERED, "as placed on 2025-01-15 already"),
        ([], date(2025, 1, 10), "No set is named"),
    ],
)
def test_what_cannot_be_is_refused(
    study: StudyFile, pulled: list[str], signature: Signature, keys: list[str], day: date, words: str
) -> None:
    """After a pull, ahead, unchanged, or of nothing: nothing is written."""
    before = study.last_change()
    with pytest.raises(NotPossible, match=words):
        correct_placing(study, keys, day, signature=signature)
    assert study.last_change() == before


def test_time_zero_stays_time_zero(demo_path: Path, signature: Signature) -> None:
    """Coupons read on the day of placing cannot have dwelt a year; without their set the correction stands."""
    with open_study(demo_path) as study:
        with pytest.raises(NotPossible, match="GA-GLZ-T0 was read as time zero on 2023-03-06, more than 1 day"):
            correct_placing(study, ["GA-GLZ", "GA-GLZ-T0"], date(2022, 3, 6), signature=signature)
        (found,) = foresee_placing(study, ["GA-GLZ"], date(2022, 3, 6), signature=signature)
    assert found.regrouped == (
        ("12 months", ("1 week",), 10), ("18 months", ("6 months",), 10), ("24 months", ("12 months",), 10),
        ("36 months", ("24 months",), 10),
        ("their own age (outside every window)", ("1 month", "3 months", "18 months", "36 months"), 40),
    )  # fmt: skip


@pytest.mark.parametrize("sql", ["UPDATE placings SET placed_on = '2025-01-11'", "DELETE FROM placings"])
def test_a_correction_is_kept_for_good(study: StudyFile, signature: Signature, sql: str) -> None:
    """It is superseded by another, never altered, not even with SQL."""
    correct_placing(study, ["sheet"], date(2025, 1, 10), signature=signature)
    with pytest.raises(sqlite3.IntegrityError, match="superseded, never"):
        study.db.execute(sql)


def test_a_coupon_was_placed_before_it_was_seen_holding(study: StudyFile, signature: Signature) -> None:
    """What released by itself was still there on the day it was last seen."""
    code = due_pulls(study, on=DUE)[0].codes[0]
    record_pulls(study, [code], kind="released by itself", on=DUE, last_seen="2025-02-01", signature=signature)
    with pytest.raises(NotPossible, match=f"{code} was seen holding on 2025-02-01, before 2025-02-02"):
        correct_placing(study, ["sheet"], date(2025, 2, 2), signature=signature)


def test_what_happened_in_the_days_between_is_its_history(study: StudyFile, signature: Signature) -> None:
    """A note on its room belongs to a coupon from the day it was placed; a calendar shows its pulls anew."""
    add_note(study, about="environment", subject="store", text="Damp.", on=date(2025, 1, 12), signature=signature)
    code = next(iter(fetch_coupons(study)))
    assert not any(one.what == "note" for one in coupon_history(study, code))
    before = fetch_touched_pulls(study)["sheet", "3 months"].later_changes
    correct_placing(study, ["sheet"], date(2025, 1, 10), signature=signature)
    assert any(one.what == "note" for one in coupon_history(study, code))
    assert fetch_touched_pulls(study)["sheet", "3 months"].later_changes == before + 1
    assert fetch_touched_pulls(study)["tile", "3 months"].later_changes == before


def test_a_set_that_is_none_or_no_reason_is_refused(study: StudyFile, signature: Signature) -> None:
    """All sets or none; and a reason is needed."""
    with pytest.raises(Unknown, match="“tiles” is not a coupon set"):
        correct_placing(study, ["sheet", "tiles"], date(2025, 1, 10), signature=signature)
    assert fetch_sets(study)["sheet"].placed_on == REGISTERED
    with pytest.raises(NotPossible, match="needs a reason"):
        correct_placing(study, ["sheet"], date(2025, 1, 10), signature=Signature(by="R. Vale", at=signature.at))


def test_a_look_in_place_holds_it_back(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """A colour seen in place was seen after placing; the colour before it was not."""
    text = known_protocols()["display-dots"].read_text("utf-8").replace('version = "2"', 'version = "2-looks"')
    looking = tmp_path / "looking.toml"
    looking.write_text(text.replace('unit = "ΔE*00"', 'unit = "ΔE*00"\nlooks = "in place"'), "utf-8")
    amend_protocol(study, "display-dots", looking, from_on=REGISTERED, signature=signature)
    code = next(iter(fetch_coupons(study)))
    typed = {"L_before": "60", "a_before": "2", "b_before": "10"}
    record_reading(study, code, typed, read_on=REGISTERED, signature=signature)
    typed = {"L_look": "60", "a_look": "2", "b_look": "10.2"}
    record_reading(study, code, typed, read_on=date(2025, 2, 1), signature=signature)
    with pytest.raises(NotPossible, match=f"{code} was read on 2025-02-01, before 2025-02-03"):
        correct_placing(study, ["sheet"], date(2025, 2, 3), signature=signature)
    with pytest.raises(NotPossible, match=f"{code} was looked at in place on 2025-02-01"):
        correct_placing(study, ["sheet"], date(2025, 2, 1), signature=signature)
    correct_placing(study, ["sheet"], date(2025, 1, 31), signature=signature)


def test_durations_move_and_an_earlier_decision_recomputes(demo_path: Path, signature: Signature) -> None:
    """A hundred days longer on the shelf: a longer duration, foreseen; the decision of before recomputes by its day."""
    with open_study(demo_path) as study:
        assert "P03" in [check.decision.pairing for check in check_decisions(study)]
        keys = [key for key, one in fetch_sets(study).items() if one.pairing == "P03" and one.role == "test"]
        earlier = fetch_sets(study)[keys[0]].placed_on - timedelta(days=100)
        moved = {one.key: one for one in placing_moves(study, keys, earlier, signature=signature)}
        assert set(moved) == {"P03"}
        before = {h.code: h.dwell_days for h in stand_of(study, "P03").analysed.evidence.histories}
        correct_placing(study, keys, earlier, signature=signature)
        now = stand_of(study, "P03")
        after = {h.code: h.dwell_days for h in now.analysed.evidence.histories}
        moving = {code for code, one in fetch_coupons(study).items() if one.set_key in keys}
        assert {after[code] - before[code] for code in moving & set(before)} == {100}
        assert {after[code] - before[code] for code in set(before) - moving} <= {0}
        assert now.overtaken.startswith("Newer readings or a corrected day of placing change decision")
        assert all(check.same for check in check_decisions(study))


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(days=st.lists(st.integers(-900, 90), min_size=1, max_size=4))
def test_dwell_is_always_counted_from_the_day_in_force(study: StudyFile, signature: Signature, days: list[int]) -> None:
    """Whatever was corrected and refused before: the view, the sets and the due list agree on one day."""
    for shift in days:
        day = REGISTERED + timedelta(days=shift)
        if fetch_sets(study)["tile"].placed_on != day:
            correct_placing(study, ["tile"], day, signature=signature)
        assert fetch_sets(study)["tile"].placed_on == day
        assert study.rows("SELECT DISTINCT placed_on FROM coupons_now WHERE coupon_set = 'tile'") == [
            {"placed_on": day.isoformat()}
        ]
        (due,) = [
            p for p in due_pulls(study, on=day, ahead_days=120) if (p.set_key, p.pull_label) == ("tile", "3 months")
        ]
        assert 89 <= (due.due_on - day).days <= 92
