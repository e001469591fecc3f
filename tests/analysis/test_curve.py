"""Acceptable share with no shape assumed."""

from __future__ import annotations

import math
import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis.curve import share_curve
from study.analysis.tolerance import share_lower, share_upper
from study.errors import NotPossible
from study.model.estimate import ShareCurve

INF = math.inf
LOOKS = st.lists(st.tuples(st.integers(1, 8), st.booleans()), min_size=2, max_size=40)


def acceptable_at(curve: ShareCurve, *, dwell_days: np.ndarray) -> np.ndarray:
    """Acceptable share at given dwells, all mass of an interval counted at its end."""
    fallen = (np.array(curve.by_days)[None, :] <= dwell_days[:, None]) @ np.array(curve.mass)
    return np.asarray(1 - fallen)


@st.composite
def intervals(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """Invented rows: (after, by] with ends on a few days, some open."""
    rows = draw(st.lists(st.tuples(st.integers(0, 6), st.integers(1, 7)), min_size=2, max_size=30))
    after = np.array([min(a, b) for a, b in rows], float)
    by = np.array([max(a, b) + (a == b) for a, b in rows], float)
    by[by >= 7] = INF
    after[(after == 0) & np.isinf(by)] = 1.0
    return after, by


def mice(group: str) -> tuple[np.ndarray, np.ndarray]:
    """The open data set: one look at each mouse."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines.datasets import load_mice

        rows = load_mice()
    rows = rows[rows["grp"] == group]
    return rows["l"].to_numpy(float), rows["u"].to_numpy(float)


def second_opinion(after: np.ndarray, by: np.ndarray, days: list[float], *, shift: float) -> np.ndarray:
    """The same curve by another program, whose intervals are closed on the left too."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines import KaplanMeierFitter

        left = np.where(after > 0, after + shift, 0.0)
        fitted = KaplanMeierFitter().fit_interval_censoring(left, by, tol=1e-10, show_progress=False)
        table = fitted.survival_function_
    upper = table.iloc[:, -1]
    return np.array([float(upper[upper.index <= day + shift / 2].iloc[-1]) for day in days])


@pytest.mark.published("curve.toml", "curve")
def test_hand_cases(row: dict[str, Any]) -> None:
    """What a handful of coupons shows can be worked out on paper."""
    asked = {k: np.array(v) for k, v in row["inputs"].items()}
    curve = share_curve(after_days=asked["after"], by_days=asked["by"], count=asked["count"])
    found = acceptable_at(curve, dwell_days=np.array(row["expected"]["days"]))
    assert found == pytest.approx(row["expected"]["acceptable"], abs=row["tolerance"])
    assert sum(curve.mass) == pytest.approx(1, abs=1e-12)


@pytest.mark.published("curve.toml", "mice curve")
def test_open_data(row: dict[str, Any]) -> None:
    """One look at each of many mice places the jumps of the share on known days."""
    after, by = mice(row["inputs"]["group"])
    curve = share_curve(after_days=after, by_days=by)
    jumps = [day for day in curve.by_days if math.isfinite(day)]
    assert jumps == row["expected"]["jump_days"]
    found = 1 - np.array(curve.acceptable)[: len(jumps)]
    assert found == pytest.approx(row["expected"]["unacceptable"], abs=row["tolerance"])


@pytest.mark.published("curve.toml", "interval data")
def test_published_interval_data(row: dict[str, Any]) -> None:
    """Patients looked at from time to time place the likeliest curve's steps in known intervals."""
    curve = share_curve(
        after_days=np.array(row["inputs"]["after"], float), by_days=np.array(row["inputs"]["by"], float)
    )
    expected = row["expected"]
    assert list(curve.after_days) == expected["left"]
    assert list(curve.by_days) == expected["right"]
    assert curve.mass == pytest.approx(expected["mass"], abs=row["tolerance"])


def test_third_opinion_on_mixed_intervals() -> None:
    """A third program finds the same likeliest shares where intervals overlap."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import surpyval

        rows = [(1.0, 4.0), (2.0, 6.0), (0.5, 3.0), (5.0, 9.0), (3.0, 7.0), (8.0, 12.0), (6.0, 10.0), (2.5, 5.0)]
        after, by = np.array(rows).T
        other = surpyval.Turnbull.fit(xl=after, xr=by, turnbull_estimator="Kaplan-Meier")
        found = np.asarray(other.sf(np.array([4.0, 7.5, 11.0])), float)
    curve = share_curve(after_days=after, by_days=by)
    assert acceptable_at(curve, dwell_days=np.array([4.0, 7.5, 11.0])) == pytest.approx(found, abs=2e-3)


def test_another_program_reads_ends_as_closed() -> None:
    """A coupon seen acceptable at a pull did not become unacceptable at that very look."""
    after, by = np.repeat([100.0, 0, 200, 0], [9, 1, 5, 5]), np.repeat([INF, 100.0, INF, 200], [9, 1, 5, 5])
    assert second_opinion(after, by, [100, 200], shift=0.0) == pytest.approx([1.0, 0.8333], abs=1e-3)
    assert second_opinion(after, by, [100, 200], shift=1e-6) == pytest.approx([0.9, 0.5], abs=1e-4)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_mixed_intervals_agree_with_another_program(seed: int) -> None:
    """Two programs that look for the likeliest curve find one as likely."""
    rng = np.random.default_rng(seed)
    life = rng.weibull(2, 60) * 9
    looks = np.sort(rng.integers(1, 16, (60, 2)), axis=1).astype(float)
    looks[:, 1] += looks[:, 0] == looks[:, 1]
    after = np.where(life > looks[:, 1], looks[:, 1], np.where(life > looks[:, 0], looks[:, 0], 0))
    by = np.where(life <= looks[:, 0], looks[:, 0], np.where(life <= looks[:, 1], looks[:, 1], INF))
    curve = share_curve(after_days=after, by_days=by)
    days = [day for day in curve.by_days if math.isfinite(day)]
    assert curve.certificate <= 1e-8
    assert second_opinion(after, by, days, shift=1e-6) == pytest.approx(
        acceptable_at(curve, dwell_days=np.array(days)), abs=5e-3
    )


@given(intervals())
@settings(max_examples=60, deadline=None)
def test_the_likeliest_curve_beats_its_neighbours(rows: tuple[np.ndarray, np.ndarray]) -> None:
    """No shift of a little share from one stretch of time to another makes the coupons seen more likely."""
    after, by = rows
    curve = share_curve(after_days=after, by_days=by)
    left, right, mass = (np.array(v) for v in (curve.after_days, curve.by_days, curve.mass))
    inside = (left[None, :] >= after[:, None] - 1e-9) & (
        (right[None, :] <= by[:, None]) | (np.isinf(right)[None, :] & np.isinf(by)[:, None])
    )
    reached = inside @ mass
    slope = (inside / reached[:, None]).sum(axis=0)
    assert np.all(slope <= after.size * (1 + 1e-6))
    assert slope @ mass == pytest.approx(after.size, rel=1e-6)


@given(intervals(), st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_rows_have_no_order(rows: tuple[np.ndarray, np.ndarray], shuffler: Any) -> None:
    """It does not matter in which order coupons are written down, nor whether two alike share a row."""
    after, by = rows
    order = list(range(after.size))
    shuffler.shuffle(order)
    plain, shuffled = (
        share_curve(after_days=after, by_days=by),
        share_curve(after_days=after[order], by_days=by[order]),
    )
    assert plain == shuffled
    pairs, count = np.unique(np.column_stack([after, by]), axis=0, return_counts=True)
    assert share_curve(after_days=pairs[:, 0], by_days=pairs[:, 1], count=count) == plain


@given(intervals(), st.sampled_from([0.5, 2.0, 32.0]))
@settings(max_examples=40, deadline=None)
def test_weeks_or_days(rows: tuple[np.ndarray, np.ndarray], factor: float) -> None:
    """Dwell counted in another unit moves the steps along and leaves their heights."""
    after, by = rows
    plain = share_curve(after_days=after, by_days=by)
    scaled = share_curve(after_days=after * factor, by_days=by * factor)
    assert scaled.mass == pytest.approx(plain.mass, abs=1e-12)
    assert scaled.by_days == tuple(day * factor for day in plain.by_days)


@given(LOOKS)
@settings(max_examples=80, deadline=None)
def test_acceptable_share_never_rises(looks: list[tuple[int, bool]]) -> None:
    """A coupon that became unacceptable does not become acceptable again."""
    days, bad = np.array([d for d, _ in looks], float), np.array([b for _, b in looks])
    after, by = np.where(bad, 0, days), np.where(bad, days, INF)
    curve = share_curve(after_days=after, by_days=by)
    assert all(b <= a + 1e-12 for a, b in zip((1.0, *curve.acceptable), curve.acceptable, strict=False))
    assert all(low <= high for low, high in zip(curve.band_lower, curve.band_upper, strict=True))


@given(LOOKS, st.data())
@settings(max_examples=80, deadline=None)
def test_one_more_bad_coupon_never_lifts_the_curve(looks: list[tuple[int, bool]], data: st.DataObject) -> None:
    """Where one coupon more was unacceptable, the curve and its lower limit stand no higher anywhere."""
    good = [i for i, (_, bad) in enumerate(looks) if not bad]
    if not good:
        return
    changed = data.draw(st.sampled_from(good))
    days = np.array([d for d, _ in looks], float)
    grid = np.unique(days)
    curves = []
    for flip in (False, True):
        bad = np.array([b or (flip and i == changed) for i, (_, b) in enumerate(looks)])
        curves.append(share_curve(after_days=np.where(bad, 0, days), by_days=np.where(bad, days, INF)))
    before, after = (acceptable_at(curve, dwell_days=grid) for curve in curves)
    assert np.all(after <= before + 1e-12)
    assert np.all(np.array(curves[1].band_lower) <= np.array(curves[0].band_lower) + 1e-12)


def test_band_of_one_pull_is_its_exact_limit() -> None:
    """Where the nearest coupons all belong to one pull, the band is that pull's exact limit."""
    curve = share_curve(
        after_days=np.array([100.0, 0, 200, 0]), by_days=np.array([INF, 100.0, INF, 200]), count=np.array([9, 1, 5, 5])
    )
    lower = [share_lower(unacceptable=good, read=10, confidence=0.95) for good in (9, 5)]
    assert curve.band_lower == pytest.approx(lower, abs=1e-12)


def test_band_holds_the_curve_where_shares_fall() -> None:
    """Bad coupons early and good ones late contradict each other, and the band still stands around the curve."""
    after, by = np.array([0.0, 2.0, 3.0]), np.array([1.0, INF, INF])
    curve = share_curve(after_days=after, by_days=by, count=np.array([5, 1, 5]))
    assert curve.acceptable[0] == pytest.approx(6 / 11)
    assert curve.band_lower[1] == pytest.approx(6 / 11)
    assert curve.band_upper[1] == pytest.approx(share_upper(unacceptable=1, read=6, confidence=0.95))


@pytest.mark.parametrize("mixed", [False, True])
def test_large_tables_converge(mixed: bool) -> None:
    """A table of very many coupons is answered to the last digit of its certificate; how fast: benchmarks/speed.py."""
    rng = np.random.default_rng(11)
    n = 20_000 if mixed else 300_000
    days = rng.integers(1, 2000, (n, 2)).astype(float)
    life = 1500 * rng.weibull(2, n)
    first, last = days.min(axis=1), days.max(axis=1) + 1
    if mixed:
        after = np.where(life > last, last, np.where(life > first, first, 0))
        by = np.where(life > last, INF, np.where(life > first, last, first))
    else:
        after, by = np.where(life > first, first, 0), np.where(life > first, INF, first)
    curve = share_curve(after_days=after, by_days=by)
    assert curve.certificate <= 1e-8
    assert acceptable_at(curve, dwell_days=np.array([1000.0]))[0] == pytest.approx(
        np.exp(-((1000 / 1500) ** 2)), abs=0.06
    )


def test_band_covers_in_small_studies() -> None:
    """The lower limit stands above the true share in no more than one study in twenty."""
    rng = np.random.default_rng(20)
    days = np.repeat([91.0, 182, 365, 730, 1095], 5)
    pulls = np.unique(days)
    truth = np.exp(-((pulls / 900) ** 2))
    missed = np.zeros((2, 5))
    for _ in range(1000):
        bad = rng.random(25) > np.exp(-((days / 900) ** 2))
        curve = share_curve(after_days=np.where(bad, 0, days), by_days=np.where(bad, days, INF))
        missed += [np.array(curve.band_lower) > truth, np.array(curve.band_upper) < truth]
    assert np.all(missed / 1000 <= 0.05 + 0.02)


@pytest.mark.parametrize(
    ("after", "by", "count", "what"),
    [
        ([-1.0], [5.0], [1], "negative"),
        ([5.0], [5.0], [1], "reversed"),
        ([7.0], [5.0], [1], "reversed"),
        ([math.nan], [5.0], [1], "negative"),
        ([0.0], [INF], [1], "No coupon tells"),
        ([0.0], [5.0], [0], "no coupon"),
        ([], [], [], "No coupon tells"),
    ],
)
def test_intervals_that_cannot_be(after: list[float], by: list[float], count: list[int], what: str) -> None:
    """An interval that ends before it begins is a slip, and silence is no evidence."""
    with pytest.raises(NotPossible, match=what):
        share_curve(after_days=np.array(after), by_days=np.array(by), count=np.array(count))
