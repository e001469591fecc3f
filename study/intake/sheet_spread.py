"""Readings of several times beside each other: columns such as “L* 3 mo” or “Force 2024-03-06” become rows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from study.intake.reading_columns import KIND_OF
from study.intake.sheet_columns import column_of
from study.intake.sheet_frame import Frame
from study.intake.sheet_tongues import TIME_UNITS
from study.model.layout import READING_COLUMNS

# A letter alone is more often a unit of something else: “Force 3 m”.
_TIMES = sorted((word for word in TIME_UNITS if len(word) > 1 or word in "dy"), key=len, reverse=True)
_SPAN = rf"\d{{1,3}}\s?(?:{'|'.join(_TIMES)})"
_DAY = r"\d{4}-\d{2}-\d{2}|\d{1,2}[./]\d{1,2}[./]\d{4}"
_TURN = r"(?:look|visit|inspection|round|session|pull|reading)\s?(?:no\.?\s?|#)?\d{1,2}"
_WHEN = rf"(?P<when>{_SPAN}|{_DAY}|{_TURN})"
_BEHIND = re.compile(rf"(?P<base>.+?)[\s,_:;@(\[-]+(?:(?:at|after|on|nach|à|dopo)\s)?{_WHEN}[)\]]?", re.IGNORECASE)
_BEFORE = re.compile(rf"{_WHEN}[\s,_:;-]+(?P<base>.+)", re.IGNORECASE)
_BRACKET = re.compile(r"(.+?)\s*([(\[][^()\[\]]+[)\]])")
Kind = Literal["span", "day", "turn"]
READ_AT = "read_at"


@dataclass
class _Group:
    """Columns of one time: the place of each among the headings, by what they hold."""

    when: str
    kind: Kind
    places: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Spread:
    """Where the cells of a table stood in its sheet before its rows were parted."""

    origins: tuple[tuple[int, ...], ...]
    """By row of the table, the place in the sheet of each of its cells; -1 for one that was added."""
    shared: tuple[int, ...]
    """Places of the columns that belong to no time."""


def spread(frame: Frame) -> Spread | None:
    """Part each row into one for every time at which something was read; None where columns name no times.

    The day in a heading becomes the day of reading, unless a column of its own says it; a span such as “3 mo” stands in
    a column ``read_at``. A row in which nothing was read stays one row.
    """
    groups = _groups(frame.headings)
    if len(groups) < 2:
        return None
    taken = {place for group in groups for place in group.places.values()}
    bases = list(dict.fromkeys(base for group in groups for base in group.places))
    dated = any(column_of(base)[0] == "read_on" for base in bases)
    added = [READ_AT] if any(group.kind == "span" for group in groups) else []
    added += ["read_on"] if any(group.kind == "day" for group in groups) and not dated else []
    columns = {place: column_of(heading)[0] for place, heading in enumerate(frame.headings) if heading}
    # A day of its own is that of what was read once; what was read once stands in a row of its own.
    day = next((place for place, column in columns.items() if column == "read_on" and place not in taken), -1)
    shared = tuple(place for place in columns if place not in taken and not (place == day and "read_on" in added))
    once = {place for place in shared if columns[place] in KIND_OF}
    numbers: list[int] = []
    lines: list[list[str]] = []
    origins: list[tuple[int, ...]] = []
    for number, line in zip(frame.numbers, frame.lines, strict=True):
        read = [group for group in groups if any(_cell(line, place) for place in group.places.values())]
        if not read or any(_cell(line, place) for place in once):
            read.insert(0, _Group("", "turn"))
        for group in read:
            kept = (-1 if group.places and place in once else place for place in shared)
            places = (*kept, *(group.places.get(base, -1) for base in bases))
            when = {READ_AT: group.when if group.kind == "span" else "", "read_on": group.when or _cell(line, day)}
            numbers.append(number)
            lines.append([*(_cell(line, place) for place in places), *(when[name] for name in added)])
            origins.append((*places, *(-1 for _ in added)))
    first = {base: next(g.places[base] for g in groups if base in g.places) for base in bases}
    units = {base: frame.units.get(frame.headings[place], "") for base, place in first.items()}
    frame.units = {heading: unit for heading, unit in {**frame.units, **units}.items() if unit}
    frame.headings = [*(frame.headings[place] for place in shared), *bases, *added]
    frame.numbers, frame.lines = numbers, lines
    named = ", ".join(f"“{group.when}”" for group in groups[:12])
    frame.notes.append(f"Columns hold readings of {len(groups)} times ({named}): each became a row of its own.")
    return Spread(tuple(origins), shared)


def _groups(headings: Sequence[str]) -> list[_Group]:
    """Columns by the time in their headings, where two times share what they hold; none where they do not."""
    found: dict[str, _Group] = {}
    for place, heading in enumerate(headings):
        parted = _parted(heading)
        if parted:
            base, when, kind = parted
            group = found.setdefault(when.casefold().replace(" ", ""), _Group(when, kind))
            group.places.setdefault(base, place)
    groups = [group for group in found.values() if any(_shared(base, found) for base in group.places)]
    return groups if len(groups) > 1 else []


def _shared(base: str, groups: dict[str, _Group]) -> bool:
    return column_of(base)[0] in READING_COLUMNS and sum(base in group.places for group in groups.values()) > 1


def _parted(heading: str) -> tuple[str, str, Kind] | None:
    """What a heading is without its time, and the time: Force (N) and 3 mo of “Force 3 mo (N)”."""
    if len(heading) > 60:
        return None
    match, unit = _BEHIND.fullmatch(heading) or _BEFORE.fullmatch(heading), ""
    if not match and (bracket := _BRACKET.fullmatch(heading)):
        match, unit = _BEHIND.fullmatch(bracket[1]) or _BEFORE.fullmatch(bracket[1]), f" {bracket[2]}"
    if not match:
        return None
    when = match["when"]
    kind: Kind = "day" if re.fullmatch(_DAY, when) else "turn" if when[0].isalpha() else "span"
    return match["base"].strip() + unit, when, kind


def _cell(line: Sequence[str], place: int) -> str:
    return line[place] if 0 <= place < len(line) else ""
