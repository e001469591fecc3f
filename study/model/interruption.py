"""Interruptions: days on which a lamp or chamber was out, and the clock of dwell that a protocol may stop for them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal, get_args

InterruptionKind = Literal["light out", "climate out", "moved", "access"]
INTERRUPTION_KINDS: tuple[InterruptionKind, ...] = get_args(InterruptionKind)
"""What can interrupt an environment: no light, another climate, moved to another place, opened or handled."""

Stops = tuple[tuple[date, date], ...]
"""Days left out of dwell: first and last day of each run, both left out, in order and apart from each other."""
NO_STOPS: Stops = ()

_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Interruption:
    """One thing that interrupted an environment, from its first to its last day."""

    environment: str
    kind: str
    from_on: date
    to_on: date
    note: str = ""
    number: int = 0
    """Its number in the study file; 0 before it is saved."""

    @property
    def days(self) -> int:
        """How many days, first and last counted."""
        return (self.to_on - self.from_on).days + 1

    def words(self, environment: str = "") -> str:
        """What happened, where and when, without a full stop."""
        days = "1 day" if self.days == 1 else f"{self.days} days"
        return f"{self.kind} in {environment or self.environment}, {self.from_on} to {self.to_on} ({days})"


def merged_stops(interruptions: Iterable[Interruption], *, kinds: Collection[str]) -> Stops:
    """Days of the interruptions of these kinds, each day once, whatever overlaps and in whatever order they come."""
    runs = sorted((one.from_on, one.to_on) for one in interruptions if one.kind in kinds)
    merged: list[tuple[date, date]] = []
    for first, last in runs:
        if merged and first <= merged[-1][1] + _DAY:
            merged[-1] = (merged[-1][0], max(merged[-1][1], last))
        else:
            merged.append((first, last))
    return tuple(merged)


def stopped_days(stops: Stops, *, first: date, last: date) -> int:
    """How many days from ``first`` to ``last``, both counted, are left out."""
    return sum(max(0, (min(end, last) - max(begin, first)).days + 1) for begin, end in stops)


def dwell_on(placed_on: date, on: date, stops: Stops = NO_STOPS) -> int:
    """Dwell [d] of a coupon on a day: whole days from placement, days left out by the protocol not counted.

    A day counts from its morning to the next, so a stop on the very day of the pull takes nothing off.
    """
    return (on - placed_on).days - stopped_days(stops, first=placed_on, last=on - _DAY)


def day_reached(placed_on: date, days: int, stops: Stops = NO_STOPS) -> date:
    """The first day on which a coupon has dwelt ``days``; for a negative number the day so long before placement."""
    day = placed_on + timedelta(days=days)
    while True:
        later = placed_on + timedelta(days=days + stopped_days(stops, first=placed_on, last=day - _DAY))
        if later == day:
            return day
        day = later
