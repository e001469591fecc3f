"""The readings themselves against dwell."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis.decline import day_ratio, decline_fit, pulled_readings
from study.model.estimate import DeclineFit

DAYS = [91.0, 182.0, 365.0, 730.0, 1095.0]


def fitted(days: list[float], readings: list[list[float]], **asked: Any) -> DeclineFit:
    """A decline of invented or published readings, pull by pull."""
    rule = {
        "limit": 6.0, "unacceptable": "above", "value_scale": "log", "time_scale": "sqrt", "permitted_share": 0.1,
        "confidence": 0.95, "horizon_days": 1.5 * max(days),
    }  # fmt: skip
    return decline_fit(
        pull_days=np.array(days),
        pull=np.repeat(np.arange(len(days)), [len(pull) for pull in readings]),
        values=np.array([value for pull in readings for value in pull]),
        **{**rule, **asked},
    )


def bound(fit: DeclineFit) -> float:
    """The bound, or the horizon where it was not reached."""
    if fit.not_reached:
        return 1.5 * DAYS[-1]
    assert fit.lower_days is not None
    return fit.lower_days


def invented(seed: int, *, day_sd: float = 0.05) -> list[list[float]]:
    """Invented forces of five coupons at five pulls, growing with the square root of dwell."""
    rng = np.random.default_rng(seed)
    pulls = []
    for day in DAYS:
        centre = np.log(3.5) + 0.025 * np.sqrt(day) + rng.normal(0, day_sd)
        pulls.append(np.exp(centre + rng.normal(0, 0.11, 5)).tolist())
    return pulls


@pytest.mark.published("decline.toml", "decline")
def test_worked_cases(row: dict[str, Any]) -> None:
    """Readings of three invented studies give bounds known to four decimals."""
    asked, expected = row["inputs"], row["expected"]
    fit = fitted(asked["days"], asked["readings"], limit=asked["limit"], time_scale=asked["time_scale"])
    found = {
        "slope": fit.slope, "residual_sd": fit.residual_sd, "lower_alike": fit.lower_alike_days,
        "day_share": fit.day_share, "lower": fit.lower_days, "adequacy": fit.adequacy_p,
        "f": day_ratio(
            pulled_readings(
                g=np.sqrt(asked["days"]),
                pull=np.repeat(np.arange(len(asked["days"])), [len(pull) for pull in asked["readings"]]),
                y=np.log([value for pull in asked["readings"] for value in pull]),
            )
        ),
    }  # fmt: skip
    assert {name: found[name] for name in expected} == pytest.approx(expected, abs=row["tolerance"])


def test_balanced_day_share_has_a_closed_form() -> None:
    """With as many coupons at each pull the share follows from one ratio."""
    from scipy.stats import f

    readings = invented(3, day_sd=0.12)
    pulls = pulled_readings(g=np.sqrt(DAYS), pull=np.repeat(np.arange(5), 5), y=np.log(np.ravel(readings)))
    ratio = day_ratio(pulls) / f.ppf(0.3, 3, 20)
    assert ratio > 1
    assert fitted(DAYS, readings).day_share == pytest.approx((ratio - 1) / (ratio - 1 + 5), abs=1e-10)


def test_one_coupon_per_pull_is_the_ordinary_bound() -> None:
    """With one coupon per pull a day effect is part of each coupon's own scatter."""
    readings = [[pull[0]] for pull in invented(5)]
    fit = fitted(DAYS, readings, limit=14.0)
    assert fit.day_share == 0
    assert fit.lower_days == fit.lower_alike_days
    x, y = np.sqrt(DAYS), np.log(np.ravel(readings))
    slope, intercept = np.polyfit(x, y, 1)
    assert fit.slope == pytest.approx(slope)
    assert fit.residual_sd == pytest.approx(np.sqrt(np.sum((y - slope * x - intercept) ** 2) / 3))


@given(st.integers(0, 500), st.floats(4.5, 20), st.floats(0.5, 0.99))
@settings(max_examples=40, deadline=None)
def test_a_stricter_limit_never_lengthens(seed: int, limit: float, factor: float) -> None:
    """Who allows less force may display no longer."""
    readings = invented(seed)
    assert bound(fitted(DAYS, readings, limit=limit * factor)) <= bound(fitted(DAYS, readings, limit=limit)) + 1e-6


@given(st.integers(0, 500), st.floats(0.6, 0.95), st.floats(0.01, 0.04))
@settings(max_examples=40, deadline=None)
def test_more_confidence_never_lengthens(seed: int, confidence: float, more: float) -> None:
    """Who wants to be surer may display no longer."""
    readings = invented(seed)
    surer = fitted(DAYS, readings, limit=8.0, confidence=confidence + more)
    assert bound(surer) <= bound(fitted(DAYS, readings, limit=8.0, confidence=confidence)) + 1e-6


@given(st.integers(0, 500), st.randoms(use_true_random=False))
@settings(max_examples=30, deadline=None)
def test_coupons_of_a_pull_have_no_order(seed: int, shuffler: Any) -> None:
    """It does not matter which coupon of a pull was read first."""
    readings = invented(seed)
    shuffled = [shuffler.sample(pull, len(pull)) for pull in readings]
    assert fitted(DAYS, shuffled, limit=8.0) == fitted(DAYS, readings, limit=8.0)


@given(st.integers(0, 500), st.sampled_from([1 / 7, 4.0, 12 / 365]), st.sampled_from([0.1, 4.448]))
@settings(max_examples=30, deadline=None)
def test_units_do_not_matter(seed: int, time: float, force: float) -> None:
    """Weeks for days, or pounds for newtons, change the unit of the bound and nothing else."""
    readings = invented(seed)
    plain = fitted(DAYS, readings, limit=8.0)
    scaled = fitted(
        [day * time for day in DAYS], [[value * force for value in pull] for pull in readings], limit=8.0 * force
    )
    assert scaled.day_share == pytest.approx(plain.day_share, abs=1e-9)
    assert bound(plain) == pytest.approx(1.5 * DAYS[-1] if scaled.not_reached else (scaled.lower_days or 0) / time)


def test_hold_must_stay_high() -> None:
    """A limit from below is a limit from above in a mirror."""
    readings = invented(8)
    turned = [[100 - value for value in pull] for pull in readings]
    plain = fitted(DAYS, readings, limit=8.0, value_scale="as read")
    mirrored = fitted(DAYS, turned, limit=92.0, value_scale="as read", unacceptable="below")
    assert mirrored.lower_days == pytest.approx(plain.lower_days)
    assert mirrored.slope == pytest.approx(-(plain.slope or 0))
    assert np.array(mirrored.draw_bound) == pytest.approx(100 - np.array(plain.draw_bound))


def test_falling_into_the_limit_is_no_duration() -> None:
    """A reading that is unacceptable at first and better later was unacceptable before."""
    readings = [[9.0, 9.6, 8.8], [8.0, 8.3, 7.6], [6.9, 7.2, 6.5], [4.4, 4.7, 4.1], [3.0, 3.3, 2.9]]
    fit = fitted(DAYS, readings, limit=6.0)
    assert fit.lower_days == 0
    assert fit.slope is not None
    assert fit.slope < 0


def test_not_reached_is_said() -> None:
    """A bound still within the limit at the last pull is not a number beyond it."""
    fit = fitted(DAYS, invented(2), limit=60.0, horizon_days=1095.0)
    assert fit.not_reached
    assert fit.lower_days is None
    assert fit.why is not None
    assert "1095 d" in fit.why


def test_a_bent_line_is_found_out() -> None:
    """Grip that grows with dwell itself bends on the square root of dwell, and the fit says so."""
    days = [30.0, 91.0, 182.0, 365.0, 548.0, 730.0, 913.0, 1095.0]
    rng = np.random.default_rng(9)
    readings = [np.exp(0.5 + 0.0012 * day + rng.normal(0, 0.05, 4)).tolist() for day in days]
    bent, straight = fitted(days, readings), fitted(days, readings, time_scale="linear")
    assert bent.adequate is False
    assert straight.adequate is True
    assert bent.adequacy_p is not None
    assert bent.adequacy_p < 0.001


def test_three_pulls_are_taken_as_adequate() -> None:
    """Three pulls cannot show a bend."""
    fit = fitted(DAYS[:3], invented(4)[:3], limit=8.0)
    assert fit.adequacy_p is None
    assert fit.adequate


@pytest.mark.parametrize(
    ("days", "readings", "why"),
    [
        (DAYS[:2], [[3.0, 3.1], [3.2, 3.3]], "three pulls are needed"),
        (DAYS, [[3.0, 3.0]] * 5, "all equal"),
        (DAYS[:3], [[np.exp(0.01 * np.sqrt(day))] for day in DAYS[:3]], "exactly on a line"),
        (DAYS, [[3.0, 0.0], [3.0, 3.2], [3.1, 3.2], [3.4, 3.2], [3.0, 3.9]], "no logarithm"),
    ],
)
def test_readings_that_show_no_line(days: list[float], readings: list[list[float]], why: str) -> None:
    """Where readings cannot tell how much coupons scatter, no bound is made up."""
    fit = fitted(days, readings)
    assert fit.lower_days is None
    assert fit.why is not None
    assert why in fit.why


def test_drawn_bound_meets_the_limit_at_the_bound() -> None:
    """The picture shows the crossing that the number names."""
    fit = fitted(DAYS, invented(6), limit=7.0)
    assert fit.lower_days
    crossing = np.interp(np.sqrt(fit.lower_days or 0), np.sqrt(fit.draw_days), fit.draw_bound)
    assert crossing == pytest.approx(7.0, rel=2e-3)


def test_readings_bound_covers() -> None:
    """In invented studies the bound stands above the true time in about one of twenty, day effects or not."""
    from scipy.stats import norm

    for day_sd, most in ((0.0, 0.05), (0.05, 0.06), (0.1, 0.08)):
        scatter = np.hypot(0.11, day_sd)
        true = ((np.log(8.0) - np.log(3.5) - norm.ppf(0.9) * scatter) / 0.025) ** 2
        wrong = sum(bound(fitted(DAYS, invented(1000 + i, day_sd=day_sd), limit=8.0)) > true for i in range(120))
        assert wrong / 120 <= most + 2.5 * np.sqrt(most * (1 - most) / 120)
