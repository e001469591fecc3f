"""Sheets as they lie in a file: bytes of any usual encoding or workbook to lines of cells, nothing believed yet."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from study.intake.table_file import file_bytes
from study.intake.workbook_file import BookSheet, refused_whole, workbook_sheets

SEPARATORS = (",", ";", "\t", "|")
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "upright bar"}
_WIDEST = 500
_MOST_CELLS = 4_000_000
_MOST_CHARACTERS = 100_000_000
_SAFE = re.compile(r"'(?='*[=+\-@\t\r])")
_UNFIT = re.compile(r"[\x00-\x08\x0e-\x1f]")


@dataclass
class Source:
    """A file's lines of cells and what is known of where they came from."""

    file: str
    sha256: str
    sheets: list[BookSheet] = field(repr=False)
    """One for a text file."""
    notes: list[str]
    separator: str = ""
    text: bool = True


def source_of(path: Path, *, separator: str = "") -> Source:
    """The sheets of a file, by what is in it and not by its name.

    Raises
    ------
    FileRefused
        If it is not there, neither text nor a workbook, empty, or beyond what a table needs.
    """
    raw = file_bytes(path)
    digest = hashlib.sha256(raw).hexdigest()
    if raw[:4] == b"PK\x03\x04":
        return Source(path.name, digest, workbook_sheets(path, raw), [], text=False)
    if raw[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise refused_whole(path, "is a workbook of the old kind or is locked.", "Save it as .xlsx without a password.")
    text, notes = decoded(path, raw)
    if len(text) > _MOST_CHARACTERS:
        raise refused_whole(path, "is larger than a table needs.", "Split it.")
    mark = separator or separator_of(text)
    lines = _lines(path, text, mark)
    if mark != ",":
        notes.append(f"Cells are separated by a {_NAMES[mark]}.")
    return Source(path.name, digest, [BookSheet("", lines)], notes, separator=mark)


def decoded(path: Path, raw: bytes) -> tuple[str, list[str]]:
    """The text of a file and what was found out about its encoding.

    Raises
    ------
    FileRefused
        If it is empty or no text in UTF-8, UTF-16 or Windows-1252.
    """
    notes: list[str] = []
    if not raw.strip():
        raise refused_whole(path, "is empty.", "Save the table again and check that rows are in it.")
    encodings = ["utf-8-sig", "cp1252"]
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encodings = ["utf-16"]
    elif raw[:400].count(0) > len(raw[:400]) // 4:
        encodings = ["utf-16-le" if raw[1:400:2].count(0) >= raw[0:400:2].count(0) else "utf-16-be"]
    for encoding in encodings:
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        if encoding != "utf-8-sig":
            named = "Windows-1252 (check signs such as ° and µ)" if encoding == "cp1252" else "UTF-16"
            notes.append(f"The text is not UTF-8; it was read as {named}.")
        if not _UNFIT.search(text):
            text = text.removeprefix("\ufeff")
            if text.strip():
                return text, notes
            raise refused_whole(path, "is empty.", "Save the table again and check that rows are in it.")
    raise refused_whole(path, "is not a text file.", "Save the sheet as “CSV UTF-8” or as .xlsx.")


def separator_of(text: str) -> str:
    """The sign between cells: the one that cuts most lines into the same number of cells, told by the first 200."""
    told = re.match(r"sep=([,;\t|])\r?\n", text)
    if told:
        return told[1]
    start = text[:200_000]
    best, best_score = ",", 0
    for mark in SEPARATORS:
        widths: Counter[int] = Counter()
        try:
            for number, line in enumerate(csv.reader(io.StringIO(start, newline=""), delimiter=mark)):
                widths[len(line)] += 1
                if number == 200:
                    break
        except csv.Error:
            continue
        usual = max(((count, width) for width, count in widths.items() if width > 1), default=(0, 1))
        # A decimal comma cuts rows too, but never the header: width counts more than one line does.
        score = usual[0] * (usual[1] - 1)
        if score > best_score or (score == best_score and score and mark == ";"):
            best, best_score = mark, score
    return _by_header(start, best)


def _by_header(start: str, best: str) -> str:
    """With decimal commas everywhere the comma may win by numbers; a header cut by another sign decides."""
    for line in start.splitlines()[:40]:
        for mark in ";\t|":
            if mark != best and line.count(mark) >= 1 and line.count(best) == 0 and best == ",":
                after = start[start.index(line) + len(line) :].split("\n")[1:6]
                if after and all(other.count(mark) == line.count(mark) for other in after if other.strip()):
                    return mark
    return best


def _lines(path: Path, text: str, mark: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    lines: list[list[str]] = []
    cells = 0
    try:
        for line in reader:
            cells += len(line) or 1
            if cells > _MOST_CELLS:
                raise refused_whole(path, f"has more than {_MOST_CELLS:,} cells.", "Split it.")
            if len(line) > _WIDEST and any(cell.strip() for cell in line[_WIDEST:]):
                raise refused_whole(path, f"has more than {_WIDEST} columns.", "Save only the columns with readings.")
            lines.append(line)
    except csv.Error as fault:
        raise refused_whole(
            path,
            f"is not readable as a table: {fault}.",
            "Look for a quote that is not closed, or save it again as CSV.",
        ) from None
    if "'" in text:
        lines = [[unescaped(cell) if "'" in cell else cell for cell in line] for line in lines]
    if lines and re.fullmatch(r"sep=", lines[0][0].strip() if lines[0] else ""):
        lines[0] = []
    return lines


def unescaped(cell: str) -> str:
    """A cell without the one apostrophe that keeps a spreadsheet from running it."""
    return cell[1:] if _SAFE.match(cell) else cell
