"""Pulls: when a coupon is due, and how it left its placement."""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from study.model.coupon import Coupon, CouponSet
from study.model.interruption import NO_STOPS, Stops, day_reached, dwell_on
from study.model.protocol import Schedule, ScheduledPull

PULL_KINDS = ("pulled", "pulled in error", "released by itself", "lost", "damaged")
"""How a coupon leaves its placement. Pulled in error keeps its reading at its true age."""
READABLE_KINDS = ("pulled", "pulled in error")
IN_PLACE = "in place"
"""Not pulled yet: known only by looks."""
BACK = "back in place"
"""The record is taken back: the coupon waits in its placement again."""
KEPT = "found, kept"
"""A lost coupon found out of its placement: it keeps its real age."""
TIME_ZERO = "time zero"
"""Stands for the pull of the coupons that are read on the day of placing."""
TIME_ZERO_DAYS = 1
"""How long after placing they may still be read as time zero, as at one week [common-practice]."""
GONE_KINDS = ("lost", "damaged")
"""Coupons that can tell nothing any more."""


def add_months(start: date, months: int) -> date:
    """Calendar months added to a date, clamped to the month's last day (31 Jan + 1 = 28 Feb)."""
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    return date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))


def planned_days(placed_on: date, pull: ScheduledPull) -> int:
    """Dwell [d] at which a scheduled pull is planned, counted by the calendar from the actual placement."""
    due = add_months(placed_on, pull.months) if pull.months else placed_on + timedelta(weeks=pull.weeks)
    return (due - placed_on).days


def due_on(placed_on: date, pull: ScheduledPull, stops: Stops = NO_STOPS) -> date:
    """The day a scheduled pull falls on: always counted from the actual placement, later by days left out of dwell."""
    return day_reached(placed_on, planned_days(placed_on, pull), stops)


def pull_window(placed_on: date, pull: ScheduledPull, stops: Stops = NO_STOPS) -> tuple[date, date, date]:
    """The day a scheduled pull is due, and the first and last day of its window."""
    days = planned_days(placed_on, pull)
    first = day_reached(placed_on, days - pull.window_days, stops)
    after = day_reached(placed_on, days + pull.window_days + 1, stops)
    return day_reached(placed_on, days, stops), first, after - timedelta(days=1)


def window_of(
    placed_on: date, schedule: Schedule, label: str, stops: Stops = NO_STOPS
) -> tuple[date, date, date] | None:  # fmt: skip
    """The day a pull of that label is due, first and last day of its window; None where there is no such pull."""
    if label == TIME_ZERO:
        return placed_on, placed_on, placed_on + timedelta(days=TIME_ZERO_DAYS)
    pull = next((pull for pull in schedule.pulls if pull.label == label), None)
    return pull_window(placed_on, pull, stops) if pull is not None else None


def destined_pull(coupon: Coupon, coupon_set: CouponSet) -> str:
    """Label of the pull a coupon is destined to; "time zero"; empty for a spare."""
    return TIME_ZERO if coupon_set.role == "time-zero" else coupon.pull_label


@dataclass(frozen=True)
class PullEvent:
    """How and when one coupon left its placement."""

    code: str
    kind: str
    on: date
    last_seen_on: date | None = None
    """For a coupon that released by itself: the last day it was seen holding."""
    note: str = ""


@dataclass(frozen=True)
class DuePull:
    """One scheduled pull of one set, as it stands on a day."""

    set_key: str
    pairing: str
    title: str
    pull_label: str
    due_on: date
    window_from: date
    window_to: date
    codes: tuple[str, ...]
    """Coupons still to be pulled; in the order of the shelf where that was asked for."""
    state: str
    """overdue (the window has closed), due (inside the window) or next (still ahead)."""
    in_charge: str = ""
    """Who is in charge of pulling this set; empty where nobody is named."""
    places: Mapping[str, str] = field(default_factory=dict)
    """Where its coupons stand, in words, by code; those without a place are not in it."""


def pull_state(on: date, *, first: date, last: date) -> str:
    """Where a day stands against a pull's window, first and last day counted: overdue, due or next."""
    if on > last:
        return "overdue"
    return "due" if on >= first else "next"


def pull_group(schedule: Schedule, placed_on: date, pulled_on: date, stops: Stops = NO_STOPS) -> str:
    """The pull a coupon belongs to by its real dwell: a scheduled one in whose window it fell, else its own age.

    A coupon pulled in error thus joins the pull it was really part of, not the one it was meant for.
    """
    dwell = dwell_on(placed_on, pulled_on, stops)
    for pull in schedule.pulls:
        if abs(dwell - planned_days(placed_on, pull)) <= pull.window_days:
            return pull.label
    return f"{dwell} d"


LOOK_AHEAD_DAYS = 31
"""How far ahead a list of pulls looks by itself."""


def list_due(
    waiting: Iterable[Coupon],
    *,
    sets: Mapping[str, CouponSet],
    schedules: Mapping[str, Schedule],
    titles: Mapping[str, str],
    stops: Mapping[str, Stops] | None = None,
    on: date,
    ahead_days: int = LOOK_AHEAD_DAYS,
) -> list[DuePull]:
    """Pulls that are overdue, due, or begin within ``ahead_days``, oldest due date first.

    Parameters
    ----------
    waiting : iterable of Coupon
        Coupons still in their placement.
    sets, schedules, titles : mapping
        Sets by key, schedules by protocol digest, titles of pairings by key.
    stops : mapping, optional
        Days left out of dwell, by set; none for sets that are not in it.
    """
    left_out = stops or {}
    groups: dict[tuple[str, str], list[str]] = {}
    for coupon in waiting:
        label = destined_pull(coupon, sets[coupon.set_key])
        if label:
            groups.setdefault((coupon.set_key, label), []).append(coupon.code)
    found = []
    for (set_key, label), codes in groups.items():
        coupon_set = sets[set_key]
        schedule = schedules[coupon_set.protocol_digest]
        window = window_of(coupon_set.placed_on, schedule, label, left_out.get(set_key, NO_STOPS))
        assert window is not None, "a waiting coupon's pull stands in its schedule"
        due, first, last = window
        if first > on + timedelta(days=ahead_days):
            continue
        found.append(
            DuePull(
                set_key=set_key, pairing=coupon_set.pairing,
                title=titles.get(coupon_set.pairing) or f"blank {coupon_set.substrate}",
                pull_label=label, due_on=due, window_from=first, window_to=last, codes=tuple(codes),
                state=pull_state(on, first=first, last=last),
            )
        )  # fmt: skip
    return sorted(found, key=lambda pull: (pull.due_on, pull.set_key))
