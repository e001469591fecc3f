"""Read, history and colour: everything that happened to a coupon in order; a change beside what chance would show."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from study.commands.pull import record_pulls, undo_pull
from study.commands.read import record_reading
from study.commands.read_attachments import NewFile, attach_files, detach_file
from study.commands.read_colour import coupon_colour
from study.commands.read_correct import correct_reading, correction_effect, withdraw_reading
from study.commands.read_history import coupon_history
from study.commands.read_import import import_file
from study.commands.register import add_note
from study.commands.register_instruments import record_calibration, register_instrument
from study.errors import FileRefused, NotPossible, Unknown
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.readings import fetch_in_force, fetch_readings
from study.store.soundness import fetch_faults
from study.store.study_file import StudyFile

PULLED, READ = date(2025, 4, 15), date(2025, 4, 16)


@pytest.fixture
def tile(study: StudyFile) -> str:
    """A dot coupon of the glazed tile, still placed."""
    return next(c.code for c in fetch_coupons(study).values() if (c.set_key, c.test) == ("tile", "pull-off-dot"))


def test_a_coupons_history_is_told_in_order(study: StudyFile, tile: str, signature: Signature) -> None:
    """Made, placed, pulled, taken back, pulled, read, corrected, taken back, attached, taken off, noted."""
    record_pulls(study, [tile], kind="pulled", on=date(2025, 4, 14), signature=signature)
    undo_pull(study, tile, signature=signature)
    record_pulls(study, [tile], kind="pulled", on=PULLED, signature=signature)
    record_reading(study, tile, {"removal_force": "51 N", "residue_grade": "1"}, read_on=READ, signature=signature)
    correct_reading(study, tile, "removal_force", "5.1 N", signature=signature)
    withdraw_reading(study, tile, "residue_grade", signature=signature)
    file = NewFile("shelf.txt", b"Seen on the shelf.")
    (hung,) = attach_files(study, tile, [file], kind="residue_grade", signature=signature)
    detach_file(study, hung.number, signature=signature)
    add_note(study, about="coupon", subject=tile, text="Chipped corner.", on=READ, signature=signature)
    add_note(study, about="set", subject="sheet", text="Not of this coupon.", on=READ, signature=signature)
    told = coupon_history(study, tile)
    assert [one.what for one in told] == [
        "placed", "made", "pulled", "pull taken back", "pulled", "read", "read", "corrected", "taken back", "attached",
        "taken off", "note",
    ]  # fmt: skip
    corrected = told[7]
    assert (corrected.about, corrected.old, corrected.new) == ("removal force", "51 N", "5.1 N")
    assert (corrected.by, corrected.why, corrected.day) == ("R. Vale", "Because the test needs it.", "2025-04-16")
    assert told[4].new == f"pulled on {PULLED}"
    assert (told[8].old, told[8].new) == ("1", "")
    assert told[-1].new == "Chipped corner."
    assert [one.change for one in told] == sorted(one.change for one in told)


def test_what_stays_with_a_reading_is_told(study: StudyFile, tile: str, tmp_path: Path, signature: Signature) -> None:
    """A note, the room and the file a reading came from stand in the history, also once it is superseded."""
    record_pulls(study, [tile], kind="pulled", on=PULLED, signature=signature)
    sheet = tmp_path / "march.csv"
    head = "coupon,read_on,removal_force,force_unit,temperature_c,note\n"
    sheet.write_text(f"{head}{tile},{READ},51.0,N,27,Gauge knocked.\n", "utf-8")
    import_file(study, sheet, signature=signature)
    correct_reading(study, tile, "removal_force", "5.1 N", signature=signature)
    told = next(one for one in coupon_history(study, tile) if one.what == "read")
    assert told.beside.startswith("27 °C; ")
    assert "outside 18 to 25 °C" in told.beside
    assert told.beside.endswith("note: Gauge knocked.; from march.csv")


def test_a_code_that_is_none_has_no_history(study: StudyFile) -> None:
    """A mistyped code is refused, not told as a coupon to which nothing happened."""
    with pytest.raises(Unknown):
        coupon_history(study, "ZZZZ-Z")


def test_a_correction_sent_twice_is_made_once(study: StudyFile, tile: str, signature: Signature) -> None:
    """The same attempt after a lost connection changes nothing again; another attempt is a conflict."""
    record_pulls(study, [tile], kind="pulled", on=PULLED, signature=signature)
    record_reading(study, tile, {"residue_grade": "1"}, read_on=READ, signature=signature)
    seen = fetch_in_force(study, tile)["residue_grade"].number
    for _ in range(2):
        old, new = correct_reading(study, tile, "residue_grade", "2", signature=signature, seen=seen, token="attempt-1")
        assert (old.typed, new.typed) == ("1", "2")
    assert [reading.typed for reading, _ in fetch_readings(study, tile)] == ["1", "2"]
    with pytest.raises(NotPossible, match=r"entered by R\. Vale"):
        correct_reading(study, tile, "residue_grade", "3", signature=signature, seen=seen, token="attempt-2")
    seen = fetch_in_force(study, tile)["residue_grade"].number
    for _ in range(2):
        taken = withdraw_reading(study, tile, "residue_grade", signature=signature, seen=seen, token="attempt-3")
        assert taken.typed == "2"
    assert fetch_in_force(study, tile) == {}


def test_what_stands_beside_a_reading_is_corrected_by_itself(study: StudyFile, tile: str, signature: Signature) -> None:
    """A wrong flag, area, room and gauge are said anew in one step: the value stays, the first version is kept."""
    record_pulls(study, [tile], kind="pulled", on=PULLED, signature=signature)
    for key, until in (("old", "2025-01-01"), ("new", "2026-01-01")):
        register_instrument(study, {"instrument": key, "name": "lens", "measures": "other"}, signature=signature)
        days = {"instrument": key, "calibrated_on": "2024-01-01", "valid_until": until}
        record_calibration(study, days, signature=signature)
    typed = {"residue_grade": "1", "residue_area_percent": "12", "residue_flags": "ghost", "halo_percent": "140",
             "temperature_c": "26", "humidity_percent": "50", "instrument": "old", "note": "North window."}  # fmt: skip
    record_reading(study, tile, typed, read_on=READ, signature=signature)
    beside = {"residue_flags": "stain loss", "residue_area_percent": "", "temperature_c": "21,5", "instrument": "new",
              "read_on": "2025-04-17"}  # fmt: skip
    moved = correction_effect(study, tile, "residue_grade", "", beside=beside, signature=signature)
    assert [one.after for one in moved] == ["stopped"], "what a flag moves is said before"
    assert fetch_in_force(study, tile)["residue_grade"].details.flags == ("ghost",)
    old, new = correct_reading(study, tile, "residue_grade", "", beside=beside, signature=signature)
    assert (old.typed, new.typed, new.read_on.isoformat()) == ("1", "1", "2025-04-17")
    assert (old.upper, new.upper, new.details.area_percent) == (3.0, 1.0, None), "the area counted, and is gone"
    found = new.details
    assert (found.flags, found.halo_percent, found.temperature_c, found.humidity_percent, found.note) == (
        ("stain", "loss"), 140.0, 21.5, 50.0, "North window.",
    )  # fmt: skip
    gauge, room = old.details.marks
    assert gauge.startswith("old was past calibration")
    assert room == "read at 26 °C, outside 18 to 25 °C"
    assert found.marks == (), "the flags of what was wrong go with it"
    told = coupon_history(study, tile)[-1]
    assert (told.what, told.new) == ("corrected", "1")
    assert told.old.startswith("1 (on 2025-04-16; area 12 %; ghost; 26 °C; on old; ")
    assert list(fetch_faults(study)) == []
    with pytest.raises(NotPossible, match="“colour” is nothing that stands beside"):
        correct_reading(study, tile, "residue_grade", "", beside={"colour": "2"}, signature=signature)
    with pytest.raises(FileRefused, match="is no flag"):
        correct_reading(study, tile, "residue_grade", "2", beside={"residue_flags": "rust"}, signature=signature)
    for value, same in (("1", {}), ("", {}), ("", {"note": " North window. "})):
        with pytest.raises(NotPossible, match="Nothing is corrected"):
            correct_reading(study, tile, "residue_grade", value, beside=same, signature=signature)


@pytest.mark.parametrize(
    "typed",
    [
        {"failure_pattern": "CF 60; AF 40", "side": "object"},
        {"L_after": "91; 91.2; 91.1", "a_after": "0 0 0", "b_after": "1 1 1", "specular": "SCI"},
        {"removal_force": "5.10", "force_unit": "N"},
        {"removal_force": ">50 N"},
    ],
)
def test_a_note_corrected_leaves_the_value_to_the_last_sign(
    study: StudyFile, tile: str, signature: Signature, typed: dict[str, str]
) -> None:
    """Shares, repeated spots, a unit of its own column: what is not said anew is worth the very same."""
    record_pulls(study, [tile], kind="pulled", on=PULLED, signature=signature)
    record_reading(study, tile, typed, read_on=READ, signature=signature)
    (kind,) = fetch_in_force(study, tile)
    old, new = correct_reading(study, tile, kind, "", beside={"note": "North window."}, signature=signature)
    assert new.details.note == "North window."
    bare = replace(new, number=old.number, details=new.details.model_copy(update={"note": ""}))
    assert str(bare) == str(old)


def test_a_colour_stands_beside_its_noise(study: StudyFile, tile: str, signature: Signature) -> None:
    """Readings 0.1 apart on each axis give an sd of 0.1; a change below the floor of such noise is told as such."""
    record_pulls(study, [tile], kind="pulled", on=PULLED, signature=signature)
    assert coupon_colour(study, tile) is None
    cells = {"L_before": "79.9 80 80.1", "a_before": "0.9 1 1.1", "b_before": "2.9 3 3.1", "illuminant": "D65",
             "L_after": "79.9 80 80.1", "a_after": "0.9 1 1.1", "b_after": "2.9 3 3.1"}  # fmt: skip
    record_reading(study, tile, cells, read_on=READ, signature=signature)
    found = coupon_colour(study, tile)
    assert found is not None
    assert found.repeat_sd == pytest.approx(0.1)
    assert found.degrees == 4
    assert found.difference == pytest.approx(0)
    assert found.noise_upper95 is not None
    assert 0.1 < found.noise_upper95 < 0.5
    assert (found.grey_grade, found.conditions) == ("5", "D65")


def test_a_colour_without_its_before_says_so(study: StudyFile, tile: str, signature: Signature) -> None:
    """No difference is worked out from one colour, nor between two ways of measuring."""
    record_pulls(study, [tile], kind="pulled", on=PULLED, signature=signature)
    after = {"L_after": "80", "a_after": "1", "b_after": "3", "illuminant": "D50"}
    record_reading(study, tile, after, read_on=READ, signature=signature)
    found = coupon_colour(study, tile)
    assert found is not None
    assert (found.difference, found.why_not) == (None, "no colour before placing is on file")
    before = {"L_before": "80", "a_before": "1", "b_before": "3", "illuminant": "D65"}
    record_reading(study, tile, before, read_on=READ, signature=signature)
    found = coupon_colour(study, tile)
    assert found is not None
    assert "illuminant differs" in found.why_not
