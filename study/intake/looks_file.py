"""Tables somebody already has: one look a row, or an interval a row, in columns the person names."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass, fields, replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from study.errors import FileRefused, Problem
from study.intake.cells import CellFault, parse_bounds, parse_number
from study.intake.table_file import Row, parse_table
from study.model.looks import LookRows, LookRule

_YES = {"yes": True, "1": True, "true": True, "no": False, "0": False, "false": False}
_LIMIT = re.compile(r"\s*([<>])\s*(.+)")
SHORTEST_TIME, LONGEST_TIME = 1e-12, 1e15
"""In whatever unit; beyond, nothing that can be computed or printed is meant."""
MOST_COUPONS = 5_000_000
"""In one table, counts added up; more could not be held in memory one by one."""
BOUNDS = {"--permitted": (0.001, 0.5), "--confidence": (0.5, 0.9999), "--day-share": (0.0, 0.6)}
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
        return [getattr(self, part.name) for part in fields(self) if part.name != "limit" and getattr(self, part.name)]


@dataclass(frozen=True)
class LookOptions:
    """What a rule is made of, as typed."""

    permitted: str = "0.10"
    confidence: str = "0.95"
    shape: str = "1:12"
    day_share: str = "auto"
    seed: str = "1"
    value_scale: str = "log"


def parse_looks(path: Path, *, columns: LookColumns, rule: LookRule | LookOptions) -> tuple[LookRule, list[LookRows]]:
    """The rows of a table by group, in order of their first appearance, and the rule with the limit filled in.

    Raises
    ------
    FileRefused
        With every bad option and every bad cell.
    """
    columns = LookColumns(*(name.strip() for name in astuple(columns)))
    if isinstance(rule, LookOptions):
        rule, problems = _parse_rule(rule)
    else:
        problems = []
    problems += _rule_problems(rule)
    unclear = _column_problems(columns)
    rule, faults = _with_limit(rule, columns)
    problems += faults
    if unclear:
        raise FileRefused(path.name, [*unclear, *problems])
    try:
        table = parse_table(path, required=list(dict.fromkeys(columns.named())), others=True)
    except FileRefused as refusal:
        raise FileRefused(path.name, [*problems, *refusal.problems]) from None
    found = _Cells(table.rows)
    rows = _one_looks(found, columns, rule) if columns.dwell else _intervals(found, columns)
    problems += found.problems
    coupons = int(rows.count.sum())
    if coupons > MOST_COUPONS:
        problems.append(Problem(0, columns.count, f"{coupons}", "coupons are too many.", f"At most {MOST_COUPONS}."))
    if problems:
        raise FileRefused(path.name, problems)
    return rule, _by_group(rows, [row.cells[columns.group] for row in table.rows] if columns.group else [])


class _Cells:
    """Cells of every row, column by column; equal texts are read once, and every fault is kept with its place."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self.rows, self.problems = rows, list[Problem]()

    def texts(self, column: str) -> list[str]:
        return [row.cells[column] for row in self.rows]

    def read(self, column: str, parse: Callable[[str], Cell], default: Cell) -> list[Cell]:
        """What each cell of a column says; the default where there is no such column or the cell has a fault."""
        if not column:
            return [default] * len(self.rows)
        known: dict[str, Cell | CellFault] = {}
        found = []
        for row in self.rows:
            text = row.cells[column]
            if text not in known:
                try:
                    known[text] = parse(text)
                except CellFault as fault:
                    known[text] = fault
            said = known[text]
            if isinstance(said, CellFault):
                self.problems.append(row.problem(column, said.what, said.do))
                said = default
            found.append(said)
        return found


def _counts_and_harm(found: _Cells, columns: LookColumns) -> tuple[np.ndarray, np.ndarray]:
    count = np.array(found.read(columns.count, _count, 1), np.int64)
    return count, np.array(found.read(columns.harm, lambda typed: bool(typed) and _yes(typed), False), bool)


def _one_looks(found: _Cells, columns: LookColumns, rule: LookRule) -> LookRows:
    """One look a row; a row whose verdict is blank is kept for its harm, or counted as not measured."""
    count, harm = _counts_and_harm(found, columns)
    dwell = np.array(found.read(columns.dwell, _time, 0.0))
    judge = columns.acceptable or columns.value
    measured = np.array([bool(text) for text in found.texts(judge)], bool)
    lower = upper = None
    if columns.acceptable:
        said = found.read(judge, lambda typed: int(not _yes(typed)) if typed else -1, -1)
        unacceptable = np.array(said, np.int8)
    else:
        bounds = np.array(found.read(judge, lambda typed: _value(typed, rule), (math.nan, math.nan)))
        lower, upper = bounds[:, 0], bounds[:, 1]
        unacceptable = _verdicts(lower, upper, rule)
    after = np.where(unacceptable == 0, dwell, 0.0)
    by = np.where(unacceptable == 1, dwell, math.inf)
    return LookRows("", count, harm, after, by, dwell, unacceptable, lower, upper, int(count[~measured].sum()))


def _intervals(found: _Cells, columns: LookColumns) -> LookRows:
    """An interval a row: the last look before it, and the first at which it was."""
    count, harm = _counts_and_harm(found, columns)
    before = len(found.problems)
    after = np.array(found.read(columns.after, lambda typed: _time(typed) if typed else 0.0, 0.0))
    by = np.array(found.read(columns.by, lambda typed: _time(typed) if typed else math.inf, math.inf))
    faulty = {problem.row for problem in found.problems[before:]}
    for place in np.flatnonzero(by <= after).tolist():
        row = found.rows[place]
        if row.number not in faulty:
            equal = by[place] == after[place]
            what = f"{'equals' if equal else 'is before'} {columns.after} ({after[place]:g})."
            do = "Give the last look before it." if equal else "Check which column is which."
            found.problems.append(row.problem(columns.by, what, do))
    return LookRows("", count, harm, after, by)


def _by_group(rows: LookRows, names: list[str]) -> list[LookRows]:
    """The rows of each group, in order of first appearance; blank rows without harm only counted."""
    places: dict[str, list[int]] = {}
    for place, name in enumerate(names):
        places.setdefault(name, []).append(place)
    if not names:
        places = {"all": list(range(rows.count.size))}
    return [_chosen(rows, name, np.array(chosen)) for name, chosen in places.items()]


def _chosen(rows: LookRows, name: str, chosen: np.ndarray) -> LookRows:
    blank = 0
    if rows.unacceptable is not None:
        unsaid = rows.unacceptable[chosen] < 0
        if rows.lower is not None:
            unsaid &= np.isnan(rows.lower[chosen])
        blank = int(rows.count[chosen[unsaid]].sum())
        chosen = chosen[~unsaid | rows.harm[chosen]]

    def part(column: np.ndarray | None) -> np.ndarray | None:
        return None if column is None else column[chosen]

    return LookRows(
        name, rows.count[chosen], rows.harm[chosen], rows.after[chosen], rows.by[chosen],
        part(rows.dwell), part(rows.unacceptable), part(rows.lower), part(rows.upper), blank,
    )  # fmt: skip


def _parse_rule(typed: LookOptions) -> tuple[LookRule, list[Problem]]:
    """The rule as typed, usual values standing in for what is no number."""
    problems, usual = [], LookRule()

    def number(option: str, text: str, otherwise: float, do: str = "Write a number, such as 0.05.") -> float:
        try:
            return float(text)
        except ValueError:
            problems.append(Problem(0, option, text, "is not a number.", do))
            return otherwise

    share = None if typed.day_share.strip().lower() == "auto" else number(
        "--day-share", typed.day_share, 0.0, "Write auto, or a number from 0 to 0.6."
    )  # fmt: skip
    shape, ends = (usual.shape_from, usual.shape_to), typed.shape.split(":")
    try:
        shape = float(ends[0]), float(ends[1])
        if len(ends) > 2:
            raise ValueError
    except (ValueError, IndexError):
        problems.append(Problem(0, "--shape", typed.shape, "is no range.", "Write two numbers, such as 1:12."))
    seed = usual.seed
    try:
        seed = int(typed.seed)
    except ValueError:
        problems.append(Problem(0, "--seed", typed.seed, "is not a whole number.", "Write one, such as 1."))
    scale = typed.value_scale.strip().replace("-", " ")
    if scale not in ("log", "as read"):
        problems.append(Problem(0, "--value-scale", typed.value_scale, "is no scale.", "Write log or as-read."))
        scale = "as read"
    permitted = number("--permitted", typed.permitted, usual.permitted, "Write a share, such as 0.10.")
    confidence = number("--confidence", typed.confidence, usual.confidence, "Write a share, such as 0.95.")
    return LookRule(permitted, confidence, *shape, share, seed, value_scale=scale), problems


def _rule_problems(rule: LookRule) -> list[Problem]:
    values = {"--permitted": rule.permitted, "--confidence": rule.confidence, "--day-share": rule.day_share or 0.0}
    problems = [
        Problem(0, option, f"{values[option]:g}", f"is not between {low:g} and {high:g}.", "Correct it.")
        for option, (low, high) in BOUNDS.items()
        if not low <= values[option] <= high
    ]
    if not 0 < rule.shape_from < rule.shape_to <= 50:
        shown = f"{rule.shape_from:g}:{rule.shape_to:g}"
        do = "Write the smaller first, both above 0 and at most 50, such as 1:12."
        problems.append(Problem(0, "--shape", shown, "is not a range of shapes.", do))
    if rule.seed < 0:
        problems.append(Problem(0, "--seed", str(rule.seed), "is below zero.", "Write a whole number from 0 on."))
    return problems


def _column_problems(columns: LookColumns) -> list[Problem]:
    """Options that leave it open what a row says."""
    problems = []
    intervals, one_look = bool(columns.after or columns.by), bool(columns.dwell)
    judges = [name for name in (columns.acceptable, columns.value) if name]
    if intervals and (one_look or judges):
        do = "Give intervals or one look a row, not both."
        problems.append(Problem(0, "--after", columns.after or columns.by, "stands beside one look a row.", do))
    elif intervals and not (columns.after and columns.by):
        problems.append(Problem(0, "--after", "", "and --by belong together.", "Name both columns."))
    elif not intervals and (not one_look or len(judges) != 1):
        do = "Give --dwell with either --acceptable or --value and --limit, or give --after and --by."
        problems.append(Problem(0, "--dwell", columns.dwell, "does not say what was seen.", do))
    if columns.value and not columns.limit:
        do = "Say when a value is unacceptable, such as --limit '> 4'."
        problems.append(Problem(0, "--limit", "", "is missing.", do))
    if columns.limit and not columns.value:
        problems.append(Problem(0, "--limit", columns.limit, "has no --value.", "Name the column of values."))
    named = columns.named()
    problems += [
        Problem(0, "columns", name, "stands for two things.", "Name a column of its own for each.")
        for name in dict.fromkeys(named)
        if named.count(name) > 1
    ]
    return problems


def _with_limit(rule: LookRule, columns: LookColumns) -> tuple[LookRule, list[Problem]]:
    """The rule with its limit and the names of the columns that decide, and what is wrong with the limit."""
    rule = replace(rule, judged_by=columns.acceptable or columns.value or columns.by, harmed_by=columns.harm)
    if not (columns.value and columns.limit):
        return rule, []
    try:
        sign, limit = _limit_of(columns.limit)
        if limit <= 0 and rule.value_scale == "log":
            raise CellFault("cannot stand on the log scale.", "Use --value-scale as-read.")
    except CellFault as fault:
        return replace(rule, limit=1.0), [Problem(0, "--limit", columns.limit, fault.what, fault.do)]
    return replace(rule, limit=limit, unacceptable="above" if sign == ">" else "below"), []


def _limit_of(text: str) -> tuple[str, float]:
    do = "Write '> 4' (unacceptable above 4) or '< 4' (below 4)."
    match = _LIMIT.fullmatch(text)
    if re.match(r"\s*([<>]\s*=|[≤≥])", text):
        raise CellFault("has a sign that is not used here.", f"Equal to the limit is acceptable. {do}")
    if match is None:
        raise CellFault("does not say on which side.", do)
    try:
        return match[1], parse_number(match[2])
    except CellFault as fault:
        raise CellFault(fault.what, fault.do if "," in match[2] else do) from None


def _verdicts(lower: np.ndarray, upper: np.ndarray, rule: LookRule) -> np.ndarray:
    """1 unacceptable, 0 acceptable, -1 undecided or blank; a bound typed with < or > is never reached itself."""
    assert rule.limit is not None
    above = rule.unacceptable == "above"
    low, high, limit = (lower, upper, rule.limit) if above else (-upper, -lower, -rule.limit)
    bad = (low > limit) | ((low == limit) & (low < high))  # ">4" with "> 4" unacceptable: more than the limit
    return np.where(bad, 1, np.where(high <= limit, 0, -1)).astype(np.int8)


def _value(typed: str, rule: LookRule) -> tuple[float, float]:
    if not typed:
        return math.nan, math.nan
    lower, upper = parse_bounds(typed)
    if rule.value_scale == "log":
        finite = lower if math.isfinite(lower) else upper
        if finite <= 0:
            raise CellFault("has no logarithm.", "Use --value-scale as-read, or correct it.")
    return lower, upper


def _time(typed: str) -> float:
    if not typed:
        raise CellFault("is blank.", "Write the time of this look.")
    number = parse_number(typed)
    if number < 0:
        raise CellFault("is below zero.", "Time runs from placement, at 0.")
    if number and not SHORTEST_TIME <= number <= LONGEST_TIME:
        raise CellFault("is no time that can be worked with.", "Write it in days, weeks, months or years.")
    return number


def _count(typed: str) -> int:
    if not typed:
        raise CellFault("is blank.", "Write how many coupons the row stands for, 1 for a single one.")
    number = parse_number(typed)
    if number <= 0 or number != int(number) or number > 1e9:
        raise CellFault("is not a number of coupons.", "Write a whole number above zero.")
    return int(number)


def _yes(typed: str) -> bool:
    word = typed.lower()
    if word not in _YES:
        raise CellFault("is neither yes nor no.", "Write yes or no, 1 or 0, true or false.")
    return _YES[word]
