"""Shapes fitted to intervals, and the cases in which a fit would mislead."""

from __future__ import annotations

import math
import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from study.analysis.lifetime import FAMILIES, falling_share, hard_case, lifetime_fit
from study.analysis.likelihood import Intervals, fitted_lines, standard_quantile, standard_share

INF = math.inf
PULLS = np.array([91.0, 182, 365, 730, 1095])


def looks(unacceptable: list[int], read: int = 5) -> dict[str, np.ndarray]:
    """Counts at the five pulls as intervals."""
    bad = np.array(unacceptable)
    return {
        "after_days": np.concatenate([PULLS, 0 * PULLS]),
        "by_days": np.concatenate([np.full(5, INF), PULLS]),
        "count": np.concatenate([read - bad, bad]).astype(float),
    }


def told(rows: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The rows that stand for a coupon."""
    kept = rows["count"] > 0
    return {name: values[kept] for name, values in rows.items()}


def mice(group: str) -> tuple[np.ndarray, np.ndarray]:
    """The open data set: one look at each mouse."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines.datasets import load_mice

        rows = load_mice()
    rows = rows[rows["grp"] == group]
    return rows["l"].to_numpy(float), rows["u"].to_numpy(float)


@pytest.mark.published("curve.toml", "mice weibull")
def test_weibull_of_the_open_data(row: dict[str, Any]) -> None:
    """The likeliest Weibull of known data is known."""
    after, by = mice(row["inputs"]["group"])
    fit = lifetime_fit(family="weibull", after_days=after, by_days=by)
    assert fit.log_likelihood == pytest.approx(row["expected"]["log_likelihood"], abs=row["tolerance"])
    assert math.log(fit.scale_days or 0) == pytest.approx(row["expected"]["log_scale"], abs=row["tolerance"])
    assert fit.shape == pytest.approx(row["expected"]["shape"], abs=row["tolerance"])


@pytest.mark.parametrize("group", ["ce", "ge"])
@pytest.mark.parametrize("family", FAMILIES)
def test_likelihoods_agree_with_another_program(group: str, family: str) -> None:
    """Two programs that fit one family to one set of intervals reach one log-likelihood."""
    after, by = mice(group)
    fit = lifetime_fit(family=family, after_days=after, by_days=by)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import lifelines

        names = {"weibull": "WeibullFitter", "lognormal": "LogNormalFitter", "loglogistic": "LogLogisticFitter"}
        other = getattr(lifelines, names[family])().fit_interval_censoring(after, by)
    assert fit.log_likelihood == pytest.approx(float(other.log_likelihood_), abs=1e-6)
    assert fit.log_likelihood >= float(other.log_likelihood_) - 1e-9


@pytest.mark.parametrize(("confidence", "fall"), [(0.95, 2.705543), (0.90, 1.642374), (0.80, 0.708326)])
@pytest.mark.parametrize("family", FAMILIES)
def test_profile_limit_is_where_the_likelihood_has_fallen(family: str, confidence: float, fall: float) -> None:
    """At the limit the best curve through it is less likely by the point of chi-square for the confidence asked."""
    from scipy.optimize import minimize_scalar

    rows = told(looks([0, 1, 2, 3, 4]))
    fit = lifetime_fit(family=family, **rows, confidence=confidence)
    assert fit.t_permitted_profile_lower_days is not None
    assert fit.t_permitted_days is not None
    start = standard_quantile(family, 0.1)

    def likelihood(log_slope: float, days: float) -> float:
        slope = math.exp(log_slope)
        day = np.where(np.isinf(rows["by_days"]), rows["after_days"], rows["by_days"])
        share = standard_share(family, start + slope * (np.log(day) - math.log(days)))[0]
        seen = np.where(np.isinf(rows["by_days"]), 1 - share, share)
        return float(-np.sum(rows["count"] * np.log(np.maximum(seen, 1e-200))))

    best = minimize_scalar(
        likelihood,
        bounds=(-5, 4),
        args=(fit.t_permitted_profile_lower_days,),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert 2 * (fit.log_likelihood + best.fun) == pytest.approx(fall, abs=1e-6)
    assert fit.t_permitted_profile_lower_days < fit.t_permitted_days


def test_profile_limit_far_from_the_estimate() -> None:
    """Few coupons and a steep fit: the limit lies far off, where the fitted slope gives no probability a digit."""
    rows = {"after_days": np.array([369.0, 0, 612, 626]), "by_days": np.array([INF, 612, INF, INF])}
    fit = lifetime_fit(family="weibull", **rows, count=np.array([3.0, 3, 1, 1]), permitted_share=0.05)
    assert (fit.shape, fit.t_permitted_days) == pytest.approx((7.95808, 430.2436), rel=1e-5)
    # By a plain search over 40 000 slopes at each time the log-likelihood has fallen by 1.352772 at 7.987953 d.
    assert fit.t_permitted_profile_lower_days == pytest.approx(7.987953, rel=1e-7)


def test_times_of_every_size() -> None:
    """Looks from a thousandth to a million of a unit are fitted as well as any."""
    days = np.geomspace(1e-3, 1e6, 12)
    bad = np.round(20 * -np.expm1(-np.log(2) * (days / 31.6) ** 0.3))
    rows = told({
        "after_days": np.concatenate([0 * days, days]), "by_days": np.concatenate([days, np.full(12, INF)]),
        "count": np.concatenate([bad, 20 - bad]),
    })  # fmt: skip
    fit = lifetime_fit(family="weibull", **rows)
    assert fit.shape == pytest.approx(0.3, abs=0.03)
    assert fit.t_permitted_profile_lower_days is not None
    assert fit.t_permitted_days is not None
    assert 0 < fit.t_permitted_profile_lower_days < fit.t_permitted_days


@pytest.mark.parametrize(
    ("unacceptable", "name"),
    [
        ([0, 0, 0, 0, 0], "none unacceptable in 25"),
        ([5, 5, 5, 5, 5], "all unacceptable at the first pull"),
        ([0, 0, 0, 5, 5], "clean separation"),
        ([0, 0, 2, 5, 5], "the whole change falls at one pull"),
        ([3, 2, 2, 1, 0], "does not rise"),
        ([2, 2, 2, 2, 2], "does not rise"),
    ],
)
def test_hard_cases_are_named_not_fitted(unacceptable: list[int], name: str) -> None:
    """Where coupons say nothing about a shape, no shape is drawn."""
    rows = told(looks(unacceptable))
    assert name in (hard_case(**rows) or "")
    for family in FAMILIES:
        fit = lifetime_fit(family=family, **rows)
        assert fit.refused == hard_case(**rows)
        assert fit.shape is None
        assert fit.t_permitted_days is None


def test_a_share_that_hardly_rises_is_not_fitted() -> None:
    """A slope of next to nothing puts the fitted time beyond all time."""
    fit = lifetime_fit(family="weibull", **told(looks([2, 1, 4, 1, 2])))
    assert fit.refused == "the unacceptable share hardly rises with dwell"


def test_a_dip_between_pulls_is_no_hard_case() -> None:
    """A pull that happens to look better than the one before is usual and is fitted."""
    rows = told(looks([0, 2, 1, 3, 4]))
    assert hard_case(**rows) is None
    assert lifetime_fit(family="weibull", **rows).refused is None


@given(st.lists(st.integers(0, 5), min_size=5, max_size=5))
@settings(max_examples=80, deadline=None)
def test_falling_share_is_the_sign_of_the_likeliest_slope(unacceptable: list[int]) -> None:
    """The share falls with dwell exactly if a fitted line would slope down."""
    from scipy.optimize import minimize

    bad = np.array(unacceptable, float)
    assume(0 < bad.sum() < 25)
    falls = falling_share(days=PULLS, read=np.full(5, 5.0), unacceptable=bad)
    x = np.log(PULLS / PULLS.mean())

    def loss(at: np.ndarray) -> float:
        share = np.clip(-np.expm1(-np.exp(np.clip(at[0] + at[1] * x, -30, 3))), 1e-12, 1 - 1e-12)
        return float(-np.sum(bad * np.log(share) + (5 - bad) * np.log(1 - share)))

    slope = minimize(loss, [-0.5, 0.0], method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10}).x[1]
    assume(abs(slope) > 1e-5)
    assert falls == (slope < 0)


@given(st.lists(st.integers(0, 5), min_size=5, max_size=5), st.sampled_from([0.25, 7.0, 30.0]))
@settings(max_examples=40, deadline=None)
def test_weeks_or_days(unacceptable: list[int], factor: float) -> None:
    """Dwell counted in another unit moves the fitted time along and leaves the shape."""
    rows = told(looks(unacceptable))
    assume(hard_case(**rows) is None)
    for family in FAMILIES:
        plain = lifetime_fit(family=family, **rows)
        scaled = lifetime_fit(
            family=family,
            after_days=rows["after_days"] * factor,
            by_days=rows["by_days"] * factor,
            count=rows["count"],
        )
        assert scaled.refused == plain.refused
        if plain.refused is not None:
            continue
        assert scaled.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-9)
        assert scaled.t_permitted_days == pytest.approx((plain.t_permitted_days or 0) * factor, rel=1e-6)


def test_many_studies_at_once_are_the_same_as_one_by_one() -> None:
    """A fit does not depend on which other studies are fitted beside it."""
    rng = np.random.default_rng(4)
    truth = 1 - np.exp(-((PULLS / 800) ** 2))
    studies = [bad for bad in rng.binomial(5, truth, (60, 5)).tolist() if hard_case(**told(looks(bad))) is None]
    rows = Intervals.counted(after_days=looks(studies[0])["after_days"], by_days=looks(studies[0])["by_days"])
    day = np.where(np.isinf(rows.log_by), rows.log_after, rows.log_by)
    counts = np.array(
        [
            [
                (5 - bad[k] if math.isinf(end) else bad[k])
                for end, k in zip(rows.log_by, np.searchsorted(PULLS, np.exp(day) - 0.5), strict=True)
            ]
            for bad in studies
        ],
        float,
    )
    at, value, settled = fitted_lines(family="weibull", rows=rows, count=counts)
    assert settled.all()
    for i, bad in enumerate(studies):
        alone = lifetime_fit(family="weibull", **told(looks(bad)))
        assert value[i] == pytest.approx(alone.log_likelihood, abs=1e-9)
        assert at[i, 1] == pytest.approx(alone.shape, rel=1e-5)
