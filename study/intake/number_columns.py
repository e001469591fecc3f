"""Columns of numbers and clock times from an instrument's file: the decimal sign is decided once for the whole file."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from study.errors import FileRefused, Problem
from study.model.units import plain

_POINT_THOUSANDS = re.compile(r"[+-]?\d{1,3}(\.\d{3})+")
_COMMA_THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_SIMPLE = re.compile(r"[+-]?\d+,\d+")
_NUMBER = re.compile(r"(?P<sign>[<>]?)(?P<value>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>[^\d\s.,].*)?")
_CLOCK = re.compile(r"(?:(?P<h>\d+):)?(?P<m>\d+):(?P<s>\d+(?:[.,]\d*)?)")
OVERLOADED = re.compile(r"ol|over|overload|-{3,}|\+?inf|>+", re.IGNORECASE)
MISSING = re.compile(
    r"|#(n/a|div/0!|value!|ref!|num!|name\?|null!)|n/?a|n\.?\s?d\.?|nan|null|none|-{1,2}", re.IGNORECASE
)
MOST_SHOWN = 20


@dataclass(frozen=True)
class Cell:
    """What one odd cell says: a value that is a bound or has a unit of its own, or why there is none."""

    index: int
    typed: str
    value: float
    """NaN where there is none."""
    kind: str
    """number, missing, over, under, or fault."""
    unit: str = ""


def decimal_sign(columns: Iterable[Sequence[str]], numbers: Sequence[int], *, file: str) -> str:
    """The decimal sign of a whole file, "." or ",".

    Parameters
    ----------
    columns : iterable of sequences of str
        Cells of the columns of numbers; cells with a colon are times and have no say.
    numbers : sequence of int
        Row numbers, for the refusal.

    Raises
    ------
    FileRefused
        If both signs are used as decimal sign, with the rows; or if every comma may be either ("1,234").
    """
    with_comma: list[int] = []
    with_point: list[int] = []
    unclear: list[int] = []
    for cells in columns:
        comma, point, either = _signs(cells)
        with_comma += comma
        with_point += point
        unclear += [] if comma or point else either
    if with_comma and with_point:
        few, sign = min((with_comma, "comma"), (with_point, "point"), key=lambda pair: len(pair[0]))
        rows = ", ".join(str(numbers[i]) for i in few[:MOST_SHOWN])
        what = f"uses both a decimal point and a decimal comma; the {sign} stands in row {rows}."
        raise FileRefused(file, [Problem(0, "", "", what, "Export it again with one of them throughout.")])
    if unclear and not with_comma:
        what = "has a column whose every comma may be a decimal or a thousands comma, as in this row."
        do = "Say which: decimal “,” or decimal “.”."
        raise FileRefused(file, [Problem(numbers[unclear[0]], "", "", what, do)])
    return "," if with_comma else "."


def _signs(cells: Sequence[str]) -> tuple[list[int], list[int], list[int]]:
    """Rows whose cell has a decimal comma, a decimal point, and a comma that may be either."""
    if not any("," in cell for cell in cells):
        point = next((i for i, cell in enumerate(cells) if "." in cell and ":" not in cell), None)
        return [], [] if point is None else [point], []
    comma, points, either = [], [], []
    for index, cell in enumerate(cells):
        if ("," not in cell and "." not in cell) or ":" in cell:
            continue
        text = cell if _SIMPLE.fullmatch(cell) else plain(cell).strip("'<> ")
        if _EITHER.fullmatch(text):
            either.append(index)
        elif "," in text and (text.rfind(",") < text.rfind(".") or text.count(",") > 1):
            points.append(index)
        elif "," in text:
            comma.append(index)
        elif not _POINT_THOUSANDS.fullmatch(text):
            points.append(index)
    return comma, points, either


def parse_numbers(cells: Sequence[str], *, decimal: str) -> tuple[np.ndarray, list[Cell]]:
    """A column as numbers, and every cell that is not simply one.

    Returns
    -------
    values : (n,) float array
        NaN where a cell has no number; the value of a bound (">50") and of a number with a unit stands here too.
    odd : list of Cell
        Missing values, bounds, numbers with a unit, and faults; order of the file.
    """
    plainly = cells if decimal == "." else [cell.replace(".", "x").replace(",", ".") for cell in cells]
    try:
        values = np.array([float(cell) for cell in plainly]) if _all_plain(plainly) else None
    except ValueError:
        values = None
    if values is not None and np.all(np.isfinite(values)):
        return values, []
    taken: list[float] = []
    odd: list[Cell] = []
    for index, cell in enumerate(plainly):
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or "_" in cell:
            found = _cell(index, cells[index], decimal)
            value = found.value
            if found.kind != "number" or found.unit:
                odd.append(found)
        taken.append(value)
    return np.array(taken, dtype=float), odd


def _all_plain(cells: Sequence[str]) -> bool:
    """Python and numpy take 1_000 for a number; an instrument never means that."""
    return not any("_" in cell for cell in cells)


def _cell(index: int, cell: str, decimal: str) -> Cell:
    text = plain(cell).removeprefix("'").strip()
    if OVERLOADED.fullmatch(text):
        return Cell(index, cell, np.nan, "over")
    if MISSING.fullmatch(text):
        return Cell(index, cell, np.nan, "missing")
    text = re.sub(r"(?<=\d) (?=\d{3}(\D|$))", "", text)
    thousands = "," if decimal == "." else "."
    if thousands in text:
        head = re.match(r"[<>]?\s*([+-]?[\d.,]+)", text)
        whole = head[1].partition(decimal)[0] if head else ""
        grouped = _COMMA_THOUSANDS if thousands == "," else _POINT_THOUSANDS
        if not grouped.fullmatch(whole):
            return Cell(index, cell, np.nan, "fault")
        text = text.replace(thousands, "")
    match = _NUMBER.fullmatch(re.sub(r"^([<>])\s+", r"\1", text.replace(",", ".")))
    value = float(match["value"]) if match else np.nan
    if match is None or not np.isfinite(value):
        return Cell(index, cell, np.nan, "fault")
    kind = {">": "over", "<": "under"}.get(match["sign"], "number")
    return Cell(index, cell, value, kind, (match["unit"] or "").strip())


def parse_clock(cells: Sequence[str]) -> np.ndarray | None:
    """Seconds from cells such as 00:01:02.5, 1:02,5 or a date with a time; NaN where a cell is none of these.

    None if no cell is one.
    """
    values = np.full(len(cells), np.nan)
    for index, cell in enumerate(cells):
        text = cell.strip().removeprefix("'")
        match = _CLOCK.fullmatch(text)
        if match:
            values[index] = int(match["h"] or 0) * 3600.0 + int(match["m"]) * 60.0 + float(match["s"].replace(",", "."))
        elif ":" in text:
            values[index] = _stamp(text)
    return values if np.any(np.isfinite(values)) else None


def _stamp(text: str) -> float:
    try:
        moment = datetime.fromisoformat(text.replace(",", "."))
    except ValueError:
        return float("nan")
    return (moment.replace(tzinfo=None) - datetime(1970, 1, 1)).total_seconds()
