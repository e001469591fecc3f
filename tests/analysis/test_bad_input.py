"""What cannot be is refused in words, and what is odd but possible gets a right answer; nothing fails silently."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from study.analysis.calibration import pass_fail_bound
from study.analysis.curve import share_curve
from study.analysis.decline import decline_fit
from study.analysis.lifetime import FAMILIES, lifetime_fit
from study.errors import NotPossible
from study.model.estimate import DeclineFit

INF, NAN = math.inf, math.nan


@pytest.mark.parametrize(
    ("after", "by", "count"),
    [
        ([NAN, 5.0], [7.0, INF], [1, 1]),
        ([-1.0, 5.0], [7.0, INF], [1, 1]),
        ([9.0, 5.0], [7.0, INF], [1, 1]),
        ([INF], [INF], [1]),
        ([0.0, 5.0], [7.0, INF], [0, 1]),
        ([0.0, 5.0], [7.0, INF], [-1, 2]),
        ([0.0, 5.0], [7.0, INF], [NAN, 2]),
        ([0.0, 5.0], [7.0], [1, 1]),
    ],
)
def test_rows_that_cannot_be(after: list[float], by: list[float], count: list[float]) -> None:
    """An interval that ends before it begins, or stands for no coupon, is refused by curve and lifetimes alike."""
    rows = {"after_days": np.array(after), "by_days": np.array(by), "count": np.array(count, float)}
    with pytest.raises(NotPossible):
        share_curve(**rows)
    for family in FAMILIES:
        with pytest.raises(NotPossible):
            lifetime_fit(family=family, **rows)


@pytest.mark.parametrize(("after", "by"), [(0.0, 7.0), (7.0, INF), (3.0, 7.0)])
def test_one_row_is_little_but_something(after: float, by: float) -> None:
    """A single coupon draws a curve of one step, and no shape."""
    rows = {"after_days": np.array([after]), "by_days": np.array([by])}
    assert share_curve(**rows).mass == (1.0,)
    assert all(lifetime_fit(family=family, **rows).refused for family in FAMILIES)


def test_a_million_rows() -> None:
    """A million coupons are counted together, not one by one."""
    days = np.random.default_rng(1).integers(1, 2000, 1_000_000).astype(float)
    bad = np.random.default_rng(2).random(1_000_000) > np.exp(-((days / 1500) ** 2))
    rows = {"after_days": np.where(bad, 0, days), "by_days": np.where(bad, days, INF)}
    assert sum(share_curve(**rows).mass) == pytest.approx(1)
    fit = lifetime_fit(family="weibull", **rows)
    assert fit.shape == pytest.approx(2, abs=0.02)
    assert fit.scale_days == pytest.approx(1500, rel=0.01)


@pytest.mark.parametrize(
    ("days", "read", "unacceptable"),
    [
        ([NAN, 5, 7], [3, 3, 3], [0, 0, 1]),
        ([-5, 5, 7], [3, 3, 3], [0, 0, 1]),
        ([0, 5, 7], [3, 3, 3], [0, 0, 1]),
        ([5, 5, 7], [3, 3, 3], [0, 0, 1]),
        ([3, 5, 7], [0, 3, 3], [0, 0, 1]),
        ([3, 5, 7], [3, 3, 3], [0, 0, 4]),
        ([3, 5, 7], [3, 3, 3], [0, -1, 1]),
        ([3, 5, 7], [3, 3], [0, 1]),
    ],
)
def test_pulls_that_cannot_be(days: list[float], read: list[int], unacceptable: list[int]) -> None:
    """More unacceptable than read, or a dwell given twice, is a slip."""
    with pytest.raises(NotPossible):
        pass_fail_bound(
            pull_days=np.array(days, float), read=np.array(read), unacceptable=np.array(unacceptable),
            day_share=1 / 3, shape=(1.0, 12.0), permitted_share=0.1, confidence=0.95, seed=1,
        )  # fmt: skip


def declined(
    values: list[float], days: tuple[float, ...] = (90, 180, 365), limit: float = 6.0, **asked: Any
) -> DeclineFit:
    """Two readings at each of three pulls."""
    rule = {"unacceptable": "above", "value_scale": "log", "time_scale": "sqrt", "horizon_days": 365.0, **asked}
    return decline_fit(
        pull_days=np.array(days, float), pull=np.repeat([0, 1, 2], 2), values=np.array(values), limit=limit,
        permitted_share=0.1, confidence=0.95, **rule,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"values": [3, NAN, 3.1, 3.3, 4, 4.1]}, "not a number"),
        ({"values": [3, INF, 3.1, 3.3, 4, 4.1]}, "not a number"),
        ({"values": [3, -1.0, 3.1, 3.3, 4, 4.1]}, "no logarithm"),
        ({"values": [3, 3, 3.1, 3.1, 4, 4.0]}, "all equal"),
        ({"values": [3, 3.2, 3.1, 3.3, 4, 4.1], "limit": 0.0}, "limit of 0"),
        ({"values": [3, 3.2, 3.1, 3.3, 4, 4.1], "limit": NAN}, "limit of nan"),
        ({"values": [3, 3.2, 3.1, 3.3, 4, 4.1], "days": (-90, 180, 365)}, "missing or negative"),
        ({"values": [3, 3.2, 3.1, 3.3, 4, 4.1], "days": (NAN, 180, 365)}, "missing or negative"),
    ],
)
def test_readings_that_carry_no_line(asked: dict[str, Any], why: str) -> None:
    """Readings without scatter, number or logarithm give a reason and no bound."""
    fit = declined(**asked)
    assert why in (fit.why or "")
    assert fit.intercept is None
    assert fit.lower_days is None


def test_limit_on_the_wrong_side_of_every_reading() -> None:
    """Where every reading lies beyond the limit no duration is shown; where all lie far within, it is not reached."""
    assert declined([9, 9.2, 9.1, 9.3, 9.6, 9.5]).lower_days == 0
    assert declined([1, 1.2, 1.1, 1.3, 1.6, 1.5], unacceptable="below").lower_days == 0
    assert declined([1, 1.2, 1.1, 1.3, 1.6, 1.5], limit=600.0).not_reached
