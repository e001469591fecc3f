"""Groups of a table: outcomes in sentences that say what they rest on, whatever unit the times are in."""

from __future__ import annotations

import math

import numpy as np
import pytest

from study.analysis.looks import looks_estimate
from study.model.looks import LookEstimate, LookRows, LookRule, time_down
from study.outputs.looks_report import look_notes, look_sentence, tabulate_looks

DAYS = (91.0, 182.0, 365.0, 730.0, 1095.0)


def verdicts(
    bad: list[int], *, read: int = 5, days: tuple[float, ...] = DAYS, harm: bool = False, rule: LookRule | None = None
) -> LookEstimate:
    """Counts at each time, one row for the acceptable and one for the others."""
    dwell = np.repeat(days[: len(bad)], 2)
    unacceptable = np.tile([1, 0], len(bad))
    count = np.array([n for x in bad for n in (x, read - x)])
    held = count > 0
    dwell, unacceptable, count = dwell[held], unacceptable[held], count[held]
    rows = LookRows(
        "gel", count, np.full(count.size, harm), np.where(unacceptable == 0, dwell, 0.0),
        np.where(unacceptable == 1, dwell, math.inf), dwell, unacceptable,
    )  # fmt: skip
    return looks_estimate(rows, rule=rule or LookRule(judged_by="ok", harmed_by="harm"))


def values(per_pull: list[list[float]], *, days: tuple[float, ...], limit: float) -> LookEstimate:
    """Values at each time, unacceptable above the limit."""
    dwell = np.repeat(days, [len(pull) for pull in per_pull])
    found = np.concatenate(per_pull)
    bad = (found > limit).astype(int)
    rows = LookRows(
        "gel", np.ones(found.size, int), np.zeros(found.size, bool), np.where(bad == 0, dwell, 0.0),
        np.where(bad == 1, dwell, math.inf), dwell, bad, found, found,
    )  # fmt: skip
    return looks_estimate(rows, rule=LookRule(limit=limit, judged_by="newton"))


def test_supported_names_share_confidence_and_assumption() -> None:
    """A person who knows no statistics reads how long, how sure, of how many, and what is taken for granted."""
    found = verdicts([0, 0, 0, 0, 2])
    assert found.duration.outcome == "supported"
    assert look_sentence(found) == (
        f"gel: Supported up to {time_down(found.duration.dwell or 0)}: with 95\u202f% confidence at most 10\u202f% of "
        "such coupons are unacceptable by then, judged by pass and fail at each time, for which it is taken that the "
        "risk does not fall with time."
    )


def test_provisional_says_why() -> None:
    """With none unacceptable the bound rests on the assumption alone."""
    found = verdicts([0] * 5)
    assert found.duration.why.startswith(
        "Provisional up to 293.6, because nothing unacceptable was seen yet and it is taken that the risk does not "
        "fall with time: with 95\u202f% confidence"
    )


def test_a_wider_range_of_shapes_is_said() -> None:
    """Where the declared shape may lie below 1, nobody has taken it that the risk does not fall."""
    found = verdicts([0, 0, 1, 2, 4], read=8, rule=LookRule(shape_from=0.5, judged_by="ok"))
    assert "risk does not fall" not in found.duration.why


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (verdicts([5, 5, 5]), "all 5 unacceptable at the first pull (91); with 95\u202f% confidence at least 54.9"),
        (verdicts([1], read=1, days=(5.0,)), "the only coupon unacceptable at the first pull (5)"),
        (verdicts([0, 0], read=9), "2 pulls with readings; three are needed"),
        (verdicts([0, 1, 1], read=3), "the bound lies before the first look at 91"),
        (verdicts([0] * 5, read=2), "look at 3 or more at one time"),
    ],
)  # fmt: skip
def test_not_shown_says_why_and_what_would_show_more(found: LookEstimate, words: str) -> None:
    """Thin evidence is named, in the table's own unit."""
    assert found.duration.outcome == "not shown"
    assert words in found.duration.why
    assert found.duration.why.endswith("not shown does not mean safe.")
    assert " d)" not in found.duration.why


def test_no_unit_of_time_is_invented() -> None:
    """A table in months is not told about days, neither in the bound nor in the lifetimes nor in the decline."""
    apart = verdicts([0, 0, 5, 5, 5])
    assert [fit.refused for fit in apart.lifetimes] == [
        "clean separation: all acceptable up to 182, all unacceptable from 365"
    ] * 3
    assert verdicts([5, 5, 5]).bound.why == "all 5 unacceptable at the first pull (91)"
    low = values([[1.0, 1.1, 0.9], [1.0, 1.2, 1.1], [1.1, 1.3, 1.2], [1.2, 1.1, 1.3]], days=(1, 2, 3, 6), limit=9.0)
    assert low.declines[0].why == "the bound is still within the limit at 6"
    assert (low.declines[0].lower_days, low.declines[0].lower_alike_days) == (None, None)
    assert low.duration.dwell == 6
    assert "it ends there as the last time with at least 3 coupons" in low.duration.why


def test_three_times_are_too_few_to_test_a_line() -> None:
    """With three pulls the line is taken to fit, and that is said."""
    found = values([[1.0, 1.1, 0.9], [1.3, 1.5, 1.4], [2.1, 2.3, 2.0]], days=(1, 4, 16), limit=3.0)
    assert found.declines[0].adequate
    assert "three times are too few to test whether it fits" in found.duration.why


def test_harm_names_its_column() -> None:
    """What stops a group is the column that told of harm, and no time is given."""
    found = verdicts([0] * 5, harm=True)
    assert (found.duration.outcome, found.duration.limiting, found.duration.dwell) == ("stopped", "harm", None)
    assert "25 coupons with harm" in found.duration.why


def test_intervals_follow_the_confidence_asked() -> None:
    """Who wants to be surer is given less; the limit from intervals is no exception."""
    rng = np.random.default_rng(2)
    life = 400 * rng.weibull(2, 60)
    after, by = np.floor(life / 60) * 60, np.ceil(life / 60) * 60
    rows = LookRows("gel", np.ones(60, int), np.zeros(60, bool), after, by)
    shown = [
        looks_estimate(rows, rule=LookRule(confidence=confidence, judged_by="by")).duration.dwell or math.nan
        for confidence in (0.8, 0.9, 0.95, 0.99)
    ]
    assert shown == sorted(shown, reverse=True)
    assert len(set(shown)) == 4


def test_intervals_of_many_coupons_are_counted_not_spread_out() -> None:
    """Five million coupons never seen unacceptable take no more room than their distinct looks."""
    rows = LookRows(
        "gel", np.full(1000, 5000), np.zeros(1000, bool), np.arange(1.0, 1001.0), np.full(1000, math.inf)
    )  # fmt: skip
    found = looks_estimate(rows, rule=LookRule(judged_by="by"))
    assert found.n == 5_000_000
    assert (found.duration.outcome, found.duration.dwell) == ("provisional", 1000.0)
    assert (found.bound.method, found.bound.lower_days) == ("calibrated likelihood ratio", None)


def test_the_table_for_people() -> None:
    """A blank group has a name to read, times are rounded down, and what never decides is marked."""
    blank = verdicts([0, 0, 0, 2, 4])
    (row,) = tabulate_looks([blank])
    assert row["unacceptable"] == "6 of 25"
    assert (row["bound"], row["alike"]) == ("87.84", "178.6")
    assert look_notes("months").startswith("Times are in the unit of “months”")


@pytest.mark.parametrize(
    ("time", "words"),
    [(137.0999, "137"), (99.999, "99.99"), (1642.99, "1642"), (123456.7, "123456"), (0.00123456, "0.001234"), (0, "0"),
     (433.0, "433"), (0.29, "0.29"), (1e-9, "0.000000001")],
)  # fmt: skip
def test_times_are_rounded_down(time: float, words: str) -> None:
    """Four digits, never longer than it is, never with an exponent."""
    assert time_down(float(time)) == words
