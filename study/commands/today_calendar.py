"""Today, the calendar: every pull and every remove-by date as events that a calendar program follows."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from datetime import date

from study.commands.grounds import display_states
from study.model.calendar import CalendarEvent, sort_events
from study.model.coupon import Coupon
from study.model.display import DisplayState
from study.model.interruption import NO_STOPS
from study.model.pull import GONE_KINDS, PullEvent, pull_window
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_stops
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile
from study.store.touched import Touched, fetch_touched_displays, fetch_touched_pulls


def calendar_events(study: StudyFile, *, on: date) -> list[CalendarEvent]:
    """Pulls of every set and remove-by dates of every object, in order of days.

    Parameters
    ----------
    on : date
        Today. It moves no event: the same study gives the same events on another day.
    """
    with study.snapshot():
        home = _home(study)
        return sort_events([*_pulls(study, home), *_displays(study, home, on)])


def calendar_name(study: StudyFile) -> str:
    """What the calendar is called."""
    return f"Dwellbook: {study.fact('institution')}".removesuffix(": ")


def _home(study: StudyFile) -> str:
    """What sets this study's identities apart from those of another study."""
    told = f"{study.fact('institution')} {study.fact('begun_at')}"
    return hashlib.sha256(told.encode()).hexdigest()[:12]


def _pulls(study: StudyFile, home: str) -> list[CalendarEvent]:
    sets, protocols, titles = fetch_sets(study), fetch_protocols(study), fetch_pairings(study)
    pulled, touched, stops = fetch_pulls(study), fetch_touched_pulls(study), fetch_stops(study, protocols)
    destined: dict[tuple[str, str], list[Coupon]] = {}
    for coupon in fetch_coupons(study).values():
        if coupon.pull_label:
            destined.setdefault((coupon.set_key, coupon.pull_label), []).append(coupon)
    events = []
    for (set_key, label), marks in touched.items():
        coupon_set = sets[set_key]
        schedule = protocols[coupon_set.protocol_digest].schedule
        scheduled = next((pull for pull in schedule.pulls if pull.label == label), None)
        if scheduled is None:
            continue  # a pull of no schedule has no day to be reminded of
        coupons = destined.get((set_key, label), [])
        title = titles[coupon_set.pairing].title if coupon_set.pairing else f"blank {coupon_set.substrate}"
        state = _pull_state(coupons, pulled)
        waiting = sum(coupon.code not in pulled for coupon in coupons)
        due, first, last = pull_window(coupon_set.placed_on, scheduled, stops.get(set_key, NO_STOPS))
        words = {
            "open": f"{waiting} of {len(coupons)} coupons wait; window {first} to {last}.",
            "done": f"All {len(coupons)} coupons are off.",
            "cancelled": "No coupon is destined to this pull any more.",
        }[state]
        events.append(
            _event(
                f"pull-{_slug(set_key)}-{_slug(label)}@{home}",
                due,
                f"{'Pull' if state != 'done' else 'Pulled'} {label}: {title}", f"Set {set_key}. {words}", state, marks,
            )
        )  # fmt: skip
    return events


def _pull_state(coupons: list[Coupon], pulled: Mapping[str, PullEvent]) -> str:
    left = [pulled[coupon.code].kind for coupon in coupons if coupon.code in pulled]
    if len(left) < len(coupons):
        return "open"
    return "done" if any(kind not in GONE_KINDS for kind in left) else "cancelled"


def _displays(study: StudyFile, home: str, on: date) -> list[CalendarEvent]:
    touched = fetch_touched_displays(study)
    events = []
    for state in display_states(study, on=on).states:
        marks = touched[state.display.number]
        uid = f"display-{state.display.number}@{home}"
        number = state.display.object_number
        if state.remove_by is not None:
            words = f"Last day: {state.why}. Remove it with the usual care; see the Display page."
            events.append(_event(uid, state.remove_by, f"Off display by today: {number}", words, "open", marks))
        elif state.state == "stopped":
            stopped_on = marks.last_at.date()
            words = "Stopped. Take it off as soon as it can be done safely; the Display page says why."
            events.append(_event(uid, stopped_on, f"Take off: {number}", words, "open", marks))
        else:
            # It may have had a date before: a program that knows the event must drop it, and be told why.
            events.append(
                _event(uid, _last_known(state), f"Off display: {number}", _why_none(state), "cancelled", marks)
            )
    return events


def _last_known(state: DisplayState) -> date:
    return state.display.placed_on


def _why_none(state: DisplayState) -> str:
    if state.state == "removed":
        return "It has been taken off."
    # Why may name the room it stands in, which a feed must not tell.
    return "No date stands, which is not “safe”: the Display page says why."


def _event(uid: str, on: date, title: str, description: str, state: str, marks: Touched) -> CalendarEvent:
    return CalendarEvent(uid, on, title, description, marks.later_changes, marks.last_at, state)


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
