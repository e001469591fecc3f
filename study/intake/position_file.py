"""Position files: which coupon stands on which shelf at which place, each row checked against the study."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from study.errors import FileRefused, Problem
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.intake.table_file import Table

REQUIRED = ("coupon", "shelf", "place")


def parse_positions(
    table: Table, *, known: Collection[str], marks: Mapping[str, str], taken: Mapping[tuple[str, int], str]
) -> dict[str, tuple[str, int]]:
    """Shelf and place by coupon code.

    Parameters
    ----------
    taken : mapping
        Coupon by shelf and place, of those still in their placement.

    Raises
    ------
    FileRefused
        With every unknown code, place that is no whole number from 1, and place two coupons would share.
    """
    problems: list[Problem] = []
    found: dict[str, tuple[str, int]] = {}
    rows: dict[str, int] = {}
    for row in table.rows:
        code = ""
        try:
            code = parse_code(row.cells["coupon"], known=known, marks=marks)
        except CellFault as fault:
            problems.append(row.problem("coupon", fault.what, fault.do))
        if code in rows:
            problems.append(row.problem("coupon", f"stands in row {rows[code]} already.", "Keep one of them."))
            continue
        shelf, place = row.cells["shelf"].strip(), row.cells["place"].strip()
        if not shelf:
            problems.append(row.problem("shelf", "is blank.", "Name the shelf."))
        if not place.isdecimal() or int(place) < 1:
            problems.append(row.problem("place", "is not a place.", "Number places on a shelf 1, 2, 3 …"))
            continue
        if code and shelf:
            rows[code] = row.number
            found[code] = (shelf, int(place))
    now = {where: code for where, code in taken.items() if code not in found}
    for row in table.rows:
        code = next((code for code, number in rows.items() if number == row.number), "")
        if not code:
            continue
        other = now.setdefault(found[code], code)
        if other != code:
            problems.append(row.problem("place", f"is where {other} stands.", "Give each coupon a place of its own."))
    if problems:
        raise FileRefused(table.file, problems)
    return found
