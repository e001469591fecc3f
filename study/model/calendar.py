"""Calendar events: a pull or a remove-by date as a calendar program takes it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

ALARM_DAYS = 7
"""How long before its day an event reminds."""


@dataclass(frozen=True)
class CalendarEvent:
    """One whole-day event. No place of any object stands in it: calendar feeds leak."""

    uid: str
    """Stays for the life of the pull or display."""
    on: date
    title: str
    description: str
    sequence: int
    """Counts the changes that touched it, so that a program takes the newer version."""
    changed_at: datetime
    state: str
    """open, done (kept for the record, reminds no more) or cancelled."""


def sort_events(events: list[CalendarEvent]) -> list[CalendarEvent]:
    """Events by day, then by identity, so that the same study gives the same file."""
    return sorted(events, key=lambda event: (event.on, event.uid))
