"""Reading files: forces, failure patterns, residue grades, colours and hold angles, a row a coupon."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from functools import lru_cache

from study.errors import FileRefused, Problem
from study.intake.cells import parse_day, parse_humidity, parse_temperature, taken
from study.intake.coupon_file import parse_code
from study.intake.reading_cells import parse_left_over, parse_reading
from study.intake.reading_columns import COLUMNS, DETAIL_COLUMNS, KEPT_FLAGS, kinds_of, kinds_taken
from study.intake.table_file import Row, Table
from study.model.protocol import Quantity, ReadingClimate
from study.model.pull import GONE_KINDS, PullEvent
from study.model.reading import REPEATED, Reading

_NEAR_OFFERED = 40
"""Problems in a file beyond which near matches of codes are no longer looked for."""
_day = lru_cache(maxsize=4096)(parse_day)


@dataclass(frozen=True)
class Gauge:
    """An instrument as a reading knows it."""

    measures: str
    marked: Callable[[date], str]
    """What marks a reading on a day: empty, or in words that the instrument was past calibration."""


@dataclass(frozen=True)
class RowMarks:
    """Flags that stay on the readings of a row."""

    room: tuple[str, ...] = ()
    gauge: str = ""
    measures: str = ""

    def on(self, kind: str) -> tuple[str, ...]:
        """The flags of one reading: a gauge past calibration says nothing about a grade given by eye."""
        taken_with = _TAKEN_WITH.get(self.measures)
        touched = taken_with is None or kind.startswith(taken_with)
        return (*((self.gauge,) if self.gauge and touched else ()), *self.room)

    @property
    def said(self) -> tuple[str, ...]:
        """All of them, once."""
        return (*((self.gauge,) if self.gauge else ()), *self.room)


_ROOM = (("temperature_c", parse_temperature), ("humidity_percent", parse_humidity))
_TAKEN_WITH = {"force": "removal_force", "colour": "colour", "angle": "hold_angle"}
"""Kinds of reading, by how their names begin, that an instrument takes; any other may touch the whole row."""


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
    climate: ReadingClimate | None = None
    """The band its protocol wants the room in."""
    own_mark: str = ""
    group: tuple[str, str] = ("", "")
    """Its set and test: forces of one group are compared with each other."""


@dataclass(frozen=True)
class Bench:
    """What the checks of a table of readings need to know."""

    coupons: Mapping[str, ReadableCoupon]
    today: date
    instruments: Mapping[str, Gauge]
    marks: Mapping[str, str]
    """Code by the laboratory's own mark, tidied."""
    entry: Callable[[str, str], str] = field(default=lambda code, key: "")
    """What stands where a reading is in force already, with who and when, in words."""


def parse_readings(table: Table, *, bench: Bench) -> list[Reading]:
    """Readings of a table; a blank cell is "not measured", never zero.

    Raises
    ------
    FileRefused
        With every fault of the file: unknown codes, coupons never pulled, units, scales, dates, repeats.
    """
    readings: list[Reading] = []
    problems: list[Problem] = []
    seen: dict[tuple[str, str], int] = {}
    kinds = tuple(kind for kind, columns in COLUMNS.items() if not set(columns).isdisjoint(table.columns))
    beside = any(not set(columns).isdisjoint(table.columns) for columns in DETAIL_COLUMNS.values())
    for row in table.rows:
        found = _row_readings(row, bench, problems, kinds=kinds, beside=beside)
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


def _row_readings(
    row: Row, bench: Bench, problems: list[Problem], *, kinds: tuple[str, ...], beside: bool
) -> list[Reading]:
    # To look for near matches takes long: a file of another study has thousands of unknown codes.
    near = len(problems) < _NEAR_OFFERED
    code = taken(
        row, "coupon", lambda typed: parse_code(typed, known=bench.coupons, marks=bench.marks, near=near), problems
    )
    read_on = taken(row, "read_on", _day, problems)
    given = [kind for kind in kinds if _is_given(row, kind)]
    if not given:
        problems.append(row.problem("", "has no reading in it.", "Fill in a reading or delete the row."))
    if beside:
        parse_left_over(row, tuple(given), problems)
    if code is None or read_on is None:
        # The cells are still read, so that their own faults are told in the same go.
        for kind in given:
            parse_reading(row, kind, code="", read_on=date.min, force_per="dot", marks=(), problems=problems)
        return []
    coupon = bench.coupons[code]
    problems += _state_problems(row, coupon, read_on, bench.today, given)
    marks = row_marks(row, coupon, read_on, bench, problems)
    kept = _kept_flags(row, given, problems) if row.cells.get(KEPT_FLAGS) else {}
    readings = []
    allowed = _allowed(coupon.quantities, coupon.in_place)
    for kind in given:
        column = COLUMNS[kind][0]
        if kind not in allowed:
            asked = ", ".join(kinds_of(coupon.quantities))
            problems.append(
                row.problem(column, f"is not read on this coupon, whose test asks for {asked}.", "Check the code.")
            )
        elif (f"{kind} {read_on}" if kind in REPEATED else kind) in coupon.already:
            said = bench.entry(code, f"{kind} {read_on}" if kind in REPEATED else kind)
            what = f"is in the study already: {said}." if said else "is in the study already."
            problems.append(
                row.problem(column, what, "Correct it with a reason if it is wrong: dwellbook read correct.")
            )
        else:
            # A colour before was read at the same spot before placing, whatever day the row was written.
            day = coupon.placed_on if kind == "colour_before" else read_on
            reading = parse_reading(
                row,
                kind,
                code=code,
                read_on=day,
                force_per=coupon.force_per,
                marks=tuple(dict.fromkeys((*marks.on(kind), *kept.get(kind, ())))),
                problems=problems,
            )
            readings += [reading] if reading else []
    return readings


@lru_cache(maxsize=256)
def _allowed(quantities: tuple[Quantity, ...], in_place: bool) -> tuple[str, ...]:
    """Every kind that may be read on a coupon with such a protocol."""
    return kinds_taken(quantities) + (REPEATED if in_place else ())


def flags_text(flags: Mapping[str, Sequence[str]]) -> str:
    """Flags by kind of reading as one cell of an export, which ``parse_readings`` takes back."""
    return " | ".join(f"{kind}: {flag.replace('|', '/')}" for kind, found in flags.items() for flag in found)


def _kept_flags(row: Row, given: Collection[str], problems: list[Problem]) -> dict[str, list[str]]:
    """Flags that an export brought with the readings; what was unusual is asked about anew."""
    found: dict[str, list[str]] = {}
    for part in row.cells[KEPT_FLAGS].split(" | "):
        kind, colon, flag = part.strip().partition(": ")
        said = f"“{part.strip()}”"
        as_exported = "Leave it as it was exported, or blank."
        if not colon or kind not in given:
            problems.append(row.problem(KEPT_FLAGS, f"has a flag of no reading in its row: {said}.", as_exported))
        elif not flag.startswith(("unusual", "read at ")) and " was " not in flag:
            problems.append(row.problem(KEPT_FLAGS, f"has a flag that was never set: {said}.", as_exported))
        elif not flag.startswith("unusual"):
            found.setdefault(kind, []).append(flag)
    return found


def row_marks(row: Row, coupon: ReadableCoupon, read_on: date, bench: Bench, problems: list[Problem]) -> RowMarks:
    """Flags that stay on the row's readings: an instrument past calibration, a room outside the protocol's band."""
    gauge, measures, room = "", "", tuple[str, ...]()
    instrument = row.cells.get("instrument", "")
    if instrument and bench.instruments:
        known = bench.instruments.get(instrument)
        if known is None:
            near = get_close_matches(instrument, list(bench.instruments), n=2, cutoff=0.5)
            do = f"Did you mean {' or '.join(near)}?" if near else f"Known: {', '.join(bench.instruments)}."
            problems.append(row.problem("instrument", "is not a registered instrument.", do))
        else:
            gauge, measures = known.marked(read_on), known.measures
    elif instrument:
        what, do = "is not a registered instrument.", "Register it first: dwellbook register instrument."
        problems.append(row.problem("instrument", what, do))
    if coupon.climate is not None and any(row.cells.get(column) for column, _ in _ROOM):
        faults: list[Problem] = []  # told where the cell itself is read
        found = [taken(row, column, parse, faults) if row.cells.get(column) else None for column, parse in _ROOM]
        room = coupon.climate.outside(*found)
    return RowMarks(room, gauge, measures)


def _is_given(row: Row, kind: str) -> bool:
    """A unit or a side alone, as a template fills them in, is no reading; one of three colour values is one."""
    columns = COLUMNS[kind]
    if not kind.startswith("colour"):
        return bool(row.cells.get(columns[0]))
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
