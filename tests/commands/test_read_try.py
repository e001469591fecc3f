"""Read, tried: checked and judged while it is typed, without a line in the study file."""

from __future__ import annotations

from datetime import date

import pytest

from study.commands.pull import record_pulls
from study.commands.read import record_reading, record_readings
from study.commands.read_form import coupon_form
from study.commands.read_grid import next_of_pull, pull_grid, waiting_pulls
from study.commands.read_try import Tried, TriedRows, try_reading, try_rows
from study.commands.register_instruments import record_calibration, register_instrument
from study.errors import FileRefused, Unknown
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.readings import fetch_in_force
from study.store.study_file import StudyFile

PULLED, READ = date(2025, 4, 15), date(2025, 4, 16)


@pytest.fixture
def tiles(study: StudyFile, signature: Signature) -> list[str]:
    """Dot coupons of the glazed tile destined to the pull at 3 months; all three are pulled."""
    codes = [
        c.code for c in fetch_coupons(study).values()
        if (c.set_key, c.test, c.pull_label) == ("tile", "pull-off-dot", "3 months")
    ]  # fmt: skip
    record_pulls(study, codes, kind="pulled", on=PULLED, signature=signature)
    return codes


def tried(study: StudyFile, code: str, signature: Signature, **typed: str) -> Tried:
    return try_reading(study, code, typed, read_on=READ, signature=signature)


def test_trying_judges_and_writes_nothing(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """What trying says is what saving says, and nothing is on file in between."""
    before = study.last_change()
    found = tried(study, tiles[0], signature, removal_force="5.1 N", residue_grade="3")
    assert study.last_change() == before
    assert fetch_in_force(study, tiles[0]) == {}
    cells = {"removal_force": "5.1 N", "residue_grade": "3"}
    assert list(found.words) == record_reading(study, tiles[0], cells, read_on=READ, signature=signature)


def test_a_wrong_cell_keeps_no_other_from_being_judged(
    study: StudyFile, tiles: list[str], signature: Signature
) -> None:
    """A unit half typed is told at its column; the residue beside it is judged all the same."""
    found = tried(study, tiles[0], signature, removal_force="5.1 kg f x", residue_grade="5")
    assert [problem.column for problem in found.problems] == ["removal_force"]
    assert [word.unacceptable for word in found.words if word.criterion == "Residue"] == [True]
    assert [word.unacceptable for word in found.words if word.criterion == "Removal force"] == [None]


def test_the_conversion_is_said(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """0.52 kgf is 5.0995 N by standard gravity 9.80665 m/s² [unit-definitions]; a bare kg is read as a weight."""
    said = tried(study, tiles[0], signature, removal_force="0.52", force_unit="kgf").said
    assert said["removal_force"] == "0.52 kgf × 9.80665 N/kgf = 5.0995 N per dot."
    assert "not as a mass" in tried(study, tiles[0], signature, removal_force="0.52 kg").said["removal_force"]
    assert "removal_force" not in tried(study, tiles[0], signature, removal_force="5.1 N").said


def test_which_grade_counts_is_said(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """12 % of the footprint is grade 3 of our scale: worse than 1 by sight, better than 4."""
    words = {
        sight: tried(study, tiles[0], signature, residue_grade=sight, residue_area_percent="12").said
        for sight in ("1", "3", "4")
    }
    assert words["1"]["residue_area_percent"] == "By area it is grade 3: that counts, not 1 by sight."
    assert words["3"]["residue_area_percent"] == "By area it is grade 3 too."
    assert words["4"]["residue_area_percent"].endswith("4 by sight is worse and counts.")


def test_shares_are_added_up(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """A sum short of the whole dot is told with its number; a whole one with its parts."""
    short = tried(study, tiles[0], signature, failure_pattern="CF 60 object; AF 30 mount")
    assert [problem.what for problem in short.problems] == ["adds up to 90 %."]
    whole = tried(study, tiles[0], signature, failure_pattern="CF 60 object; AF 40 mount")
    assert whole.said["failure_pattern"].endswith("Together 100\u202f%.")


def test_flags_are_said_before_saving(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """An instrument past calibration marks the reading at once, and the mark stays when it is saved."""
    register_instrument(study, {"instrument": "gauge-1", "name": "Gauge", "measures": "force"}, signature=signature)
    days = {"instrument": "gauge-1", "calibrated_on": "2024-01-01", "valid_until": "2025-01-01"}
    record_calibration(study, days, signature=signature)
    mark = "gauge-1 was past calibration: valid until 2025-01-01"
    assert tried(study, tiles[0], signature, instrument="gauge-1").marks == (mark,)
    cells = {"removal_force": "5.1 N", "instrument": "gauge-1"}
    record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    assert fetch_in_force(study, tiles[0])["removal_force"].details.marks == (mark,)
    with pytest.raises(FileRefused, match="Did you mean gauge-1"):
        record_reading(
            study, tiles[1], {"removal_force": "5 N", "instrument": "guage-1"}, read_on=READ, signature=signature
        )


def test_what_would_be_asked_is_said(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """A force of 0 is asked about before it is saved, and trying says so."""
    assert "released by itself" in tried(study, tiles[0], signature, removal_force="0 N").unusual[0]


def test_a_filled_cell_says_who_filled_it(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """The second of two people is told what stands there, by whom and since when."""
    record_reading(study, tiles[0], {"residue_grade": "2"}, read_on=READ, signature=signature)
    with pytest.raises(FileRefused, match=r"already: “2”, entered by R\. Vale on 2026-03-02 at 09:30"):
        record_reading(study, tiles[0], {"residue_grade": "3"}, read_on=READ, signature=signature)


def test_rows_are_tried_together(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """Each problem names its row and column; clean rows have none, and nothing is written either way."""
    rows = [{"coupon": code, "residue_grade": grade} for code, grade in zip(tiles, ("1", "7", "0"), strict=True)]
    found = try_rows(study, rows, read_on=READ, signature=signature)
    assert [(problem.row, problem.column) for problem in found.problems] == [(2, "residue_grade")]
    rows[1]["residue_grade"] = "2"
    assert try_rows(study, rows, read_on=READ, signature=signature) == TriedRows()
    warm = [{**row, "temperature_c": "31,5"} for row in rows[:2]]
    marks = try_rows(study, [*warm, rows[2]], read_on=READ, signature=signature).marks
    assert marks == {"read at 31.5 °C, outside 18 to 25 °C": 2}
    assert all(fetch_in_force(study, code) == {} for code in tiles)


def test_the_next_coupon_of_a_pull_is_offered(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """In order of registration, round to the beginning, until nothing of the pull is unread."""
    order = [tiles[0], tiles[1], tiles[2]]
    assert [next_of_pull(study, code) for code in order] == [order[1], order[2], order[0]]
    full = {"removal_force": "5 N", "failure_pattern": "AF object", "residue_grade": "0"}
    full |= {f"{axis}_{when}": "80" if axis == "L" else "0" for axis in "Lab" for when in ("before", "after")}
    record_reading(study, order[1], full, read_on=READ, signature=signature)
    assert next_of_pull(study, order[0]) == order[2]
    for code in (order[0], order[2]):
        record_reading(study, code, full, read_on=READ, signature=signature)
    assert next_of_pull(study, order[0]) == ""


def test_a_grid_asks_the_union_and_greys_the_rest(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """Dot and hold-angle coupons of one pull stand in one grid; each takes only what its test asks."""
    angle = next(
        c.code for c in fetch_coupons(study).values()
        if (c.set_key, c.test, c.pull_label) == ("tile", "hold-angle", "3 months")
    )  # fmt: skip
    record_pulls(study, [angle], kind="pulled", on=PULLED, signature=signature)
    record_reading(study, tiles[0], {"residue_grade": "2", "residue_area_percent": "4"}, read_on=READ,
                   signature=signature)  # fmt: skip
    grid = pull_grid(study, set_key="tile", pull="3 months")
    rows = {row.coupon.code: row for row in grid.rows}
    assert set(rows) == {*tiles, angle}
    assert grid.waiting == 2
    columns = [field.kind for field in grid.fields]
    assert {"removal_force", "hold_angle_deg", "residue_grade"} <= set(columns)
    assert len(columns) == len(set(columns))
    assert "hold_angle_deg" in rows[angle].asked
    assert "hold_angle_deg" not in rows[tiles[1]].asked
    assert "removal_force" not in rows[angle].asked
    assert rows[tiles[0]].read == {"residue_grade": "2", "residue_area_percent": "4"}
    assert {row.coupon.code for row in pull_grid(study, on=PULLED).rows} == set(rows)
    (waiting,) = waiting_pulls(study)
    assert (waiting.set_key, waiting.pull, waiting.unread) == ("tile", "3 months", 4)


def test_a_pull_that_is_none_is_refused(study: StudyFile) -> None:
    """A set that is not there, and a pull without coupons, are told."""
    with pytest.raises(Unknown, match="is not a coupon set"):
        pull_grid(study, set_key="tyle", pull="3 months")
    with pytest.raises(Unknown, match="No coupon is on file"):
        pull_grid(study, set_key="tile", pull="7 months")


def test_a_form_offers_what_may_follow(study: StudyFile, tiles: list[str]) -> None:
    """How a colour was measured, a second rater and flags are optional; nothing awaited is."""
    form = coupon_form(study, tiles[0])
    optional = {field.kind for field in form.fields if field.optional}
    assert {"illuminant", "aperture_mm", "residue_second", "residue_flags", "cleaning_step"} <= optional
    assert optional.isdisjoint({"removal_force", "residue_grade", "L_after"})


def test_a_coupon_in_its_placement_takes_colours_alone(study: StudyFile, signature: Signature) -> None:
    """Before the pull nothing is read but the colour before; the form asks for nothing else."""
    code = next(c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot")
    form = coupon_form(study, code)
    assert form.in_place
    assert {field.kind for field in form.fields if not field.optional} <= {"L_before", "a_before", "b_before"}
    row = {"coupon": code, "L_before": "80", "a_before": "0", "b_before": "1"}
    record_readings(study, [row], read_on=READ, signature=signature)
    assert set(coupon_form(study, code).in_force) == {"colour_before"}
