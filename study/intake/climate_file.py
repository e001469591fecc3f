"""Climate and light logger files: to one rising clock in UTC, with gaps, stuck sensors and impossible values told."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from study.errors import FileRefused, Problem
from study.intake.climate_units import POSSIBLE, SENTINELS, converted, heading_unit
from study.intake.instrument_text import InstrumentTable, fold, parse_instrument
from study.intake.logger_times import named_zone, offset_seconds, parse_local_times, utc_from_local
from study.intake.number_columns import MISSING, MOST_SHOWN, decimal_sign, parse_numbers
from study.model.climate import LONGER_THAN_USUAL, MEASURES, ClimateRecord, Gap, Measure, Removed, Stuck, moment

WORDS: dict[str, tuple[str, ...]] = {
    "temperature_c": ("temperature", "temp", "temperatur", "température", "temperatura", "t", "°c", "°f"),
    "humidity_percent": (
        "humidity", "rh", "relative", "rel", "hum", "feuchte", "luftfeuchte", "luftfeuchtigkeit", "rf", "hr", "%rh",
    ),
    "lux": (
        "lux", "lx", "klux", "klx", "light", "footcandles", "illuminance", "beleuchtungsstärke", "licht", "éclairement",
    ),
    "uv_uw_per_lm": ("uv", "ultraviolet", "uv-a"),
}  # fmt: skip
"""First words of a heading, by what the column is taken for."""
_DATE_WORDS = ("date", "datum", "fecha", "data", "day")
_CLOCK_WORDS = (
    "time",
    "zeit",
    "uhrzeit",
    "heure",
    "hora",
    "ora",
    "timestamp",
    "zeitstempel",
    "datetime",
    "local",
    "utc",
)
STUCK_HOURS = 24.0
STUCK_READINGS = 12
"""A value held so long and over so many readings puts the sensor in doubt [common-practice]."""
_LATEST = 4102444800
"""2100-01-01 in seconds since 1970."""


def parse_climate(
    source: Path | bytes, *, zone: str = "", name: str = "logger", day_first: bool | None = None, decimal: str = "",
    columns: Mapping[str, str] | None = None,
) -> ClimateRecord:  # fmt: skip
    """The record in a logger's file.

    Parameters
    ----------
    source : Path or bytes
        Text in any usual encoding, or the first sheet of a workbook; at most 50 MB.
    zone : str
        Zone of written times without an offset: a name such as Europe/Vienna (summer time is followed), an offset such
        as +01:00 (it is not), or UTC. Not needed where the file says it.
    name : str
        What to call the file where only bytes are given.
    day_first : bool or None
        Order of day and month where the column alone cannot tell.
    decimal : str
        "." or ",", where the file alone cannot tell.
    columns : mapping of str to str
        Headings by measure (``temperature_c`` and so on) where the headings alone cannot tell.

    Raises
    ------
    FileRefused
        If times are ambiguous or go back, a heading may mean two things, or cells are no numbers.
    """
    table = parse_instrument(source, name=name)
    notes = list(table.notes)
    clock = _clock_columns(table)
    places = _places(table, columns or {}, clock)
    sign = decimal or decimal_sign([table.column(i) for i in places.values()], table.numbers, file=table.file)
    notes.append(f"decimal {'comma' if sign == ',' else 'point'}")
    stamps = [" ".join(parts) for parts in zip(*(table.column(i) for i in clock), strict=True)]
    dated = np.array([stamp[:1].isdigit() or not MISSING.fullmatch(stamp.strip()) for stamp in stamps])
    if not dated.any():
        raise FileRefused(table.file, [Problem(0, "time", "", "has no times.", "Export the times as well.")])
    if not dated.all():
        notes.append(f"{int((~dated).sum())} rows without a time left out")
    kept = np.flatnonzero(dated).tolist()
    numbers = [table.numbers[i] for i in kept]
    local, aware = parse_local_times(
        [stamps[i] for i in kept], numbers, file=table.file, day_first=day_first, notes=notes
    )
    order = np.arange(local.size)
    if local.size > 1 and np.count_nonzero(np.diff(local) < 0) > local.size // 2:
        order, local, numbers = order[::-1], local[::-1], numbers[::-1]
        notes.append("the newest reading stands first: the order was turned round")
    utc, said = _utc(table, local, numbers, clock, zone, aware, notes)
    keep = _rising(table.file, utc, numbers, notes)
    utc, order = utc[keep], order[keep]
    interval = float(np.median(np.diff(utc))) if utc.size > 1 else 0.0
    removed: list[Removed] = []
    stuck: list[Stuck] = []
    problems: list[Problem] = []
    found: dict[str, np.ndarray] = {}
    alone = [head for i, head in enumerate(table.names) if head and i not in (*clock, *places.values())]
    if alone:
        notes.append(f"left alone: {', '.join(alone)}")
    for measure, index in places.items():
        cells = table.column(index)
        chosen = [cells[kept[i]] for i in order.tolist()]
        values = _values(table, measure, index, chosen, sign, utc, removed, problems, numbers, keep, notes)
        found[measure] = values
        if measure in ("temperature_c", "humidity_percent"):
            stuck += _stuck(measure, values, utc, interval)
    if problems:
        raise FileRefused(table.file, problems[:MOST_SHOWN])
    gaps = tuple(
        Gap(moment(int(utc[i])), moment(int(utc[i + 1])))
        for i in np.flatnonzero(np.diff(utc) > LONGER_THAN_USUAL * interval).tolist()
    )
    if gaps:
        longest = max(gap.hours for gap in gaps)
        notes.append(f"{'1 gap' if len(gaps) == 1 else f'{len(gaps)} gaps'}, the longest {longest:.4g} h")
    notes += [
        f"{MEASURES[one.measure]} stands at {one.value:g} for {one.hours:.4g} h "
        f"from {one.from_utc:%Y-%m-%d %H:%M} UTC: is the sensor stuck?"
        for one in stuck
    ]
    return ClimateRecord(
        table.file, table.digest, utc, found.get("temperature_c"), found.get("humidity_percent"), found.get("lux"),
        found.get("uv_uw_per_lm"), said, interval, gaps, tuple(removed), tuple(stuck), table.facts, tuple(notes),
    )  # fmt: skip


def _words(head: str) -> str:
    return re.split(r"[^\w°%#-]+|_", head, maxsplit=1)[0].rstrip("0123456789_")


def _clock_columns(table: InstrumentTable) -> list[int]:
    heads = [fold(name) for name in table.names]
    dates = [i for i, head in enumerate(heads) if _words(head) in _DATE_WORDS]
    clocks = [i for i, head in enumerate(heads) if _words(head) in _CLOCK_WORDS]
    if len(dates) == 1 and (not clocks or re.search(r"time|zeit|hora|heure", heads[dates[0]])):
        return dates
    if len(dates) == 1 and len(clocks) == 1:
        return [dates[0], clocks[0]]
    if not dates and len(clocks) == 1:
        return clocks
    listed = ", ".join(name for name in table.names if name) or "nothing"
    what = "column is missing." if not dates and not clocks else "may be any of several columns."
    do = f"The header has: {listed}. Name one column “date time”, or two “date” and “time”."
    raise FileRefused(table.file, [Problem(0, "date time", "", what, do)])


def _places(table: InstrumentTable, said: Mapping[str, str], clock: Sequence[int]) -> dict[Measure, int]:
    heads = [fold(name) for name in table.names]
    places: dict[Measure, int] = {}
    problems = []
    for measure in MEASURES:
        if measure in said:
            found = [i for i, head in enumerate(heads) if head == fold(said[measure])]
        else:
            found = [i for i, head in enumerate(heads) if i not in clock and _words(head) in WORDS[measure]]
        if len(found) > 1:
            which = ", ".join(table.names[i] for i in found)
            do = f"Say which one is the {MEASURES[measure]}."
            problems.append(Problem(0, measure, which, "may be any of these columns.", do))
        elif found:
            places[measure] = found[0]
        elif measure in said:
            problems.append(Problem(0, measure, said[measure], "column is missing.", "Check the heading."))
    if not places and not problems:
        listed = ", ".join(name for name in table.names if name) or "nothing"
        do = f"The header has: {listed}. Name a column temperature, humidity, lux or UV."
        problems.append(Problem(0, "", "", "has no column of climate or light.", do))
    if problems:
        raise FileRefused(table.file, problems)
    return places


def _utc(
    table: InstrumentTable, local: np.ndarray, numbers: Sequence[int], clock: Sequence[int], zone: str, aware: bool,
    notes: list[str],
) -> tuple[np.ndarray, str]:  # fmt: skip
    if np.any((local < _DAY) | (local > _LATEST)):
        row = numbers[int(np.flatnonzero((local < _DAY) | (local > _LATEST))[0])]
        what = "is a time outside 1970 to 2100."
        raise FileRefused(table.file, [Problem(row, "time", "", what, "Check the clock of the logger.")])
    if aware:
        return local, "as written in each row"
    written = _written_zone(table, clock)
    chosen = zone or written
    if not chosen:
        do = "Say the zone: a name such as Europe/Vienna, an offset such as +01:00, or UTC."
        raise FileRefused(table.file, [Problem(0, "time", "", "has no zone.", do)])
    if zone and written and zone != written:
        notes.append(f"the file says {written}; {zone} was said and taken")
    offset = offset_seconds(chosen)
    if offset is not None:
        return local - offset, chosen
    place = named_zone(chosen)
    if place is None:
        do = "Use a name such as Europe/Vienna, an offset such as +01:00, or UTC."
        raise FileRefused(table.file, [Problem(0, "time", chosen, "is no zone that is known.", do)])
    return utc_from_local(local, numbers, zone=place, file=table.file, notes=notes), chosen


_DAY = 86400


def _written_zone(table: InstrumentTable, clock: Sequence[int]) -> str:
    """An offset that the heading of the time or a fact named zone says; empty if none does."""
    said = [f"{table.names[i]} {table.units[i]}" for i in clock]
    said += [f"{name} {value}" for name, value in table.facts if re.search(r"zone|utc|gmt", fold(name))]
    for text in said:
        match = re.search(r"\b(?:UTC|GMT)\b\s*(?:[+-]\d{1,2}(?::?\d{2})?)?|[+-]\d{2}:\d{2}", text)
        if match and offset_seconds(match[0]) is not None:
            return match[0].strip()
    return ""


def _rising(file: str, utc: np.ndarray, numbers: Sequence[int], notes: list[str]) -> np.ndarray:
    """Readings to keep; a repeated time is kept once, a clock that goes back is refused."""
    steps = np.diff(utc)
    back = np.flatnonzero(steps < 0)
    if back.size:
        index = int(back[0]) + 1
        what = f"goes back by {-int(steps[back[0]]) / 60:g} min; {back.size} rows do."
        do = "If these are local times over the end of summer time, say the zone by its name; else export one download."
        raise FileRefused(file, [Problem(numbers[index], "time", "", what, do)])
    keep = np.concatenate([[True], steps > 0])
    if not keep.all():
        notes.append(f"{int((~keep).sum())} readings at a time that was read already left out")
    return np.flatnonzero(keep)


def _values(
    table: InstrumentTable, measure: Measure, index: int, cells: list[str], sign: str, utc: np.ndarray,
    removed: list[Removed], problems: list[Problem], numbers: Sequence[int], keep: np.ndarray, notes: list[str],
) -> np.ndarray:  # fmt: skip
    values, odd = parse_numbers(cells, decimal=sign)
    unit = fold(table.units[index])
    unit = unit or heading_unit(fold(table.names[index]), measure)
    words: dict[tuple[str, str], list[int]] = {}
    for cell in odd:
        typed = cell.typed.strip()
        if cell.kind in ("missing", "over"):
            why = "the cell is blank" if not typed else "no number"
            words.setdefault((typed, why), []).append(cell.index)
        elif cell.kind == "number" and (not unit or fold(cell.unit) == unit):
            unit = unit or fold(cell.unit)
        else:
            row = numbers[int(keep[cell.index])]
            problems.append(
                Problem(row, table.names[index], typed[:40], f"is not a {MEASURES[measure]}.", "Correct the export.")
            )
    values = converted(values, measure, unit, heading=table.names[index], file=table.file, notes=notes)
    low, high = POSSIBLE[measure]
    with np.errstate(invalid="ignore"):
        wrong = np.isin(values, SENTINELS.get(measure, ())) | (values < low) | (values > high)
    impossible = np.unique(values[wrong])
    for value in impossible[:MOST_SHOWN].tolist():
        at = np.flatnonzero(values == value)
        why = "stands for no reading" if value in SENTINELS.get(measure, ()) else f"outside {low:g} to {high:g}"
        words[(f"{value:g}", why)] = at.tolist()
    if impossible.size > MOST_SHOWN:
        others = np.flatnonzero(np.isin(values, impossible[MOST_SHOWN:]))
        words[("others", f"outside {low:g} to {high:g}")] = others.tolist()
    values[wrong] = np.nan
    removed += [
        Removed(measure, typed, len(at), moment(int(utc[at[0]])), why) for (typed, why), at in sorted(words.items())
    ]
    gone = sum(map(len, words.values()))
    if gone:
        cells_words = "1 cell of" if gone == 1 else f"{gone} cells of"
        counts = "is no reading and counts" if gone == 1 else "are no readings and count"
        notes.append(f"{cells_words} {MEASURES[measure]} {counts} as missing")
    return values


def _stuck(measure: Measure, values: np.ndarray, utc: np.ndarray, interval: float) -> list[Stuck]:
    if values.size < STUCK_READINGS:
        return []
    same = (np.diff(values) == 0) & (np.diff(utc) <= LONGER_THAN_USUAL * interval)
    edges = np.diff(np.concatenate([[0], same.astype(np.int8), [0]]))
    first, last = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    long = (utc[last] - utc[first] >= STUCK_HOURS * 3600) & (last - first + 1 >= STUCK_READINGS)
    return [
        Stuck(measure, float(values[a]), moment(int(utc[a])), moment(int(utc[b])))
        for a, b in zip(first[long].tolist(), last[long].tolist(), strict=True)
    ]
