"""The calendar: stable identities, sequence and cancelling on change, the same bytes when nothing changed."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import vobject

from study.commands.opening import open_study
from study.commands.pull import record_pulls, undo_pull
from study.commands.today_calendar import calendar_events, calendar_name
from study.model.calendar import CalendarEvent
from study.model.person import Signature
from study.outputs.calendar_feed import calendar_text
from study.store.coupons import fetch_coupons
from study.store.study_file import StudyFile

TODAY = date(2025, 3, 1)


def of_pull(study: StudyFile, set_key: str, label: str) -> CalendarEvent:
    slug = label.replace(" ", "-")
    (found,) = [e for e in calendar_events(study, on=TODAY) if e.uid.startswith(f"pull-{set_key}-{slug}@")]
    return found


def codes(study: StudyFile, set_key: str, label: str) -> list[str]:
    return [c.code for c in fetch_coupons(study).values() if (c.set_key, c.pull_label) == (set_key, label)]


def test_every_pull_stands_on_its_day(study: StudyFile) -> None:
    """Placed on 15 January 2025: 3 months are 15 April, 12 months 15 January; four events, each open."""
    events = calendar_events(study, on=TODAY)
    assert sorted({(event.on, event.state) for event in events}) == [
        (date(2025, 4, 15), "open"), (date(2026, 1, 15), "open"),
    ]  # fmt: skip
    assert len({event.uid for event in events}) == len(events) == 4
    told = of_pull(study, "tile", "3 months").description
    assert told == "Set tile. 6 of 6 coupons wait; window 2025-04-08 to 2025-04-22."


def test_nothing_changed_means_the_same_bytes(study_path: Path) -> None:
    """Another process on another day writes the same file."""
    texts = []
    for day in (TODAY, TODAY + timedelta(days=400)):
        with open_study(study_path) as study:
            texts.append(calendar_text(calendar_events(study, on=day), name="An invented museum"))
    assert texts[0] == texts[1]


def test_each_change_counts_one_up_and_only_there(study: StudyFile, signature: Signature) -> None:
    """A coupon pulled: its pull's sequence rises by one, other pulls keep theirs; all off is done, undone is open."""
    first, other = of_pull(study, "tile", "3 months"), of_pull(study, "sheet", "3 months")
    mine = codes(study, "tile", "3 months")
    record_pulls(study, mine[:1], kind="pulled", on=date(2025, 4, 15), signature=signature)
    once = of_pull(study, "tile", "3 months")
    assert (once.sequence, once.state, once.uid) == (first.sequence + 1, "open", first.uid)
    assert of_pull(study, "sheet", "3 months") == other
    record_pulls(study, mine[1:], kind="pulled", on=date(2025, 4, 15), signature=signature)
    assert of_pull(study, "tile", "3 months").state == "done"
    undo_pull(study, mine[0], signature=signature)
    again = of_pull(study, "tile", "3 months")
    assert (again.sequence, again.state) == (first.sequence + 3, "open")


def test_a_pull_without_coupons_is_cancelled(study: StudyFile, signature: Signature) -> None:
    """All coupons of a pull lost: the event is cancelled, not silently gone."""
    record_pulls(study, codes(study, "tile", "3 months"), kind="lost", on=date(2025, 4, 1), signature=signature)
    event = of_pull(study, "tile", "3 months")
    assert event.state == "cancelled"
    assert b"STATUS:CANCELLED" in calendar_text([event], name="x")


def test_remove_by_dates_stand_without_a_place(demo: Any) -> None:
    """The demo's objects: a date, a stop or a cancelled event each, and no location anywhere."""
    from study.commands.display import standings

    with open_study(demo.file) as study:
        events = {e.uid.split("@")[0]: e for e in calendar_events(study, on=demo.today) if e.uid.startswith("display-")}
        states = standings(study, on=demo.today).states
        text = calendar_text(list(events.values()), name="Demo").decode()
    assert {int(uid.split("-")[1]) for uid in events} == {state.display.number for state in states}
    for state in states:
        event = events[f"display-{state.display.number}"]
        if state.remove_by is not None:
            assert (event.on, event.state) == (state.remove_by, "open")
        elif state.state == "stopped":
            assert event.state == "open"
            assert event.title.startswith("Take off")
        else:
            assert event.state == "cancelled"
        assert state.display.location not in text
        assert state.display.environment not in event.title + event.description, "a room is a place too"


def test_a_second_library_reads_the_file(study: StudyFile) -> None:
    """vobject parses it: days, stable identities, an alarm seven days before; lines of at most 75 octets with CRLF."""
    events = calendar_events(study, on=TODAY)
    raw = calendar_text(events, name="Ein Museum; mit Komma, und Zeilen\nbruch")
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    assert raw.count(b"\n") == raw.count(b"\r\n")
    parsed = vobject.readOne(raw.decode())
    found = {entry.uid.value: entry for entry in parsed.vevent_list}
    assert set(found) == {event.uid for event in events}
    for event in events:
        entry = found[event.uid]
        assert (entry.dtstart.value, entry.dtend.value) == (event.on, event.on + timedelta(days=1))
        assert entry.summary.value == event.title
        assert entry.valarm.trigger.value == timedelta(days=-7)
        assert int(entry.sequence.value) == event.sequence


def test_the_feed_answers_with_the_same_file(study_path: Path) -> None:
    """The dashboard's address gives what the command writes, as a calendar, and needs no writing to the study."""
    from dashboard.app import create_app

    before = study_path.read_bytes()
    with create_app(study_path, today=lambda: TODAY).server.test_client() as client:
        answer = client.get("/calendar.ics")
    assert (answer.status_code, answer.mimetype) == (200, "text/calendar")
    with open_study(study_path) as study:
        assert answer.data == calendar_text(calendar_events(study, on=TODAY), name=calendar_name(study))
    assert study_path.read_bytes() == before
