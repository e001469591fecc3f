"""Exported CSV: nothing in it runs in a spreadsheet, numbers stay numbers, and our own reading gives back the same."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from study.intake.sheet_source import source_of, unescaped
from study.intake.understanding import understand
from study.outputs.safe_csv import csv_text

TEXT = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\0"), max_size=30)
RISKY = st.builds("{}{}".format, st.sampled_from(["=", "+", "-", "@", "\t", "\r", "'", "'=", "''-", ">", "-0."]), TEXT)


def written(typed: str) -> str:
    """What stands in the file for one cell."""
    return list(csv.reader(io.StringIO(csv_text(["a"], [[typed]]), newline="")))[1][0]


@pytest.mark.parametrize("typed", ["-0.5", "+5.1", "5.1", "1E+02", "-1,5", ">50", "<0.05", "3-4", "", "A7K4-M", "'tis"])
def test_values_are_not_touched(typed: str) -> None:
    """Numbers, bounds, grades and codes go out as they are."""
    assert written(typed) == typed


@pytest.mark.parametrize("typed", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "'=1", "−=", "-", "--", "-0.5 N"])
def test_formula_looking_text_is_kept_from_running(typed: str) -> None:
    """One apostrophe in front, except where the sign is none that a spreadsheet runs."""
    assert written(typed) == (f"'{typed}" if typed[0] != "−" else typed)
    assert unescaped(written(typed)) == typed


def test_rows_may_be_mappings_and_none_is_blank() -> None:
    """A mapping fills the columns it names."""
    assert csv_text(["a", "b"], [{"b": 2.5, "a": None}, ["x", "y"]]) == "a,b\r\n,2.5\r\nx,y\r\n"


@given(st.lists(st.lists(TEXT | RISKY, min_size=3, max_size=3), min_size=1, max_size=6))
@settings(max_examples=300)
def test_no_cell_that_is_no_number_begins_with_a_sign_that_runs(rows: list[list[str]]) -> None:
    """Whatever is exported."""
    for row in list(csv.reader(io.StringIO(csv_text(["a", "b", "c"], rows), newline="")))[1:]:
        for cell in row:
            if cell[:1] in tuple("=+-@\t\r"):
                float(cell.replace(",", "."))  # raises on text


@given(st.lists(st.lists(TEXT | RISKY, min_size=3, max_size=3), min_size=1, max_size=6))
@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_our_reading_gives_back_what_was_exported(tmp_path: Path, rows: list[list[str]]) -> None:
    """Cell by cell, with quotes, separators, line breaks and apostrophes of any number."""
    path = tmp_path / "export.csv"
    clean = [[cell if all(c.isprintable() or c in "\t\r\n" for c in cell) else "x" for cell in row] for row in rows]
    path.write_text(csv_text(["coupon", "read_on", "note"], clean), encoding="utf-8", newline="")
    lines = source_of(path, separator=",").sheets[0].lines
    assert lines == [["coupon", "read_on", "note"], *clean]


@given(st.lists(TEXT.map(str.strip) | RISKY.map(str.strip), min_size=1, max_size=5))
@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_notes_and_forces_come_back_through_the_whole_way(tmp_path: Path, notes: list[str]) -> None:
    """A sheet of readings written by us and understood again: notes and forces are the same."""
    notes = [note if note.isprintable() else "x" for note in notes]
    rows = [[f"AB-{n:03}", "2025-03-01", f"-{n}.5", "N", f"n{n}"] for n in range(len(notes))]
    for row, note in zip(rows, notes, strict=True):
        row[-1] = note
    path = tmp_path / "export.csv"
    columns = ["coupon", "read_on", "removal_force", "force_unit", "note"]
    path.write_text(csv_text(columns, rows), encoding="utf-8", newline="")
    found = understand(path)
    assert [[row.cells[column] for column in columns] for row in found.table.rows] == rows
