"""Reading files: forces, failure patterns, residue grades, colours and hold angles, a row a coupon."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from study.errors import FileRefused, Problem
from study.intake.cells import (
    CellFault,
    parse_angle,
    parse_day,
    parse_force,
    parse_grade,
    parse_lab,
    parse_pattern,
    parse_side,
)
from study.intake.coupon_file import parse_code
from study.intake.table_file import Row, Table
from study.model.protocol import Quantity
from study.model.pull import GONE_KINDS, PullEvent
from study.model.reading import REPEATED, Reading
from study.model.units import plain

Taken = TypeVar("Taken")

REQUIRED = ("coupon", "read_on")
COLUMNS: dict[str, tuple[str, ...]] = {
    "removal_force": ("removal_force", "force_unit"),
    "failure_pattern": ("failure_pattern", "side"),
    "residue_grade": ("residue_grade",),
    "colour_before": ("L_before", "a_before", "b_before"),
    "colour_after": ("L_after", "a_after", "b_after"),
    "colour_look": ("L_look", "a_look", "b_look"),
    "hold_angle": ("hold_angle_deg",),
}
"""Columns by reading kind; the first names the reading, the rest complete it."""
OPTIONAL = tuple(column for columns in COLUMNS.values() for column in columns)


@dataclass(frozen=True)
class ReadableCoupon:
    """What the checks need to know of one coupon."""

    placed_on: date
    pulled: PullEvent | None
    quantities: tuple[Quantity, ...]
    """What its protocol reads on it."""
    force_per: str
    """dot or width; empty where no force is read."""
    already: Collection[str]
    """Kinds already in force; looks in place by kind and day."""
    in_place: bool = False
    """Whether its protocol has colours read in place."""


def kinds_of(quantities: Collection[Quantity]) -> tuple[str, ...]:
    """Reading kinds that a coupon's quantities ask for; a discoloration is two colours."""
    colours = ("colour_before", "colour_after") if "discoloration" in quantities else ()
    return tuple(kind for kind in COLUMNS if kind in quantities or kind in colours)


def parse_readings(table: Table, *, known: Mapping[str, ReadableCoupon], today: date) -> list[Reading]:
    """Readings of a table; a blank cell is "not measured", never zero.

    Raises
    ------
    FileRefused
        With every fault of the file: unknown codes, coupons never pulled, units, scales, dates, repeats.
    """
    readings: list[Reading] = []
    problems: list[Problem] = []
    seen: dict[tuple[str, str], int] = {}
    for row in table.rows:
        found = _row_readings(row, known, today, problems)
        for reading in found:
            place = f"{reading.kind} {reading.read_on}" if reading.kind in REPEATED else reading.kind
            earlier = seen.setdefault((reading.code, place), row.number)
            if earlier != row.number:
                column = COLUMNS[reading.kind][0]
                what = f"is read in row {earlier} already."
                problems.append(row.problem(column, what, "Keep one; a repeat reading needs a coupon of its own."))
        readings += found
    if problems:
        raise FileRefused(table.file, problems)
    return readings


def _row_readings(row: Row, known: Mapping[str, ReadableCoupon], today: date, problems: list[Problem]) -> list[Reading]:
    code = _taken(row, "coupon", lambda typed: parse_code(typed, known=known), problems)
    read_on = _taken(row, "read_on", parse_day, problems)
    given = [kind for kind in COLUMNS if _is_given(row, kind)]
    if not given:
        problems.append(row.problem("", "has no reading in it.", "Fill in a reading or delete the row."))
    if code is None or read_on is None:
        # The cells are still read, so that their own faults are told in the same go.
        for kind in given:
            _reading(row, kind, "", date.min, "dot", problems)
        return []
    coupon = known[code]
    problems += _state_problems(row, coupon, read_on, today, given)
    readings = []
    for kind in given:
        column = COLUMNS[kind][0]
        allowed = kinds_of(coupon.quantities) + (REPEATED if coupon.in_place else ())
        if kind not in allowed:
            asked = ", ".join(allowed)
            problems.append(
                row.problem(column, f"is not read on this coupon, whose test asks for {asked}.", "Check the code.")
            )
        elif (f"{kind} {read_on}" if kind in REPEATED else kind) in coupon.already:
            problems.append(row.problem(column, "is in the study already.", "Correct it with: dwellbook read correct."))
        else:
            # A colour before was read at the same spot before placing, whatever day the row was written.
            day = coupon.placed_on if kind == "colour_before" else read_on
            reading = _reading(row, kind, code, day, coupon.force_per, problems)
            readings += [reading] if reading else []
    return readings


def _is_given(row: Row, kind: str) -> bool:
    """A unit or a side alone, as a template fills them in, is no reading; one of three colour values is one."""
    columns = COLUMNS[kind] if kind.startswith("colour") else COLUMNS[kind][:1]
    return any(row.cells.get(column) for column in columns)


def _state_problems(
    row: Row, coupon: ReadableCoupon, read_on: date, today: date, given: Collection[str]
) -> list[Problem]:
    if all(kind == "colour_before" for kind in given):
        return []
    if all(kind in ("colour_before", *REPEATED) for kind in given):
        return _look_problems(row, coupon, read_on, today)
    if any(kind in REPEATED for kind in given):
        return [
            row.problem(COLUMNS["colour_look"][0], "stands beside readings after the pull.", "Give it its own row.")
        ]
    if coupon.pulled is None:
        return [row.problem("coupon", "was never pulled.", "Record its pull first: dwellbook pull record.")]
    if coupon.pulled.kind in GONE_KINDS:
        what = f"is recorded as {coupon.pulled.kind} on {coupon.pulled.on}: it can tell nothing."
        return [row.problem("coupon", what, "Check the code.")]
    taken = [kind for kind in given if kind in ("removal_force", "hold_angle")]
    if taken and coupon.pulled.kind == "released by itself":
        what = f"released by itself on {coupon.pulled.on}: nothing was left to pull or tilt."
        return [row.problem(COLUMNS[taken[0]][0], what, "Leave it blank; residue and colour may still be read.")]
    if read_on < coupon.pulled.on:
        what = f"is before the pull on {coupon.pulled.on}."
        return [row.problem("read_on", what, "Check the date and the coupon.")]
    if read_on > today:
        return [row.problem("read_on", f"lies after {today}.", "Check the year.")]
    return []


def _look_problems(row: Row, coupon: ReadableCoupon, read_on: date, today: date) -> list[Problem]:
    last = min(today, coupon.pulled.on) if coupon.pulled else today
    if coupon.placed_on < read_on <= last:
        return []
    what = f"is not a day in place: after {coupon.placed_on}, up to {last}."
    return [row.problem("read_on", what, "Give the day of the look; a colour after removal has columns of its own.")]


def _reading(row: Row, kind: str, code: str, read_on: date, force_per: str, problems: list[Problem]) -> Reading | None:
    columns = COLUMNS[kind]
    cells = tuple(plain(row.cells.get(column, "")) for column in columns)
    typed = " ".join(cell for cell in cells if cell)
    try:
        if kind == "removal_force":
            lower, upper, unit = parse_force(cells[0], unit=cells[1], force_per=force_per)
            return Reading(code, kind, read_on, cells[0], unit=unit, lower=lower, upper=upper)
        if kind == "failure_pattern":
            if not cells[1]:
                raise CellFault("has no side.", "Say in the side column whether it failed at object, mount or both.")
            return Reading(code, kind, read_on, typed, pattern=parse_pattern(cells[0]), side=parse_side(cells[1]))
        if kind == "residue_grade":
            lower, upper = parse_grade(cells[0])
            return Reading(code, kind, read_on, typed, unit="grade", lower=lower, upper=upper)
        if kind == "hold_angle":
            lower, upper = parse_angle(cells[0])
            return Reading(code, kind, read_on, typed, unit="°", lower=lower, upper=upper)
        return Reading(code, kind, read_on, typed, lab=parse_lab((cells[0], cells[1], cells[2])))
    except CellFault as fault:
        problems.append(Problem(row.number, columns[0], typed, fault.what, fault.do))
        return None


def _taken(row: Row, column: str, parse: Callable[[str], Taken], problems: list[Problem]) -> Taken | None:
    try:
        return parse(row.cells.get(column, ""))
    except CellFault as fault:
        problems.append(row.problem(column, fault.what, fault.do))
        return None
