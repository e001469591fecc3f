"""Design: the coverage study in short, with wide tolerance; the whole one is tests/benchmarks/coverage.py."""

from __future__ import annotations

import numpy as np
import pytest

from study.analysis.design import (
    TOTAL_SD,
    LifeTruth,
    ReadingTruth,
    bound_of_invented,
    decline_of_invented,
    invented_counts,
    invented_readings,
    ordinary_of_invented,
)

DAYS = np.array([91.0, 182.0, 365.0, 730.0, 1095.0])
STUDIES = 120


@pytest.mark.parametrize(("day_sd", "heavy"), [(0.0, False), (0.05, False), (0.10, False), (0.0, True), (0.10, True)])
def test_the_truth_is_where_it_says(day_sd: float, heavy: bool) -> None:
    """At the true time one coupon in ten is above the limit, day effect and heavy tails included."""
    truth = ReadingTruth(365.0, day_sd=day_sd, heavy=heavy)
    forces = invented_readings(truth, pull_days=np.array([365.0]), coupons=1, studies=40_000, seed=1)
    assert float((forces > truth.limit).mean()) == pytest.approx(0.10, abs=0.006)
    assert float(np.log(forces).std()) == pytest.approx(TOTAL_SD, rel=0.03)


@pytest.mark.parametrize("family", ["weibull", "lognormal"])
def test_lives_reach_the_permitted_share_in_time(family: str) -> None:
    """A tenth is unacceptable at the true time whatever the spread, and counts of a shared day keep that mean."""
    truth = LifeTruth(365.0, family=family, spread=0.6 if family == "lognormal" else 2.5, day_share=4 / 9)
    assert truth.unacceptable(np.array([365.0]))[0] == pytest.approx(0.10)
    counts = invented_counts(truth, pull_days=np.array([365.0]), coupons=5, studies=20_000, seed=2)
    assert float(counts.mean()) / 5 == pytest.approx(0.10, abs=0.01)


@pytest.mark.parametrize(("day_sd", "least"), [(0.0, 0.92), (0.10, 0.86)])
def test_the_decline_bound_keeps_its_word(day_sd: float, least: float) -> None:
    """With five coupons at five pulls the bound seldom passes the truth; taking pulls as alike it does more often."""
    truth = ReadingTruth(365.0, day_sd=day_sd)
    forces = invented_readings(truth, pull_days=DAYS, coupons=5, studies=STUDIES, seed=3)
    fits = [decline_of_invented(values, truth=truth, pull_days=DAYS) for values in forces]
    bounds = np.array([1e9 if fit.not_reached else fit.lower_days for fit in fits], float)
    alike = np.array([1e9 if fit.lower_alike_days is None else fit.lower_alike_days for fit in fits])
    assert np.mean(bounds <= 365) >= least
    assert np.all(alike >= np.minimum(bounds, alike))
    if day_sd:
        assert np.mean(alike <= 365) < np.mean(bounds <= 365)
    else:
        assert np.median(bounds) / 365 > 0.5


@pytest.mark.parametrize("spread", [1.2, 4.0])
def test_the_pass_fail_bound_keeps_its_word(spread: float) -> None:
    """With three coupons at five pulls and days that share a lot, the calibrated bound holds and is not empty."""
    truth = LifeTruth(365.0, spread=spread, day_share=4 / 9)
    counts = invented_counts(truth, pull_days=DAYS, coupons=3, studies=STUDIES, seed=4)
    bounds = [bound_of_invented(x, coupons=3, pull_days=DAYS, day_share=1 / 3).lower_days for x in counts]
    ours = np.array([0.0 if bound is None else bound for bound in bounds])
    assert np.mean(ours <= 365) >= 0.90
    assert np.median(ours) / 365 > 0.08


def test_the_ordinary_limit_is_near_the_truth_in_a_large_study() -> None:
    """With four hundred coupons a pull the ordinary limit lies just below the truth; with none bad there is none."""
    counts = np.round(400 * LifeTruth(365.0).unacceptable(DAYS)).astype(int)
    limit = ordinary_of_invented(counts, coupons=400, pull_days=DAYS)
    assert limit is not None
    assert 0.9 * 365 < limit < 365
    assert ordinary_of_invented(0 * counts, coupons=400, pull_days=DAYS) is None
