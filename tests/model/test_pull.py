"""Pull dates: calendar months from the real placement, and windows."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.pull import add_months, due_on, pull_group, pull_state

SCHEDULE = parse_protocol(known_protocols()["display-dots"]).schedule


@pytest.mark.parametrize(
    ("start", "months", "day"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2025, 11, 30), 3, date(2026, 2, 28)),
        (date(2025, 12, 15), 36, date(2028, 12, 15)),
    ],
)
def test_months_are_added_and_clamped(start: date, months: int, day: date) -> None:
    """31 January and one month is 28 February."""
    assert add_months(start, months) == day


@given(st.dates(date(2000, 1, 1), date(2050, 1, 1)), st.integers(1, 60))
def test_due_days_never_drift(start: date, months: int) -> None:
    """A due day counted from placement keeps the placement's day of the month, or the month's last."""
    due = add_months(start, months)
    assert due.day == start.day or (due.day < start.day and (due + timedelta(days=1)).day == 1)


def test_a_pull_goes_from_next_to_due_to_overdue() -> None:
    """Inside its window a pull is due; before it, next; after it, overdue."""
    due, week = date(2026, 6, 1), timedelta(days=7)
    states = [pull_state(due + timedelta(days=days), first=due - week, last=due + week) for days in (-8, -7, 0, 7, 8)]
    assert states == ["next", "due", "due", "due", "overdue"]


def test_a_coupon_pulled_in_error_joins_the_pull_it_was_part_of() -> None:
    """Its real age decides, not the pull it was meant for; outside every window it stands by itself."""
    placed = date(2023, 3, 6)
    six = next(pull for pull in SCHEDULE.pulls if pull.label == "6 months")
    assert pull_group(SCHEDULE, placed, due_on(placed, six) + timedelta(days=14)) == "6 months"
    assert pull_group(SCHEDULE, placed, due_on(placed, six) + timedelta(days=15)) == "199 d"
