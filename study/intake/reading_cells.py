"""One reading out of a row: its value, what stands beside it, and each fault with its place."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import lru_cache
from typing import Any

from pydantic import ValidationError

from study.errors import Problem
from study.intake.cells import (
    CellFault,
    parse_angle,
    parse_force,
    parse_grade,
    parse_humidity,
    parse_temperature,
)
from study.intake.colour_cells import (
    parse_aperture,
    parse_backing,
    parse_geometry,
    parse_illuminant,
    parse_observer,
    parse_specular,
    parse_spots,
)
from study.intake.failure_cells import parse_failure
from study.intake.reading_columns import (
    COLOUR_CONDITIONS,
    COLUMNS,
    DETAIL_COLUMNS,
    RESIDUE_KINDS,
    ROW_CONDITIONS,
)
from study.intake.residue_cells import area_grade, parse_aids, parse_area_percent, parse_flags
from study.intake.table_file import Row
from study.model.details import NO_DETAILS, Details
from study.model.reading import Reading
from study.model.units import plain

_PARSED: dict[str, tuple[str, Callable[[str], Any]]] = {
    "residue_area_percent": ("area_percent", parse_area_percent),
    "halo_percent": ("halo_percent", lambda typed: parse_area_percent(typed, most=float("inf"))),
    "residue_flags": ("flags", parse_flags),
    "residue_aids": ("aids", parse_aids),
    "second_rater": ("read_by", plain),
    "cleaning_step": ("cleaning_step", plain),
    "illuminant": ("illuminant", parse_illuminant),
    "observer_deg": ("observer_deg", parse_observer),
    "specular": ("specular", parse_specular),
    "geometry": ("geometry", parse_geometry),
    "aperture_mm": ("aperture_mm", parse_aperture),
    "backing": ("backing", parse_backing),
    "temperature_c": ("temperature_c", parse_temperature),
    "humidity_percent": ("humidity_percent", parse_humidity),
    "instrument": ("instrument", plain),
    "read_by": ("read_by", plain),
    "note": ("note", str.strip),
}
"""Detail and parser by column."""
DETAIL_OF = {column: name for column, (name, _) in _PARSED.items()}
"""The detail that a column fills."""
_TEMPLATE = ("residue_aids", "second_rater", "cleaning_step")
"""A sheet may hold these in every row beforehand; alone they say nothing."""


def parse_reading(
    row: Row, kind: str, *, code: str, read_on: date, force_per: str, marks: tuple[str, ...], problems: list[Problem]
) -> Reading | None:
    """The reading of one kind in a row, or None with its faults added to ``problems``.

    Parameters
    ----------
    force_per : str
        Whether a removal force is per "dot" or per "width".
    marks : tuple of str
        Flags that stay on the reading.
    """
    get = row.cells.get
    cells = tuple([get(column, "") for column in _ALL_COLUMNS_OF[kind]])
    try:
        return _worth(kind, cells, marks, force_per).on_coupon(code, read_on)
    except _Faulty:
        return _parsed(row, kind, code, read_on, force_per, marks, problems)


class _Faulty(Exception):
    """The cells of a reading have a fault, which is told with the row's own place."""


@lru_cache(maxsize=65_536)
def _worth(kind: str, cells: tuple[str, ...], marks: tuple[str, ...], force_per: str) -> Reading:
    """What a reading's cells are worth, on no coupon yet, worked out once for all rows that say the same."""
    problems: list[Problem] = []
    row = Row(0, dict(zip(_ALL_COLUMNS_OF[kind], cells, strict=True)))
    found = _parsed(row, kind, "", date.min, force_per, marks, problems)
    if found is None or problems:
        raise _Faulty
    return found


def _parsed(
    row: Row, kind: str, code: str, read_on: date, force_per: str, marks: tuple[str, ...], problems: list[Problem]
) -> Reading | None:
    columns = COLUMNS[kind]
    cells = tuple([plain(row.cells.get(column, "")) for column in columns])
    typed = " ".join([cell for cell in cells if cell])
    before = len(problems)
    details, kept = _details(row, kind, marks, problems)
    try:
        found = _value(kind, cells, typed, code, read_on, force_per, details, kept)
    except CellFault as fault:
        problems.append(Problem(row.number, columns[0], typed, fault.what, fault.do))
        return None
    return found if len(problems) == before else None


def parse_left_over(row: Row, given: tuple[str, ...], problems: list[Problem]) -> None:
    """Cells that belong to a reading which is not in the row: told, never dropped in silence."""
    for kind, columns in DETAIL_COLUMNS.items():
        if kind in given:
            continue
        for column in columns:
            if column not in _TEMPLATE and row.cells.get(column, "").strip():
                what = f"stands beside no {COLUMNS[kind][0]}."
                problems.append(row.problem(column, what, f"Fill in {COLUMNS[kind][0]} as well, or clear this cell."))


def _value(
    kind: str, cells: tuple[str, ...], typed: str, code: str, read_on: date, force_per: str, details: dict[str, Any],
    kept: Details,
) -> Reading:  # fmt: skip
    known = len(details)

    def reading(text: str, **worth: Any) -> Reading:
        whole = kept if len(details) == known else Details(**details)
        return Reading(code, kind, read_on, text, details=whole, **worth)

    if kind == "removal_force":
        lower, upper, unit = _force(cells[0], unit=cells[1], force_per=force_per)
        return reading(cells[0], unit=unit, lower=lower, upper=upper)
    if kind == "failure_pattern":
        pattern, side, shares = _failure(cells[0], side=cells[1])
        if shares:
            details["shares"] = shares
        return reading(typed, pattern=pattern, side=side)
    if kind in RESIDUE_KINDS:
        lower, upper = _residue(cells[0], details)
        return reading(typed, unit="grade", lower=lower, upper=upper)
    if kind == "hold_angle":
        lower, upper = _angle(cells[0])
        return reading(typed, unit="°", lower=lower, upper=upper)
    lab, spots = parse_spots((cells[0], cells[1], cells[2]))
    if spots:
        details["spots"] = spots
    return reading(typed, lab=lab)


def _residue(cell: str, details: dict[str, Any]) -> tuple[float, float]:
    """The grade by sight, or by area where that is worse; both are kept."""
    lower, upper = _grade(cell)
    if "area_percent" in details:
        by_area = area_grade(details["area_percent"])
        if by_area > lower:
            details["sight_grade"] = (int(lower), int(upper))
        lower, upper = max(lower, by_area), max(upper, by_area)
    return lower, upper


_DETAIL_COLUMNS_OF = {
    kind: (
        *ROW_CONDITIONS,
        *(COLOUR_CONDITIONS if kind.startswith("colour") else ()),
        *DETAIL_COLUMNS.get(kind, ()),
    )
    for kind in COLUMNS
}


_ALL_COLUMNS_OF = {kind: (*columns, *_DETAIL_COLUMNS_OF[kind]) for kind, columns in COLUMNS.items()}


def _details(row: Row, kind: str, marks: tuple[str, ...], problems: list[Problem]) -> tuple[dict[str, Any], Details]:
    columns = _DETAIL_COLUMNS_OF[kind]
    get = row.cells.get
    cells = tuple([get(column, "") for column in columns])
    if marks or any(cells):
        known, kept, faults = _details_of(columns, cells, marks)
        for column, what, do in faults:
            fresh = row.problem(column, what, do)
            if fresh not in problems[-40:]:  # beside every reading of the row, told once
                problems.append(fresh)
    else:
        known, kept = {}, NO_DETAILS
    if kind == "residue_cleaned" and not known.get("cleaning_step"):
        what = "has no cleaning step beside it."
        do = "Say which agreed step was used, beside the grade (cleaning_step in a file)."
        problems.append(row.problem("residue_cleaned", what, do))
    return dict(known), kept


@lru_cache(maxsize=8192)
def _details_of(
    columns: tuple[str, ...], cells: tuple[str, ...], marks: tuple[str, ...]
) -> tuple[dict[str, Any], Details, tuple[tuple[str, str, str], ...]]:
    """Details of cells that stand beside a reading, worked out once for all rows that say the same."""
    details: dict[str, Any] = {"marks": marks} if marks else {}
    faults: list[tuple[str, str, str]] = []
    for column, cell in zip(columns, cells, strict=True):
        if not cell.strip():
            continue
        name, parse = _PARSED[column]
        try:
            value = parse(cell)
            Details(**{name: value})  # a humidity of 130 % is refused in its own cell
        except CellFault as fault:
            faults.append((column, fault.what, fault.do))
        except ValidationError as fault:
            faults.append((column, _out_of_range(fault), "Check the value."))
        else:
            details[name] = value
    return details, Details(**details) if details else NO_DETAILS, tuple(faults)


def _out_of_range(fault: ValidationError) -> str:
    """What a detail's own limits say of a value, in words."""
    error = fault.errors()[0]
    limit = error.get("ctx", {})
    for bound, words in (("le", "above"), ("lt", "not below"), ("ge", "below"), ("gt", "not above")):
        if bound in limit:
            return f"is {words} {limit[bound]:g}."
    return f"cannot be: {error['msg'].lower()}."


# The same few values come again and again in a long table.
_force = lru_cache(maxsize=32_768)(parse_force)
_failure = lru_cache(maxsize=8192)(parse_failure)
_grade = lru_cache(maxsize=1024)(parse_grade)
_angle = lru_cache(maxsize=8192)(parse_angle)
