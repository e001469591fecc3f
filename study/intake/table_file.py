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

LARGEST_BYTES = 50_000_000
_SEPARATORS = ",;\t"


@dataclass(frozen=True)
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


def parse_table(path: Path, *, required: Collection[str], optional: Collection[str] = ()) -> Table:
    """The table in a UTF-8 text file separated by comma, semicolon or tab.

    Parameters
    ----------
    path : Path
        The file; at most 50 MB.
    required, optional : collection of str
        Column names, as in the header. A column that is neither is refused, not passed over.

    Raises
    ------
    FileRefused
        If it is not there, not text, empty, or its header or rows do not fit; every fault at once.
    """
    raw = _bytes(path)
    text = _decoded(path, raw)
    header, _, _ = text.lstrip("\n").partition("\n")
    separator = max(_SEPARATORS, key=header.count)
    try:
        lines = list(csv.reader(io.StringIO(text), delimiter=separator, strict=True))
    except csv.Error as fault:
        raise _refused(path, f"is not readable as a table: {fault}.", "Save it again as CSV.") from None
    numbered = [(number, line) for number, line in enumerate(lines, start=1) if any(cell.strip() for cell in line)]
    if not numbered:
        raise _refused(path, "is empty.", "Save the table again and check that rows are in it.")
    head_row, head = numbered[0]
    columns = tuple(cell.strip() for cell in head)
    problems = _header_problems(columns, head_row, required, optional)
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
    columns: tuple[str, ...], row: int, required: Collection[str], optional: Collection[str]
) -> list[Problem]:
    known = [*required, *optional]
    problems = [
        Problem(row, name, "", "column is missing.", "Add it to the header.")
        for name in required
        if name not in columns
    ]
    for name in dict.fromkeys(columns):
        if columns.count(name) > 1:
            problems.append(Problem(row, name, "", "column stands twice.", "Keep one of them."))
        if name not in known:
            near = get_close_matches(name, known, n=1, cutoff=0.6)
            do = f"Did you mean {near[0]}?" if near else f"Known columns: {', '.join(known)}."
            problems.append(Problem(row, name, "", "column is not known.", do))
    return problems


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise _refused(path, "is larger than 50 MB.", "Split it.")
        return path.read_bytes()
    except OSError as fault:
        raise _refused(path, f"cannot be read: {fault.strerror}.", "Check the name and the folder.") from None


def _decoded(path: Path, raw: bytes) -> str:
    if not raw.strip():
        raise _refused(path, "is empty.", "Save the table again and check that rows are in it.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise _refused(path, "is not a UTF-8 text file.", "Save the sheet as “CSV UTF-8”, not as a workbook.")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _refused(path: Path, what: str, do: str) -> FileRefused:
    return FileRefused(path.name, [Problem(0, "", "", what, do)])
