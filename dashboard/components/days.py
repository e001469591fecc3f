"""Days on a page: a day in a table, and a day as it is typed."""

from __future__ import annotations

import re
from datetime import date

from study.errors import DwellbookError
from study.model.pull import DuePull


def short_day(on: date) -> str:
    """A day in a table, unbroken at a line's end: 4 Mar 2026."""
    return f"{on.day}\u202f{on:%b}\u202f{on.year}"


def days_said(text: str) -> str:
    """A sentence with its year-month-day dates as they stand in tables, unbroken at a line's end."""

    def said(found: re.Match[str]) -> str:
        try:
            return short_day(date.fromisoformat(found[0]))
        except ValueError:  # 2026-13-45 in somebody's note is no day
            return found[0]

    return re.sub(r"\d{4}-\d\d-\d\d", said, text)


def moment_said(at: str) -> str:
    """A moment of the change log as tables show it: the day as everywhere, then the time of day."""
    return f"{short_day(date.fromisoformat(at[:10]))} {at[11:16]}"


def window_words(pull: DuePull) -> str:
    """The days within which a pull counts, the year said once where it is the same."""
    start = short_day(pull.window_from)
    if pull.window_from.year == pull.window_to.year:
        start = f"{pull.window_from.day}\u202f{pull.window_from:%b}"
    return f"{start} – {short_day(pull.window_to)}"


def typed_day(typed: str | None) -> date:
    """A day typed as year-month-day.

    Raises
    ------
    DwellbookError
        If it is not a day.
    """
    try:
        return date.fromisoformat((typed or "").strip())
    except ValueError:
        what = f"“{typed}” is not a day." if (typed or "").strip() else "No day is given."
        raise DwellbookError(what, "Write it as year-month-day, such as 2026-03-01.") from None
