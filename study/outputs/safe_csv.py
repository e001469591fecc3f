"""CSV text that a spreadsheet opens without running anything in it, and that Dwellbook reads back as it was."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_RUNS = ("=", "+", "-", "@", "\t", "\r")


def csv_text(columns: Sequence[str], rows: Iterable[Mapping[str, object] | Sequence[object]]) -> str:
    """A table as CSV (RFC 4180: comma, doubled quotes, CRLF) with every formula-looking text made harmless.

    Text that begins with =, +, -, @, a tab or a carriage return, or with such after apostrophes, gets one apostrophe
    in front, which our reading of sheets takes away again. Numbers such as −0.5, +5.1 and bounds such as >50 are not
    touched. Rows are mappings by column, or sequences in the order of the columns; None is a blank cell.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_safe(column) for column in columns])
    for row in rows:
        cells = [row.get(column) for column in columns] if isinstance(row, Mapping) else list(row)
        writer.writerow(["" if cell is None else _safe(str(cell)) for cell in cells])
    return out.getvalue()


def _safe(text: str) -> str:
    return f"'{text}" if text.lstrip("'").startswith(_RUNS) and not _NUMBER.fullmatch(text) else text
