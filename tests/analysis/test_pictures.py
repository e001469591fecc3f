"""Readings known only as bounds, and lots that may share a mean line."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from study.analysis.censored_line import censored_line, censored_picture
from study.analysis.pooling import lot_pooling

G = np.repeat([3.0, 8.0, 14.0, 20.0, 26.0], 4)


def invented(seed: int) -> np.ndarray:
    """Invented log forces on a line."""
    return np.asarray(1 + 0.05 * G + np.random.default_rng(seed).normal(0, 0.2, G.size))


def likelihood(line: tuple[float, float, float], lower: np.ndarray, upper: np.ndarray) -> float:
    """Log-likelihood written out reading by reading."""
    intercept, slope, sd = line
    total = 0.0
    for g, low, high in zip(G, lower, upper, strict=True):
        centre = intercept + slope * g
        total += (
            norm.logpdf(low, centre, sd)
            if low == high
            else np.log(norm.cdf(high, centre, sd) - norm.cdf(low, centre, sd))
        )
    return float(total)


def test_exact_readings_give_the_ordinary_line() -> None:
    """Without a bound among them, readings give the line of least squares."""
    y = invented(1)
    line = censored_line(g=G, lower=y, upper=y)
    slope, intercept = np.polyfit(G, y, 1)
    assert line is not None
    assert (line.intercept, line.slope) == pytest.approx((intercept, slope), abs=1e-7)
    assert line.sd == pytest.approx(np.sqrt(np.mean((y - intercept - slope * G) ** 2)), abs=1e-7)


@given(st.integers(0, 200))
@settings(max_examples=25, deadline=None)
def test_no_neighbouring_line_is_likelier(seed: int) -> None:
    """Bounds above, below and on both sides are used as they are: no line nearby makes them likelier."""
    y = invented(seed)
    lower, upper = y.copy(), y.copy()
    upper[y > 2.1] = np.inf
    lower[y > 2.1] = 2.1
    lower[y < 1.15], upper[y < 1.15] = -np.inf, 1.15
    lower[5], upper[5] = np.floor(y[5] * 4) / 4, np.floor(y[5] * 4) / 4 + 0.25
    line = censored_line(g=G, lower=lower, upper=upper)
    assert line is not None
    at = np.array([line.intercept, line.slope, line.sd])
    best = likelihood(tuple(at), lower, upper)
    assert line.log_likelihood == pytest.approx(best, abs=1e-7)
    for step in np.vstack([np.eye(3), -np.eye(3)]) * [0.01, 0.0005, 0.005]:
        assert likelihood(tuple(at + step), lower, upper) <= best + 1e-9


def test_a_bound_far_away_says_nothing() -> None:
    """To know that a force is above next to nothing is to know nothing."""
    y = invented(3)
    plain = censored_line(g=G, lower=y, upper=y)
    more = censored_line(g=np.append(G, 10.0), lower=np.append(y, -1e3), upper=np.append(y, np.inf))
    assert plain is not None
    assert more is not None
    assert (more.intercept, more.slope, more.sd) == pytest.approx((plain.intercept, plain.slope, plain.sd), abs=1e-6)


def test_picture_says_how_many_are_bounds() -> None:
    """The picture carries its counts, its line in the unit of the reading, and no bound."""
    y = np.exp(invented(4))
    picture = censored_picture(
        dwell_days=G**2, lower=y, upper=np.where(y > 8, np.inf, y), value_scale="log", time_scale="sqrt",
        horizon_days=676.0,
    )  # fmt: skip
    assert (picture.n, picture.censored) == (20, int((y > 8).sum()))
    assert picture.slope == pytest.approx(0.05, abs=0.02)
    assert picture.draw_days[-1] == pytest.approx(676)
    assert picture.draw_mean[0] == pytest.approx(np.exp(picture.intercept or 0))


@pytest.mark.parametrize(
    ("lower", "upper", "why"),
    [
        ([0.0] * 20, [1.0] * 20, "too few exact readings"),
        ([0.0] * 20, [0.0] * 20, "no logarithm"),
        ([-np.inf] * 20, [np.inf] * 20, "too few exact readings"),
        ([3.0] * 20, [3.0] * 20, "too few exact readings"),
    ],
)
def test_readings_that_draw_no_line(lower: list[float], upper: list[float], why: str) -> None:
    """Bounds alone, or readings without scatter, draw no line."""
    picture = censored_picture(
        dwell_days=G**2, lower=np.array(lower), upper=np.array(upper), value_scale="log", time_scale="sqrt",
        horizon_days=676.0,
    )  # fmt: skip
    assert why in (picture.refused or "")
    assert picture.slope is None


def pooled(values: np.ndarray, lot: np.ndarray, **asked: Any) -> Any:
    """Lots under one limit from above, as read, on dwell itself."""
    rule = {
        "limit": 12.0, "unacceptable": "above", "value_scale": "as read", "time_scale": "linear", "confidence": 0.95,
        "horizon_days": 20.0,
    }  # fmt: skip
    return lot_pooling(dwell_days=np.tile([0.0, 2.0, 4.0, 6.0], 2), values=values, lot=lot, **{**rule, **asked})


LOTS = np.repeat(["A", "B"], 4)


@pytest.mark.published("pooling.toml", "pooling")
def test_pooling_worked_by_hand(row: dict[str, Any]) -> None:
    """Two lots read at four dwells each: F of the slopes, then of the intercepts, on paper."""
    found = pooled(np.array(row["inputs"]["values"]), LOTS)
    expected = row["expected"]
    assert found.pooled == expected["pooled"]
    assert found.p_slopes == pytest.approx(expected["p_slopes"], abs=row["tolerance"])
    if "p_intercepts" in expected:
        assert found.p_intercepts == pytest.approx(expected["p_intercepts"], abs=row["tolerance"])
    else:
        assert found.p_intercepts is None
    assert found.mean_limit_days is not None


def test_one_line_is_the_line_of_all() -> None:
    """Lots that differ in nothing reach the limit where one line through all of them does."""
    from study.analysis.decline import first_crossing, pulled_readings, upper_mean, weighted_line

    days = np.tile([0.0, 2.0, 4.0, 6.0], 2)
    values = np.array([5.0, 6.2, 6.9, 8.1, 5.1, 6.0, 7.0, 8.0])
    found = pooled(values, LOTS)
    assert found.pooled == "one line"
    line = weighted_line(pulled_readings(g=np.unique(days), pull=np.tile(np.arange(4), 2), y=values), day_share=0.0)
    crossing, _ = first_crossing(lambda g: upper_mean(line, g, confidence=0.95), limit=12.0, first=0.0, cap=20.0)
    assert found.mean_limit_days == pytest.approx(crossing, rel=1e-9)


@given(st.integers(0, 300), st.permutations(range(8)))
@settings(max_examples=30, deadline=None)
def test_lots_have_no_order(seed: int, order: list[int]) -> None:
    """Renaming lots, or writing readings in another order, changes nothing."""
    rng = np.random.default_rng(seed)
    days = np.tile([0.0, 2.0, 4.0, 6.0], 2)
    values = 5 + 0.5 * days + (LOTS == "B") * rng.normal(0, 1) + rng.normal(0, 0.3, 8)
    asked: dict[str, Any] = {
        "limit": 12.0, "unacceptable": "above", "value_scale": "as read", "time_scale": "linear", "confidence": 0.95,
        "horizon_days": 20.0,
    }  # fmt: skip
    plain = lot_pooling(dwell_days=days, values=values, lot=LOTS, **asked)
    other = lot_pooling(
        dwell_days=days[order], values=values[order], lot=np.where(LOTS == "A", "Z", "B")[order], **asked
    )
    assert plain is not None
    assert other is not None
    assert other.p_slopes == pytest.approx(plain.p_slopes, rel=1e-6)
    assert other.pooled == plain.pooled
    assert (other.mean_limit_days or 99) == pytest.approx(plain.mean_limit_days or 99, rel=1e-6)


@pytest.mark.parametrize("lot", [np.repeat(["A"], 8), np.array(["A"] * 7 + ["B"])])
def test_lots_that_cannot_be_compared(lot: np.ndarray) -> None:
    """A single lot, or one read at a single dwell, has nothing to be compared."""
    assert pooled(np.array([5.0, 6.2, 6.9, 8.1, 5.1, 6.0, 7.0, 8.0]), lot) is None
