"""Tables from text files: rows with their places, before anything is believed about them."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Collection
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from study.errors import FileRefused, Problem
from study.intake.workbook_file import refused_whole, workbook_lines

LARGEST_BYTES = 50_000_000
_SEPARATORS = ",;\t"


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as a spreadsheet counts it, and its cells stripped of outer spaces."""

    number: int
    cells: dict[str, str]

    def problem(self, column: str, what: str, do: str) -> Problem:
        """A problem in one of this row's cells."""
        return Problem(self.number, column, self.cells.get(column, ""), what, do)


@dataclass(frozen=True)
class Table:
    """A file's rows under its header."""

    file: str
    digest: str
    """SHA-256 of the bytes."""
    columns: tuple[str, ...]
    rows: tuple[Row, ...] = field(repr=False)


def parse_table(
    path: Path, *, required: Collection[str], optional: Collection[str] = (), others: bool = False
) -> Table:
    """The table in a UTF-8 text file separated by comma, semicolon or tab, or on the first sheet of a workbook.

    Parameters
    ----------
    path : Path
        The file, at most 50 MB; a name that ends in .xlsx is read as a workbook.
    required, optional : collection of str
        Column names, as in the header. A column that is neither is refused, not passed over.
    others : bool
        Columns besides those are let be, even blank ones and several of one name.

    Raises
    ------
    FileRefused
        If it is not there, not text, empty, or its header or rows do not fit; every fault at once.
    """
    raw = file_bytes(path)
    lines = workbook_lines(path, raw) if path.suffix.lower() == ".xlsx" else _text_lines(path, raw)
    numbered = [(number, line) for number, line in enumerate(lines, start=1) if any(cell.strip() for cell in line)]
    if not numbered:
        raise refused_whole(path, "is empty.", "Save the table again and check that rows are in it.")
    head_row, head = numbered[0]
    columns = tuple(cell.strip() for cell in head)
    problems = _header_problems(columns, head_row, required, optional, others)
    rows = []
    for number, line in numbered[1:]:
        if len(line) > len(columns) and any(cell.strip() for cell in line[len(columns) :]):
            what = f"has {len(line)} cells where the header has {len(columns)}."
            problems.append(
                Problem(
                    number, "", "", what, "Put text that contains the separator in quotes; write decimals with a point."
                )
            )
        cells = [cell.strip() for cell in line] + [""] * (len(columns) - len(line))
        rows.append(Row(number, dict(zip(columns, cells, strict=False))))
    if not rows and not problems:
        problems.append(Problem(0, "", "", "has a header and no rows.", "Add rows below the header."))
    if problems:
        raise FileRefused(path.name, problems)
    return Table(path.name, hashlib.sha256(raw).hexdigest(), columns, tuple(rows))


def _header_problems(
    columns: tuple[str, ...], row: int, required: Collection[str], optional: Collection[str], others: bool
) -> list[Problem]:
    known = [*required, *optional]
    problems = [
        Problem(row, name, "", "column is missing.", f"The header has: {', '.join(columns)}.")
        for name in required
        if name not in columns
    ]
    for name in dict.fromkeys(columns):
        if columns.count(name) > 1 and (name in known or not others):
            problems.append(Problem(row, name, "", "column stands twice.", "Keep one of them."))
        if name not in known and not others:
            near = get_close_matches(name, known, n=1, cutoff=0.6)
            do = f"Did you mean {near[0]}?" if near else f"Known columns: {', '.join(known)}."
            problems.append(Problem(row, name, "", "column is not known.", do))
    return problems


def _text_lines(path: Path, raw: bytes) -> list[list[str]]:
    text = _decoded(path, raw)
    header, _, _ = text.lstrip("\n").partition("\n")
    separator = max(_SEPARATORS, key=header.count)
    try:
        return list(csv.reader(io.StringIO(text), delimiter=separator, strict=True))
    except csv.Error as fault:
        raise refused_whole(path, f"is not readable as a table: {fault}.", "Save it again as CSV.") from None


def file_bytes(path: Path) -> bytes:
    """The bytes of a file of at most 50 MB; FileRefused if it cannot be read."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise refused_whole(path, "is larger than 50 MB.", "Split it.")
        return path.read_bytes()
    except OSError as fault:
        raise refused_whole(path, f"cannot be read: {fault.strerror}.", "Check the name and the folder.") from None


def _decoded(path: Path, raw: bytes) -> str:
    if not raw.strip():
        raise refused_whole(path, "is empty.", "Save the table again and check that rows are in it.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise refused_whole(path, "is not a UTF-8 text file.", "Save the sheet as “CSV UTF-8”, not as a workbook.")
    return text.replace("\r\n", "\n").replace("\r", "\n")
