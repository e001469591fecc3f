"""Removal forces as typed: unit of every row, gauges that ran out, values below detection, units that slipped."""

from __future__ import annotations

import math
from collections.abc import Iterable
from statistics import median

from study.errors import DwellbookError
from study.intake.sheet_columns import force_unit
from study.intake.sheet_numbers import PLAIN, damaged, leave_blank, missing_reason, parts_of, quick, tell_missing
from study.intake.sheet_words import HELD, RELEASED, meaning_of
from study.intake.sheet_work import A_NUMBER, A_UNIT, LONGEST_WORD, MOST_WORDS, Work, shown
from study.model.units import conversion_words, plain, unit_note

_COLUMN = "removal_force"
_CAPACITIES = (1.0, 2.0, 2.5, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0, 250.0, 500.0, 1000.0)
_FLAT_TOP = 3
_USUAL_UNITS = ("N", "gf", "kgf", "lbf", "ozf", "N/25 mm", "N/10 mm", "lbf/in")
_SLIPS = (("gf", 85.0, 122.0, 8.0), ("kgf", 8.4, 11.4, 2.5))
"""The other unit, how many times the median differs at least and at most, and the least gap between the two groups.

1 N is 101.97 gf and 1 kgf is 9.807 N; the band leaves room for the scatter of two medians."""
_FEWEST = 4


def settle_forces(work: Work, mark: str) -> None:
    """Write forces plainly beside a unit for every row; what the gauge could not say becomes a bound or a reason."""
    cells, odd = quick(work.columns[_COLUMN], mark)
    units, unknown = _typed_units(work)
    reasons: dict[str, list[int]] = {}
    over: list[int] = []
    below: list[int] = []
    in_cell: dict[str, list[int]] = {}
    for place in odd:
        cell = cells[place]
        cells[place] = ""
        reason = missing_reason(work, cell)
        kind = "" if reason else meaning_of(cell)[0]
        if reason:
            leave_blank(work, _COLUMN, [place], reason, reasons)
        elif kind in ("released", "held"):
            _event(work, place, RELEASED if kind == "released" else HELD, cell)
        elif kind == "over":
            over.append(place)
        elif kind == "below":
            below.append(place)
        elif kind == "date":
            damaged(work, place, _COLUMN, cell)
        elif parts := parts_of(cell, mark):
            cells[place] = parts[0] + parts[1]
            if parts[2]:
                _unit_in_cell(work, place, cell, parts[2], units, in_cell)
        else:
            do = "Write a number such as 5.1, >50 or <0.05, or leave it blank if it was not measured."
            work.problem(place, _COLUMN, cell, "is not a force.", do)
    tell_missing(work, _COLUMN, reasons)
    work.columns[_COLUMN] = cells
    _fill_units(work, cells, units, [*over, *below], unknown)
    for unit, places in in_cell.items():
        work.note(f"Unit {unit} stands in the cell in {work.rows(places)}.")
    _ran_out(work, cells, units, over)
    _below(work, cells, units, below)
    _slipped(work, cells, units)
    work.columns["force_unit"] = units
    _say_conversions(work, cells, units)


def _typed_units(work: Work) -> tuple[list[str], set[int]]:
    """The unit column under our names, and the places of units that are none: an error, never taken as one to one."""
    typed = work.columns.get("force_unit", [""] * len(work.numbers))
    names: dict[str, str] = {"": ""}
    wrong: dict[str, list[int]] = {}
    for place, cell in enumerate(typed):
        if cell not in names:
            names[cell] = _named(work, cell)
        if cell and not names[cell]:
            wrong.setdefault(cell, []).append(place)
    unknown: set[int] = set()
    for number, (cell, places) in enumerate(wrong.items()):
        if missing_reason(work, cell):
            continue
        names[cell] = _unit_told(work, cell, places) if number < MOST_WORDS else ""
        for place in () if names[cell] else places:
            unknown.add(place)
            do = "Write it as N or N/25 mm, or say which unit it is."
            what = "is not a unit of force that is known."
            work.problem(place, "force_unit", cell, what, do, question=f"unit {plain(cell)}")
    return [names[cell] for cell in typed], unknown


def _named(work: Work, text: str) -> str:
    told = {**work.layout.unit_words, **work.known.get("unit_words", {})}
    return told.get(plain(text)) or force_unit(plain(text))


def _unit_told(work: Work, text: str, places: Iterable[int]) -> str:
    """Our unit for one that is not known, as answered; never one to one."""
    word = plain(text)
    if not word or len(word) > LONGEST_WORD:
        return ""
    what = f"“{shown(word)}” in {work.rows(places)} is not a unit of force that is known. Which unit is it?"
    answer = work.ask(f"unit {word}", what, (*_USUAL_UNITS, A_UNIT), free=lambda text: bool(force_unit(text)))
    unit = force_unit(answer) if answer else ""
    if unit:
        work.remember("unit_words", {word: unit})
        work.note(f"The unit “{shown(word)}” is {unit}, as answered.")
    return unit


def _unit_in_cell(
    work: Work, place: int, cell: str, text: str, units: list[str], in_cell: dict[str, list[int]]
) -> None:
    unit = _named(work, text) or _unit_told(work, text, [place])
    if not unit:
        work.problem(
            place, _COLUMN, cell, f"has the unit “{shown(text)}”, which is not known.", "Write it as N or N/25 mm.",
            question=f"unit {plain(text)}",
        )  # fmt: skip
    elif units[place] and units[place] != unit:
        what = f"says {unit}, the unit column says {units[place]}."
        work.problem(place, _COLUMN, cell, what, "Make them agree.")
    else:
        units[place] = unit
        in_cell.setdefault(unit, []).append(place)


def _event(work: Work, place: int, event: str, cell: str) -> None:
    """An event typed where a force belongs: the pattern says it, unless it says something else already."""
    patterns = work.columns.setdefault("failure_pattern", [""] * len(work.numbers))
    if not patterns[place]:
        patterns[place] = event
        work.note(f"“{shown(cell)}” in place of a force is the event “{event}”, not a missing value.")
    elif meaning_of(patterns[place])[0] not in ("released", "held") and patterns[place] != event:
        work.problem(
            place, _COLUMN, cell, f"and failure pattern “{shown(patterns[place])}” do not go together.", "Correct one."
        )


def _fill_units(work: Work, cells: list[str], units: list[str], words: list[int], unknown: set[int]) -> None:
    """A unit for every row that has a force: cell and unit column first, then heading, layout, answer."""
    wanting = [place for place, cell in enumerate(cells) if cell and not units[place] and place not in unknown]
    if not wanting and not any(not units[place] for place in words):
        return
    heading = work.headings.get(_COLUMN, "")
    unit = work.layout.units.get(heading, "") or work.heading_units.get(_COLUMN, "")
    if unit and not force_unit(unit):
        work.problem(-1, _COLUMN, unit, "is not a unit of force.", "Write it as N or N/25 mm.")
        return
    if not unit:
        stated = {name for name in units if name}
        what = f"Forces in {work.rows([*wanting, *words])} have no unit in cell, column or heading"
        what += f" (others are in {', '.join(sorted(stated))})." if stated else "."
        unit = work.ask(
            "force unit", what, (*_USUAL_UNITS, A_UNIT), free=lambda text: bool(_named(work, text)),
            told=work.layout.force_unit,
        )  # fmt: skip
        unit = _named(work, unit) if unit else ""
        if unit:
            work.remember("force_unit", unit)
    else:
        work.note(f"Forces are in {unit}, from {'the layout' if heading in work.layout.units else 'the heading'}.")
        work.remember("units", {heading: unit})
    for place in (*wanting, *words):
        units[place] = units[place] or unit


def _ran_out(work: Work, cells: list[str], units: list[str], over: list[int]) -> None:
    """Overload words and a flat top become "at least": the gauge ended there."""
    capacity = work.layout.gauge_capacity
    flat = [] if over or capacity else _flat_top(cells)
    if over or flat:
        largest = cells[flat[0]] if flat else ""
        what = (
            f"The gauge ran out in {work.rows(over)}: a reading there is at least its capacity, which is not known."
            if over
            else f"{largest}, the largest force, stands in {work.rows(flat)}: it may be the end of the gauge."
        )
        bounds = tuple(dict.fromkeys(cell[1:] for cell in cells if cell[:1] == ">"))
        answers = (*bounds[:4], A_NUMBER) if over else (A_NUMBER, "not reached")
        capacity = work.ask("gauge capacity", what, answers, free=lambda text: _is_amount(work, text), told=capacity)
        if capacity:
            work.remember("gauge_capacity", capacity)
    amount = _amount(work, capacity)
    if amount is None:
        return
    value, unit = amount
    for place in over:
        cells[place] = f">{value}"
        units[place] = unit or units[place]
        work.remark(place, f"{_COLUMN}: gauge ran out at {value}")
    top = [
        place for place, cell in enumerate(cells)
        if PLAIN(cell) and float(cell) >= float(value) and (not unit or not units[place] or units[place] == unit)
    ]  # fmt: skip
    for place in top:
        cells[place] = f">{value}"
    if over or top:
        words = f"{value} {unit}".strip()
        work.note(f"Forces at the end of the gauge ({words}) in {work.rows([*over, *top])} are taken as at least that.")


def _flat_top(cells: list[str]) -> list[int]:
    numbers = [(float(cell), place) for place, cell in enumerate(cells) if PLAIN(cell)]
    if not numbers:
        return []
    largest = max(numbers)[0]
    places = [place for number, place in numbers if number == largest]
    return places if len(places) >= _FLAT_TOP and largest in _CAPACITIES and len(numbers) > len(places) else []


def _below(work: Work, cells: list[str], units: list[str], below: list[int]) -> None:
    """Words for "below detection" become "at most": they are no zeros."""
    if not below:
        return
    what = f"The force in {work.rows(below)} was below detection; the limit of detection is not known."
    limit = work.ask(
        "detection limit", what, (A_NUMBER, "not determined"), free=lambda text: _is_amount(work, text),
        told=work.layout.detection_limit,
    )  # fmt: skip
    if limit:
        work.remember("detection_limit", limit)
    amount = _amount(work, limit)
    for place in below if limit else ():
        if amount:
            cells[place] = f"<{amount[0]}"
            units[place] = amount[1] or units[place]
        else:
            work.remark(place, f"{_COLUMN}: not determined")
    if amount:
        work.note(f"Forces below detection in {work.rows(below)} are taken as at most {limit}, not as 0.")


def _amount(work: Work, text: str) -> tuple[str, str] | None:
    """A number and its unit, as in "50 N" or "50"; None if it is not one above zero."""
    parts = parts_of(text, "." if "." in text or "," not in text else ",") if text else None
    if parts is None or parts[0] or float(parts[1]) <= 0:
        return None
    unit = _named(work, parts[2]) if parts[2] else ""
    return None if parts[2] and not unit else (parts[1], unit)


def _is_amount(work: Work, text: str) -> bool:
    return _amount(work, text) is not None


def _slipped(work: Work, cells: list[str], units: list[str]) -> None:
    """Two groups of forces in one stated unit, a hundred or ten times apart: one group may be in another unit."""
    names = [work.columns[column] for column in ("adhesive", "substrate") if column in work.columns]
    groups: dict[tuple[str, ...], list[tuple[float, int]]] = {}
    for place, cell in enumerate(cells):
        if PLAIN(cell) and (value := float(cell)) > 0:
            groups.setdefault((units[place], *(column[place] for column in names)), []).append((value, place))
    low: list[tuple[float, int]] = []
    high: list[tuple[float, int]] = []
    other = stated = ""
    for key, values in groups.items():
        head = key[0].partition("/")[0]
        found = _two_groups(sorted(values)) if head in ("N", "gf", "kgf", "") else None
        if found and (not other or (found[0], key[0]) == (other, stated)):
            other, stated = found[0], key[0]
            low += found[1]
            high += found[2]
    if not other:
        return
    # A newton is the smaller number beside gram-force, the larger beside kilogram-force.
    head, _, width = stated.partition("/")
    odd = high if (other == "gf") != (head == "gf") else low
    wrong = (other if head in ("N", "") else "N") + (f"/{width}" if width else "")
    times = median(value for value, _ in high) / median(value for value, _ in low)
    slip = f"{wrong} in {work.rows(place for _, place in odd)}"
    what = (
        f"Forces in {work.rows(place for _, place in high)} are about {times:.3g} times those in "
        f"{work.rows(place for _, place in low)}, all in {stated or 'no unit'}: as far apart as "
        f"numbers in N and in {other}."
    )
    answer = work.ask("unit jump", what, ("as typed", slip))
    if answer == slip:
        for _, place in odd:
            units[place] = wrong
        work.note(f"Forces are in {slip}, as answered.")


def _two_groups(values: list[tuple[float, int]]) -> tuple[str, list[tuple[float, int]], list[tuple[float, int]]] | None:
    if len(values) < _FEWEST:
        return None
    gap, cut = max((values[i + 1][0] / values[i][0], i + 1) for i in range(len(values) - 1))
    low, high = values[:cut], values[cut:]
    ratio = median(value for value, _ in high) / median(value for value, _ in low)
    for unit, least, most, least_gap in _SLIPS:
        few = min(len(low), len(high))
        if least <= ratio <= most and gap >= least_gap and math.isfinite(ratio) and (few > 1 or unit == "gf"):
            return unit, low, high
    return None


def _say_conversions(work: Work, cells: list[str], units: list[str]) -> None:
    """How the first force of each unit is converted, and what the unit may be mistaken for."""
    seen: set[str] = {"", "N", "N/m"}
    for place, unit in enumerate(units):
        if unit in seen or not cells[place]:
            continue
        seen.add(unit)
        try:
            words = conversion_words(
                float(cells[place].lstrip("<>")), unit=unit, force_per="width" if "/" in unit else "dot"
            )
        except (DwellbookError, ValueError):
            continue
        work.note(f"Row {work.numbers[place]}: {words}. {unit_note(unit)}".strip())
