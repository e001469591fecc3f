"""Force trace files: from what a gauge exported to newton against seconds, with every guess stated."""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path

import numpy as np

from study.errors import DwellbookError, FileRefused, Problem
from study.intake.instrument_text import InstrumentTable, fold, parse_instrument
from study.intake.number_columns import MISSING, MOST_SHOWN, Cell, decimal_sign, parse_clock, parse_numbers
from study.model.trace import LeftOut, Trace, TraceColumn
from study.model.units import FORCES, newtons, unit_name, unit_note

HEADINGS: dict[str, tuple[str, ...]] = {
    "time": (
        "time", "t", "elapsed", "zeit", "temps", "tempo", "tiempo", "timestamp", "seconds", "clock", "s", "sec", "ms",
    ),
    "force": (
        "force", "load", "kraft", "last", "zugkraft", "fuerza", "forza", "peel", "pull", "f", "tension", *FORCES,
    ),
    "displacement": (
        "displacement", "travel", "extension", "position", "crosshead", "distance", "weg", "stroke", "x", "mm",
    ),
}  # fmt: skip
"""Words a heading may begin with, by what the column is taken for."""
SECONDS_PER = {"s": 1.0, "sec": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "hh:mm:ss": 1.0, "": 1.0}
MM_PER = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "µm": 1e-3, "in": 25.4, "": 1.0}
MOST_SEGMENTS = 20


def parse_trace(
    source: Path | bytes, *, name: str = "trace", force_unit: str = "", rate_hz: float = 0.0, decimal: str = "",
    columns: Mapping[str, str] | None = None,
) -> Trace:  # fmt: skip
    """The trace in a gauge's file.

    Parameters
    ----------
    source : Path or bytes
        Text in any usual encoding, or the first sheet of a workbook; at most 50 MB.
    name : str
        What to call the file where only bytes are given.
    force_unit : str
        Unit of the force where the file does not say it; N, mN, gf, lbf and their like.
    rate_hz : float [1/s]
        Sampling rate, where the file has neither times nor a rate; 10 to 1000 is usual.
    decimal : str
        "." or ",", where the file alone cannot tell.
    columns : mapping of str to str
        Headings for "time", "force" and "displacement" where the headings alone cannot tell.

    Raises
    ------
    FileRefused
        With every problem at once; nothing is guessed that is not stated in ``notes``.
    """
    table = parse_instrument(source, name=name)
    notes = list(table.notes)
    places = _places(table, columns or {})
    sign = decimal or _decimal(table, places)
    notes.append(f"decimal {'comma' if sign == ',' else 'point'}")
    force, over, unit, factor, force_odd = _force(table, places["force"], sign, force_unit, notes)
    time, time_odd = _time(table, places.get("time"), sign, rate_hz, notes)
    travel, travel_odd = _travel(table, places.get("displacement"), sign, notes)
    _refuse_faults(table, places, {"force": force_odd, "time": time_odd, "displacement": travel_odd})
    keep = np.isfinite(time) & (np.isfinite(force) | over)
    if travel is not None:
        keep &= np.isfinite(travel)
    if keep.sum() < 2 or not np.any(np.isfinite(force[keep])):
        problem = Problem(0, "", "", "has fewer than two samples of time and force.", "Export the samples again.")
        raise FileRefused(table.file, [problem])
    left_out = _left_out(table, keep, [*force_odd, *time_odd, *travel_odd], notes)
    rows = np.asarray(table.numbers)[keep]
    time, force, over = time[keep], force[keep], over[keep]
    segments = _segments(table.file, time, rows, notes)
    time = _spread(time, segments, notes)
    if np.any(over):
        notes.append(f"{int(over.sum())} samples say that the gauge was overloaded")
    small = sum(cell.kind == "under" for cell in force_odd)
    if small:
        notes.append(f"{small} samples are below what the gauge can show and stand at that force")
    alone = [head for i, head in enumerate(table.names) if head and i not in places.values()]
    if alone:
        notes.append(f"left alone: {', '.join(alone)}")
    roles = {index: role for role, index in places.items()}
    heads = enumerate(zip(table.names, table.units, strict=True))
    columns_found = tuple(TraceColumn(head, written, roles.get(i, "")) for i, (head, written) in heads)
    step = _step(table.column(places["force"]), sign) * factor
    return Trace(
        table.file, table.digest, time, force, over, None if travel is None else travel[keep], segments,
        columns_found, unit, factor, step, table.facts, left_out, tuple(notes),
    )  # fmt: skip


def _places(table: InstrumentTable, said: Mapping[str, str]) -> dict[str, int]:
    places: dict[str, int] = {}
    problems = []
    heads = [fold(name) for name in table.names]
    listed = ", ".join(name for name in table.names if name) or "nothing"
    for role, words in HEADINGS.items():
        if role in said:
            found = [i for i, head in enumerate(heads) if head == fold(said[role])]
        else:
            found = [i for i, head in enumerate(heads) if i not in places.values() and _begins(head, words)]
            exact = [i for i in found if heads[i] in words]
            found = exact if len(exact) == 1 else found
        if len(found) == 1:
            places[role] = found[0]
        elif found:
            which = ", ".join(table.names[i] for i in found)
            problems.append(Problem(0, role, which, "may be any of these columns.", f"Say which one is the {role}."))
        elif role == "force" or role in said:
            do = f"The header has: {listed}. Say which of them it is."
            problems.append(Problem(0, role, said.get(role, ""), "column is missing.", do))
    if problems:
        raise FileRefused(table.file, problems)
    return places


def _begins(head: str, words: tuple[str, ...]) -> bool:
    first = re.split(r"[^\w#/]+", head, maxsplit=1)[0].rstrip("0123456789_")
    return first in {fold(word) for word in words} or head in words


def _decimal(table: InstrumentTable, places: Mapping[str, int]) -> str:
    chosen = [table.column(index) for index in places.values()]
    return decimal_sign(chosen, table.numbers, file=table.file)


def _force(
    table: InstrumentTable, index: int, sign: str, said: str, notes: list[str]
) -> tuple[np.ndarray, np.ndarray, str, float, list[Cell]]:
    values, odd = parse_numbers(table.column(index), decimal=sign)
    written = said or table.units[index]
    if fold(table.names[index]) in {fold(unit) for unit in FORCES} and not written:
        written = table.names[index]
    own = {cell.unit for cell in odd if cell.unit}
    if not written:
        written = next((value for key, value in table.facts if fold(key) in ("unit", "units", "force unit")), "")
    if not written and own:
        written = min(own)
    if not written:
        do = "Say the unit of the force, such as N or gf."
        raise FileRefused(table.file, [Problem(0, table.names[index], "", "has no unit.", do)])
    unit, factor = _unit(table, index, written)
    notes.append(f"{table.names[index] or 'force'} in {unit}, 1 {unit} = {factor:.10g} N")
    caution = unit_note(written)
    if caution:
        notes.append(caution)
    over = np.zeros(values.size, dtype=bool)
    force = values * factor
    for cell in odd:
        if cell.unit:
            force[cell.index] = cell.value * _unit(table, index, cell.unit)[1]
        over[cell.index] = cell.kind == "over"
    if own - {written, unit}:
        notes.append(f"units stand in the cells and differ: {', '.join(sorted(own))}; each row by its own")
    return force, over, unit, factor, odd


def _unit(table: InstrumentTable, index: int, written: str) -> tuple[str, float]:
    try:
        return unit_name(written, force_per="dot"), newtons(1.0, unit=written)
    except DwellbookError as fault:
        if "/" in written:
            what, do = "is a force over a width.", "Export the force itself; the width is typed with the test."
        else:
            what, do = "is not a unit of force.", fault.do
        raise FileRefused(table.file, [Problem(0, table.names[index], written, what, do)]) from None


def _time(
    table: InstrumentTable, index: int | None, sign: str, rate_hz: float, notes: list[str]
) -> tuple[np.ndarray, list[Cell]]:
    if index is None:
        rate = rate_hz or _rate(table)
        if not rate > 0:
            do = "Say the sampling rate in samples per second, or export the time as well."
            raise FileRefused(
                table.file, [Problem(0, "time", "", "column is missing, and no sampling rate is given.", do)]
            )
        notes.append(f"no times: {rate:g} samples per second, counted from the first")
        return np.arange(len(table.rows)) / rate, []
    cells = table.column(index)
    if any(":" in cell for cell in cells[:3]) or ":" in cells[-1]:
        values = parse_clock(cells)
        if values is not None:
            values = values - values[np.isfinite(values)][0]
            notes.append("time as hours, minutes and seconds, counted from the first sample")
            empty = np.flatnonzero(~np.isfinite(values)).tolist()
            kinds = ["missing" if MISSING.fullmatch(cells[i].strip()) else "fault" for i in empty]
            odd = [Cell(i, cells[i], float("nan"), kind) for i, kind in zip(empty, kinds, strict=True)]
            return values, odd
    unit = fold(table.units[index])
    if not unit and fold(table.names[index]) in SECONDS_PER:
        unit = fold(table.names[index])
    if unit not in SECONDS_PER:
        do = f"Export it in one of {', '.join(key for key in SECONDS_PER if key)}."
        raise FileRefused(
            table.file, [Problem(0, table.names[index], table.units[index], "is not a unit of time.", do)]
        )
    values, odd = parse_numbers(cells, decimal=sign)
    notes.append(f"time in {unit}" if unit else "time has no unit: taken as seconds")
    return values * SECONDS_PER[unit], odd


def _rate(table: InstrumentTable) -> float:
    """A sampling rate [1/s] among the facts above the table; 0 if there is none."""
    for name, value in table.facts:
        number = re.search(r"\d+(?:[.,]\d+)?", value)
        if not number:
            continue
        size = float(number[0].replace(",", "."))
        if re.search(r"\brate\b|frequency|abtastrate", fold(name)) and "min" not in fold(value):
            return size * (1000 if "khz" in fold(value) else 1)
        if re.search(r"interval|\bdt\b", fold(name)) and size > 0:
            return (1000 if "ms" in fold(value) else 1) / size
    return 0.0


def _travel(
    table: InstrumentTable, index: int | None, sign: str, notes: list[str]
) -> tuple[np.ndarray | None, list[Cell]]:
    if index is None:
        return None, []
    unit = fold(table.units[index])
    if unit not in MM_PER:
        do = f"Export it in one of {', '.join(key for key in MM_PER if key)}."
        raise FileRefused(table.file, [Problem(0, table.names[index], table.units[index], "is not a length.", do)])
    values, odd = parse_numbers(table.column(index), decimal=sign)
    notes.append(f"{table.names[index]} in {unit}" if unit else f"{table.names[index]} has no unit: taken as mm")
    return values * MM_PER[unit], odd


def _refuse_faults(table: InstrumentTable, places: Mapping[str, int], odd: Mapping[str, list[Cell]]) -> None:
    problems = []
    for role, cells in odd.items():
        bad = [
            cell
            for cell in cells
            if cell.kind == "fault" or (role != "force" and (cell.kind in ("over", "under") or cell.unit))
        ]
        for cell in bad:
            do = "Correct the export; a missing value is left blank."
            place = table.names[places[role]] if role in places else role
            problems.append(Problem(table.numbers[cell.index], place, cell.typed[:40], f"is not a {role}.", do))
    if len(problems) > MOST_SHOWN:
        more = len(problems) - MOST_SHOWN
        problems = [*problems[:MOST_SHOWN], Problem(0, "", "", f"has {more} more cells like these.", "")]
    if problems:
        raise FileRefused(table.file, problems)


def _left_out(table: InstrumentTable, keep: np.ndarray, odd: list[Cell], notes: list[str]) -> tuple[LeftOut, ...]:
    reasons = {cell.index: cell for cell in odd if cell.kind == "missing"}
    left = []
    for index in np.flatnonzero(~keep):
        cell = reasons.get(int(index))
        typed = cell.typed.strip() if cell else ""
        left.append(LeftOut(table.numbers[index], typed, f"says “{typed}”" if typed else "a cell is blank"))
    if left:
        notes.append(f"{len(left)} rows without a value left out, the first in row {left[0].row}")
    return tuple(left)


def _segments(file: str, time: np.ndarray, rows: np.ndarray, notes: list[str]) -> tuple[tuple[int, int], ...]:
    back = np.flatnonzero(np.diff(time) < 0) + 1
    if back.size >= MOST_SEGMENTS:
        what = f"has times that go back {back.size} times, first in row {rows[back[0]]}."
        raise FileRefused(file, [Problem(int(rows[back[0]]), "time", "", what, "Export it in the order of time.")])
    if back.size:
        where = ", ".join(str(rows[i]) for i in back)
        notes.append(f"the clock starts again in row {where}: {back.size + 1} segments")
    edges = [0, *map(int, back), int(time.size)]
    return tuple(pairwise(edges))


def _spread(time: np.ndarray, segments: tuple[tuple[int, int], ...], notes: list[str]) -> np.ndarray:
    """A clock that counts coarser than the samples: those of one count are spread evenly up to the next."""
    if np.count_nonzero(np.diff(time) == 0) * 2 <= time.size:
        return time
    spread = time.copy()
    for first, stop in segments:
        stamps, starts, counts = np.unique(time[first:stop], return_index=True, return_counts=True)
        if stamps.size < 2:
            continue
        steps = np.append(np.diff(stamps), np.median(np.diff(stamps)))
        within = np.arange(stop - first) - np.repeat(starts, counts)
        # A first or last count with few samples was cut short; its samples lay no further apart than the others.
        full = np.maximum(counts, np.median(counts))
        late = np.zeros(counts.size)
        late[0] = full[0] - counts[0]
        fraction = (within + np.repeat(late, counts)) / np.repeat(full, counts)
        spread[first:stop] = np.repeat(stamps, counts) + fraction * np.repeat(steps, counts)
    notes.append("the clock counts coarser than the samples: those of one count are spread evenly up to the next")
    return spread


def _step(cells: list[str], sign: str) -> float:
    """Smallest step that the digits of the first 500 cells can show, in the unit of the file."""
    shown = [re.fullmatch(rf"'?[+-]?\d+(?:\{sign}(\d+))?", cell.strip()) for cell in cells[:500]]
    digits = [len(match[1] or "") for match in shown if match]
    return 10.0 ** -max(digits) if digits else 0.0
