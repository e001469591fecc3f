"""Exact limits, zero-failure numbers and tolerance factors."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.analysis.tolerance import (
    reading_factor,
    share_lower,
    share_upper,
    zero_failure_coupons,
    zero_failure_days,
)
from study.errors import NotPossible


def mean_factor(*, n: int, share: float, confidence: float) -> float:
    """The factor for the plain mean of n alike readings."""
    return float(reading_factor(leverage=1 / n, freedom=n - 1, share=share, confidence=confidence))


@pytest.mark.published("tolerance.toml", "zero failures")
def test_zero_failure_numbers(row: dict[str, Any]) -> None:
    """So many coupons must all be acceptable before a share of acceptable ones is shown."""
    assert zero_failure_coupons(**row["inputs"]) == row["expected"]["coupons"]


@pytest.mark.published("tolerance.toml", "share upper")
def test_upper_limits(row: dict[str, Any]) -> None:
    """Few coupons leave room for many bad ones."""
    assert share_upper(**row["inputs"]) == pytest.approx(row["expected"]["upper"], abs=row["tolerance"])


@pytest.mark.published("tolerance.toml", "share lower")
def test_lower_limits(row: dict[str, Any]) -> None:
    """A few bad coupons show that some share is bad."""
    assert share_lower(**row["inputs"]) == pytest.approx(row["expected"]["lower"], abs=row["tolerance"])


@pytest.mark.published("tolerance.toml", "tolerance factor")
def test_tolerance_factors(row: dict[str, Any]) -> None:
    """The fewer the readings, the further from their mean must a bound stand."""
    assert mean_factor(**row["inputs"]) == pytest.approx(row["expected"]["k"], abs=row["tolerance"])


@pytest.mark.parametrize("n", [2, 3, 7, 40, 400])
@pytest.mark.parametrize("share", [0.6, 0.9, 0.99])
@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.99])
def test_factors_agree_with_another_program(n: int, share: float, confidence: float) -> None:
    """The factor is a quantile of the non-central t, whoever works it out."""
    from scipy.stats import nct, norm

    expected = nct.ppf(confidence, n - 1, norm.ppf(share) * np.sqrt(n)) / np.sqrt(n)
    assert mean_factor(n=n, share=share, confidence=confidence) == pytest.approx(float(expected), rel=1e-8)


@pytest.mark.published("tolerance.toml", "zero failure days")
def test_days_without_a_failure(row: dict[str, Any]) -> None:
    """Coupons that were all acceptable show some duration if the risk does not fall with dwell."""
    asked = dict(row["inputs"])
    looks = np.repeat(asked.pop("pull_days"), asked.pop("each"))
    days, shape = zero_failure_days(last_acceptable_days=looks, **{**asked, "shape": tuple(asked["shape"])})
    assert days == pytest.approx(row["expected"]["days"], abs=row["tolerance"])
    assert shape == pytest.approx(row["expected"].get("shape", shape))


@given(st.integers(1, 60), st.data(), st.floats(0.5, 0.98))
def test_one_more_bad_coupon_never_looks_better(read: int, data: st.DataObject, confidence: float) -> None:
    """One more unacceptable coupon never lowers a limit of the unacceptable share."""
    bad = data.draw(st.integers(0, read - 1))
    for limit in (share_upper, share_lower):
        fewer = limit(unacceptable=bad, read=read, confidence=confidence)
        assert limit(unacceptable=bad + 1, read=read, confidence=confidence) >= fewer
        surer = limit(unacceptable=bad, read=read, confidence=confidence + 0.01)
        assert surer >= fewer if limit is share_upper else surer <= fewer


@pytest.mark.parametrize(("bad", "read"), [(0, 0), (3, 2), (-1, 5)])
def test_counts_that_cannot_be(bad: int, read: int) -> None:
    """More unacceptable coupons than coupons is a slip, not a share."""
    with pytest.raises(NotPossible, match="not a count of coupons"):
        share_upper(unacceptable=bad, read=read, confidence=0.95)
