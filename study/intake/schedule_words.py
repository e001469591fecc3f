"""Pulls in plain words: "1 week, 1, 3, 6, 12 months" read into scheduled pulls with their windows."""

from __future__ import annotations

import re

from study.intake.cells import CellFault
from study.model.protocol import ScheduledPull
from study.model.units import plain

UNITS = {
    "w": "week", "wk": "week", "wks": "week", "week": "week", "weeks": "week",
    "m": "month", "mo": "month", "mos": "month", "mth": "month", "mths": "month", "month": "month", "months": "month",
    "y": "year", "yr": "year", "yrs": "year", "year": "year", "years": "year",
}  # fmt: skip
WINDOWS = ((547, 30), (365, 21), (182, 14), (91, 7), (30, 3), (0, 1))
"""House rule: from this many days on, pulled within so many days of the due date [common-practice]."""
MOST_PULLS = 60
MOST_MONTHS = 600
_EVERY = re.compile(r"every\s+(?:(\d+)\s*)?([a-z]+)\s+(?:to|until)\s+(\d+)\s*([a-z]+)", re.IGNORECASE)
_SAY = 'Write such as "1 week, 1, 3, 6, 12, 18, 24, 36 months" or "every 3 months to 12 months".'


def parse_pulls(typed: str) -> tuple[ScheduledPull, ...]:
    """Pulls in plain words; a unit carries to the numbers before it that have none.

    Parameters
    ----------
    typed : str
        Numbers with week, month or year, separated by commas or "and"; "every 3 months to 12 months" goes on from the
        pull before it. A time zero among them is passed over: it is a set of its own.

    Returns
    -------
    tuple of ScheduledPull
        In the order typed, which must be the order of time.

    Raises
    ------
    CellFault
        With the words that could not be read, and what to write.

    Source
    ------
    [common-practice] for the windows: ±1 d from a week on, ±3 d from 1 month, ±7 from 3, ±14 from 6, ±21 from 12, ±30
    from 18 months on.
    """
    spans: list[tuple[int, int]] = []
    waiting: list[int] = []
    parts = [part.strip() for part in re.split(r"[,;]|\band\b|\bthen\b", plain(typed))]
    for part in filter(None, parts):
        if re.fullmatch(r"0(\s*[a-z]+)?|time[ -]?zero", part, re.IGNORECASE):
            continue
        every = _EVERY.fullmatch(part)
        if every is not None:
            _no_unit(waiting)
            spans += _repeated(every, spans[-1] if spans else (0, 0))
            continue
        match = re.fullmatch(r"(\d+)\s*([a-z]*)\.?", part, re.IGNORECASE)
        if match is None:
            raise CellFault(f"has “{part}”, which is no time after placing.", _SAY)
        waiting.append(int(match[1]))
        if match[2]:
            spans += [_span(number, match[2]) for number in waiting]
            waiting = []
    _no_unit(waiting)
    if not spans:
        raise CellFault("names no pull.", _SAY)
    if len(spans) > MOST_PULLS:
        raise CellFault(f"names {len(spans)} pulls.", f"Name {MOST_PULLS} at most.")
    pulls = tuple(_pull(weeks, months) for weeks, months in spans)
    days = [_days(weeks, months) for weeks, months in spans]
    for before, after, pull in zip(days, days[1:], pulls[1:], strict=False):
        if after <= before:
            raise CellFault(f"has {pull.label} after a pull that is not before it.", "Put the pulls in order of time.")
    return pulls


def parse_decisions(typed: str, pulls: tuple[ScheduledPull, ...]) -> tuple[str, ...]:
    """Labels of the decision pulls among ``pulls``; blank means the last one.

    Raises
    ------
    CellFault
        If one is not among the pulls.
    """
    labels = [pull.label for pull in pulls]
    if not plain(typed):
        return (labels[-1],)
    wanted = tuple(pull.label for pull in parse_pulls(typed))
    missing = [label for label in wanted if label not in labels]
    if missing:
        raise CellFault(f"has {missing[0]}, which is not among the pulls.", f"Choose from: {', '.join(labels)}.")
    return wanted


def parse_span(typed: str) -> ScheduledPull:
    """One time after placing, such as 24 months."""
    pulls = parse_pulls(typed)
    if len(pulls) != 1:
        raise CellFault("is more than one time.", "Write one, such as 24 months.")
    return pulls[0]


def _no_unit(waiting: list[int]) -> None:
    if waiting:
        raise CellFault(f"has {waiting[0]} without a unit after it.", "Add weeks, months or years.")


def _span(number: int, word: str) -> tuple[int, int]:
    """Weeks and months, one of them 0."""
    unit = UNITS.get(word.lower())
    if unit is None:
        raise CellFault(f"has the unit “{word}”.", "Use weeks, months or years.")
    span = (number, 0) if unit == "week" else (0, number * (12 if unit == "year" else 1))
    if not number or _days(*span) > _days(0, MOST_MONTHS):
        raise CellFault(f"has {number} {word}.", "Pulls lie between 1 week and 50 years after placing.")
    return span


def _repeated(every: re.Match[str], last: tuple[int, int]) -> list[tuple[int, int]]:
    step, end = _span(int(every[1] or 1), every[2]), _span(int(every[3]), every[4])
    weekly = bool(step[0])
    if weekly != bool(end[0]) or (last != (0, 0) and weekly != bool(last[0])):
        # From weeks to months: the steps are counted from placing, beyond what came before.
        if weekly:
            raise CellFault(f"has “{every[0]}”.", "Count weeks to a number of weeks, months to a number of months.")
        start = 0
    else:
        start = last[0] if weekly else last[1]
    size, stop = (step[0], end[0]) if weekly else (step[1], end[1])
    found = list(range(start + size, stop + 1, size))
    if not found or found[-1] != stop:
        raise CellFault(f"has “{every[0]}”, whose steps do not end there.", "Choose an end that the steps reach.")
    return [(number, 0) if weekly else (0, number) for number in found]


def _days(weeks: int, months: int) -> float:
    return 7 * weeks + 30.4375 * months


def _pull(weeks: int, months: int) -> ScheduledPull:
    number, word = (weeks, "week") if weeks else (months, "month")
    days = _days(weeks, months)
    window = next(width for least, width in WINDOWS if days >= least)
    return ScheduledPull(
        label=f"{number} {word}{'' if number == 1 else 's'}", weeks=weeks, months=months, window_days=window
    )
