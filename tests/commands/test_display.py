"""Display: where objects stand, what changes it, and what is found when they come off."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.commands import display
from study.commands.decide import carry_result, issue_decision, lift_stop, stand_of, withdraw_decision
from study.commands.grounds import gather_grounds
from study.commands.opening import open_study
from study.commands.read_correct import correct_reading
from study.commands.register import change_status, withdraw_lot
from study.errors import DwellbookError, FileRefused, NotPossible, Unknown
from study.model.display import Display, Ground, Removal, display_state, may_stay
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.study_file import StudyFile

DAY = date(2026, 3, 2)
ENTRY = {
    "object": "2019.44", "location": "Case 3", "lot": "A-1", "object_pairing": "P03", "support_pairing": "P01",
    "environment": "gallery-lit", "dots": "3", "dot_diameter_mm": "8", "load_n": "2", "placed_on": "2026-01-05",
    "placed_by": "M. Quill",
}  # fmt: skip


@pytest.fixture
def shown(demo_path: Path, signature: Signature) -> Iterator[StudyFile]:
    """The demo study of March 2026 with decisions for P01 and P03 and one object standing on both."""
    with StudyFile(demo_path) as study:
        display.add_display(study, ENTRY, signature=signature)
        yield study


def state_of(study: StudyFile, name: str = "2019.44", on: date = DAY) -> str:
    states = {state.display.object_number: state for state in display.standings(study, on=on).states}
    return states[name].state


def test_the_earlier_face_governs(shown: StudyFile) -> None:
    """P01 allows fewer days at the support than P03 at the object: the object comes off by P01's day."""
    (state,) = display.standings(shown, on=DAY).states
    days = {name: stand_of(shown, name).decision for name in ("P01", "P03")}
    least = min(decision.days for decision in days.values() if decision and decision.days)
    assert state.remove_by == date(2026, 1, 5) + timedelta(days=least)
    assert state.state == "within"
    assert "P01" in state.why
    assert state_of(shown, on=state.remove_by) == "due"
    assert state_of(shown, on=state.remove_by - timedelta(days=31)) == "within"
    assert state_of(shown, on=state.remove_by + timedelta(days=1)) == "overdue"


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"load_n": "5"}, "a load of 5 N, tested to 2 N"),
        ({"dots": "2"}, "2 dots, tested with 3"),
        ({"dot_diameter_mm": "12"}, "dots of 12 mm, tested with 8 mm"),
        ({"environment": "gallery-dark"}, "it stands in gallery-dark, tested in gallery-lit"),
        ({"lot": "B-1"}, "lot B-1 has no coupons"),
        ({"support_pairing": "P09"}, "no decision stands for P09"),
        ({"support_pairing": "P10"}, "stopped"),
    ],
)
def test_what_was_not_tested_is_no_evidence(
    demo_path: Path, signature: Signature, cells: dict[str, str], words: str
) -> None:
    """Another load, dot, room or lot than was tested gives no date and says what differs; a stop governs."""
    with open_study(demo_path) as study:
        state = display.add_display(study, ENTRY | cells, signature=signature)
    assert state.remove_by is None
    assert state.state in ("no evidence", "stopped")
    assert words in f"{state.state}: {state.why}"


def test_a_file_is_taken_whole_or_not_at_all(demo_path: Path, tmp_path: Path, signature: Signature) -> None:
    """Every bad cell of a display file is told at once; nothing of it is written."""
    rows = [
        ENTRY | {"object": "A1", "lot": "Z-9"},
        ENTRY | {"object": "A2", "dots": "two"},
        ENTRY | {"object": "A3", "placed_on": "2027-01-01"},
        ENTRY | {"object": "A4", "location": ""},
        ENTRY | {"object": "A5", "object_pairing": "P77"},
        ENTRY | {"object": "A6"},
        ENTRY | {"object": "A6", "load_n": "-1"},
    ]
    path = tmp_path / "displays.csv"
    lines = [",".join(ENTRY), *(",".join(row.values()) for row in rows)]
    path.write_text("\n".join(lines) + "\n", "utf-8")
    with open_study(demo_path) as study:
        with pytest.raises(FileRefused) as refusal:
            display.import_displays(study, path, signature=signature)
        assert [(p.row, p.column) for p in refusal.value.problems] == [
            (2, "lot"), (3, "dots"), (4, "placed_on"), (5, "location"), (6, "object_pairing"), (8, "load_n"),
        ]  # fmt: skip
        assert display.standings(study, on=DAY).states == ()
        path.write_text("\n".join([lines[0], lines[6]]) + "\n", "utf-8")
        assert len(display.import_displays(study, path, signature=signature)) == 1
        with pytest.raises(FileRefused, match="on show already"):
            display.import_displays(study, path, signature=signature)


def test_a_shorter_decision_moves_objects_and_waits_for_somebody(shown: StudyFile, signature: Signature) -> None:
    """Worse readings, a new decision: the date moves, Today shows it until a name is put under it."""
    before = display.standings(shown, on=DAY)
    assert before.attention == []
    for coupon in fetch_coupons(shown).values():
        if (coupon.set_key, coupon.test, coupon.pull_label) == ("GA-ACR", "pull-off-dot", "12 months"):
            correct_reading(shown, coupon.code, "residue_grade", "5", signature=signature)
    assert display.standings(shown, on=DAY).attention == [], "a decision stands until somebody issues another"
    issued = issue_decision(shown, "P01", signature=signature, on=DAY)
    after = display.standings(shown, on=DAY)
    (moved,) = after.attention
    assert issued.days is None or (moved.remove_by or date.max) < (before.states[0].remove_by or date.min)
    assert display.acknowledge(shown, [moved.display.number], on=DAY, signature=signature) == 1
    assert display.standings(shown, on=DAY).attention == []
    with pytest.raises(NotPossible, match="waiting"):
        display.acknowledge(shown, [moved.display.number], on=DAY, signature=signature)


def test_what_withdraws_the_ground_reaches_the_object(shown: StudyFile, signature: Signature) -> None:
    """A withdrawn decision, lot or adhesive leaves the object without evidence and in need of somebody."""
    with pytest.raises(NotPossible, match="reason"):
        withdraw_decision(shown, "P03", signature=signature.because(""))
    withdraw_decision(shown, "p03", signature=signature)
    (state,) = display.standings(shown, on=DAY).attention
    assert state.state == "no evidence"
    assert "no decision stands for P03" in state.why
    with pytest.raises(NotPossible, match="No decision stands"):
        withdraw_decision(shown, "P03", signature=signature)
    withdraw_lot(shown, "A-1", on=DAY, signature=signature)
    assert "lot A-1 is withdrawn" in display.standings(shown, on=DAY).states[0].why
    change_status(shown, "gel-a", status="withdrawn", on=DAY, signature=signature)
    assert "Acrylic gel A is withdrawn" in display.standings(shown, on=DAY).states[0].why


def test_one_harm_stops_the_pairing_and_lists_the_others(shown: StudyFile, signature: Signature) -> None:
    """An object harmed at removal stops its pairing; the others standing there are named; two people can lift it."""
    for name in ("2019.45", "2019.46"):
        display.add_display(shown, ENTRY | {"object": name}, signature=signature)
    done = display.record_removal(
        shown,
        "2019.44",
        on=DAY,
        harm=True,
        residue="3",
        pattern="DF",
        side="object",
        tool="thread",
        signature=signature,
    )
    assert done.stopped == ("P03",)
    assert [state.display.object_number for state in done.others] == ["2019.45", "2019.46"]
    assert state_of(shown) == "removed"
    assert {s.display.object_number for s in display.standings(shown, on=DAY).attention} == {"2019.45", "2019.46"}
    answer = display.may(shown, "2019.45", until=date(2026, 3, 20), on=DAY)
    assert (answer.words, answer.may) == ("no", False)
    assert "2019.44" in answer.reason
    with pytest.raises(NotPossible, match="second person"):
        lift_stop(shown, "P03", second_person=signature.by.lower(), signature=signature)
    assert lift_stop(shown, "P03", second_person="M. Quill", signature=signature) == ["2019.44"]
    assert state_of(shown, "2019.45") == "within"
    display.record_removal(shown, "2019.46", on=DAY, harm=True, side="object", signature=signature)
    assert state_of(shown, "2019.45") == "stopped", "harm that comes later stops again"


def test_a_stop_of_coupons_is_lifted_by_two_and_stays_unacceptable(demo_path: Path, signature: Signature) -> None:
    """Lifting the stop of the putty on polished oak leaves its coupons unacceptable, and the trail says who and why."""
    with open_study(demo_path) as study:
        assert stand_of(study, "P10").analysed.estimate.duration.outcome == "stopped"
        lifted = lift_stop(study, "P10", second_person="M. Quill", signature=signature)
        assert lifted
        after = stand_of(study, "P10").analysed.estimate
        assert after.duration.outcome != "stopped"
        harm = next(estimate for estimate in after.estimates if estimate.criterion == "surface-harm")
        assert harm.n_unacceptable >= len(lifted)
        with pytest.raises(NotPossible, match="is not stopped"):
            lift_stop(study, "P10", second_person="M. Quill", signature=signature)


def test_results_are_carried_to_another_formulation_on_record(demo_path: Path, signature: Signature) -> None:
    """Gel B inherits nothing from gel A until somebody carries the result with a reason."""
    with open_study(demo_path) as study:
        entry = ENTRY | {"lot": "B-1"}
        assert display.add_display(study, entry, signature=signature).state == "no evidence"
        for key in ("P01", "P03"):
            carry_result(study, key, adhesive="gel-b", signature=signature)
        assert state_of(study) == "within"
        with pytest.raises(NotPossible, match="already"):
            carry_result(study, "P01", adhesive="gel-b", signature=signature)
        with pytest.raises(Unknown):
            carry_result(study, "P01", adhesive="gel-z", signature=signature)


def test_an_object_stuck_again_is_a_new_display(shown: StudyFile, signature: Signature) -> None:
    """After its removal the same object gets a new display linked to the last; before it, that is refused."""
    again = {"placed_on": "2026-03-01", "placed_by": "R. Vale"}
    with pytest.raises(NotPossible, match="still on show"):
        display.stick_again(shown, "2019.44", again, signature=signature)
    display.record_removal(shown, "2019.44", on=date(2026, 2, 20), harm=False, residue="0", signature=signature)
    state = display.stick_again(shown, "2019.44", again, signature=signature)
    assert state.display.follows == 1
    assert display.find_display(shown, "2019.44").number == state.display.number


def test_field_removals_are_tested_against_the_study(shown: StudyFile, signature: Signature) -> None:
    """Three bad of four removals within the decided time are worse than one in ten (exact binomial 0.0037)."""
    assert "yet" in display.field_evidence(shown, "P03").words
    for place, residue in enumerate(("0", "4", "5", "4")):
        name = f"2020.{place}"
        display.add_display(shown, ENTRY | {"object": name}, signature=signature)
        display.record_removal(shown, name, on=date(2026, 2, 1), harm=False, residue=residue, signature=signature)
    found = display.field_evidence(shown, "P03")
    assert (found.removed, found.unacceptable) == (4, 3)
    # By hand: 4 * 0.1^3 * 0.9 + 0.1^4 = 0.0037.
    assert found.chance == pytest.approx(0.0037, abs=1e-12)
    assert "worse than the study predicts" in found.words


def test_bad_removals_are_refused(shown: StudyFile, signature: Signature) -> None:
    """A grade off the scale, an unknown pattern, a day before placing: all told, nothing written."""
    with pytest.raises(FileRefused) as refusal:
        display.record_removal(
            shown,
            "2019.44",
            on=date(2025, 1, 1),
            harm=False,
            residue="9",
            pattern="XX",
            side="left",
            signature=signature,
        )
    assert [problem.column for problem in refusal.value.problems] == ["residue", "pattern", "side", "on"]
    assert state_of(shown) == "within"
    with pytest.raises(Unknown, match="display register"):
        display.record_removal(shown, "1900.1", on=DAY, harm=False, signature=signature)


def test_a_walk_after_a_tremor(shown: StudyFile, signature: Signature) -> None:
    """The list of a location or a pairing, and what was found there on record."""
    display.add_display(shown, ENTRY | {"object": "2019.50", "location": "Case 1"}, signature=signature)
    assert [s.display.object_number for s in display.recheck_list(shown, on=DAY)] == ["2019.50", "2019.44"]
    assert len(display.recheck_list(shown, on=DAY, location="case 3")) == 1
    assert len(display.recheck_list(shown, on=DAY, pairing="p01")) == 2
    display.record_recheck(shown, ["2019.44"], on=DAY, after="tremor", found="moved", signature=signature)
    assert shown.rows("SELECT after, found FROM rechecks") == [{"after": "tremor", "found": "moved"}]
    for wrong in ({"after": "party"}, {"found": "fine"}):
        with pytest.raises(DwellbookError):
            display.record_recheck(
                shown, ["2019.44"], on=DAY, signature=signature, **({"after": "move", "found": "holds"} | wrong)
            )


def test_an_entry_made_by_mistake_is_taken_back(shown: StudyFile, signature: Signature) -> None:
    """With a reason, an entry goes out of the list and stays in the file."""
    display.take_display_back(shown, "2019.44", signature=signature)
    assert display.standings(shown, on=DAY).states == ()
    assert shown.rows("SELECT count(*) AS n FROM displays") == [{"n": 1}]


@given(
    st.integers(1, 2000),
    st.integers(1, 2000),
    st.dates(date(2024, 1, 1), date(2030, 1, 1)),
    st.booleans(),
    st.booleans(),
)
def test_may_stay_agrees_with_the_state(first: int, second: int, on: date, harm: bool, stop: bool) -> None:
    """Whatever the days: never yes past the earlier face, never yes without evidence or with a stop, dates derived."""
    grounds = [_ground("P01", first, stopped=""), _ground("P02", second, stopped="harm" if stop else "")]
    entry = Display(1, "x", "c", "L", "P01", "P02", "e", 3, 8.0, 2.0, date(2024, 1, 1), "n")
    removal = Removal(1, date(2024, 6, 1), "n", harm) if harm else None
    state = display_state(entry, object_ground=grounds[0], support_ground=grounds[1], on=on, removal=removal)
    until = on + timedelta(days=30)
    answer = may_stay(state, until=until)
    last = entry.placed_on + timedelta(days=min(first, second))
    if harm or stop:
        assert answer.may is not True
    else:
        assert state.remove_by == last
        assert answer.may is (until <= last)
        assert (state.state == "overdue") is (on > last)


def _ground(key: str, days: int, *, stopped: str) -> Ground:
    from datetime import UTC, datetime

    from study.model.decision import Decision
    from study.model.pairing import Adhesive, Environment, Pairing, Substrate

    pairing = Pairing(
        key,
        Adhesive("a", "A", "other", "1"),
        Substrate("s", "S", "", "cleaned", "object"),
        Environment("e", "E"),
        8.0,
        3,
        2.0,
    )
    decision = Decision(
        1,
        key,
        "supported",
        days,
        float(days),
        "x",
        "y",
        False,
        "d",
        "{}",
        "e",
        1,
        1,
        "{}",
        "n",
        datetime(2024, 1, 1, tzinfo=UTC),
    )
    return Ground(pairing, decision, stopped, frozenset({"L"}))


def test_grounds_cover_every_lot_of_a_pairing(demo_path: Path) -> None:
    """Each pairing is found by its lot, and by no lot for what was never tested."""
    with open_study(demo_path) as study:
        grounds = gather_grounds(study)
    assert grounds["P01", "A-1"].decision is not None
    assert grounds["P01", ""].lots == {"A-1"}
    assert grounds["P10", "P-1"].stopped
