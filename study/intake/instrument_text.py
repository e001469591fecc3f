"""What an instrument wrote: text in any usual encoding, its preamble, header and rows, before numbers are read."""

from __future__ import annotations

import csv
import hashlib
import io
import re
import zipfile
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

from study.errors import FileRefused, Problem
from study.intake.workbook_file import refused_whole, workbook_lines
from study.model.units import plain

LARGEST_BYTES = 50_000_000
SEPARATORS = ("\t", ";", ",")
NAMED = {"\t": "tab", ";": "semicolon", ",": "comma"}
MOST_PASSED = 20
"""Lines of words among or below the samples that are passed over; statistics take fewer."""
LOOKED_AT = 400
"""Rows from which the separator is decided."""

_DATUM = re.compile(r"'?[<>]?\s*[+−-]?[.,]?\d[\d.,:/' TZeE+-]*(\s*[A-Za-zµμ°%\"#][^\d\s]{0,11})?")
_TOKEN = re.compile(r"#[A-Z/0]+[!?]?|[-–—]+|n/?a|n\.?\s?d\.?|nan|null|none|ol|over|overload|-?inf", re.IGNORECASE)
_KNOWN_UNITS = (
    "s sec ms min h n mn cn kn gf kgf lbf ozf g kg lb oz mm cm m in µm % %rh °c °f k lx lux fc µw/lm hh:mm:ss -"
)
_UNITS = frozenset(_KNOWN_UNITS.split())
_UNIT_ENDS = re.compile(r"(?P<name>.*?)\s*(?:\((?P<round>[^()]*)\)|\[(?P<square>[^\[\]]*)\])\s*")


@dataclass(frozen=True)
class InstrumentTable:
    """Rows under a header, all cells still text."""

    file: str
    digest: str
    """SHA-256 of the bytes."""
    names: tuple[str, ...]
    units: tuple[str, ...]
    rows: list[list[str]]
    numbers: list[int]
    """Row numbers as a spreadsheet counts."""
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]

    def column(self, index: int) -> list[str]:
        """One column's cells; a row that ends early gives blanks."""
        try:
            return [row[index] for row in self.rows]
        except IndexError:
            return [row[index] if index < len(row) else "" for row in self.rows]


def parse_instrument(source: Path | bytes, *, name: str) -> InstrumentTable:
    """The table in an instrument's file: text separated by tab, semicolon or comma, or the first sheet of a workbook.

    Parameters
    ----------
    source : Path or bytes
        At most 50 MB. UTF-8 with or without a mark, UTF-16 and Windows-1252 are understood.
    name : str
        What the file is called in messages where only bytes are given.

    Raises
    ------
    FileRefused
        If it cannot be opened, is no text, or has no table with a header.
    """
    path = source if isinstance(source, Path) else Path(name)
    raw = _bytes(source) if isinstance(source, Path) else source
    if len(raw) > LARGEST_BYTES:
        raise refused_whole(path, "is larger than 50 MB.", "Split it.")
    if raw[:4] == b"PK\x03\x04":
        lines, notes = _workbook(path, raw), ["read from the first sheet of a workbook"]
    else:
        text, encoding = _decoded(path, raw)
        lines, separator = _lines(path, text)
        notes = [f"text in {encoding}, cells separated by {separator}"]
    return _table(path.name, hashlib.sha256(raw).hexdigest(), lines, notes, path)


def is_datum(cell: str) -> bool:
    """Whether a cell looks like a number, a time or a date, perhaps with a unit."""
    return bool(_DATUM.fullmatch(cell.strip()))


def is_token(cell: str) -> bool:
    """Whether a cell holds one of the words or signs that stand where a value is missing or too large."""
    return bool(_TOKEN.fullmatch(cell.strip()))


def _is_row(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell.strip()]
    data = sum(map(is_datum, filled))
    return data >= 1 and (data >= 2 or all(is_datum(cell) or is_token(cell) for cell in filled))


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes() if path.stat().st_size <= LARGEST_BYTES else bytes(LARGEST_BYTES + 1)
    except OSError as fault:
        raise refused_whole(path, f"cannot be read: {fault.strerror}.", "Check the name and the folder.") from None


def _workbook(path: Path, raw: bytes) -> list[list[str]]:
    try:
        return workbook_lines(path, raw)
    except (zipfile.BadZipFile, OSError, ValueError):
        raise refused_whole(path, "is not a readable workbook.", "Export it as text (CSV).") from None


def _decoded(path: Path, raw: bytes) -> tuple[str, str]:
    if not raw.strip():
        raise refused_whole(path, "is empty.", "Export it from the instrument again.")
    encodings = ["utf-8-sig", "cp1252"]
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encodings = ["utf-16"]
    elif len(raw) >= 4 and raw[:400].count(0) > len(raw[:400]) // 4:
        encodings = ["utf-16-le" if raw[1:400:2].count(0) > raw[0:400:2].count(0) else "utf-16-be"]
    for encoding in encodings:
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        if not re.search(r"[\x00-\x08\x0e-\x1f]", text):
            said = {"utf-8-sig": "UTF-8", "cp1252": "Windows-1252"}.get(encoding, "UTF-16")
            return text.replace("\r\n", "\n").replace("\r", "\n"), said
    raise refused_whole(path, "is not a text file.", "Export it from the instrument as text (CSV).")


def _lines(path: Path, text: str) -> tuple[list[list[str]], str]:
    plain_lines = text.split("\n")
    filled = [line for line in plain_lines if line.strip()]
    # The middle of the file is table, whatever stands above and below it.
    start = max(0, len(filled) // 2 - LOOKED_AT // 2)
    looked = filled[start : start + LOOKED_AT]

    def score(separator: str) -> tuple[int, int]:
        rows = [_cells(line, separator) for line in looked]
        fitting = [len(cells) for cells in rows if len(cells) > 1 and _is_row(cells)]
        return (max(map(fitting.count, set(fitting))), max(set(fitting), key=fitting.count)) if fitting else (0, 0)

    scores = {separator: score(separator) for separator in SEPARATORS}
    separator = max(SEPARATORS, key=lambda one: scores[one][0])
    if not scores[separator][0] or (separator == "," and _is_decimal_comma(filled, scores[","][1])):
        for pattern, words in ((r"\s{2,}", "two or more spaces"), (r"\s+", "spaces")):
            if _is_spaced(filled, looked, pattern):
                return [re.split(pattern, line.strip()) if line.strip() else [] for line in plain_lines], words
        return [[line] if line.strip() else [] for line in plain_lines], "nothing: one column"
    if '"' not in text:
        return [line.split(separator) if line else [] for line in plain_lines], NAMED[separator]
    try:
        return list(csv.reader(io.StringIO(text), delimiter=separator)), NAMED[separator]
    except csv.Error as fault:
        raise refused_whole(path, f"is not readable as a table: {fault}.", "Export it again as CSV.") from None


def _cells(line: str, separator: str) -> list[str]:
    if '"' not in line:
        return line.split(separator)
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return line.split(separator)


def _is_spaced(filled: list[str], looked: list[str], pattern: str) -> bool:
    """Whether spaces part the columns: every row and the line above them have as many words."""
    rows = [cells for line in looked if _is_row(cells := re.split(pattern, line.strip()))]
    widths = {len(cells) for cells in rows}
    if len(widths) != 1 or widths == {1} or not all(is_datum(cell) for cells in rows[:LOOKED_AT] for cell in cells[:2]):
        return False
    heads = [cells for line in filled[:60] if not _is_row(cells := re.split(pattern, line.strip()))]
    return bool(heads) and len(heads[-1]) in widths


def _is_decimal_comma(filled: list[str], width: int) -> bool:
    """One column of numbers with decimal commas looks like two columns; only its heading tells, having no comma."""
    heads = [line for line in filled[:60] if not _is_row(line.split(","))]
    return width == 2 and bool(heads) and all("," not in line for line in heads)


def _table(file: str, digest: str, lines: list[list[str]], notes: list[str], path: Path) -> InstrumentTable:
    first = _first_row(lines)
    if first is None:
        raise refused_whole(path, "has no table of numbers.", "Export the samples, not a picture or a summary.")
    above = [i for i in range(first) if any(cell.strip() for cell in lines[i])]
    if not above:
        do = "Add a line above the numbers that names each column and its unit, such as Time (s);Force (N)."
        raise FileRefused(path.name, [Problem(first + 1, "", "", "has numbers and no header.", do)])
    while len(above) > 1 and is_datum(next(cell for cell in lines[above[-1]] if cell.strip())):
        first = above.pop()  # a row of the table with an odd cell in it is no header
    head = above[-1]
    units: list[str] = []
    if len(above) > 1 and len(lines[above[-2]]) == len(lines[head]) and _are_units(lines[head]):
        units, head = [_bare(cell) for cell in lines[head]], above[-2]
    named = [_named(cell) for cell in lines[head]]
    paired = zip_longest(named, units, fillvalue=None)
    heads = [((pair or ("", ""))[0], (pair or ("", ""))[1] or (unit or "")) for pair, unit in paired]
    rows, numbers, passed = _rows(lines, first)
    if not rows or len(passed) > max(MOST_PASSED, len(rows) // 10):
        at = passed[0][0] if passed else first + 1
        what = f"has {_count(passed, 'line')} of words where samples should be, first in row {at}."
        raise FileRefused(path.name, [Problem(at, "", "", what, "Export the samples as one table.")])
    facts = [_fact(lines[i]) for i in above if i < head]
    if passed:
        facts += [_fact(cells) for _, cells in passed]
        shown = ", ".join(str(number) for number, _ in passed[:5]) + (", …" if len(passed) > 5 else "")
        notes.append(f"{_count(passed, 'line')} among or below the samples not taken as samples: row {shown}")
    notes.insert(0, f"header in row {head + 1}")
    return InstrumentTable(
        file, digest, tuple(name for name, _ in heads), tuple(unit for _, unit in heads), rows, numbers,
        tuple(fact for fact in facts if fact != ("", "")), tuple(notes),
    )  # fmt: skip


def _count(things: list[tuple[int, list[str]]], noun: str) -> str:
    return f"1 {noun}" if len(things) == 1 else f"{len(things)} {noun}s"


def _first_row(lines: list[list[str]]) -> int | None:
    """The first of three rows of numbers in succession; in a shorter file, the start of the longest run."""
    best, longest, begin, run = None, 0, 0, 0
    for index, cells in enumerate(lines):
        if not any(cell.strip() for cell in cells):
            continue
        if not _is_row(cells):
            run = 0
            continue
        begin, run = (begin if run else index), run + 1
        if run > longest:
            best, longest = begin, run
        if run == 3:
            break
    return best


def _rows(lines: list[list[str]], first: int) -> tuple[list[list[str]], list[int], list[tuple[int, list[str]]]]:
    """Rows of numbers, and lines among or below them whose first cell is words: statistics, repeated headings."""
    rows, numbers, passed = [], [], []
    for number, cells in enumerate(lines[first:], start=first + 1):
        key = cells[0] if cells else ""
        if key[:1].isdigit():
            rows.append(cells)
            numbers.append(number)
            continue
        if not any(cell.strip() for cell in cells):
            continue
        words = [cell for cell in cells if cell.strip() and not is_datum(cell) and not is_token(cell)]
        if is_datum(key) or is_token(key) or (not key.strip() and not words):
            rows.append(cells)
            numbers.append(number)
        else:
            passed.append((number, cells))
    return rows, numbers, passed


def _are_units(cells: list[str]) -> bool:
    said = [_bare(cell) for cell in cells if cell.strip()]
    return bool(said) and all(fold(unit) in _UNITS for unit in said)


def _bare(cell: str) -> str:
    return plain(cell).strip("()[] ").replace("μ", "µ")


def fold(text: str) -> str:
    """Text for comparing names: ordinary spaces and dashes, one micro sign, small letters."""
    return plain(text.strip("'\" ")).replace("μ", "µ").casefold().replace("μ", "µ")


def _named(cell: str) -> tuple[str, str]:
    """A heading's name and its unit, which stands in brackets or after a stroke or a comma."""
    text = plain(cell).replace("μ", "µ").strip("\"' ")
    match = _UNIT_ENDS.fullmatch(text)
    if match:
        return match["name"].strip(), (match["round"] or match["square"] or "").strip()
    for sign in ("/", ","):
        name, found, unit = text.partition(sign)
        if found and name.strip() and _are_units([unit]):
            return name.strip(), unit.strip()
    for sign, more in ((" ", ()), ("_", ("c", "percent"))):
        name, _, unit = text.rpartition(sign)
        if name and (_are_units([unit]) or unit in more):
            return name, unit
    return text, ""


def _fact(cells: list[str]) -> tuple[str, str]:
    filled = [plain(cell) for cell in cells if cell.strip()]
    if len(filled) == 1:
        name, sign, value = filled[0].partition(":" if ":" in filled[0] else "=")
        return (name.strip(), value.strip()) if sign else (filled[0], "")
    return (filled[0].rstrip(":= "), " ".join(filled[1:])) if filled else ("", "")
