"""The calendar as text: iCalendar, the same bytes for the same study."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, timedelta

from study.model.calendar import ALARM_DAYS, CalendarEvent

PRODUCT = "-//Dwellbook//pulls and remove-by dates//EN"


def calendar_text(events: Sequence[CalendarEvent], *, name: str) -> bytes:
    """Events as an iCalendar file.

    Parameters
    ----------
    events : sequence of CalendarEvent
        In the order they shall stand.
    name : str
        The calendar's name in the program that shows it.

    Returns
    -------
    bytes
        CRLF lines folded at 75 octets. DTSTAMP is the moment of the last change that touched an event, never the
        moment of writing, so that nothing differs when nothing changed.

    Source
    ------
    [rfc-5545].
    """
    from icalendar import Alarm, Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", " ".join(name.split()))
    for event in events:
        entry = Event()
        entry.add("uid", event.uid)
        entry.add("dtstamp", event.changed_at.astimezone(UTC))
        entry.add("dtstart", event.on)
        entry.add("dtend", event.on + timedelta(days=1))
        entry.add("summary", event.title)
        entry.add("description", event.description)
        entry.add("sequence", event.sequence)
        entry.add("status", "CANCELLED" if event.state == "cancelled" else "CONFIRMED")
        entry.add("transp", "TRANSPARENT")
        if event.state == "open":
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", event.title)
            alarm.add("trigger", timedelta(days=-ALARM_DAYS))
            entry.add_component(alarm)
        calendar.add_component(entry)
    return bytes(calendar.to_ical())
