"""Times as a logger wrote them, to seconds in UTC: order of day and month, zone, and the hour struck twice."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from study.errors import FileRefused, Problem
from study.intake.number_columns import MOST_SHOWN

_EPOCH = datetime(1970, 1, 1)
_DAY_S = 86400
_SECOND = timedelta(seconds=1)
_DATE = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4}),?")
_CLOCK = re.compile(r"(\d{1,2})[:.](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*(?:([AaPp])\.?[Mm]\.?)?")
_OFFSET = re.compile(r"(?:UTC|GMT|Z)?\s*([+-])(\d{1,2})(?::?(\d{2}))?", re.IGNORECASE)
CENTURY = 2000
"""Of years written with two digits."""


def parse_local_times(
    cells: Sequence[str], numbers: Sequence[int], *, file: str, day_first: bool | None, notes: list[str]
) -> tuple[np.ndarray, bool]:
    """Written times as seconds since 1970, and whether they carry their own offset (then they are UTC).

    Parameters
    ----------
    cells : sequence of str
        2025-03-30T02:10:00+01:00, 30.03.2025 02:10, 03/30/2025 02:10 PM and their like.
    numbers : sequence of int
        Row numbers, for the refusal.
    day_first : bool or None
        Order of day and month; None to tell it from the column.

    Raises
    ------
    FileRefused
        If cells are no times, or day and month cannot be told apart.
    """
    written = _written(cells, numbers, file, day_first, notes)
    if written is not None:
        return written, False
    problems: list[Problem] = []
    stamps: list[datetime] = []
    for cell, number in zip(cells, numbers, strict=True):
        try:
            stamps.append(datetime.fromisoformat(cell.strip()))
        except ValueError:
            do = "Write it as 2025-03-31 14:10."
            problems.append(Problem(number, "time", cell[:40], "is not a date with a time like the others.", do))
    if problems or not stamps:
        raise _refused(file, problems)
    aware = [stamp.tzinfo is not None for stamp in stamps]
    if not any(aware):
        return np.array([(stamp - _EPOCH) // _SECOND for stamp in stamps], dtype=np.int64), False
    if not all(aware):
        odd = aware.index(not aware[0])
        what = "mixes ways to write a time, with and without an offset."
        raise FileRefused(file, [Problem(numbers[odd], "time", cells[odd], what, "Export it again, all alike.")])
    epoch = _EPOCH.replace(tzinfo=UTC)
    return np.array([(stamp - epoch) // _SECOND for stamp in stamps], dtype=np.int64), True


def _written(
    cells: Sequence[str], numbers: Sequence[int], file: str, day_first: bool | None, notes: list[str]
) -> np.ndarray | None:
    """Dates with a clock time, without an offset; None if a cell is written otherwise.

    A record holds few dates and few clock times, each of which is read once.
    """
    pairs = [cell.strip().replace("T", " ", 1).partition(" ") for cell in cells]
    dates: dict[str, int] = {}
    clocks: dict[str, int] = {}
    for index, (date, _, clock) in enumerate(pairs):
        dates.setdefault(date, index)
        clocks.setdefault(clock, index)
    found = {date: _DATE.fullmatch(date) for date in dates}
    struck = {clock: _seconds(clock) for clock in clocks}
    matches = {date: match for date, match in found.items() if match is not None}
    if len(matches) < len(dates) or None in struck.values() or not matches:
        return None
    problems = []
    days: dict[str, int] = {}
    order = _order(file, matches, dates, numbers, day_first, notes)
    for date, match in matches.items():
        day, month, year = (int(match[place]) for place in order)
        year += CENTURY if year < 100 else 0
        try:
            days[date] = (datetime(year, month, day) - _EPOCH) // _SECOND
        except ValueError as fault:
            problems.append(Problem(numbers[dates[date]], "time", date, f"is no date: {fault}.", "Correct it."))
    if problems:
        raise _refused(file, problems)
    if any(len(match[order[2]]) <= 2 for match in matches.values()):
        notes.append(f"years of two digits taken as {CENTURY} and later")
    return np.array([days[date] + (struck[clock] or 0) for date, _, clock in pairs], dtype=np.int64)


def _seconds(clock: str) -> int | None:
    """Seconds since midnight of 14:10, 2:10:30 PM; 0 where a date stands alone; None for anything else."""
    text = clock.strip()
    if not text:
        return 0
    match = _CLOCK.fullmatch(text)
    if match is None:
        return None
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    if match[4] and 1 <= hour <= 12:
        hour = hour % 12 + (12 if match[4] in "Pp" else 0)
    return hour * 3600 + minute * 60 + second if hour < 24 and minute < 60 and second < 60 else None


def _order(
    file: str, matches: Mapping[str, re.Match[str]], rows: Mapping[str, int], numbers: Sequence[int], said: bool | None,
    notes: list[str],
) -> tuple[int, int, int]:  # fmt: skip
    """Which of the three numbers is the day, the month and the year, as groups of the match."""
    first = next(iter(matches.values()))
    if len(first[1]) == 4:
        return 4, 3, 1
    ordered = list(matches.values())
    day = _day_first(file, ordered, [numbers[rows[date]] for date in matches], said, notes)
    return (1, 3, 4) if day else (3, 1, 4)


def _day_first(
    file: str, matches: Sequence[re.Match[str]], numbers: Sequence[int], said: bool | None, notes: list[str]
) -> bool:
    if said is not None:
        notes.append(f"{'day' if said else 'month'} first, as was said")
        return said
    if matches[0][2] == ".":
        notes.append("day first, as dates with full stops are written")
        return True
    day = next((i for i, match in enumerate(matches) if int(match[1]) > 12), None)
    month = next((i for i, match in enumerate(matches) if int(match[3]) > 12), None)
    if (day is None) == (month is None):
        both = "is day first in some rows, month first in others."
        what = "may be day or month first throughout." if day is None else both
        row, shown = numbers[day or 0], matches[day or 0][0]
        raise FileRefused(file, [Problem(row, "time", shown, what, "Say which comes first.")])
    told = day if day is not None else month or 0
    notes.append(f"{'day' if day is not None else 'month'} first, told from row {numbers[told]}")
    return day is not None


def _refused(file: str, problems: list[Problem]) -> FileRefused:
    if len(problems) > MOST_SHOWN:
        more = Problem(0, "", "", f"has {len(problems) - MOST_SHOWN} more cells like these.", "")
        problems = [*problems[:MOST_SHOWN], more]
    return FileRefused(file, problems or [Problem(0, "time", "", "has no times.", "Export the times as well.")])


def offset_seconds(text: str) -> int | None:
    """Seconds east of UTC said by UTC, Z, GMT+01:00 or +1; None if it says no offset."""
    folded = text.strip()
    if folded.upper() in ("UTC", "GMT", "Z"):
        return 0
    match = _OFFSET.fullmatch(folded)
    if match is None or int(match[2]) > 14 or int(match[3] or 0) > 59:
        return None
    size = int(match[2]) * 3600 + int(match[3] or 0) * 60
    return -size if match[1] == "-" else size


def named_zone(name: str) -> ZoneInfo | None:
    """A zone by its name, such as Europe/Vienna; None if there is none of that name."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):  # an odd name may be a folder, a broken file or an impossible path
        return None


def utc_from_local(
    local_s: np.ndarray, numbers: Sequence[int], *, zone: ZoneInfo, file: str, notes: list[str]
) -> np.ndarray:
    """Local times of a zone in UTC, row by row in the order they were logged.

    Parameters
    ----------
    local_s : (n,) int64 array [s]
        Local clock since 1970, in the order of the file.

    Raises
    ------
    FileRefused
        If a row shows a time that the clocks of that zone skipped: the logger did not follow summer time.
    """
    days, places = np.unique(local_s // _DAY_S, return_inverse=True)
    starts = np.array([_offset(zone, day * _DAY_S, 0) for day in days.tolist()], dtype=np.int64)
    ends = np.array([_offset(zone, (day + 1) * _DAY_S, 0) for day in days.tolist()], dtype=np.int64)
    offsets = starts[places]
    struck_twice: dict[int, list[int]] = {}
    for index in np.flatnonzero((starts != ends)[places]).tolist():
        at = int(local_s[index])
        early, late = _offset(zone, at, 0), _offset(zone, at, 1)
        offsets[index] = early
        if early < late:
            shown = str(_EPOCH + timedelta(seconds=at))
            what = f"is a time that the clocks of {zone.key} skipped."
            do = "The logger did not follow summer time: say its own offset, such as +01:00."
            raise FileRefused(file, [Problem(numbers[index], "time", shown, what, do)])
        if early > late:
            struck_twice.setdefault(at // _DAY_S, []).append(index)
    for hour in struck_twice.values():
        # The second striking begins where the written clock does not go on.
        back = np.flatnonzero(np.diff(local_s[hour]) <= 0)
        for index in hour[back[0] + 1 :] if back.size else []:
            offsets[index] = _offset(zone, int(local_s[index]), 1)
        if not back.size:
            second = [_offset(zone, int(local_s[index]), 1) for index in hour]
            which = "first"
            if _wider(local_s, offsets, hour, list(offsets[hour])) > _wider(local_s, offsets, hour, second):
                offsets[hour], which = second, "second, which keeps the interval even"
            notes.append(f"row {numbers[hour[0]]}: an hour that the clocks struck twice stands here once: the {which}")
    return local_s - offsets


def _wider(local_s: np.ndarray, offsets: np.ndarray, hour: list[int], tried: list[int]) -> float:
    """The wider of the steps into and out of an hour's rows under tried offsets; 0 at either end of the file."""
    first, last = hour[0], hour[-1]
    if first == 0 or last == len(local_s) - 1:
        return 0.0
    into = (local_s[first] - tried[0]) - (local_s[first - 1] - offsets[first - 1])
    out_of = (local_s[last + 1] - offsets[last + 1]) - (local_s[last] - tried[-1])
    return float(max(into, out_of))


def _offset(zone: ZoneInfo, local_s: int, fold: int) -> int:
    try:
        moment = (_EPOCH + timedelta(seconds=local_s)).replace(tzinfo=zone, fold=fold)
        return int((moment.utcoffset() or timedelta()).total_seconds())
    except OverflowError:
        return 0
