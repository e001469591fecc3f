"""Workbooks: the first sheet of an .xlsx file as lines of text, behind a guard against swollen archives."""

from __future__ import annotations

import io
import warnings
import zipfile
from datetime import date, datetime
from pathlib import Path

from study.errors import FileRefused, Problem

LARGEST_UNPACKED_BYTES = 500_000_000
LARGEST_RATIO = 200
MOST_ENTRIES = 2000


def workbook_lines(path: Path, raw: bytes) -> list[list[str]]:
    """Cells of the first sheet as a person would type them; formulas give the value last saved.

    Raises
    ------
    FileRefused
        If it is no workbook, or unpacks to far more than it weighs.
    """
    _guard(path, raw)
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of styles and extensions, which carry no data
            book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
            sheet = book.worksheets[0]
            sheet.reset_dimensions()  # some writers state a wrong extent
            lines = [[_typed(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
            book.close()
    except Exception as fault:  # whatever a damaged part raises, the person needs the same sentence
        raise refused_whole(path, f"is not a readable workbook ({type(fault).__name__}).", "Save it again.") from None
    return lines


def _guard(path: Path, raw: bytes) -> None:
    try:
        entries = zipfile.ZipFile(io.BytesIO(raw)).infolist()
    except zipfile.BadZipFile:
        raise refused_whole(path, "is not a workbook.", "Save it as .xlsx, or as “CSV UTF-8”.") from None
    unpacked = sum(entry.file_size for entry in entries)
    if len(entries) > MOST_ENTRIES or unpacked > LARGEST_UNPACKED_BYTES or unpacked > LARGEST_RATIO * max(len(raw), 1):
        raise refused_whole(path, "unpacks to far more than a table needs.", "Save the one sheet as “CSV UTF-8”.")


def _typed(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return (cell.date() if cell.time() == datetime.min.time() else cell).isoformat()
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def refused_whole(path: Path, what: str, do: str) -> FileRefused:
    """The refusal of a whole file."""
    return FileRefused(path.name, [Problem(0, "", "", what, do)])
