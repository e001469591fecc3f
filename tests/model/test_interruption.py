"""Interruptions: days left out of dwell once, whatever overlaps, however they are entered, and never below zero."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.interruption import (
    INTERRUPTION_KINDS,
    Interruption,
    day_reached,
    dwell_on,
    merged_stops,
    stopped_days,
)
from study.model.pull import due_on, planned_days, pull_group, pull_window

SCHEDULE = parse_protocol(known_protocols()["display-dots"]).schedule
PLACED = date(2025, 1, 15)
SPAN = 1200


@st.composite
def interruptions(draw: st.DrawFn) -> Interruption:
    """One of any kind, near or far from the placement."""
    begin = PLACED + timedelta(days=draw(st.integers(-60, SPAN)))
    kind = draw(st.sampled_from(INTERRUPTION_KINDS))
    return Interruption("store", kind, begin, begin + timedelta(days=draw(st.integers(0, 90))))


several = st.lists(interruptions(), max_size=6)
days = st.integers(0, SPAN).map(lambda age: PLACED + timedelta(days=age))


def days_of(one: Interruption) -> set[date]:
    """Its days, one by one."""
    return {one.from_on + timedelta(days=n) for n in range(one.days)}


@given(several, interruptions(), days)
def test_an_interruption_never_makes_dwell_longer(found: list[Interruption], more: Interruption, on: date) -> None:
    """One more interruption leaves dwell as it is or shortens it, by no more than its own days; never below zero."""
    before = dwell_on(PLACED, on, merged_stops(found, kinds=INTERRUPTION_KINDS))
    after = dwell_on(PLACED, on, merged_stops([*found, more], kinds=INTERRUPTION_KINDS))
    assert 0 <= after <= before <= (on - PLACED).days
    assert before - after <= more.days


@given(several, days)
def test_what_overlaps_counts_once(found: list[Interruption], on: date) -> None:
    """Merged days are the union of the days, and only those between placement and the day come off."""
    stops = merged_stops(found, kinds=INTERRUPTION_KINDS)
    union: set[date] = set().union(*(days_of(one) for one in found))
    assert {first + timedelta(days=n) for first, last in stops for n in range((last - first).days + 1)} == union
    assert (on - PLACED).days - dwell_on(PLACED, on, stops) == sum(PLACED <= day < on for day in union)
    assert all(later[0] - earlier[1] > timedelta(days=1) for earlier, later in pairwise(stops))


@given(several, st.randoms(), st.integers(1, 89))
def test_order_and_splitting_change_nothing(found: list[Interruption], chance: object, at: int) -> None:
    """Entered in another order, or in two pieces, the same days are left out."""
    stops = merged_stops(found, kinds=INTERRUPTION_KINDS)
    shuffled = sorted(found, key=lambda _: chance.random())  # type: ignore[attr-defined]
    assert merged_stops(shuffled, kinds=INTERRUPTION_KINDS) == stops
    pieces = []
    for one in found:
        cut = one.from_on + timedelta(days=at)
        if cut > one.to_on:
            pieces.append(one)
        else:
            pieces += [
                Interruption("store", one.kind, one.from_on, cut - timedelta(days=1)),
                Interruption("store", one.kind, cut, one.to_on),
            ]
    assert merged_stops(pieces, kinds=INTERRUPTION_KINDS) == stops


@given(several, st.integers(0, SPAN))
def test_the_day_is_reached_first_then(found: list[Interruption], age: int) -> None:
    """On the day found a coupon has dwelt so long, and on the day before it had not."""
    stops = merged_stops(found, kinds=INTERRUPTION_KINDS)
    day = day_reached(PLACED, age, stops)
    assert dwell_on(PLACED, day, stops) == age
    assert age == 0 or dwell_on(PLACED, day - timedelta(days=1), stops) < age


@given(several, days)
def test_windows_and_groups_agree(found: list[Interruption], on: date) -> None:
    """A day lies in a pull's window exactly where a coupon that came off then joins that pull."""
    stops = merged_stops(found, kinds=INTERRUPTION_KINDS)
    group = pull_group(SCHEDULE, PLACED, on, stops)
    for pull in SCHEDULE.pulls:
        due, first, last = pull_window(PLACED, pull, stops)
        assert first <= due <= last
        assert due == due_on(PLACED, pull, stops)
        assert (first <= on <= last) == (group == pull.label)


def test_nine_days_without_light_by_hand() -> None:
    """Nine days out move a pull by nine; a stop that overlaps the shifted due day moves it again."""
    six = next(pull for pull in SCHEDULE.pulls if pull.label == "6 months")
    due = due_on(PLACED, six)
    assert due == date(2025, 7, 15)
    nine = Interruption("store", "light out", date(2025, 5, 1), date(2025, 5, 9))
    assert nine.days == 9
    assert due_on(PLACED, six, merged_stops([nine], kinds=["light out"])) == date(2025, 7, 24)
    again = Interruption("store", "moved", date(2025, 7, 20), date(2025, 7, 22))
    both = merged_stops([nine, again], kinds=["light out", "moved"])
    assert due_on(PLACED, six, both) == date(2025, 7, 27)
    assert planned_days(PLACED, six) == dwell_on(PLACED, date(2025, 7, 27), both) == 181
    assert nine.words() == "light out in store, 2025-05-01 to 2025-05-09 (9 days)"


@pytest.mark.parametrize("kinds", [(), ("moved",)])
def test_other_kinds_let_the_clock_run(kinds: tuple[str, ...]) -> None:
    """Only the kinds that the protocol names are left out."""
    one = Interruption("store", "light out", PLACED, PLACED + timedelta(days=30))
    assert merged_stops([one], kinds=kinds) == ()


def test_a_stop_outside_the_placement_takes_nothing_off() -> None:
    """Days before placement, and from the day of the pull on, are not dwell anyway."""
    on = PLACED + timedelta(days=10)
    stops = ((PLACED - timedelta(days=9), PLACED - timedelta(days=1)), (on, on + timedelta(days=5)))
    assert dwell_on(PLACED, on, stops) == 10
    assert stopped_days(stops, first=PLACED, last=on - timedelta(days=1)) == 0
    assert dwell_on(PLACED, on, ((PLACED, on),)) == 0
