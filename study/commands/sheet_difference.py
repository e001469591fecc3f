"""Differences between two versions of a sheet: rows added and removed, cells changed; a room of the imports."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from study.intake.reading_columns import (
    COLOUR_CONDITIONS,
    COLUMNS,
    DETAIL_COLUMNS,
    KEPT_FLAGS,
    ROW_CONDITIONS,
    flags_for,
)
from study.intake.table_file import Row, Table

_OF_THE_ROW = ("read_on", *ROW_CONDITIONS)


@dataclass(frozen=True)
class ChangedCell:
    """One cell that stands otherwise in the new version."""

    row: int
    """In the new version."""
    coupon: str
    column: str
    before: str
    after: str

    def words(self) -> str:
        """The change in one line."""
        before, after = (f"“{cell}”" if cell else "blank" for cell in (self.before, self.after))
        return f"row {self.row}, {self.coupon}, {self.column}: {before} → {after}"


@dataclass(frozen=True)
class Difference:
    """What is different in a later version of a sheet."""

    added: tuple[Row, ...]
    removed: tuple[Row, ...]
    """As numbered in the earlier version."""
    cells: tuple[ChangedCell, ...]
    fresh: tuple[Row, ...]
    """Kept rows with the readings alone that were blank before."""
    touched: tuple[tuple[Row, tuple[str, ...]], ...]
    """Kept rows with the readings alone that stand otherwise now, and their kinds."""
    kept: int
    """Rows that are in both."""

    def words(self) -> str:
        """The difference in one sentence."""
        parts = [
            _count(len(self.added), "row") + " added",
            _count(len(self.removed), "row") + " removed",
            _count(len(self.cells), "cell") + " changed",
        ]
        return ", ".join(parts) + "."


def difference(before: Table, after: Table, *, named: Callable[[str], str]) -> Difference:
    """What a later version of a sheet has otherwise.

    Parameters
    ----------
    named : callable
        One spelling for a coupon as typed.
    """
    earlier = _by_coupon(before.rows, named)
    added: list[Row] = []
    removed: list[Row] = []
    pairs: list[tuple[Row, Row]] = []
    for coupon, rows in _by_coupon(after.rows, named).items():
        matched, left, gone = _matched(earlier.pop(coupon, []), rows)
        pairs += matched
        added += left
        removed += gone
    removed += [row for rows in earlier.values() for row in rows]
    cells: list[ChangedCell] = []
    fresh: list[Row] = []
    touched: list[tuple[Row, tuple[str, ...]]] = []
    for old, new in pairs:
        changed = [
            ChangedCell(new.number, new.cells["coupon"], column, old.cells.get(column, ""), new.cells.get(column, ""))
            for column in dict.fromkeys([*new.cells, *old.cells])
            if column != "coupon"
            and old.cells.get(column, "") != new.cells.get(column, "")
            # The unit of a force that is gone says nothing of its own.
            and (column != "force_unit" or new.cells.get(column) or new.cells.get("removal_force"))
        ]
        if not changed:
            continue
        cells += changed
        names = {cell.column for cell in changed}
        whole = bool(names & set(_OF_THE_ROW))
        begun = [kind for kind in COLUMNS if stands(new, kind) and not stands(old, kind)]
        again = [
            kind
            for kind in COLUMNS
            if stands(new, kind) and stands(old, kind) and (whole or names & set(columns_of(kind)))
        ]
        if begun:
            fresh.append(row_of_kinds(new, begun))
        if again:
            touched.append((row_of_kinds(new, again), tuple(again)))
    order = sorted(added, key=lambda row: row.number)
    return Difference(
        tuple(order),
        tuple(sorted(removed, key=lambda row: row.number)),
        tuple(sorted(cells, key=lambda cell: cell.row)),
        tuple(fresh),
        tuple(touched),
        len(pairs),
    )


def _by_coupon(rows: Sequence[Row], named: Callable[[str], str]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(named(row.cells.get("coupon", "")), []).append(row)
    return found


def _matched(earlier: list[Row], later: list[Row]) -> tuple[list[tuple[Row, Row]], list[Row], list[Row]]:
    """Rows of one coupon that are the same row: all cells alike, else the same day, else in their order."""
    if len(earlier) == 1 and len(later) == 1:
        return [(earlier[0], later[0])], [], []
    pairs: list[tuple[Row, Row]] = []
    for alike in (_same, _same_day, _any):
        for new in list(later):
            old = next((row for row in earlier if alike(row, new)), None)
            if old is not None:
                pairs.append((old, new))
                earlier.remove(old)
                later.remove(new)
    return pairs, later, earlier


def _same(one: Row, other: Row) -> bool:
    return {k: v for k, v in one.cells.items() if v} == {k: v for k, v in other.cells.items() if v}


def _same_day(one: Row, other: Row) -> bool:
    return one.cells.get("read_on") == other.cells.get("read_on")


def _any(_: Row, __: Row) -> bool:
    return True


def columns_of(kind: str) -> tuple[str, ...]:
    """Every column that belongs to a reading: its own, what stands beside it, the conditions of a colour."""
    conditions = COLOUR_CONDITIONS if kind.startswith("colour") else ()
    return (*COLUMNS[kind], *DETAIL_COLUMNS.get(kind, ()), *conditions)


def stands(row: Row, kind: str) -> bool:
    """Whether a row holds a reading of a kind; a unit or a side alone, as a template fills them in, is none."""
    columns = COLUMNS[kind] if kind.startswith("colour") else COLUMNS[kind][:1]
    return any(row.cells.get(column) for column in columns)


def row_of_kinds(row: Row, kinds: Sequence[str]) -> Row:
    """The row with these readings and its circumstances alone."""
    wanted = {"coupon", *_OF_THE_ROW, *(column for kind in kinds for column in columns_of(kind))}
    cells = {column: cell for column, cell in row.cells.items() if column in wanted}
    if row.cells.get(KEPT_FLAGS):
        cells[KEPT_FLAGS] = flags_for(row.cells[KEPT_FLAGS], kinds)
    return Row(row.number, cells)


def _count(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"
