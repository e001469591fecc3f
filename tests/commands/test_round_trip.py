"""Round trip: what was exported and imported again into the same coupons gives the same numbers to the last bit."""

from __future__ import annotations

import csv
import io
import shutil
import sqlite3
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from study.commands.estimates import analysed, gather_evidence
from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read import record_readings
from study.commands.read_export import exported_readings, reading_template, study_template
from study.commands.read_import import import_file, import_readings
from study.commands.register_instruments import record_calibration, register_instrument, supersede_calibration
from study.errors import FileRefused, NotPossible, Unknown
from study.model.person import Signature
from study.model.reading import Reading
from study.store.coupons import fetch_coupons
from study.store.readings import fetch_all_in_force
from study.store.study_file import StudyFile

SAME = ("lower", "upper", "pattern", "side", "lab", "read_on", "unit")


def without_readings(path: Path, to: Path) -> Path:
    """The same study with its coupons and pulls and no reading; only a test may go past the triggers."""
    shutil.copy(path, to)
    connection = sqlite3.connect(to)
    for name, _ in connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f'DROP TRIGGER "{name}"')
    connection.execute("DELETE FROM readings")
    connection.commit()
    connection.close()
    return to


def all_in_force(study: StudyFile) -> dict[tuple[str, str], Reading]:
    found = fetch_all_in_force(study, list(fetch_coupons(study)))
    return {(code, key): reading for code, kinds in found.items() for key, reading in kinds.items()}


def bits(reading: Reading) -> Any:
    """Everything of a reading that can move a number; marks are worked out again at each import."""
    details = reading.details.model_copy(update={"marks": ()})
    return [repr(getattr(reading, name)) for name in SAME], details.text()


def test_the_demo_goes_out_and_comes_back_to_the_last_bit(
    demo_path: Path, tmp_path: Path, signature: Signature
) -> None:
    """Every reading in force the same; every pairing's estimate the same."""
    later = replace(signature, at=signature.at.replace(year=2026, month=11, day=24))
    with open_study(demo_path) as study:
        text, count = exported_readings(study)
        before = all_in_force(study)
        estimates = {e.key: repr(analysed(e).estimate) for e in gather_evidence(study)}
        one, _ = exported_readings(study, pairing="P01")
        with pytest.raises(Unknown, match="P01"):
            exported_readings(study, pairing="P99")
    assert count == len(before)
    assert 0 < len(one.splitlines()) < len(text.splitlines())
    sheet = tmp_path / "all.csv"
    sheet.write_text(text, "utf-8", newline="")
    with open_study(without_readings(demo_path, tmp_path / "fresh.sqlite")) as study:
        import_readings(study, sheet, signature=later, answers={"unusual": "as typed"})
        after = all_in_force(study)
        assert {key: bits(reading) for key, reading in after.items()} == {k: bits(r) for k, r in before.items()}
        again = {e.key: repr(analysed(e).estimate) for e in gather_evidence(study)}
        assert exported_readings(study)[0] == text
        sheet.write_text(text + "\n", "utf-8", newline="")  # other bytes, the same rows
        once_more = import_file(study, sheet.rename(tmp_path / "copy.csv"), signature=later)
        assert once_more.passed[0].startswith(f"{count} readings are in the study already, with the same values")
        assert all_in_force(study) == after
    assert again == estimates


NUMBER = st.floats(0.006, 190, allow_nan=False).map(repr)
PERCENT = st.floats(0, 100, allow_nan=False).map(repr)
TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=30)
LAB = st.tuples(st.floats(0, 100).map(repr), st.floats(-90, 90).map(repr), st.floats(-90, 90).map(repr))


@st.composite
def rows(draw: st.DrawFn) -> dict[str, str]:
    """One coupon as a bench may type it: bounds, doubtful grades, shares, spots, circumstances, any note."""
    row = {
        "removal_force": draw(st.sampled_from(["", "<", ">"])) + draw(NUMBER),
        "force_unit": draw(st.sampled_from(["N", "gf", "lbf", "kgf"])),
    }
    row |= draw(
        st.sampled_from(
            [
                {},
                {"failure_pattern": "AF", "side": "mount"},
                {"failure_pattern": "CF 60.25 object; AF 39.75 mount"},
                {"failure_pattern": "thin film", "side": "both"},
            ]
        )
    )
    row["residue_grade"] = draw(st.sampled_from(["", "0", "2", "3-4"]))
    if row["residue_grade"]:
        row |= {
            "residue_area_percent": draw(PERCENT),
            "residue_flags": draw(st.sampled_from(["", "ghost", "stain loss"])),
        }
        row["residue_aids"] = draw(st.sampled_from(["", "bare eye", "10x; UV-A"]))
        row |= draw(st.sampled_from([{}, {"residue_second": "3", "second_rater": "M. Quill"}]))
    for side in draw(st.sets(st.sampled_from(["before", "after"]))):
        spots = draw(st.lists(LAB, min_size=1, max_size=3))
        row |= {f"{axis}_{side}": "; ".join(spot[n] for spot in spots) for n, axis in enumerate("Lab")}
        row |= {"illuminant": "D65", "observer_deg": draw(st.sampled_from(["", "10"]))}
    if not any(name.startswith("L_") for name in row):
        row.pop("illuminant", None)
    row |= {"temperature_c": draw(st.sampled_from(["", "21.5", "-0.1"])), "note": draw(TEXT), "read_by": draw(TEXT)}
    return row


@settings(
    max_examples=40, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(st.lists(rows(), min_size=1, max_size=3))
def test_any_table_of_readings_comes_back_to_the_last_bit(
    study_path: Path, tmp_path: Path, signature: Signature, typed: list[dict[str, str]]
) -> None:
    """Typed, exported, imported into the same coupons, exported: the same numbers, the same text."""
    path = Path(shutil.copy(study_path, tmp_path / "typed.sqlite"))
    answers = {"unusual": "as typed"}
    with open_study(path) as study:
        codes = [c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot"][: len(typed)]
        record_pulls(study, codes, kind="pulled", on=date(2025, 4, 15), signature=signature)
        given_rows = [{"coupon": code, **row} for code, row in zip(codes, typed, strict=True)]
        record_readings(study, given_rows, read_on=date(2025, 4, 16), signature=signature, answers=answers)
        before, text = all_in_force(study), exported_readings(study)[0]
    sheet = tmp_path / "out.csv"
    sheet.write_text(text, "utf-8", newline="")
    with open_study(without_readings(path, tmp_path / "fresh.sqlite")) as study:
        import_readings(study, sheet, signature=signature, answers=answers)
        assert {k: bits(r) for k, r in all_in_force(study).items()} == {k: bits(r) for k, r in before.items()}
        assert exported_readings(study)[0] == text
    with open_study(path) as study:
        done = import_file(study, sheet, signature=signature)
        assert (done.readings, all_in_force(study)) == ((), before)
        assert len(done.passed) == 1  # no circumstance is told to be otherwise


def test_templates_carry_the_coupons_of_a_pull_and_the_columns_it_reads(study: StudyFile) -> None:
    """Six coupons of one pull with force and angle; unknown names are refused; the wide one has every head."""
    made = list(csv.DictReader(io.StringIO(reading_template(study, set_key="sheet", pull="3 months"))))
    assert len(made) == 6
    assert set(made[0]) >= {"coupon", "read_on", "removal_force", "hold_angle_deg", "note"}
    assert {row["coupon"] for row in made} <= set(fetch_coupons(study))
    with pytest.raises(Unknown, match="not a coupon set"):
        reading_template(study, set_key="x")
    with pytest.raises(Unknown, match="3 months"):
        reading_template(study, set_key="sheet", pull="5 months")
    assert study_template().startswith("coupon,adhesive,")


def test_an_export_read_back_into_its_own_study_doubles_nothing(
    study: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Every reading is told to be there already and stays the one it was, looks in place and notes with it."""
    code = next(c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot")
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    record_readings(study, [{"coupon": code, "residue_grade": "2"}], read_on=date(2025, 4, 16), signature=signature)
    sheet = tmp_path / "out.csv"
    sheet.write_text(exported_readings(study)[0], "utf-8", newline="")
    before = all_in_force(study)
    done = import_file(study, sheet, signature=signature)
    assert (done.readings, done.corrected) == ((), ())
    assert done.passed == ("1 reading is in the study already, with the same value; 0 are new.",)
    assert all_in_force(study) == before
    with pytest.raises(NotPossible):
        import_file(study, sheet, signature=signature)


def test_flags_go_out_and_stay_on_their_readings(
    study: StudyFile, study_path: Path, tmp_path: Path, signature: Signature
) -> None:
    """A gauge past calibration and a warm room stand in the export, each behind its reading, and come back with it."""
    code = next(c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot")
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    register_instrument(study, {"instrument": "gauge-1", "name": "gauge", "measures": "force"}, signature=signature)
    days = {"instrument": "gauge-1", "calibrated_on": "2023-01-01", "valid_until": "2024-01-01"}
    number = record_calibration(study, days, signature=signature).number
    row = {
        "coupon": code,
        "removal_force": "5.1 N",
        "residue_grade": "1",
        "instrument": "gauge-1",
        "temperature_c": "31",
    }
    record_readings(study, [row], read_on=date(2025, 4, 16), signature=signature)
    text = exported_readings(study)[0]
    (out,) = csv.DictReader(io.StringIO(text))
    room = "read at 31 °C, outside 18 to 25 °C"
    assert out["kept_flags"] == (
        "removal_force: gauge-1 was past calibration: valid until 2024-01-01 | "
        f"removal_force: {room} | residue_grade: {room}"
    )
    # Calibrated after all, so that nothing would flag it anew: what was flagged stays so.
    supersede_calibration(study, number, {"valid_until": "2026-01-01"}, signature=signature)
    sheet = tmp_path / "out.csv"
    sheet.write_text(text, "utf-8", newline="")
    with open_study(without_readings(study_path, tmp_path / "fresh.sqlite")) as fresh:
        import_readings(fresh, sheet, signature=signature)
        marks = {key: reading.details.marks for (_, key), reading in all_in_force(fresh).items()}
    assert set(marks["removal_force"]) == {"gauge-1 was past calibration: valid until 2024-01-01", room}
    assert marks["residue_grade"] == (room,)
    other = without_readings(study_path, tmp_path / "other.sqlite")
    for wrong, words in (("| hold_angle: read at", "flag of no reading"), ("| residue_grade: best", "never set")):
        sheet.write_text(text.replace("| residue_grade: read at", wrong), "utf-8", newline="")
        with open_study(other) as fresh, pytest.raises(FileRefused, match=words):
            import_readings(fresh, sheet, signature=signature)


def test_an_export_saved_again_by_a_spreadsheet_of_decimal_commas_is_the_same(
    study: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Days and numbers rewritten, cells of several spots left alone, flags kept; known readings are passed over."""
    codes = [c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot"][:2]
    record_pulls(study, codes, kind="pulled", on=date(2025, 4, 15), signature=signature)
    spots = {"L_after": "82.1; 82.3; 82.0", "a_after": "0.4; 0.5; 0.4", "b_after": "3.1; 3.0; 3.1"}
    typed = [
        {"coupon": codes[0], "removal_force": "5.12", "force_unit": "N", "temperature_c": "30.5", **spots},
        {"coupon": codes[1], "removal_force": ">50", "force_unit": "N", "residue_grade": "3-4"},
    ]
    record_readings(study, typed, read_on=date(2025, 4, 16), signature=signature)
    text, before = exported_readings(study)[0], all_in_force(study)
    table = list(csv.reader(io.StringIO(text, newline="")))
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=";").writerows([[_german(cell) for cell in row] for row in table])
    german = tmp_path / "german.csv"
    german.write_text(out.getvalue(), "utf-8-sig", newline="")
    fresh = without_readings(Path(study.path), tmp_path / "fresh.sqlite")
    with open_study(fresh) as other:
        import_file(other, german, signature=signature)
        assert {k: bits(r) for k, r in all_in_force(other).items()} == {k: bits(r) for k, r in before.items()}
        assert exported_readings(other)[0] == text
    more = tmp_path / "more.csv"
    head = table[0]
    table[1][head.index("kept_flags")] += " | residue_grade: read at 30.5 °C, outside 18 to 25 °C"
    columns = [*head, "residue_grade"] if "residue_grade" not in head else head
    table[1][columns.index("residue_grade")] = "1"
    out = io.StringIO(newline="")
    csv.writer(out).writerows(table)
    more.write_text(out.getvalue(), "utf-8", newline="")
    assert len(import_file(study, more, signature=signature).readings) == 1


def _german(cell: str) -> str:
    """A cell as a spreadsheet set to German shows and saves it."""
    try:
        return date.fromisoformat(cell).strftime("%d.%m.%Y")
    except ValueError:
        number = cell.removeprefix(">").removeprefix("<")
        return cell.replace(".", ",") if number.replace(".", "", 1).isdigit() else cell
