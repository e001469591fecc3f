"""Tables somebody already has: one look a row, or an interval a row, in columns the person names."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from study.errors import FileRefused, Problem
from study.intake.cells import CellFault, parse_bounds, parse_number
from study.intake.table_file import Row, parse_table
from study.model.looks import LookRows, LookRule

_YES = {"yes": True, "1": True, "true": True, "no": False, "0": False, "false": False}
_LIMIT = re.compile(r"\s*([<>])\s*(.+)")
MOST_COUPONS = 5_000_000
"""In one table, counts added up; more could not be held in memory one by one."""
_NUMBERS = ("dwell", "unacceptable", "lower", "upper", "after", "by", "count", "harm")
Cell = TypeVar("Cell")


@dataclass(frozen=True)
class LookColumns:
    """Names of the columns that hold what is asked; empty where there is none."""

    dwell: str = ""
    acceptable: str = ""
    value: str = ""
    limit: str = ""
    after: str = ""
    by: str = ""
    group: str = ""
    count: str = ""
    harm: str = ""

    def named(self) -> list[str]:
        """Every column that must be there."""
        found = (self.dwell, self.acceptable, self.value, self.after, self.by, self.group, self.count, self.harm)
        return [name for name in found if name]


@dataclass
class _Gathered:
    """Cells of one group as they come in."""

    rows: dict[str, list[float]] = field(default_factory=lambda: {name: [] for name in _NUMBERS})
    not_measured: int = 0


def parse_looks(path: Path, *, columns: LookColumns, rule: LookRule) -> tuple[LookRule, list[LookRows]]:
    """The rows of a table by group, in order of their first appearance, and the rule with the limit filled in.

    Raises
    ------
    FileRefused
        With every bad option and every bad cell.
    """
    problems = _option_problems(columns, rule)
    if problems:
        raise FileRefused(path.name, problems)
    if columns.value:
        sign, limit = _limit_of(columns.limit)
        rule = replace(rule, limit=limit, unacceptable="above" if sign == ">" else "below")
    judged_by = columns.acceptable or columns.value or columns.by
    rule = replace(rule, judged_by=judged_by)
    table = parse_table(path, required=list(dict.fromkeys(columns.named())), others=True)
    groups: dict[str, _Gathered] = {}
    for row in table.rows:
        group = groups.setdefault(row.cells[columns.group] if columns.group else "all", _Gathered())
        try:
            _take(row, columns, rule, group)
        except _Faults as faults:
            problems += faults.problems
    coupons = sum(sum(group.rows["count"]) for group in groups.values())
    if coupons > MOST_COUPONS:
        problems.append(
            Problem(0, columns.count, f"{coupons:.0f}", "coupons are too many.", f"At most {MOST_COUPONS}.")
        )
    if problems:
        raise FileRefused(path.name, problems)
    return rule, [_look_rows(name, group, columns) for name, group in groups.items()]


class _Faults(Exception):
    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems


def _take(row: Row, columns: LookColumns, rule: LookRule, group: _Gathered) -> None:
    problems: list[Problem] = []

    def cell(column: str, parse: Callable[[str], Cell], default: Cell) -> Cell:
        if not column:
            return default
        try:
            return parse(row.cells[column])
        except CellFault as fault:
            problems.append(row.problem(column, fault.what, fault.do))
            return default

    count = cell(columns.count, _count, 1)
    harm = cell(columns.harm, lambda typed: _yes(typed) if typed else False, False)
    found = {"count": float(count), "harm": float(harm), "lower": math.nan, "upper": math.nan, "unacceptable": -1.0}
    measured = True
    if columns.dwell:
        found["dwell"] = cell(columns.dwell, _time, 0.0)
        judge = columns.acceptable or columns.value
        measured = bool(row.cells[judge])
        if measured and columns.acceptable:
            found["unacceptable"] = float(not cell(judge, _yes, True))
        elif measured:
            found["lower"], found["upper"] = cell(judge, lambda typed: _value(typed, rule), (math.nan, math.nan))
            found["unacceptable"] = _verdict(row.cells[judge], found["lower"], found["upper"], rule)
        bad, dwell = found["unacceptable"], found["dwell"]
        found["after"], found["by"] = (0.0, dwell) if bad == 1 else (dwell if bad == 0 else 0.0, math.inf)
    else:
        found["dwell"] = 0.0
        found["after"] = cell(columns.after, lambda typed: _time(typed) if typed else 0.0, 0.0)
        found["by"] = cell(columns.by, lambda typed: _time(typed) if typed else math.inf, math.inf)
        if not problems and found["by"] <= found["after"]:
            what = "equals" if found["by"] == found["after"] else "is before"
            do = "Give the last look before it." if what == "equals" else "Check which column is which."
            problems.append(row.problem(columns.by, f"{what} {columns.after} ({found['after']:g}).", do))
    if problems:
        raise _Faults(problems)
    if not measured:
        group.not_measured += int(count)
        if not harm:
            return
    for name in _NUMBERS:
        group.rows[name].append(found[name])


def _look_rows(name: str, group: _Gathered, columns: LookColumns) -> LookRows:
    held = {key: np.array(values) for key, values in group.rows.items()}
    one_look = bool(columns.dwell)
    return LookRows(
        group=name,
        count=held["count"].astype(np.int64),
        harm=held["harm"].astype(bool),
        after=held["after"],
        by=held["by"],
        dwell=held["dwell"] if one_look else None,
        unacceptable=held["unacceptable"].astype(np.int8) if one_look else None,
        lower=held["lower"] if columns.value else None,
        upper=held["upper"] if columns.value else None,
        not_measured=group.not_measured,
    )


def _option_problems(columns: LookColumns, rule: LookRule) -> list[Problem]:
    def wrong(option: str, value: object, what: str, do: str) -> Problem:
        return Problem(0, option, str(value), what, do)

    problems = []
    intervals, one_look = bool(columns.after or columns.by), bool(columns.dwell)
    judges = [name for name in (columns.acceptable, columns.value) if name]
    if intervals and (one_look or judges):
        problems.append(wrong("--after", "", "stands beside --dwell.", "Give intervals or one look a row, not both."))
    elif intervals and not (columns.after and columns.by):
        problems.append(wrong("--after", "", "and --by belong together.", "Name both columns."))
    elif not intervals and (not one_look or len(judges) != 1):
        do = "Give --dwell with either --acceptable or --value and --limit, or give --after and --by."
        problems.append(wrong("--dwell", columns.dwell, "does not say what was seen.", do))
    if columns.value and not columns.limit:
        problems.append(wrong("--limit", "", "is missing.", "Say when a value is unacceptable, such as --limit '> 4'."))
    if columns.limit and not columns.value:
        problems.append(wrong("--limit", columns.limit, "has no --value.", "Name the column of values."))
    if columns.limit:
        try:
            if _limit_of(columns.limit)[1] <= 0 and rule.value_scale == "log":
                do = "Use --value-scale as-read."
                problems.append(wrong("--limit", columns.limit, "cannot stand on the log scale.", do))
        except CellFault as fault:
            problems.append(wrong("--limit", columns.limit, fault.what, fault.do))
    for option, value, low, high in (
        ("--permitted", rule.permitted, 0.001, 0.5),
        ("--confidence", rule.confidence, 0.5, 0.9999),
        ("--day-share", rule.day_share or 0.0, 0.0, 0.6),
    ):
        if not low <= value <= high:
            problems.append(wrong(option, value, f"is not between {low:g} and {high:g}.", "Correct it."))
    if not 0 < rule.shape_from < rule.shape_to <= 50:
        what = "is not a range of shapes."
        problems.append(
            wrong("--shape", f"{rule.shape_from:g}:{rule.shape_to:g}", what, "Write two numbers, such as 1:12.")
        )
    if rule.seed < 0:
        problems.append(wrong("--seed", rule.seed, "is below zero.", "Write a whole number."))
    return problems


def _limit_of(text: str) -> tuple[str, float]:
    match = _LIMIT.fullmatch(text)
    if match is None:
        raise CellFault("does not say on which side.", "Write '> 4' (unacceptable above) or '< 4' (below).")
    return match[1], parse_number(match[2])


def _verdict(typed: str, lower: float, upper: float, rule: LookRule) -> float:
    """1 unacceptable, 0 acceptable, -1 undecided; a bound typed with < or > is never reached itself."""
    assert rule.limit is not None
    above = rule.unacceptable == "above"
    low, high, limit = (lower, upper, rule.limit) if above else (-upper, -lower, -rule.limit)
    if low > limit or (low == limit and low < high):
        return 1.0  # ">4" with "> 4" unacceptable: more than the limit
    return 0.0 if high <= limit else -1.0


def _value(typed: str, rule: LookRule) -> tuple[float, float]:
    lower, upper = parse_bounds(typed)
    if rule.value_scale == "log":
        finite = lower if math.isfinite(lower) else upper
        if finite <= 0:
            raise CellFault("has no logarithm.", "Use --value-scale as-read, or correct it.")
    return lower, upper


def _time(typed: str) -> float:
    number = parse_number(typed)
    if number < 0:
        raise CellFault("is below zero.", "Time runs from placement, at 0.")
    return number


def _count(typed: str) -> int:
    number = parse_number(typed)
    if number <= 0 or number != int(number) or number > 1e9:
        raise CellFault("is not a number of coupons.", "Write a whole number above zero.")
    return int(number)


def _yes(typed: str) -> bool:
    word = typed.lower()
    if word not in _YES:
        raise CellFault("is neither yes nor no.", "Write yes or no, 1 or 0, true or false.")
    return _YES[word]
