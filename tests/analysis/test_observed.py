"""Ends seen on their days, and removals tested against a share."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis.censoring import observations
from study.analysis.observed import at_least_so_many, group_difference, observed_curve, seen_on_its_day
from study.errors import NotPossible

DAYS = np.array([6.0, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35])
ENDED = np.arange(21) < 9


def test_share_after_each_release() -> None:
    """Of six coupons one falls on day 5, one is taken off on day 7, one falls on day 9: 5/6, then 5/6 of 3/4."""
    curve = observed_curve(dwell_days=np.array([5.0, 7, 9, 20, 20, 20]), ended=np.array([1, 0, 1, 0, 0, 0], bool))
    assert curve.days == (5.0, 9.0)
    assert curve.acceptable == pytest.approx([5 / 6, 5 / 6 * 3 / 4])
    assert all(low < share < high for low, share, high in zip(curve.lower, curve.acceptable, curve.upper, strict=True))
    assert (curve.n, curve.ended) == (6, 2)


def test_limits_end_where_all_are_gone() -> None:
    """When the last coupon has fallen nothing is acceptable any more, and no limit is made up."""
    curve = observed_curve(dwell_days=np.array([5.0, 7, 9]), ended=np.ones(3, bool))
    assert curve.acceptable[-1] == pytest.approx(0)
    assert all(math.isfinite(v) for v in (*curve.lower, *curve.upper))


def test_difference_worked_by_hand() -> None:
    """Two falls on days 1 and 2 against one on day 3: observed less expected, squared, over its variance."""
    found = group_difference(
        dwell_days=np.array([1.0, 2, 3, 4]), ended=np.array([1, 1, 1, 0], bool), group=["A", "A", "B", "B"]
    )
    expected, variance = 2 / 4 + 1 / 3 + 0, 1 / 4 + 2 / 9 + 0
    assert found.statistic == pytest.approx((2 - expected) ** 2 / variance)
    assert (found.groups, found.freedom) == (("A", "B"), 1)


@given(st.permutations(range(21)))
@settings(max_examples=20, deadline=None)
def test_groups_have_no_order(order: list[int]) -> None:
    """It does not matter which group is named first, nor in which order coupons are written down."""
    group = np.where(np.arange(21) % 2, "left", "right")
    swapped = np.where(np.arange(21) % 2, "right", "left")
    plain = group_difference(dwell_days=DAYS, ended=ENDED, group=group.tolist())
    shuffled = group_difference(dwell_days=DAYS[order], ended=ENDED[order], group=swapped[order].tolist())
    assert shuffled.p == pytest.approx(plain.p, rel=1e-9)
    assert observed_curve(dwell_days=DAYS[order], ended=ENDED[order]) == observed_curve(dwell_days=DAYS, ended=ENDED)


def test_only_ends_seen_on_their_day_count(hold: Any, coupon: Any) -> None:
    """A coupon last seen holding yesterday fell today; one last seen a month ago fell some day in between."""
    held = coupon(test="hold-angle", dwell=365, hold_angle=(75.0, 75.0, "75"))
    fell = coupon(test="hold-angle", pull_kind="released by itself", dwell=200, last_seen=199)
    found = observations([held, fell], criterion=hold, limits={"L": 60.0}, faces_object=False)
    seen = seen_on_its_day(found)
    assert seen is not None
    assert (seen[0].tolist(), seen[1].tolist()) == ([365, 200], [False, True])
    late = coupon(test="hold-angle", pull_kind="released by itself", dwell=200, last_seen=170)
    assert seen_on_its_day(observations([held, late], criterion=hold, limits={"L": 60.0}, faces_object=False)) is None
    assert seen_on_its_day(observations([held], criterion=hold, limits={"L": 60.0}, faces_object=False)) is None


@pytest.mark.parametrize(
    ("days", "ended"), [([], []), ([0.0], [True]), ([math.nan], [True]), ([-3.0], [True]), ([5.0, 6.0], [True])]
)
def test_days_that_cannot_be(days: list[float], ended: list[bool]) -> None:
    """A coupon without a dwell has no life to count."""
    with pytest.raises(NotPossible, match="dwell"):
        observed_curve(dwell_days=np.array(days), ended=np.array(ended, bool))


@pytest.mark.parametrize(("group", "ended"), [(["A", "A"], [True, True]), (["A", "B"], [False, False])])
def test_nothing_to_compare(group: list[str], ended: list[bool]) -> None:
    """One group, or no end at all, shows no difference."""
    with pytest.raises(NotPossible):
        group_difference(dwell_days=np.array([5.0, 6.0]), ended=np.array(ended), group=group)


def test_chance_of_so_many() -> None:
    """Of three removals at a share of one in ten, at least one is bad 271 times in a thousand."""
    assert at_least_so_many(unacceptable=1, seen=3, share=0.1) == pytest.approx(0.271)
    assert at_least_so_many(unacceptable=3, seen=3, share=0.1) == pytest.approx(0.001)
    assert at_least_so_many(unacceptable=0, seen=0, share=0.1) == 1
