"""Cells as typed: numbers, dates, bounds, grades and units, each refused with what to do."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date
from typing import TypeVar

from study.errors import DwellbookError, Problem
from study.intake.sheet_words import meaning_of
from study.intake.table_file import Row
from study.model.protocol import RESIDUE_GRADES, SIDES
from study.model.units import newtons, newtons_per_metre, plain, unit_name

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
_FORCE = re.compile(r"(?P<value>[<>]?\s*[^\s<>A-Za-z#]+([eE][+-]?\d+)?)\s*(?P<unit>[A-Za-z#].*)?")


_IN_PLACE_OF_FORCE = {
    "over": "Where the gauge ran out write > and the end of its scale with its unit, such as >50 N.",
    "below": "Where nothing could be felt write < and the smallest force the gauge shows, such as <0.05 N.",
    "missing": "Leave the cell blank if it was not measured, and say why in the note.",
    "released": "Record the coupon as released by itself (page Pull, or dwellbook pull record --as); no force is read.",
}
"""What to do where a word stands in place of a force."""

Taken = TypeVar("Taken")


class CellFault(DwellbookError, ValueError):
    """A cell that cannot be taken, before its place is known; a ValueError, so that pydantic gathers it with others."""


def parse_number(typed: str) -> float:
    """A finite number with a decimal point.

    Raises
    ------
    CellFault
        On a decimal comma, a thousands comma, or anything that is no number.
    """
    text = plain(typed)
    if _NUMBER.fullmatch(text):
        number = float(text)
        if math.isfinite(number):
            return number
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text):  # no thousands begin with 0 or with four digits
        point, thousands = text.replace(",", "."), text.replace(",", "")
        raise CellFault("may be a decimal or a thousands comma.", f"Write {point} or {thousands}.")
    if re.fullmatch(r"[+-]?\d+,\d+", text):
        raise CellFault("has a decimal comma.", f"Write {text.replace(',', '.')}.")
    raise CellFault("is not a number.", "Write a number such as 5.1, or leave the cell blank if it was not measured.")


def parse_temperature(typed: str) -> float:
    """A temperature of the room in °C; the unit may stand behind it, and its comma can only be a decimal one."""
    return parse_number(_decimal(re.sub(r"\s*°?\s?C$", "", plain(typed))))


def parse_humidity(typed: str) -> float:
    """A relative humidity of the room in per cent; as for a temperature, with % or % RH behind it."""
    return parse_number(_decimal(re.sub(r"\s*%(?:\s?r\.?h\.?)?$", "", plain(typed), flags=re.IGNORECASE)))


def _decimal(text: str) -> str:
    """A number with a decimal point, where nobody could mean thousands."""
    return text.replace(",", ".") if re.fullmatch(r"[+-]?\d+,\d+", text) else text


def parse_bounds(typed: str) -> tuple[float, float]:
    """Lower and upper bound of a value: 5.1 is exact, >50 is at least 50, <0.05 is at most 0.05."""
    text = plain(typed)
    if text[:1] in ("<", ">"):
        if text[1:2] == "=":
            raise CellFault("has a sign that is not used here.", f"Write {text[0]}{text[2:].strip()}.")
        number = parse_number(text[1:].strip())
        return (number, math.inf) if text[0] == ">" else (-math.inf, number)
    number = parse_number(text)
    return number, number


def parse_force(typed: str, *, unit: str, force_per: str) -> tuple[float, float, str]:
    """Lower and upper bound of a removal force in its normal unit (N per dot, or N/m), and the unit it was typed in.

    The unit may stand in the cell ("5.1 N") or beside it in a cell of its own; if it stands in both they must agree.
    """
    match = _FORCE.fullmatch(plain(typed))
    word = "" if any(sign.isdigit() for sign in typed) else meaning_of(typed)[0]
    if match is None or word in _IN_PLACE_OF_FORCE:
        raise CellFault("is not a force.", _IN_PLACE_OF_FORCE.get(word, "Write a number and a unit, such as 5.1 N."))
    in_cell, beside = (match["unit"] or "").strip(), plain(unit)
    name = in_cell or beside
    if not name:
        example = "N" if force_per == "dot" else "N/25 mm"
        raise CellFault(
            "has no unit.", f"Write it behind the number or beside it as the unit of force, such as {example}."
        )
    lower, upper = parse_bounds(match["value"])
    for bound in (lower, upper):
        if math.isfinite(bound) and bound < 0:
            raise CellFault("is below zero.", "A removal force is not negative; check the gauge's sign.")
    convert = newtons if force_per == "dot" else newtons_per_metre
    try:
        if in_cell and beside and unit_name(in_cell, force_per=force_per) != unit_name(beside, force_per=force_per):
            raise CellFault(f"says {in_cell}, the unit beside it says {beside}.", "Make them agree.")
        return convert(lower, unit=name), convert(upper, unit=name), name
    except CellFault:
        raise
    except DwellbookError as fault:
        raise CellFault(f"cannot be converted: {fault.what}", fault.do) from None


def parse_grade(typed: str) -> tuple[float, float]:
    """A residue grade, or two neighbouring grades when the rater was in doubt ("3-4")."""
    text = plain(typed)
    low, high = RESIDUE_GRADES
    match = re.fullmatch(r"(\d+)(?:\s*[-/]\s*(\d+))?", text)
    if match is None:
        what = "is a half grade." if re.fullmatch(r"\d+[.,]5", text) else "is not a residue grade."
        raise CellFault(what, f"Write a whole grade {low} to {high}, or two neighbours such as 3-4 when in doubt.")
    first, second = int(match[1]), int(match[2] or match[1])
    if not (low <= first <= high and low <= second <= high):
        raise CellFault("is off the scale.", f"The residue scale runs from {low} (none found) to {high} (severe).")
    if match[2] and second != first + 1:
        raise CellFault("is not two neighbouring grades.", "Write the lower one first, such as 3-4.")
    return float(first), float(second)


def parse_angle(typed: str) -> tuple[float, float]:
    """Hold angle in degrees from horizontal; >90 if it did not release at 90°."""
    lower, upper = parse_bounds(typed)
    for bound in (lower, upper):
        if math.isfinite(bound) and not 0 <= bound <= 180:
            raise CellFault("is not an angle between 0 and 180°.", "Write the tilt at release in degrees.")
    return lower, upper


def parse_side(typed: str) -> str:
    """The side a failure happened on."""
    side = plain(typed).lower()
    if side not in SIDES:
        raise CellFault("is not a side.", f"Write one of {', '.join(SIDES)}.")
    return side


def parse_day(typed: str) -> date:
    """A date as 2026-03-31; other orders of day and month are not guessed."""
    text = plain(typed)
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise CellFault("is not a date.", "Write year-month-day, such as 2026-03-31.") from None


def taken(row: Row, column: str, parse: Callable[[str], Taken], problems: list[Problem]) -> Taken | None:
    """One cell of a row, or None with its fault added to ``problems``."""
    try:
        return parse(row.cells.get(column, ""))
    except CellFault as fault:
        problems.append(row.problem(column, fault.what, fault.do))
        return None
