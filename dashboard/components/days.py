"""Days on a page: a day in a table, and a day as it is typed."""

from __future__ import annotations

from datetime import date

from study.errors import DwellbookError


def short_day(on: date) -> str:
    """A day in a table: 4 Mar 2026."""
    return f"{on.day}\u2009{on:%b}\u2009{on.year}"


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
