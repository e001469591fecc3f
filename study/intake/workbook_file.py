"""Workbooks: the sheets of an .xlsx file as lines of text, behind a guard against swollen archives."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from study.errors import FileRefused, Problem

LARGEST_UNPACKED_BYTES = 300_000_000
LARGEST_RATIO = 200
LARGEST_OTHER_PART_BYTES = 60_000_000
"""Of a part that is no sheet, such as the strings that sheets share."""
LONGEST_MARK_BYTES = 4_000_000
"""Without an opening < in a part: a longer comment or text costs the parser time that grows with its square."""
MOST_ENTRIES = 2000
MOST_ROWS = 1_048_576
MOST_COLUMNS = 500
MOST_CELLS = 4_000_000
MOST_CHARACTERS = 100_000_000

_ROW = re.compile(rb"<(?:\w+:)?row\b[^>]{0,2000}>")
_HIDDEN = re.compile(rb'\bhidden="(?:1|true)"')
_NUMBER = re.compile(rb'\br="(\d{1,7})"')
_COLUMN = re.compile(rb"<(?:\w+:)?col\b[^>]{0,500}>")
_SPAN = re.compile(rb'\b(min|max)="(\d{1,5})"')
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\b[^>]{0,200}\bref="([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})"')
_FILTER = re.compile(rb"<(?:\w+:)?filterColumn\b")
_NUMBERISH = re.compile(r"[^\w]{0,4}\d[\d.,' \u00a0\u202f\u2009]{0,30}")
_MOST_MARKS = 100_000


@dataclass
class BookSheet:
    """One sheet: its lines of cells, and what a person would see on the screen and a table would lose."""

    name: str
    lines: list[list[str]] = field(repr=False)
    date_system: str = ""
    """1900 or 1904 for a workbook."""
    hidden_rows: tuple[int, ...] = ()
    hidden_columns: tuple[int, ...] = ()
    """Counted from 1."""
    filtered: bool = False
    merged: tuple[tuple[int, int, int, int], ...] = ()
    """First row, last row, first column, last column, counted from 1."""
    hidden: bool = False
    text_numbers: frozenset[tuple[int, int]] | None = None
    """Row and column, from 1, of numbers with a comma or point that are typed as text: a number of the workbook itself
    has no decimal sign. None for a text file, and where there are too many to keep."""


def workbook_lines(path: Path, raw: bytes) -> list[list[str]]:
    """Cells of the first sheet as a person would type them; formulas give the value last saved.

    Raises
    ------
    FileRefused
        If it is no workbook, or unpacks to far more than it weighs.
    """
    return _sheets(path, raw, first_only=True)[0].lines


def workbook_sheets(path: Path, raw: bytes) -> list[BookSheet]:
    """Every sheet with something in it, with hidden rows, merged cells and the system its dates count in.

    Raises
    ------
    FileRefused
        As for the first sheet; also if there is nothing in any.
    """
    sheets = [sheet for sheet in _sheets(path, raw, first_only=False) if sheet.lines]
    if not sheets:
        raise refused_whole(path, "is empty.", "Save the table again and check that rows are in it.")
    return sheets


def _sheets(path: Path, raw: bytes, *, first_only: bool) -> list[BookSheet]:
    _guard(path, raw)
    from openpyxl import load_workbook
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of styles and extensions, which carry no data
            book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
            sheets = []
            budget = _Budget(path)
            for sheet in book.worksheets[:1] if first_only else book.worksheets:
                sheet.reset_dimensions()  # some writers state a wrong extent
                typed: set[tuple[int, int]] = set()
                found = BookSheet(
                    sheet.title,
                    _lines(sheet.iter_rows(values_only=True), budget, typed),
                    date_system="1904" if book.epoch == CALENDAR_MAC_1904 else "1900",
                    hidden=sheet.sheet_state != "visible",
                )
                found.text_numbers = frozenset(typed) if len(typed) < _MOST_MARKS else None
                if not first_only and found.lines:
                    _seen(found, raw, sheet)
                sheets.append(found)
            book.close()
    except FileRefused:
        raise
    except Exception as fault:  # whatever a damaged part raises, the person needs the same sentence
        raise refused_whole(path, f"is not a readable workbook ({type(fault).__name__}).", "Save it again.") from None
    if not sheets:
        raise refused_whole(path, "has no sheet of cells.", "Save the table again and check that rows are in it.")
    return sheets


class _Budget:
    """What all sheets of a file may hold together, so that a small file cannot fill the memory."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.cells = 0
        self.characters = 0

    def spend(self, rows: int, cells: list[str]) -> None:
        self.cells += len(cells) or 1
        self.characters += sum(map(len, cells))
        if self.cells > MOST_CELLS or self.characters > MOST_CHARACTERS or rows > MOST_ROWS:
            raise refused_whole(self.path, "holds more cells than a table needs.", "Split it.")
        if len(cells) > MOST_COLUMNS:
            raise refused_whole(
                self.path, f"has more than {MOST_COLUMNS} columns.", "Save only the columns with readings."
            )


def _lines(rows: Iterable[tuple[Any, ...]], budget: _Budget, typed: set[tuple[int, int]]) -> list[list[str]]:
    lines: list[list[str]] = []
    for number, row in enumerate(rows, start=1):
        cells = [cell if type(cell) is str else _typed(cell) for cell in row] if row else []
        for column, cell in enumerate(row or (), start=1):
            marked = type(cell) is str and ("," in cell or "." in cell)
            if marked and len(typed) < _MOST_MARKS and _NUMBERISH.match(cell):
                typed.add((number, column))
        while cells and not cells[-1]:
            cells.pop()
        if cells:
            lines += [[] for _ in range(number - 1 - len(lines))]
            lines.append(cells)
        if cells or number > MOST_ROWS:
            budget.spend(number, cells)
    return lines


def _seen(found: BookSheet, raw: bytes, sheet: Any) -> None:
    """Hidden rows and merged cells stand in the sheet's part; the row-by-row reader passes them over."""
    name = getattr(sheet, "_worksheet_path", "")
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        if name not in archive.namelist():
            return
        part = archive.read(name)
    hidden, number = [], 0
    for match in _ROW.finditer(part) if _HIDDEN.search(part) else ():
        told = _NUMBER.search(match[0])
        number = int(told[1]) if told else number + 1
        if _HIDDEN.search(match[0]) and number <= len(found.lines) and found.lines[number - 1]:
            hidden.append(number)
    found.hidden_rows = tuple(hidden[:_MOST_MARKS])
    columns: list[int] = []
    for match in _COLUMN.finditer(part):
        span = {key: int(value) for key, value in _SPAN.findall(match[0])}
        if _HIDDEN.search(match[0]) and b"min" in span:
            columns += range(span[b"min"], min(span.get(b"max", span[b"min"]), MOST_COLUMNS) + 1)
    found.hidden_columns = tuple(columns[:MOST_COLUMNS])
    found.filtered = bool(_FILTER.search(part))
    found.merged = tuple(
        (int(m[2]), int(m[4]), _place(m[1]), _place(m[3]))
        for m, _ in zip(_MERGED.finditer(part), range(_MOST_MARKS), strict=False)
    )


def _place(letters: bytes) -> int:
    place = 0
    for letter in letters:
        place = place * 26 + letter - 64
    return place


def _guard(path: Path, raw: bytes) -> None:
    try:
        archive = zipfile.ZipFile(io.BytesIO(raw))
        entries = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, EOFError, OSError):
        raise refused_whole(path, "is not a workbook.", "Save it as .xlsx, or as “CSV UTF-8”.") from None
    unpacked = sum(entry.file_size for entry in entries)
    other = max((entry.file_size for entry in entries if "worksheets/" not in entry.filename), default=0)
    if (
        len(entries) > MOST_ENTRIES
        or other > LARGEST_OTHER_PART_BYTES
        or unpacked > min(LARGEST_UNPACKED_BYTES, LARGEST_RATIO * max(len(raw), 1))
    ):
        raise refused_whole(path, "unpacks to far more than a table needs.", "Save the one sheet as “CSV UTF-8”.")
    for entry in entries:
        if entry.file_size > LONGEST_MARK_BYTES and entry.filename.endswith(".xml") and _swollen(archive, entry):
            raise refused_whole(path, "holds a part that no spreadsheet writes.", "Save it again, or as “CSV UTF-8”.")


def _swollen(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bool:
    """Whether a large part holds a comment, or a stretch without a mark, that would keep the parser busy for hours."""
    run, tail = 0, b""
    try:
        with archive.open(entry) as part:
            while chunk := part.read(LONGEST_MARK_BYTES // 4):
                first, last = chunk.find(b"<"), chunk.rfind(b"<")
                if b"<!" in tail + chunk or run + max(first, 0) > LONGEST_MARK_BYTES:
                    return True
                run = run + len(chunk) if last < 0 else len(chunk) - last
                tail = chunk[-1:]
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError, EOFError, OSError, zlib.error):
        return False  # damaged: told as such where it is read
    return False


def _typed(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return (cell.date() if cell.time() == time.min else cell).isoformat()
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def refused_whole(path: Path, what: str, do: str) -> FileRefused:
    """The refusal of a whole file."""
    return FileRefused(path.name, [Problem(0, "", "", what, do)])
