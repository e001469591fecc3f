"""Tables from files: what is no table is refused in words."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from study.errors import FileRefused
from study.intake.table_file import parse_table


def table(tmp_path: Path, content: bytes | str) -> Path:
    path = tmp_path / "sheet.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b"\xff\xfe\x00c\x00o", "not a UTF-8 text file"),
        (b"PK\x03\x04\x00\x00", "not a UTF-8 text file"),
        (b"coupon,on\n", "has a header and no rows"),
        (b"coupon\nA\n", "on: column is missing"),
        (b"coupon,on,ona\nA,1,2\n", "Did you mean on?"),
        (b"coupon,on,on\nA,1,2\n", "stands twice"),
        (b"coupon,on\nA,1,5\n", "has 3 cells where the header has 2"),
        (b'coupon,on\n"A,1\n', "not readable as a table"),
    ],
)
def test_what_is_no_table_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    """Each refusal names the file and what to do."""
    with pytest.raises(FileRefused) as refusal:
        parse_table(table(tmp_path, content), required=("coupon", "on"))
    assert words in str(refusal.value)
    assert refusal.value.file == "sheet.csv"
    assert all(problem.do for problem in refusal.value.problems)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("start", ["", "\ufeff"])
def test_separators_and_byte_order_marks_do_not_matter(tmp_path: Path, separator: str, start: str) -> None:
    """A sheet saved with commas, semicolons or tabs reads the same."""
    text = start + f"coupon{separator}on\r\n A {separator}2026-01-01\r\n\r\nB{separator}\r\n"
    found = parse_table(table(tmp_path, text), required=("coupon", "on"))
    assert [(row.number, row.cells) for row in found.rows] == [
        (2, {"coupon": "A", "on": "2026-01-01"}),
        (4, {"coupon": "B", "on": ""}),
    ]


def test_a_workbook_reads_like_a_text_file(tmp_path: Path) -> None:
    """Cells coloured and left blank to the right and below are no columns and no rows; numbers come as typed."""
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for row in (["coupon", "on", None], ["A", 1.5, None], [None, None, None], ["B", 2, None]):
        page.append(row)
    page["D9"].fill = openpyxl.styles.PatternFill("solid", fgColor="FFFF00")
    path = tmp_path / "sheet.xlsx"
    book.save(path)
    found = parse_table(path, required=("coupon", "on"))
    assert found.columns == ("coupon", "on")
    assert [(row.number, row.cells["on"]) for row in found.rows] == [(2, "1.5"), (4, "2")]


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    """A file that is not there is a refusal, not a crash."""
    with pytest.raises(FileRefused, match="cannot be read"):
        parse_table(tmp_path / "none.csv", required=("coupon",))


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=300))
def test_any_bytes_give_a_table_or_a_refusal(tmp_path: Path, content: bytes) -> None:
    """Whatever lies in the file, a person gets a table or a sentence."""
    try:
        found = len(parse_table(table(tmp_path, content), required=("coupon",), optional=("on",)).rows)
    except FileRefused as refusal:
        found = len(refusal.problems)
    assert found
