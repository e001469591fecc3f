"""Limits of the acceptable share at any dwell, from coupons looked at once or again and again."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis.band import MOST_DAYS, mixed_band
from study.analysis.curve import share_curve
from study.analysis.intervals import tidy_intervals
from study.analysis.tolerance import share_lower, share_upper

INF = math.inf
ROWS = st.lists(st.tuples(st.integers(0, 6), st.integers(1, 8)), min_size=3, max_size=25)


def band(
    after: np.ndarray, by: np.ndarray, *, confidence: float = 0.95, count: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The band of rows as written."""
    tidy = tidy_intervals(after_days=after, by_days=by, count=count)
    return mixed_band(after=tidy[0], by=tidy[1], weight=tidy[2], confidence=confidence)


def mixed(rows: list[tuple[int, int]]) -> tuple[np.ndarray, np.ndarray]:
    """Invented intervals with ends on a few days, some open."""
    after = np.array([min(a, b) for a, b in rows], float)
    by = np.array([max(a, b) + (a == b) for a, b in rows], float)
    by[by >= 7] = INF
    after[(after == 0) & np.isinf(by)] = 1.0
    return after, by


def looked_at(life: np.ndarray, looks: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """The intervals in which looks find lives to have ended; a coupon is left alone once it is unacceptable."""
    after, by = np.zeros(life.size), np.full(life.size, INF)
    for i, (end, days) in enumerate(zip(life, looks, strict=True)):
        after[i] = max(days[days < end], default=0.0)
        by[i] = min(days[days >= end], default=INF)
    return after, by


def missed(design: str, *, studies: int, coupons: int, seed: int) -> tuple[float, float]:
    """How often some lower, and some upper, limit lies on the wrong side of the truth; over all dwells at once."""
    rng = np.random.default_rng(seed)
    low = high = 0
    for _ in range(studies):
        life = 700 * rng.weibull(2, coupons)
        if design == "one day":
            looks = [np.array([400.0])] * coupons
        elif design == "monthly until its pull":
            pulls = rng.permutation(np.resize([91.0, 182, 365, 730, 1095], coupons))
            looks = [np.append(np.arange(30.0, pull, 30), pull) for pull in pulls]
        else:
            looks = [np.sort(rng.integers(1, 1100, rng.integers(1, 5))).astype(float) for _ in range(coupons)]
        after, by = looked_at(life, looks)
        days, lower, upper = band(after, by)
        truth = np.exp(-((days / 700) ** 2))
        low += bool(np.any(lower > truth))
        high += bool(np.any(upper < truth))
    return low / studies, high / studies


@pytest.mark.parametrize("design", ["monthly until its pull", "any days"])
@pytest.mark.parametrize("coupons", [8, 40])
def test_every_limit_holds_at_once(design: str, coupons: int) -> None:
    """All limits of a side lie on their side of the truth, at every dwell together, in 95 studies of 100 or more."""
    low, high = missed(design, studies=1000, coupons=coupons, seed=5)
    assert low <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 1000)
    assert high <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 1000)


def test_one_look_day_loses_nothing() -> None:
    """Where all are looked at on one day, the band is that day's exact limits, and misses about as often as it may."""
    days, lower, upper = band(np.array([0.0, 100]), np.array([100.0, INF]), count=np.array([3, 17]))
    assert days.tolist() == [100.0]
    assert lower[0] == pytest.approx(1 - share_upper(unacceptable=3, read=20, confidence=0.95), abs=1e-12)
    assert upper[0] == pytest.approx(1 - share_lower(unacceptable=3, read=20, confidence=0.95), abs=1e-12)
    low, high = missed("one day", studies=4000, coupons=40, seed=6)
    assert 0.01 < low <= 0.06
    assert 0.01 < high <= 0.06


def test_counted_by_hand() -> None:
    """At 200 d two are known acceptable; two that ended later or earlier count against them; one pulled at 100 d no
    longer counts below, and counts as acceptable above."""
    after, by = np.array([300.0, 300, 100, 0, 100]), np.array([INF, INF, 200, 100, INF])
    days, lower, upper = band(after, by)
    at = days.tolist().index(200.0)
    # Two distinct days of a last acceptable look, two of a first unacceptable one: each limit at 97.5 %.
    assert lower[at] == pytest.approx(1 - share_upper(unacceptable=2, read=4, confidence=0.975), abs=1e-12)
    assert upper[at] == pytest.approx(1 - share_lower(unacceptable=2, read=5, confidence=0.975), abs=1e-12)


@given(ROWS, st.sampled_from([0.5, 2.0, 32.0]), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_order_unit_and_splitting_change_nothing(rows: list[tuple[int, int]], factor: float, shuffler: object) -> None:
    """Neither the order of rows, nor the unit of time, nor one row for two alike coupons moves a limit."""
    after, by = mixed(rows)
    days, lower, upper = band(after, by)
    order = list(range(after.size))
    shuffler.shuffle(order)  # type: ignore[attr-defined]
    pairs, count = np.unique(np.column_stack([after, by]), axis=0, return_counts=True)
    for other, scale in (
        (band(after[order], by[order]), 1.0),
        (band(pairs[:, 0], pairs[:, 1], count=count), 1.0),
        (band(after * factor, by * factor), factor),
    ):
        assert other[0] == pytest.approx(days * scale)
        assert other[1].tolist() == lower.tolist()
        assert other[2].tolist() == upper.tolist()


@given(ROWS)
@settings(max_examples=60, deadline=None)
def test_limits_never_rise_and_hold_the_curve(rows: list[tuple[int, int]]) -> None:
    """Both limits fall with dwell as the share does, the lower lies below the upper, and the curve between them."""
    after, by = mixed(rows)
    days, lower, upper = band(after, by)
    assert np.all(np.diff(lower) <= 1e-12)
    assert np.all(np.diff(upper) <= 1e-12)
    assert np.all(lower <= upper)
    curve = share_curve(after_days=after, by_days=by)
    if curve.band_method != "all limits together":
        return
    fallen = (np.array(curve.by_days)[None, :] <= days[:, None]) @ np.array(curve.mass)
    assert np.all(np.array(curve.band_lower) <= 1 - fallen + 1e-9)
    assert np.all(np.array(curve.band_upper) >= 1 - fallen - 1e-9)


@given(ROWS, st.data())
@settings(max_examples=60, deadline=None)
def test_one_more_unacceptable_coupon_never_lifts_the_lower_limit(
    rows: list[tuple[int, int]], data: st.DataObject
) -> None:
    """A coupon found unacceptable at a further look lowers the lower limit or leaves it, at every dwell."""
    after, by = mixed(rows)
    still = [i for i, end in enumerate(by) if math.isinf(end)]
    if not still:
        return
    changed = by.copy()
    place = data.draw(st.sampled_from(still))
    changed[place] = after[place] + data.draw(st.integers(1, 4))
    days, lower, _ = band(after, by)
    now_days, now_lower, _ = band(after, changed)
    # A lower limit holds back to the day before it.
    reached = np.searchsorted(now_days, days, side="left")
    assert np.all(now_lower[reached] <= lower + 1e-12)


@given(ROWS)
@settings(max_examples=30, deadline=None)
def test_more_confidence_never_narrows(rows: list[tuple[int, int]]) -> None:
    """Whoever wants to be surer gets a wider band."""
    _, lower, upper = band(*mixed(rows))
    _, surer_lower, surer_upper = band(*mixed(rows), confidence=0.99)
    assert np.all(surer_lower <= lower)
    assert np.all(surer_upper >= upper)


def test_of_very_many_days_some_are_looked_at() -> None:
    """Where hundreds of days end an interval, limits stand at the first, the last and some between; they hold together
    as so many limits, still fall, and still hold the curve."""
    rng = np.random.default_rng(6)
    after = np.arange(1.0, 601.0)
    by = np.where(rng.random(600) < 0.5, after + 0.5, INF)
    days, lower, upper = band(after, by)
    assert days.size == MOST_DAYS
    assert (days[0], days[-1]) == (after[0], np.max(by[np.isfinite(by)], initial=after[-1]))
    at = MOST_DAYS // 2
    good, bad = np.sum(after >= days[at]), np.sum(np.isfinite(by) & (after < days[at]))
    level = 1 - 0.05 / MOST_DAYS
    assert lower[at] == pytest.approx(
        1 - share_upper(unacceptable=int(bad), read=int(good + bad), confidence=level), abs=1e-12
    )
    assert np.all(np.diff(lower) <= 1e-12)
    assert np.all(np.diff(upper) <= 1e-12)
    curve = share_curve(after_days=after, by_days=by)
    fallen = (np.array(curve.by_days)[None, :] <= days[:, None]) @ np.array(curve.mass)
    assert np.all(np.array(curve.band_lower) <= 1 - fallen + 1e-9)
    assert np.all(np.array(curve.band_upper) >= 1 - fallen - 1e-9)
