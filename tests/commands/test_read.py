"""Read: readings from files and by hand, verdicts, corrections that lose nothing."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands.pull import record_pulls, undo_pull
from study.commands.read import record_reading, record_readings, verdict_counts
from study.commands.read_correct import correct_reading, withdraw_reading
from study.commands.read_form import coupon_form
from study.commands.read_import import import_readings
from study.errors import FileRefused, NotPossible, Unknown
from study.intake.reading_columns import COLOUR_CONDITIONS
from study.model.person import Signature
from study.store.coupons import fetch_coupons, fetch_histories
from study.store.protocols import fetch_protocols
from study.store.readings import fetch_in_force, fetch_readings
from study.store.study_file import StudyFile

PULLED, READ = date(2025, 4, 15), date(2025, 4, 16)
HEAD = (
    "coupon,read_on,removal_force,force_unit,failure_pattern,side,residue_grade,"
    "L_before,a_before,b_before,L_after,a_after,b_after,hold_angle_deg\n"
)


def codes_of(study: StudyFile, set_key: str, test: str) -> list[str]:
    return [c.code for c in fetch_coupons(study).values() if (c.set_key, c.test) == (set_key, test)]


@pytest.fixture
def dots(study: StudyFile, signature: Signature) -> list[str]:
    """Dot coupons of the set on acrylic sheet, the first three pulled."""
    codes = codes_of(study, "sheet", "pull-off-dot")
    record_pulls(study, codes[:3], kind="pulled", on=PULLED, signature=signature)
    return codes


def test_a_file_of_readings_enters_whole(
    study: StudyFile, dots: list[str], tmp_path: Path, signature: Signature
) -> None:
    """Force with its unit, pattern and side, grade and colours of two coupons; a blank stays not measured."""
    path = tmp_path / "readings.csv"
    path.write_text(
        HEAD + f"{dots[0]},2025-04-16,5.1,N,AF,object,1,91,-0.3,1.2,90.8,-0.2,1.9,\n"
        f"{dots[1]},2025-04-16,>50,N,,,3-4,,,,,,,\n",
        "utf-8",
    )
    readings = import_readings(study, path, signature=signature)
    assert len(readings) == 7
    first, second = fetch_in_force(study, dots[0]), fetch_in_force(study, dots[1])
    assert set(first) == {"removal_force", "failure_pattern", "residue_grade", "colour_before", "colour_after"}
    assert first["colour_before"].read_on == date(2025, 1, 15)
    assert set(second) == {"removal_force", "residue_grade"}
    assert (second["removal_force"].lower, second["removal_force"].upper) == (50.0, float("inf"))
    assert (second["residue_grade"].lower, second["residue_grade"].upper) == (3.0, 4.0)


def test_every_fault_of_a_reading_file_is_told(
    study: StudyFile, dots: list[str], tmp_path: Path, signature: Signature
) -> None:
    """One file with every usual slip is refused once, each slip with row, column, value and what to do."""
    hold = codes_of(study, "sheet", "hold-angle")
    a, b, c = dots[:3]
    path = tmp_path / "readings.csv"
    rows = [
        f"{a},2025-04-16,5.1,,,,,,,,,,,",  # no unit
        f'{b},2025-04-16,"5,1",N,,,,,,,,,,',  # decimal comma
        f"{c},2025-04-16,5.1,stone,,,,,,,,,,",  # unknown unit
        f"{a},2025-04-16,,,,,7,,,,,,,",  # grade off the scale
        f"{dots[3]},2025-04-16,5.1,N,,,,,,,,,,",  # never pulled
        f"{b},2025-04-14,,,,,1,,,,,,,",  # read before the pull
        f"{c},2025-04-16,,,AF,,,,,,,,,",  # pattern without side
        f"{a},2025-04-16,,,,,,91,-0.3,,,,,",  # two of three colour values
        "QQQQ-Q,2025-04-16,,,,,9,,,,,,,",  # unknown coupon, and its grade is off the scale too
        f"{b},2025-04-16,,,,,,,,,,,,45",  # an angle on a coupon that is not tilted
        f"{c},2025-04-16,,,,,,,,,,,,",  # nothing
        f"{hold[0]},2025-04-16,,,,,,,,,,,,45",  # never pulled
    ]
    path.write_text(HEAD + "\n".join(rows) + "\n", "utf-8")
    before = study.last_change()
    with pytest.raises(FileRefused) as refusal:
        import_readings(study, path, signature=signature)
    told = {(problem.row, problem.column) for problem in refusal.value.problems}
    assert told >= {
        (2, "removal_force"), (3, "removal_force"), (4, "removal_force"), (5, "residue_grade"), (6, "coupon"),
        (7, "read_on"), (8, "failure_pattern"), (9, "L_before"), (10, "coupon"), (10, "residue_grade"),
        (11, "hold_angle_deg"), (12, ""), (13, "coupon"),
    }  # fmt: skip
    assert all(problem.do for problem in refusal.value.problems)
    assert study.last_change() == before
    assert study.rows("SELECT * FROM readings") == []


def test_a_reading_is_entered_once(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """The same reading twice is refused and points to the correction."""
    record_reading(study, dots[0], {"residue_grade": "1"}, read_on=READ, signature=signature)
    with pytest.raises(FileRefused, match="read correct"):
        record_reading(study, dots[0], {"residue_grade": "2"}, read_on=READ, signature=signature)


def test_the_verdict_comes_at_once(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """Each criterion says what it makes of the coupon, and a blank makes nothing of it."""
    typed = {"removal_force": "25", "force_unit": "N", "residue_grade": "2", "hold_angle_deg": ""}
    found = {v.criterion: v for v in record_reading(study, dots[0], typed, read_on=READ, signature=signature)}
    assert found["Removal force"].unacceptable is True
    assert found["Residue"].unacceptable is False
    assert found["Discoloration"].unacceptable is None
    assert "25" in found["Removal force"].words


@pytest.mark.parametrize(("set_key", "stops"), [("sheet", False), ("tile", True)])
def test_harm_stops_only_where_the_surface_stands_for_an_object(
    study: StudyFile, signature: Signature, set_key: str, stops: bool
) -> None:
    """A surface that came away is unacceptable everywhere, and stops where it stands for an object."""
    code = codes_of(study, set_key, "pull-off-dot")[0]
    record_pulls(study, [code], kind="pulled", on=PULLED, signature=signature)
    typed = {"failure_pattern": "DF", "side": "object"}
    found = {v.criterion: v for v in record_reading(study, code, typed, read_on=READ, signature=signature)}
    assert found["Harm to the surface"].unacceptable is True
    assert found["Harm to the surface"].stop is stops


def test_a_correction_supersedes_and_loses_nothing(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """51.0 typed for 5.10: the old value stays in the trail with name and reason, and is what was known before."""
    record_reading(study, dots[0], {"removal_force": "51.0 N"}, read_on=READ, signature=signature)
    known_then = study.last_change()
    with pytest.raises(NotPossible, match="needs a reason"):
        correct_reading(study, dots[0], "removal_force", "5.10 N", signature=signature.because(""))
    old, new = correct_reading(study, dots[0], "removal_force", "5.10 N", signature=signature)
    assert (old.lower, new.lower) == (51.0, 5.1)
    trail = fetch_readings(study, dots[0])
    assert [(reading.typed, who["superseded_by"]) for reading, who in trail] == [
        ("51.0 N", "R. Vale"),
        ("5.10 N", None),
    ]
    assert trail[0][1]["why"] == signature.why
    protocols = fetch_protocols(study)
    forces = []
    for change in (known_then, study.last_change()):
        (histories,) = fetch_histories(study, protocols, change=change).values()
        forces.append([h.readings["removal_force"].lower for h in histories if h.readings])
    assert forces == [[51.0], [5.1]]


@pytest.mark.parametrize(
    ("kind", "value", "words"),
    [("removal_force", "5.10", "has no unit"), ("hold_angle", "45", "no hold_angle to correct")],
)
def test_a_correction_is_checked_like_a_reading(
    study: StudyFile, dots: list[str], signature: Signature, kind: str, value: str, words: str
) -> None:
    """A correction without a unit, or of what was never read, is refused and the first value stays."""
    record_reading(study, dots[0], {"removal_force": "51.0 N"}, read_on=READ, signature=signature)
    with pytest.raises((FileRefused, NotPossible), match=words):
        correct_reading(study, dots[0], kind, value, signature=signature)
    assert fetch_in_force(study, dots[0])["removal_force"].lower == 51.0


def test_the_form_asks_exactly_what_the_protocol_reads(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """A dot coupon asks for force, pattern, residue and colours, a tilted one for its angle; last values beside."""
    record_reading(study, dots[0], {"removal_force": "5.1", "force_unit": "N"}, read_on=READ, signature=signature)
    form = coupon_form(study, dots[1].lower())
    assert [field.kind for field in form.fields if not field.optional] == [
        "removal_force", "force_unit", "failure_pattern", "side", "residue_grade",
        "L_before", "a_before", "b_before", "L_after", "a_after", "b_after",
    ]  # fmt: skip
    assert [field.kind for field in form.fields if field.optional] == [
        "residue_area_percent", "halo_percent", "residue_flags", "residue_aids", "residue_second", "second_rater",
        "residue_cleaned", "cleaning_step", *COLOUR_CONDITIONS,
    ]  # fmt: skip
    assert form.fields[0].last == "5.1"
    assert (form.pulled_on, form.dwell_days) == (PULLED, 90)
    tilted = codes_of(study, "sheet", "hold-angle")[0]
    assert coupon_form(study, tilted).fields == (), "a tilted coupon in its placement takes nothing"
    record_pulls(study, [tilted], kind="pulled", on=PULLED, signature=signature)
    hold = coupon_form(study, tilted)
    assert [field.kind for field in hold.fields] == ["hold_angle_deg"]


def test_an_unknown_code_offers_the_near_ones(study: StudyFile, dots: list[str]) -> None:
    """A code with two characters swapped is not taken for the one it resembles, but names it."""
    code = dots[0]
    with pytest.raises(Unknown) as refusal:
        coupon_form(study, code[1] + code[0] + code[2:])
    assert code in refusal.value.do


def test_a_reading_of_another_coupon_is_taken_back(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """A reading entered under the wrong code goes out of force with a reason, and the pull can then be undone."""
    record_reading(study, dots[0], {"residue_grade": "1"}, read_on=READ, signature=signature)
    with pytest.raises(NotPossible, match="needs a reason"):
        withdraw_reading(study, dots[0], "residue_grade", signature=signature.because(""))
    withdraw_reading(study, dots[0], "residue_grade", signature=signature)
    assert fetch_in_force(study, dots[0]) == {}
    assert len(fetch_readings(study, dots[0])) == 1
    with pytest.raises(NotPossible, match="take back"):
        withdraw_reading(study, dots[0], "residue_grade", signature=signature)
    undo_pull(study, dots[0], signature=signature)


def test_a_mistyped_column_is_never_dropped(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """removal_forc is refused with the column it resembles, and nothing is saved."""
    with pytest.raises(NotPossible) as refusal:
        record_reading(study, dots[0], {"removal_forc": "5 N", "residue_grade": "0"}, read_on=READ, signature=signature)
    assert "removal_force" in refusal.value.do
    assert fetch_in_force(study, dots[0]) == {}


def test_a_template_cell_alone_is_no_reading(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """A unit or a side filled in beforehand, with nothing read, is passed over; the last unit is offered again."""
    typed = {"removal_force": "1.5", "force_unit": "lbf", "side": "object", "residue_grade": "1"}
    record_reading(study, dots[0], typed, read_on=READ, signature=signature)
    assert set(fetch_in_force(study, dots[0])) == {"removal_force", "residue_grade"}
    last = {field.kind: field.last for field in coupon_form(study, dots[1]).fields}
    assert (last["removal_force"], last["force_unit"]) == ("1.5", "lbf")


def test_a_coupon_that_fell_off_has_no_force(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """Released by itself: a force is refused, residue is not; a damaged coupon can tell nothing."""
    record_pulls(study, [dots[3]], kind="released by itself", on=PULLED, signature=signature)
    with pytest.raises(FileRefused, match="nothing was left to pull"):
        record_reading(study, dots[3], {"removal_force": "4.2 N"}, read_on=READ, signature=signature)
    verdicts = record_reading(study, dots[3], {"residue_grade": "1"}, read_on=READ, signature=signature)
    found = {verdict.criterion: verdict for verdict in verdicts}
    assert found["Hold"].unacceptable is True, "whatever test it was meant for, it let go"
    record_pulls(study, [dots[4]], kind="damaged", on=PULLED, signature=signature)
    with pytest.raises(FileRefused, match="can tell nothing"):
        record_reading(study, dots[4], {"residue_grade": "1"}, read_on=READ, signature=signature)


def test_a_batch_says_what_it_shows(study: StudyFile, signature: Signature) -> None:
    """After an import the unacceptable are counted by criterion, and what stops a pairing is named."""
    codes = codes_of(study, "tile", "pull-off-dot")[:2]
    record_pulls(study, codes, kind="pulled", on=PULLED, signature=signature)
    record_reading(study, codes[0], {"residue_grade": "4"}, read_on=READ, signature=signature)
    assert verdict_counts(study, [codes[1]]) == ["Nothing unacceptable among them."]
    record_reading(study, codes[1], {"failure_pattern": "DF", "side": "object"}, read_on=READ, signature=signature)
    told = verdict_counts(study, codes)
    assert "Residue: 1 unacceptable" in told
    assert told[-1].startswith(f"{codes[1]} stops its pairing: Harm to the surface")


def test_rows_may_name_pieces_by_their_own_marks(study: StudyFile, dots: list[str], signature: Signature) -> None:
    """Codes and marks may stand in one grid; a slip is answered with what it may have meant."""
    study.db.execute("UPDATE coupons SET own_mark = 'AB-012' WHERE code = ?", [dots[0]])
    study.db.conn.commit()
    rows = [{"coupon": "ab 012", "residue_grade": "1"}, {"coupon": dots[1], "residue_grade": "2"}]
    readings = record_readings(study, rows, read_on=READ, signature=signature)
    assert [reading.code for reading in readings] == dots[:2]
    with pytest.raises(FileRefused, match="Did you mean AB012"):
        record_readings(study, [{"coupon": "AB-O12", "residue_grade": "1"}], read_on=READ, signature=signature)
