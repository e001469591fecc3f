"""Pull files: which coupons left their placement, how, and when, each checked against the study."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from study.errors import FileRefused, Problem
from study.intake.cells import CellFault, parse_day
from study.intake.coupon_file import NO_MARKS, parse_code
from study.intake.table_file import Row, Table
from study.model.pull import PULL_KINDS, PullEvent

REQUIRED = ("coupon", "on")
OPTIONAL = ("as", "last_seen_on", "note")


@dataclass(frozen=True)
class Placement:
    """What the checks need to know of one coupon."""

    placed_on: date
    pulled: PullEvent | None
    entered_by: str = ""
    """Who recorded that pull."""


def parse_pulls(
    table: Table, *, known: Mapping[str, Placement], today: date, marks: Mapping[str, str] = NO_MARKS
) -> list[PullEvent]:
    """Pull events of a table.

    Raises
    ------
    FileRefused
        With every unknown code, pull before placement, second pull, date in the future and unknown word.
    """
    events: list[PullEvent] = []
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    for row in table.rows:
        event = _event(row, known, marks, today, problems)
        if event is None:
            continue
        if event.code in seen:
            what = f"stands in row {seen[event.code]} already." if seen[event.code] else "stands twice."
            problems.append(row.problem("coupon", what, "Keep one of them."))
        seen[event.code] = row.number
        events.append(event)
    if problems:
        raise FileRefused(table.file, problems)
    return events


def _event(
    row: Row, known: Mapping[str, Placement], marks: Mapping[str, str], today: date, problems: list[Problem]
) -> PullEvent | None:
    before = len(problems)
    code, on, last_seen = "", None, None
    try:
        code = parse_code(row.cells["coupon"], known=known, marks=marks)
    except CellFault as fault:
        problems.append(row.problem("coupon", fault.what, fault.do))
    for column in ("on", "last_seen_on"):
        try:
            day = parse_day(row.cells[column]) if row.cells.get(column) or column == "on" else None
            on, last_seen = (day, last_seen) if column == "on" else (on, day)
        except CellFault as fault:
            problems.append(row.problem(column, fault.what, fault.do))
    kind = row.cells.get("as") or "pulled"
    if kind not in PULL_KINDS:
        problems.append(row.problem("as", "is not a way a coupon leaves.", f"Write one of: {', '.join(PULL_KINDS)}."))
    if code and on:
        problems += _order_problems(row, known[code], on, last_seen, today)
    if last_seen and kind != "released by itself":
        problems.append(row.problem("last_seen_on", f"does not belong to “{kind}”.", "Leave it blank."))
    if len(problems) > before or on is None:
        return None
    return PullEvent(code, kind, on, last_seen, row.cells.get("note", ""))


def _order_problems(row: Row, placement: Placement, on: date, last_seen: date | None, today: date) -> list[Problem]:
    problems = []
    placed = placement.placed_on
    if on < placed:
        problems.append(row.problem("on", f"is before the placement on {placed}.", "Check the year and the coupon."))
    if on > today:
        problems.append(row.problem("on", f"lies after {today}.", "A pull is recorded once it has happened."))
    if last_seen and not (placed <= last_seen < on or last_seen == on == placed):
        do = "Give the last day it was seen holding, before the day it was found."
        problems.append(row.problem("last_seen_on", f"is not between {placed} and {on}.", do))
    if placement.pulled:
        earlier = placement.pulled
        by = f" (entered by {placement.entered_by})" if placement.entered_by else ""
        problems.append(
            row.problem(
                "coupon",
                f"is recorded as {earlier.kind} on {earlier.on} already; a coupon is pulled once{by}.",
                "Check the code; if that record is wrong, take it back first (dwellbook pull undo).",
            )
        )
    return problems
