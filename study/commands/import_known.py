"""Readings of a sheet that are in the study already with the same value, passed over and counted; a room of imports."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from study.commands.sheet_difference import columns_of, row_of_kinds, stands
from study.errors import FileRefused
from study.intake.reading_columns import COLUMNS, KEPT_FLAGS, KIND_OF, flags_for
from study.intake.reading_file import Bench, parse_readings
from study.intake.table_file import Row, Table
from study.model.details import Details
from study.model.reading import REPEATED, Reading
from study.store.readings import fetch_all_in_force
from study.store.study_file import StudyFile

_CIRCUMSTANCES = ("temperature_c", "humidity_percent", "instrument", "read_by", "note")
_OF_THE_VALUE = tuple(name for name in Details.model_fields if name not in (*_CIRCUMSTANCES, "marks", "spots"))


@dataclass(frozen=True)
class PassedOver:
    """A table without what the study knows already."""

    table: Table
    readings: int = 0
    """That were passed over."""
    otherwise: int = 0
    """Of these, with circumstances (note, instrument, room, reader) that the study has otherwise."""

    def words(self, new: int) -> list[str]:
        """What was passed over, in sentences; nothing if nothing was.

        Parameters
        ----------
        new : int
            How many readings of the sheet are new.
        """
        if not self.readings:
            return []
        one = self.readings == 1
        known = "1 reading is" if one else f"{self.readings} readings are"
        value = "the same value" if one else "the same values"
        told = [f"{known} in the study already, with {value}; {new} {'is' if new == 1 else 'are'} new."]
        if self.otherwise:
            what = "1 of them has" if self.otherwise == 1 else f"{self.otherwise} of them have"
            told.append(f"{what} another note, instrument, reader or room in the file; the study keeps its own.")
        return told


def passed_over(study: StudyFile, table: Table, bench: Bench, named: Callable[[str], str]) -> PassedOver:
    """The table without readings that are in force with the same day and value; what differs stays in it.

    Parameters
    ----------
    named : callable
        The code of a coupon as typed.
    """
    again = _again(table, bench, named)
    if not again:
        return PassedOver(table)
    rows = tuple(row_of_kinds(table.rows[place], kinds) for place, (_, kinds) in again.items())
    freed = dict(bench.coupons)
    for row, (code, kinds) in zip(rows, again.values(), strict=True):
        keys = {_key(kind, row.cells.get("read_on", "")) for kind in kinds}
        freed[code] = replace(freed[code], already=set(freed[code].already) - keys)
    found = _parsed(replace(table, rows=rows), replace(bench, coupons=freed))
    in_force = fetch_all_in_force(study, {reading.code for reading in found})
    same: set[tuple[str, str]] = set()
    otherwise = 0
    for new in found:
        key = _key(new.kind, str(new.read_on))
        old = in_force.get(new.code, {}).get(key)
        if old is not None and _says_the_same(old, new):
            same.add((new.code, key))
            otherwise += not _within(old, new, _CIRCUMSTANCES)
    return PassedOver(_without(table, again, same), len(same), otherwise)


def worth_the_same(old: Reading, new: Reading) -> bool:
    """Whether two readings are one value, however it was typed."""
    if math.isnan(old.lower) or math.isnan(new.lower):
        return (old.pattern, old.side) == (new.pattern, new.side) and _near(old.lab or (), new.lab or ())
    return _near((old.lower, old.upper), (new.lower, new.upper))


def _key(kind: str, day: str) -> str:
    return f"{kind} {day}" if kind in REPEATED else kind


def _again(table: Table, bench: Bench, named: Callable[[str], str]) -> dict[int, tuple[str, tuple[str, ...]]]:
    """By place among the rows, the coupon and what is in force for it; a coupon's second row of the same is left."""
    if not any(coupon.already for coupon in bench.coupons.values()):
        return {}
    found: dict[int, tuple[str, tuple[str, ...]]] = {}
    seen: set[tuple[str, str]] = set()
    for place, row in enumerate(table.rows):
        code = named(row.cells["coupon"])
        coupon = bench.coupons.get(code)
        if coupon is None or not coupon.already:
            continue
        day = row.cells.get("read_on", "")
        kinds = tuple(
            kind
            for kind in COLUMNS
            if (key := _key(kind, day)) in coupon.already and (code, key) not in seen and stands(row, kind)
        )
        if kinds:
            found[place] = code, kinds
            seen |= {(code, _key(kind, day)) for kind in kinds}
    return found


def _parsed(table: Table, bench: Bench) -> list[Reading]:
    """Readings in which nothing is wrong; the others are told of later, with all the rest."""
    try:
        return parse_readings(table, bench=bench)
    except FileRefused as fault:
        faulty: dict[int, set[str]] = {}
        for problem in fault.problems:
            # What is no part of one reading, such as the day, is wrong for the whole row.
            wrong = {KIND_OF[problem.column]} if problem.column in KIND_OF else set(COLUMNS)
            faulty.setdefault(problem.row, set()).update(wrong)
    rows = [row_of_kinds(row, [k for k in COLUMNS if k not in faulty.get(row.number, ())]) for row in table.rows]
    sound = tuple(row for row in rows if any(stands(row, kind) for kind in COLUMNS))
    try:
        return parse_readings(replace(table, rows=sound), bench=bench)
    except FileRefused:
        return []


def _says_the_same(old: Reading, new: Reading) -> bool:
    # A coupon's shares by area are its failure; of everything else that stands beside a value a blank says nothing.
    shares = old.details.shares == new.details.shares
    return old.read_on == new.read_on and shares and worth_the_same(old, new) and _within(old, new, _OF_THE_VALUE)


def _within(old: Reading, new: Reading, names: tuple[str, ...]) -> bool:
    """Whether everything that the new one says is said by the old one."""
    if old.details == new.details:
        return True
    return all(
        (said := getattr(new.details, name)) == Details.model_fields[name].default or said == getattr(old.details, name)
        for name in names
    )


def _near(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Equal but for what the arithmetic of units leaves behind the ninth digit."""
    return len(one) == len(other) and all(
        a == b or math.isclose(a, b, rel_tol=1e-9) for a, b in zip(one, other, strict=True)
    )


def _without(table: Table, again: Mapping[int, tuple[str, tuple[str, ...]]], same: set[tuple[str, str]]) -> Table:
    rows: list[Row] = []
    for place, row in enumerate(table.rows):
        code, kinds = again.get(place, ("", ()))
        gone = {kind for kind in kinds if (code, _key(kind, row.cells.get("read_on", ""))) in same}
        if not gone:
            rows.append(row)
            continue
        left = [kind for kind in COLUMNS if kind not in gone and stands(row, kind)]
        if left:
            # Conditions of colour stand beside every colour of the row: they stay while one is left.
            cleared = {name for kind in gone for name in columns_of(kind)}
            cleared -= {name for kind in left for name in columns_of(kind)}
            cells = {name: "" if name in cleared else cell for name, cell in row.cells.items()}
            if cells.get(KEPT_FLAGS):
                cells[KEPT_FLAGS] = flags_for(cells[KEPT_FLAGS], left)
            rows.append(Row(row.number, cells))
    return replace(table, rows=tuple(rows))
