"""Readings of several times beside each other: a column a time becomes a row a time, and nothing is read twice."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from study.intake.understanding import Understood, understand


def written(folder: Path, *lines: str) -> Path:
    path = folder / "sheet.csv"
    path.write_text("".join(f"{line}\n" for line in lines), "utf-8")
    return path


def rows(found: Understood, *columns: str) -> list[tuple[str, ...]]:
    return [tuple(row.cells.get(column, "") for column in columns) for row in found.table.rows]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("Force 3 mo (N)", "Force 12 mo (N)"),
        ("3 months Force (N)", "12 months Force (N)"),
        ("Force (N) after 3 mo", "Force (N) after 12 mo"),
        ("Force [N] @ 13 weeks", "Force [N] @ 1 year"),
    ],
)
def test_a_span_in_a_heading_becomes_the_time_of_its_row(tmp_path: Path, first: str, second: str) -> None:
    """Each coupon keeps one row for every time at which something was read on it."""
    path = written(tmp_path, f"Coupon;Placed on;{first};{second};Note", "A-1;2024-01-15;5.1;;x", "A-2;2024-01-15;;6.2;",
                   "A-3;2024-01-15;;;")  # fmt: skip
    found = understand(path, wide=True, answers={"column for read_on": "2025-01-15"})
    assert [(c, f) for c, f, _ in rows(found, "coupon", "removal_force", "read_at")] == [
        ("A-1", "5.1"), ("A-2", "6.2"), ("A-3", ""),
    ]  # fmt: skip
    times = [at for (at,) in rows(found, "read_at")]
    assert "" not in times[:2]
    assert times[0] != times[1]
    assert times[2] == ""
    assert [row.number for row in found.table.rows] == [2, 3, 4]
    assert any("readings of 2 times" in note for note in found.notes)


def test_a_day_in_a_heading_is_the_day_of_reading_and_what_was_read_once_keeps_its_own(tmp_path: Path) -> None:
    """Looks by their days, one force by the sheet's date; the force stands in one row alone."""
    looks = ",".join(f"{axis}* {day}" for day in ("2024-04-15", "2024-07-15") for axis in "Lab")
    path = written(
        tmp_path, f"Coupon,Date,Force (N),{looks}", "A-1,2025-01-16,5.1,82,1,3,81,1,4", "A-2,2025-01-16,5.2,,,,80,1,4",
    )  # fmt: skip
    found = understand(path, answers={"colour": "in place"})
    assert not found.questions
    assert rows(found, "coupon", "read_on", "removal_force", "L_look") == [
        ("A-1", "2025-01-16", "5.1", ""), ("A-1", "2024-04-15", "", "82"), ("A-1", "2024-07-15", "", "81"),
        ("A-2", "2025-01-16", "5.2", ""), ("A-2", "2024-07-15", "", "80"),
    ]  # fmt: skip


def test_groups_over_blanks_name_the_columns_below_them(tmp_path: Path) -> None:
    """“3 months” merged over L*, a*, b* in a workbook; a text number in a parted row keeps its comma."""
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append(["Coupon", "Placed on", "Before", "", "", "3 months", "", "", "6 months", "", ""])
    page.append(["", "", *["L*", "a*", "b*"] * 3])
    page.append(["A-1", "2024-01-15", 82, 1, 3, 81.5, 1, "3,5", 81, 1, 4])
    path = tmp_path / "book.xlsx"
    book.save(path)
    found = understand(path, wide=True, answers={"colour": "in place", "column for read_on": "2025-01-15"})
    assert rows(found, "L_before", "L_look", "b_look", "read_at") == [
        ("82", "", "", ""), ("", "81.5", "3.5", "3 months"), ("", "81", "4", "6 months"),
    ]  # fmt: skip


def test_the_same_reading_at_two_times_is_asked_about(tmp_path: Path) -> None:
    """A coupon is pulled once: two forces of one coupon are no two pulls."""
    path = written(tmp_path, "Coupon;Date 3 mo;Force 3 mo (N);Date 12 mo;Force 12 mo (N)",
                   "A-1;2024-04-15;5.1;2025-01-15;6.2")  # fmt: skip
    assert [question.key for question in understand(path).questions] == ["repeats"]


@pytest.mark.parametrize(
    "head",
    ["Coupon;Date;Force (N);Residue 0-5;Residue 2", "Coupon;Date;Force 3 mo (N);Residue;Note",
     "Coupon;Date;Force (N);Dwell 3 months;Dwell 6 months", "Coupon;Date;Force (N);Check 3 mo;Check 6 mo"],
)  # fmt: skip
def test_numbers_in_headings_that_are_no_times_of_readings_part_nothing(tmp_path: Path, head: str) -> None:
    """Scales, raters, a single time, columns that hold no readings."""
    found = understand(written(tmp_path, head, "A-1;2025-01-15;5.1;1;2"))
    assert not any("readings of" in note for note in found.notes)
    assert len(found.table.rows) == 1
