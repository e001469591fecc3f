"""The pass/fail bound at a day share."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis import outcomes
from study.analysis.calibration import calibrated_days, pass_fail_bound, two_digits_down
from study.analysis.lifetime import falling_share
from study.analysis.outcomes import SLACK, Design, worse_probability
from study.analysis.tolerance import zero_failure_days

RULE: dict[str, Any] = {"permitted_share": 0.1, "confidence": 0.95, "seed": 1}
PULLS = (91.0, 182.0, 365.0, 730.0, 1095.0)


def days_of(unacceptable: tuple[int, ...], read: tuple[int, ...], pulls: tuple[float, ...], **asked: Any) -> float:
    """A bound with the usual rule."""
    rule = {**RULE, "day_share": 0.0, "shape": (1.0, 12.0), **asked}
    return calibrated_days(pull_days=pulls, read=read, unacceptable=unacceptable, **rule)


@pytest.mark.published("pass_fail.toml", "pass fail")
def test_worked_cases(row: dict[str, Any]) -> None:
    """Counts at five pulls give bounds known to four decimals."""
    asked = row["inputs"]
    found = days_of(
        tuple(asked["unacceptable"]), tuple(asked["read"]), tuple(asked["pull_days"]),
        day_share=asked["day_share"], shape=tuple(asked["shape"]),
    )  # fmt: skip
    assert found == pytest.approx(row["expected"]["days"], abs=row["tolerance"])


@pytest.mark.published("pass_fail.toml", "pass fail grid")
def test_grid_maximum(row: dict[str, Any]) -> None:
    """The likeliest grid point of known counts is known."""
    asked = row["inputs"]
    plan = Design(tuple(asked["pull_days"]), tuple(asked["read"]), tuple(asked["shape"]), asked["permitted_share"])
    marks = plan.marks_of(np.array([asked["unacceptable"]], float))[:, 0]
    found = {"log_likelihood": marks[0], "days": math.exp(marks[1]), "dispersion": marks[2]}
    expected = row["expected"]
    assert {name: found[name] for name in expected} == pytest.approx(expected, abs=row["tolerance"])


@pytest.mark.published("pass_fail.toml", "pass fail probability")
def test_probability_of_worse(row: dict[str, Any]) -> None:
    """Days shared by the coupons of a pull make a long time harder to rule out."""
    asked = row["inputs"]
    plan = Design(tuple(asked["pull_days"]), tuple(asked["read"]), tuple(asked["shape"]), asked["permitted_share"])
    seen = np.array([asked["unacceptable"]], float)
    at = math.log(asked["at_days"])
    root, shape = plan.signed_root(seen, plan.marks_of(seen), at)
    found = worse_probability(
        plan, least=root[0] - SLACK, log_time=at, shape=float(shape[0]), day_share=asked["day_share"], seed=1, studies=1
    )
    assert root[0] == pytest.approx(row["expected"]["signed_root"], abs=row["tolerance"])
    assert found == pytest.approx(row["expected"]["probability"], abs=row["tolerance"])


@pytest.mark.published("pass_fail.toml", "pass fail simulated")
def test_simulated_bounds(row: dict[str, Any]) -> None:
    """A study too large to weigh every outcome gives nearly the same bound whatever the seed."""
    asked = row["inputs"]
    for seed in asked["seeds"]:
        found = days_of(
            tuple(asked["unacceptable"]), tuple(asked["read"]), tuple(asked["pull_days"]),
            day_share=asked["day_share"], seed=seed,
        )  # fmt: skip
        assert two_digits_down(row["expected"]["least"]) <= found <= row["expected"]["most"]
        assert found == two_digits_down(found)


def test_no_failure_agrees_with_the_formula() -> None:
    """With none unacceptable and days alike the bound is the zero-failure formula, within its grid."""
    formula, _ = zero_failure_days(
        last_acceptable_days=np.repeat(PULLS, 5), permitted_share=0.1, confidence=0.95, shape=(1, 12)
    )
    assert days_of((0,) * 5, (5,) * 5, PULLS) == pytest.approx(formula, rel=2e-3)


def test_simulated_and_weighed_agree() -> None:
    """Simulating studies comes to the same bound as weighing every outcome."""
    weighed = days_of((0, 0, 0, 2, 4), (5,) * 5, PULLS, day_share=1 / 3)
    plan = Design(PULLS, (5,) * 5, (1.0, 12.0), 0.1)
    at = math.log(weighed)
    seen = np.array([[0, 0, 0, 2, 4]], float)
    root, shape = plan.signed_root(seen, plan.marks_of(seen), at)
    asked: dict[str, Any] = {
        "log_time": at, "shape": float(shape[0]), "day_share": 1 / 3, "seed": 3, "studies": 20000,
    }  # fmt: skip
    roots, times = outcomes.simulated_roots(plan, **asked)
    assert times.sum() == 20000
    assert times[roots >= root[0] - SLACK].sum() / 20000 == pytest.approx(0.05, abs=0.006)


def test_remembered_outcomes_are_the_same_outcomes() -> None:
    """What an outcome says does not depend on whether it was met before."""
    plan = Design((*PULLS, 1300.0, 1460.0), (5,) * 7, (1.0, 12.0), 0.1)
    asked: dict[str, Any] = {"day_share": 1 / 3, "seed": 2, "studies": 3000}
    for days in (200.0, 260.0, 200.0):
        share = plan.unacceptable(np.array([math.log(days)]), np.array([1.5]))[0]
        coupons = outcomes.simulated_coupons(plan, share=share, **asked)
        found, marks, times = plan.tally(coupons)
        counted = coupons.reshape(7, 5, 3000).sum(axis=1).T
        assert np.array_equal(np.unique(counted, axis=0), np.array(sorted(found.tolist())))
        assert times.sum() == 3000
        assert marks == pytest.approx(plan.marks_of(found), abs=1e-9)


@pytest.mark.parametrize("days", [20.0, 60.0, 150.0, 400.0])
@pytest.mark.parametrize("shape", [1.0, 2.0, 12.0])
def test_quick_rejection_never_rejects_too_much(days: float, shape: float) -> None:
    """What the quick look rejects, the full comparison rejects too."""
    plan = Design((*PULLS, 1300.0), (5,) * 6, (1.0, 12.0), 0.1)
    asked: dict[str, Any] = {
        "log_time": math.log(days), "shape": shape, "day_share": 1 / 3, "seed": 4, "studies": 4000,
    }  # fmt: skip
    least = outcomes.plain_rejection(plan, level=0.05, **asked)
    assert worse_probability(plan, least=least, **asked) < 0.05


def test_seed_decides_a_simulated_bound() -> None:
    """The same seed gives the same bound, today and in three years."""
    pulls = (30.0, 91.0, 182.0, 365.0, 548.0, 730.0, 913.0, 1095.0)
    asked = ((0, 0, 0, 0, 1, 1, 2, 3), (5,) * 8, pulls)
    first = days_of(*asked, day_share=1 / 3, seed=7)
    calibrated_days.cache_clear()
    assert days_of(*asked, day_share=1 / 3, seed=7) == first


@pytest.mark.parametrize("confidence", [(0.8, 0.9), (0.9, 0.95), (0.95, 0.99)])
@pytest.mark.parametrize("unacceptable", [(0, 0, 0, 2, 4), (0, 0, 0, 0, 0), (0, 0, 1, 1, 3), (1, 1, 2, 3, 5)])
def test_more_confidence_never_lengthens(confidence: tuple[float, float], unacceptable: tuple[int, ...]) -> None:
    """Who wants to be surer may display no longer."""
    less, more = (days_of(unacceptable, (5,) * 5, PULLS, day_share=1 / 3, confidence=c) for c in confidence)
    assert more <= less + 1e-9


@pytest.mark.parametrize(
    ("unacceptable", "pulls", "days", "why"),
    [
        ((5, 5, 5), PULLS[:3], 0.0, "all 5 unacceptable at the first pull"),
        ((5, 2, 1), PULLS[:3], 0.0, "all 5 unacceptable at the first pull"),
        ((0, 1), PULLS[:2], None, "three are needed"),
        ((3, 2, 0), PULLS[:3], None, "does not rise"),
    ],
)
def test_hard_cases(unacceptable: tuple[int, ...], pulls: tuple[float, ...], days: float | None, why: str) -> None:
    """Where verdicts show no duration, the reason stands in its place."""
    bound = pass_fail_bound(
        pull_days=np.array(pulls), read=np.full(len(pulls), 5), unacceptable=np.array(unacceptable),
        day_share=1 / 3, shape=(1.0, 12.0), **RULE,
    )  # fmt: skip
    assert bound.lower_days == days
    assert bound.why is not None
    assert why in bound.why


def test_pulls_have_no_order_and_asides_stand_beside() -> None:
    """The order of pulls changes nothing, and the figures that never decide are named apart."""
    counts = np.array([0, 0, 0, 2, 4])
    order = [3, 0, 4, 2, 1]
    asked: dict[str, Any] = {"day_share": 1 / 3, "shape": (1.0, 12.0), **RULE}
    plain = pass_fail_bound(pull_days=np.array(PULLS), read=np.full(5, 5), unacceptable=counts, **asked)
    shuffled = pass_fail_bound(
        pull_days=np.array(PULLS)[order], read=np.full(5, 5), unacceptable=counts[order], **asked
    )
    assert plain == shuffled
    assert plain.lower_days == pytest.approx(87.8418, abs=5e-5)
    assert plain.lower_alike_days == pytest.approx(178.6329, abs=5e-5)


@pytest.mark.parametrize(("pulls", "read"), [(PULLS[1:], 3), (PULLS, 2), (PULLS[1:4], 4)])
def test_one_more_early_failure_never_lengthens(pulls: tuple[float, ...], read: int) -> None:
    """One more bad coupon pulled at or before the estimated time never lengthens, where the share rises."""
    k = len(pulls)
    plan = Design(pulls, (read,) * k, (1.0, 12.0), 0.1)
    days, full = np.array(pulls), np.full(k, float(read))

    def sound(outcome: tuple[int, ...]) -> bool:
        return outcome[0] < read and not falling_share(days=days, read=full, unacceptable=np.array(outcome, float))

    checked = 0
    for outcome in itertools.product(range(read + 1), repeat=k):
        if not sound(outcome):
            continue
        estimate = math.exp(plan.marks_of(np.array([outcome], float))[1, 0])
        for at in range(k):
            worse = (*outcome[:at], outcome[at] + 1, *outcome[at + 1 :])
            if outcome[at] == read or pulls[at] > estimate or not sound(worse):
                continue
            checked += 1
            assert days_of(worse, (read,) * k, pulls) <= days_of(outcome, (read,) * k, pulls) + 1e-6, (outcome, worse)
    assert checked >= 15


@given(st.permutations(range(5)), st.sampled_from([1 / 7, 4.0]))
@settings(max_examples=8, deadline=None)
def test_order_and_unit_of_dwell_change_nothing(order: list[int], factor: float) -> None:
    """Weeks for days scale the bound; the order in which pulls are written down does nothing."""
    asked: dict[str, Any] = {"read": np.full(5, 5), "day_share": 1 / 3, "shape": (1.0, 12.0), "aside": False, **RULE}
    counts = np.array([0, 0, 0, 2, 4])
    plain = pass_fail_bound(pull_days=np.array(PULLS), unacceptable=counts, **asked)
    other = pass_fail_bound(pull_days=np.array(PULLS)[order] * factor, unacceptable=counts[order], **asked)
    assert other.lower_days == pytest.approx((plain.lower_days or 0) * factor, rel=1e-6)


def test_very_many_dwells_are_refused_with_a_reason() -> None:
    """Hundreds of different dwells are no pulls, and it is said what to do."""
    days = np.arange(1.0, 401.0)
    bound = pass_fail_bound(
        pull_days=days, read=np.ones(400, int), unacceptable=(days > 300).astype(int), day_share=1 / 3,
        shape=(1.0, 12.0), **RULE,
    )  # fmt: skip
    assert bound.lower_days is None
    assert "count looks of nearby days together" in (bound.why or "")


def test_so_many_pulls_that_outcomes_have_no_number() -> None:
    """With one coupon at each of seventy dwells outcomes are too many to number, and a bound is still found."""
    days = np.arange(1.0, 71.0) * 15
    bad = (np.random.default_rng(8).random(70) < 1 - np.exp(-((days / 900) ** 2))).astype(int)
    bound = pass_fail_bound(
        pull_days=days, read=np.ones(70, int), unacceptable=bad, day_share=0.2, shape=(1.0, 12.0), aside=False, **RULE
    )
    assert bound.lower_days is not None
    assert 0 < bound.lower_days < 900 * 0.10536**0.5 * 1.3


def test_two_digits_down() -> None:
    """A simulated bound promises two digits and rounds to the safe side."""
    assert [two_digits_down(v) for v in (129.9, 120.0, 99.9, 8.76, 1234.0, 0.0)] == [120, 120, 99, 8.7, 1200, 0]
