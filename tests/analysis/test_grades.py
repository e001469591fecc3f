"""Share of coupons in each residue grade against dwell."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import approx_fprime
from scipy.stats import norm

from study.analysis.grades import GradeRows, classes, grade_likelihood, grade_shares
from study.model.estimate import GradeShares

DAYS = np.repeat([30.0, 91, 182, 365, 730, 1095], 8)


def invented(seed: int, *, slope: float = 0.08, cuts: tuple[float, ...] = (0.8, 1.6, 2.6)) -> np.ndarray:
    """Grades from a known cumulative probit on the square root of dwell."""
    latent = slope * np.sqrt(DAYS) + np.random.default_rng(seed).normal(size=DAYS.size)
    return np.asarray(np.searchsorted(cuts, latent), float)


def shares(lower: np.ndarray, upper: np.ndarray | None = None, *, days: np.ndarray = DAYS) -> GradeShares:
    """The picture with each dwell a pull of its own."""
    pull = np.unique(days, return_inverse=True)[1]
    top = lower if upper is None else upper
    return grade_shares(dwell_days=days, lower=lower, upper=top, pull=pull, time_scale="sqrt")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_another_program_finds_the_same_shares(seed: int) -> None:
    """Two programs that look for the likeliest cutpoints and slope find the same."""
    grade = invented(seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from statsmodels.miscmodels.ordinal_model import OrderedModel

        model = OrderedModel(grade.astype(int), np.sqrt(DAYS)[:, None], distr="probit")
        other = model.fit(method="bfgs", disp=0, gtol=1e-9, maxiter=2000)
        cuts = model.transform_threshold_params(other.params)[1:-1]
    found = shares(grade)
    assert found.slope == pytest.approx(other.params[0], abs=1e-5)
    assert found.cutpoints == pytest.approx(cuts, abs=1e-4)
    assert found.log_likelihood == pytest.approx(other.llf, abs=1e-6)


@given(st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_the_slope_of_the_likelihood_is_its_own(seed: int) -> None:
    """The gradient agrees with small steps in every direction, whatever grades stand open."""
    rng = np.random.default_rng(seed)
    low = rng.integers(0, 4, 12)
    rows = GradeRows(rng.random(12), low, np.minimum(low + rng.integers(0, 3, 12), 3), rng.integers(1, 5, 12) * 1.0)
    at = rng.normal(0, 0.7, 4)
    _, gradient = grade_likelihood(at, rows)
    numeric = approx_fprime(at, lambda v: grade_likelihood(v, rows)[0], 1e-7)
    assert gradient == pytest.approx(numeric, rel=1e-4, abs=1e-4)


def test_an_open_grade_has_the_likelihood_of_both() -> None:
    """The likelihood of a coupon typed 1-2 is the sum of those of grade 1 and grade 2."""
    at = np.array([-0.3, np.log(0.8), np.log(1.1), 0.9])
    rows = GradeRows(np.array([0.4]), np.array([1]), np.array([2]), np.array([1.0]))
    edges = np.array([-0.3, 0.5, 1.6]) - 0.9 * 0.4
    assert grade_likelihood(at, rows)[0] == pytest.approx(np.log(norm.cdf(edges[2]) - norm.cdf(edges[0])), abs=1e-12)


@given(st.integers(0, 500))
@settings(max_examples=20, deadline=None)
def test_no_neighbour_is_likelier(seed: int) -> None:
    """With some grades typed as two, no cutpoints or slope nearby make the coupons seen more likely."""
    lower = invented(seed)
    upper = np.minimum(lower + (np.arange(lower.size) % 5 == 0), 3)
    found = shares(lower, upper)
    if found.refused:
        return
    cuts, slope = np.array(found.cutpoints), found.slope or 0.0

    def likelihood(cuts: np.ndarray, slope: float) -> float:
        edges = np.concatenate([[-np.inf], cuts, [np.inf]])
        index = {grade: i for i, (grade, _) in enumerate(found.grades)}
        assert all(first == last for first, last in found.grades)
        low, high = (np.array([index[int(v)] for v in side]) for side in (lower, upper))
        shift = slope * np.sqrt(DAYS)
        return float(np.sum(np.log(norm.cdf(edges[high + 1] - shift) - norm.cdf(edges[low] - shift))))

    best = likelihood(cuts, slope)
    assert found.log_likelihood == pytest.approx(best, abs=1e-8)
    for step in np.vstack([np.eye(cuts.size + 1), -np.eye(cuts.size + 1)]) * 0.002:
        assert likelihood(cuts + step[:-1], slope + step[-1]) <= best + 1e-9


@given(st.integers(0, 200))
@settings(max_examples=15, deadline=None)
def test_rows_have_no_order_and_all_shares_add_up(seed: int) -> None:
    """Coupons in another order give the same picture, and at every dwell the grades together are all coupons."""
    grade = invented(seed)
    order = np.random.default_rng(seed).permutation(grade.size)
    plain, shuffled = shares(grade), shares(grade[order], days=DAYS[order])
    assert plain == shuffled
    if plain.draw_shares:
        assert np.sum(plain.draw_shares, axis=0) == pytest.approx(1)
        assert np.min(plain.draw_shares) >= 0
    assert sum(pull.read for pull in plain.pulls) == grade.size


def test_what_was_seen_at_a_pull_is_counted() -> None:
    """Five coupons of one pull stand with their grades or better ones; one typed 0-1 may be a 0."""
    days, lower = np.repeat([91.0, 365, 730], 5), np.array([0.0, 0, 1, 0, 0, 0, 1, 1, 2, 0, 2, 1, 2, 1, 0])
    upper = lower.copy()
    upper[4] = 1
    found = shares(lower, upper, days=days)
    assert (found.n, found.spans) == (15, 1)
    assert [(p.dwell_days, p.read, p.surely, p.perhaps) for p in found.pulls] == [
        (91.0, 5, (3, 5), (4, 5)), (365.0, 5, (2, 4), (2, 4)), (730.0, 5, (1, 3), (1, 3)),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("spans", "told"),
    [
        ([(0, 0), (3, 3), (5, 5)], [(0, 0), (3, 3), (5, 5)]),
        ([(0, 0), (3, 4)], [(0, 0), (3, 4)]),
        ([(0, 0), (3, 3), (3, 4)], [(0, 0), (3, 3)]),
        ([(2, 2), (2, 3), (3, 4), (4, 4)], [(2, 2), (3, 3), (4, 4)]),
        ([(0, 2), (1, 3)], [(1, 2)]),
    ],
)
def test_grades_nobody_gave_are_no_class(spans: list[tuple[int, int]], told: list[tuple[int, int]]) -> None:
    """Grades never given, or given only as one of two, are taken with their neighbours."""
    lower, upper = np.array(spans).T
    assert classes(lower, upper) == told


@pytest.mark.parametrize(
    ("days", "lower", "why"),
    [
        ([], [], "no coupon was given a grade"),
        ([30, 91, 182], [1, 1, 1], "all coupons were given grade 1"),
        ([30, 30, 91, 91], [0, 1, 1, 0], "2 different dwells"),
        ([30, 91, 182, 365], [0, 0, 1, 2], "so cleanly"),
        ([30, 91, 91, 182, 365], [0, 0, 1, 1, 1], "so cleanly"),
        ([30, 91, 182, 365], [2, 2, 0, 0], "so cleanly"),
    ],
)
def test_hard_cases_are_refused_by_name(days: list[float], lower: list[float], why: str) -> None:
    """Where no finite slope is the likeliest, or nothing can be likely, the picture says so."""
    found = shares(np.array(lower, float), days=np.array(days, float))
    assert why in (found.refused or "")
    assert not found.draw_shares


def test_grades_that_only_nearly_part_are_drawn() -> None:
    """One coupon out of order is enough for a finite slope."""
    found = shares(np.array([0.0, 0, 1, 1, 0, 1]), days=np.array([30.0, 91, 91, 182, 365, 365]))
    assert found.refused is None
    assert (found.slope or 0) > 0
