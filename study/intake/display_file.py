"""Display files: objects standing on an adhesive, a row an object, typed, pasted or from a table."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

from study.errors import FileRefused, Problem
from study.intake.cells import CellFault, parse_day, parse_number
from study.intake.table_file import Row, Table
from study.model.display import Display

REQUIRED = (
    "object", "location", "lot", "object_pairing", "support_pairing", "environment", "dots", "dot_diameter_mm",
    "load_n", "placed_on", "placed_by",
)  # fmt: skip
"""Everything in which a display could differ from what was tested is asked for, never assumed."""


def parse_displays(
    table: Table,
    *,
    lots: Collection[str],
    pairings: Collection[str],
    environments: Collection[str],
    standing: Collection[str],
    today: date,
) -> list[Display]:
    """Displays of a table.

    Parameters
    ----------
    lots, pairings, environments : collections of str
        Keys the study holds.
    standing : collection of str
        Object numbers on show now.

    Raises
    ------
    FileRefused
        With every problem of the table.
    """
    displays: list[Display] = []
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    for row in table.rows:
        display = _display(row, lots, pairings, environments, today, problems)
        if display is None:
            continue
        if display.object_number in standing:
            do = "Record its removal first, or give the new display as sticking it again."
            problems.append(row.problem("object", "is on show already.", do))
        elif display.object_number in seen:
            problems.append(row.problem("object", f"stands in row {seen[display.object_number]} already.", "Keep one."))
        seen[display.object_number] = row.number
        displays.append(display)
    if problems:
        raise FileRefused(table.file, problems)
    return displays


def _display(
    row: Row,
    lots: Collection[str],
    pairings: Collection[str],
    environments: Collection[str],
    today: date,
    problems: list[Problem],
) -> Display | None:
    before = len(problems)
    for column in REQUIRED:
        if not row.cells.get(column):
            problems.append(Problem(row.number, column, "", "is blank.", "Fill it in."))
    known = {"lot": lots, "object_pairing": pairings, "support_pairing": pairings, "environment": environments}
    for column, names in known.items():
        value = row.cells.get(column, "")
        if value and value not in names:
            offered = ", ".join(list(names)[:12]) or "none yet"
            what = f"is not a known {column.rpartition('_')[2]}."
            problems.append(row.problem(column, what, f"Use one of: {offered}."))
    placed_on = _day(row, today, problems)
    dots, diameter, load = (_number(row, column, problems) for column in ("dots", "dot_diameter_mm", "load_n"))
    if dots != int(dots):
        problems.append(row.problem("dots", "is not a whole number.", "Count the dots."))
    if len(problems) > before:
        return None
    return Display(
        number=0, object_number=row.cells["object"], location=row.cells["location"], lot=row.cells["lot"],
        object_pairing=row.cells["object_pairing"], support_pairing=row.cells["support_pairing"],
        environment=row.cells["environment"], dots=int(dots), dot_diameter_mm=diameter, load_n=load,
        placed_on=placed_on, placed_by=row.cells["placed_by"],
    )  # fmt: skip


def _day(row: Row, today: date, problems: list[Problem]) -> date:
    typed = row.cells.get("placed_on", "")
    try:
        day = parse_day(typed) if typed else today
    except CellFault as fault:
        problems.append(row.problem("placed_on", fault.what, fault.do))
        return today
    if day > today:
        problems.append(row.problem("placed_on", f"lies after {today}.", "Check the year."))
    return day


def _number(row: Row, column: str, problems: list[Problem]) -> float:
    typed = row.cells.get(column, "")
    if not typed:
        return 1.0
    try:
        number = parse_number(typed)
    except CellFault as fault:
        problems.append(row.problem(column, fault.what, fault.do))
        return 1.0
    if number < 0 or (number == 0 and column != "load_n"):
        problems.append(row.problem(column, "is not above zero.", "Check it."))
    return number
