"""Bridging beside other programs: block differences, two one-sided tests, exact limits, and the exact test by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.api import OLS
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from study.analysis.bridging import (
    bridge,
    difference_by_pull,
    difference_of_pulls,
    exact_limits,
    exact_test,
    two_one_sided,
)
from study.errors import NotPossible
from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.bridge import Bridge
from study.model.pull import due_on
from study.model.reading import CouponHistory, Reading

PROTOCOL = parse_protocol(known_protocols()["display-dots"])
PLACED = date(2024, 1, 15)


def arms(seed: int, sizes: list[tuple[int, int]], shift: float = 0.1) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Invented log forces of both, pulls of unequal size."""
    random = np.random.default_rng(seed)
    old = [random.normal(1 + 0.2 * k, 0.2, n) for k, (n, _) in enumerate(sizes)]
    return old, [random.normal(1 + 0.2 * k + shift, 0.2, m) for k, (_, m) in enumerate(sizes)]


@pytest.mark.parametrize("sizes", [[(5, 5)], [(5, 4), (3, 6), (5, 2)], [(1, 2), (2, 1)]])
def test_blocks_are_those_of_least_squares(sizes: list[tuple[int, int]]) -> None:
    """Difference, error and freedom are those of a least-squares fit with a level for each pull (statsmodels)."""
    old, new = arms(3, sizes)
    y = np.concatenate([*old, *new])
    pull = np.concatenate([np.full(a.size, k) for arm in (old, new) for k, a in enumerate(arm)])
    is_new = np.concatenate([np.zeros(sum(a.size for a in old)), np.ones(sum(a.size for a in new))])
    fit = OLS(y, np.column_stack([np.eye(len(sizes))[pull.astype(int)], is_new])).fit()
    found = difference_by_pull(old, new)
    assert found == pytest.approx((fit.params[-1], fit.bse[-1], fit.df_resid), rel=1e-9)


def test_two_one_sided_tests_are_those_of_statsmodels() -> None:
    """With one pull the p-value is that of two one-sided t tests on two samples; with pulls as units, on pairs."""
    old, new = arms(5, [(6, 7)])
    found = difference_by_pull(old, new)
    assert found is not None
    theirs = ttost_ind(new[0], old[0], -math.log(1.5), math.log(1.5), usevar="pooled")[0]
    assert two_one_sided(*found, margin=math.log(1.5)) == pytest.approx(theirs, rel=1e-9)
    old, new = arms(6, [(5, 5)] * 6)
    units = difference_of_pulls(old, new)
    assert units is not None
    means = [np.array([a.mean() for a in arm]) for arm in (new, old)]
    theirs = ttost_paired(means[0], means[1], -math.log(1.5), math.log(1.5))[0]
    assert two_one_sided(*units, margin=math.log(1.5)) == pytest.approx(theirs, rel=1e-9)
    assert units[0] / units[1] == pytest.approx(stats.ttest_rel(*means).statistic, rel=1e-9)


@given(st.integers(0, 12), st.integers(1, 12), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_exact_limits_are_those_of_statsmodels(good: int, read: int, confidence: float) -> None:
    """Two-sided exact limits of a share."""
    good = min(good, read)
    theirs = proportion_confint(good, read, 1 - confidence, method="beta")
    assert exact_limits(good, read, confidence) == pytest.approx(theirs, abs=1e-12)


@settings(max_examples=60)
@given(st.integers(1, 8), st.integers(1, 8), st.data())
def test_one_pull_gives_the_exact_test_of_scipy(read_old: int, read_new: int, data: st.DataObject) -> None:
    """One table of two by two: Fisher's exact test."""
    old, new = data.draw(st.integers(0, read_old)), data.draw(st.integers(0, read_new))
    theirs = stats.fisher_exact([[old, read_old - old], [new, read_new - new]]).pvalue
    assert exact_test([(old, read_old, new, read_new)]) == pytest.approx(theirs, abs=1e-9)


def test_several_pulls_by_enumeration() -> None:
    """Every table with the same margins in each pull, counted out: p is the share of those no likelier than the one."""
    tables = [(4, 5, 1, 4), (3, 3, 2, 5), (2, 4, 2, 4)]
    weights: dict[int, float] = {}
    ranges = [range(max(0, a + c - n), min(a + c, m) + 1) for a, n, c, m in tables]
    for chosen in product(*ranges):
        ways = math.prod(
            math.comb(m, x) * math.comb(n, a + c - x) for x, (a, n, c, m) in zip(chosen, tables, strict=True)
        )
        weights[sum(chosen)] = weights.get(sum(chosen), 0) + ways
    own, total = weights[sum(t[2] for t in tables)], sum(weights.values())
    expected = sum(w for w in weights.values() if w <= own) / total
    assert exact_test(tables) == pytest.approx(expected, rel=1e-12)
    assert exact_test(list(reversed(tables))) == pytest.approx(expected, rel=1e-12)


def test_pulls_as_units_keep_their_word_where_days_differ() -> None:
    """With luck of the day of 0.10 on the log, limits from pulls as units hold in 9 of 10; those of coupons do not."""
    random = np.random.default_rng(11)
    held = {"units": 0, "coupons": 0}
    studies = 400
    for _ in range(studies):
        luck = random.normal(0, 0.10, (2, 5))
        old, new = ([random.normal(luck[arm, k], 0.11, 5) for k in range(5)] for arm in (0, 1))
        for name, found in (("units", difference_of_pulls(old, new)), ("coupons", difference_by_pull(old, new))):
            assert found is not None
            held[name] += abs(found[0]) <= stats.t.ppf(0.95, found[2]) * found[1]
    assert 0.86 <= held["units"] / studies <= 0.94
    assert held["coupons"] / studies < 0.84


def history(code: str, pull: str, force: float, grade: float, *, later: int = 0, upper: float | None = None,
            angle: float = 0.0) -> CouponHistory:  # fmt: skip
    """One coupon read at a pull; ``later`` shifts the day of reading."""
    scheduled = next(p for p in PROTOCOL.schedule.pulls if p.label == pull)
    on = due_on(PLACED, scheduled)
    day = on + timedelta(days=later)
    test = "hold-angle" if angle else "pull-off-dot"
    read = {
        "removal_force": Reading(code, "removal_force", day, "", "N", force, force if upper is None else upper),
        "residue_grade": Reading(code, "residue_grade", day, "", "", grade, grade),
    }
    if angle:
        read = {"hold_angle": Reading(code, "hold_angle", day, "", "", angle, angle)}
    return CouponHistory(code, "S", "test", test, "L", "pulled", pull, pull, float((on - PLACED).days), readings=read)


def made(seed: int, *, times: float = 1.0, later: int = 0, n: int = 5) -> list[CouponHistory]:
    """An invented set read at four pulls."""
    random = np.random.default_rng(seed)
    pulls = ("3 months", "6 months", "12 months", "18 months")
    return [
        history(f"{seed}{pull}{i}", pull, times * (4 + k) * float(np.exp(random.normal(0, 0.1))), i % 3, later=later)
        for k, pull in enumerate(pulls)
        for i in range(n)
    ]


def stained(code: str) -> Reading:
    """Residue of grade 4."""
    return Reading(code, "residue_grade", PLACED, "4", "", 4.0, 4.0)


def bridged(old: list[CouponHistory], new: list[CouponHistory], factor: float = 1.5) -> Bridge:
    """Both compared under the default protocol."""
    return bridge(old, new, keys=("P03", "P12"), protocol=PROTOCOL, faces_object=False, factor=factor)


def test_alike_is_shown_with_enough_coupons_and_said_with_care_without() -> None:
    """Twenty of each show a ratio near 1 within 1.5; two of each do not, and that is not called the same."""
    many = bridged(made(1), made(2))
    assert many.force is not None
    assert many.force.alike
    assert many.force.method == "blocked by pull"
    assert many.force.lower < many.force.ratio < many.force.upper
    assert (many.force.coupons, many.force.pulls, many.force.confidence) == ((20, 20), 4, pytest.approx(0.90))
    assert many.force.lower > 1 / 1.5
    assert many.force.upper < 1.5
    few = bridged([*made(1, n=2)][:2], made(2, n=2), factor=1.05)
    assert few.force is not None
    assert not few.force.alike
    text = " ".join(few.sentences())
    assert "No difference shown with n = 2 and 2 is not the same as the same." in text
    assert "carries no duration by itself" in text
    assert "Maximum" not in text


def test_a_harder_successor_is_found() -> None:
    """At twice the force the ratio is near 2, outside any factor of 1.5, and said."""
    found = bridged(made(1), made(2, times=2))
    assert found.force is not None
    assert found.force.ratio == pytest.approx(2, rel=0.08)
    assert not found.force.alike
    assert "pulls off harder" in " ".join(found.sentences())
    back = bridged(made(2, times=2), made(1)).force
    assert back is not None
    assert back.ratio == pytest.approx(1 / found.force.ratio, rel=1e-12)


def test_other_days_make_the_pull_the_unit() -> None:
    """Read a month later, each pull counts once; with one common pull forces are not compared, and that is said."""
    found = bridged(made(1), made(2, later=30))
    assert found.force is not None
    assert "on other days" in found.force.method
    one = [h for h in made(1) if h.pull_group == "12 months"]
    alone = bridged(one, made(2, later=30))
    assert alone.force is None
    assert "fewer than two common pulls" in alone.no_force
    assert alone.pulls == ("12 months",)
    assert alone.only_new == ("3 months", "6 months", "18 months")


def test_residue_and_hold_are_compared_by_shares() -> None:
    """Grades above 2 and tilts below the limit are counted over common pulls, each with exact limits."""
    old = [*made(1), *(history(f"h{i}", "12 months", 0, 0, angle=60 if i else 10) for i in range(5))]
    new = [replace(h, readings={**h.readings, "residue_grade": stained(h.code)}) for h in made(2)]
    new += [history(f"k{i}", "12 months", 0, 0, angle=60) for i in range(5)]
    found = {one.criterion: one for one in bridged(old, new).shares}
    residue = found["residue"]
    assert (residue.acceptable, residue.read, residue.pulls) == ((20, 0), (20, 20), 4)
    assert residue.p_same < 1e-6
    assert residue.limits[0][0] == pytest.approx(0.025 ** (1 / 20))
    hold = found["hold"]
    assert hold.read == (5, 5)
    assert hold.p_same == 1
    assert "is not the same as the same" in " ".join(bridged(old, new).sentences())


def test_bounds_are_left_out_and_counted() -> None:
    """A force known only as “at least” is no number; it is counted and said."""
    new = [*made(2), history("b", "12 months", 50.0, 0, upper=math.inf)]
    found = bridged(made(1), new)
    assert found.force is not None
    assert (found.force.bounds, found.force.coupons) == (1, (20, 20))
    assert "1 reading known only as bounds" in " ".join(found.sentences())


def test_nothing_in_common_and_senseless_margins() -> None:
    """Without a common pull nothing is said but that; a factor of 1 cannot be tested."""
    three = [h for h in made(1) if h.pull_group == "3 months"]
    twelve = [h for h in made(2) if h.pull_group == "12 months"]
    found = bridged(three, twelve)
    assert found.sentences() == ["P03 and P12 have no pull at which both were read: nothing can be compared yet."]
    assert (found.only_old, found.only_new) == (("3 months",), ("12 months",))
    with pytest.raises(NotPossible, match="factor of 1"):
        bridged(three, twelve, factor=1.0)
