"""Observed: lives whose end was seen on its day, such as release under a constant load."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence

import numpy as np

from study.errors import NotPossible
from study.model.estimate import GroupDifference, Observation, ObservedCurve


def seen_on_its_day(found: Sequence[Observation]) -> tuple[np.ndarray, np.ndarray] | None:
    """Days and ends of coupons that were watched every day, or None where some end was not seen on its day.

    Parameters
    ----------
    found : sequence of Observation

    Returns
    -------
    tuple of (n,) float array [d] and (n,) bool array, or None
        Dwell, and whether the coupon became unacceptable then; a coupon still acceptable is censored at its last look.
        An end is seen on its day when the look before it lies one day back.

    Source
    ------
    Section "what a pull tells" of DEVELOPERS.md.
    """
    told = [o for o in found if o.unacceptable is not None and o.dwell_days > 0]
    if not told or not any(o.unacceptable for o in told):
        return None
    if any(o.unacceptable and not (math.isfinite(o.by_days) and o.by_days - o.after_days <= 1) for o in told):
        return None
    days = np.array([o.by_days if o.unacceptable else o.after_days for o in told], float)
    return days, np.array([bool(o.unacceptable) for o in told])


def observed_curve(*, dwell_days: np.ndarray, ended: np.ndarray, confidence: float = 0.95) -> ObservedCurve:
    """Acceptable share against dwell where each end was seen on its day, with one-sided limits.

    Parameters
    ----------
    dwell_days : (n,) float array [d]
        Day of the end, or of the last look; above 0.
    ended : (n,) bool array
        Whether it became unacceptable then.
    confidence : float
        One-sided confidence of each limit.

    Returns
    -------
    ObservedCurve
        Limits are approximate (log-log transformed); a picture, never a deciding number.

    Raises
    ------
    NotPossible
        For days that are no dwell.

    Source
    ------
    [kaplan1958], limits on the log-log scale.
    """
    days, bad = _checked(dwell_days, ended)
    with warnings.catch_warnings():
        # The library asks another one for its clock in a way that other will give up; nothing here depends on it.
        warnings.simplefilter("ignore")
        from lifelines import KaplanMeierFitter

        fitted = KaplanMeierFitter().fit(days, bad, alpha=2 * (1 - confidence))
    share, limits = fitted.survival_function_, fitted.confidence_interval_
    at = share.index.to_numpy(float)
    steps = np.isin(at, days[bad])
    lower, upper = (limits.iloc[:, column].to_numpy(float)[steps] for column in (0, 1))
    good = share.iloc[:, 0].to_numpy(float)[steps]
    # Once all are gone the transformation has no value; the share itself is then the only honest limit.
    lower, upper = np.where(np.isnan(lower), 0.0, lower), np.where(np.isnan(upper), good, upper)
    return ObservedCurve(
        days=tuple(at[steps].tolist()), acceptable=tuple(good.tolist()), lower=tuple(lower.tolist()),
        upper=tuple(upper.tolist()), n=int(days.size), ended=int(bad.sum()), method="Kaplan-Meier, log-log limits",
    )  # fmt: skip


def group_difference(*, dwell_days: np.ndarray, ended: np.ndarray, group: Sequence[str]) -> GroupDifference:
    """Whether groups of coupons end alike, from ends seen on their days.

    Parameters
    ----------
    dwell_days : (n,) float array [d]
    ended : (n,) bool array
    group : sequence of n texts
        At least two different ones.

    Raises
    ------
    NotPossible
        For days that are no dwell, or a single group, or no end at all.

    Source
    ------
    [mantel1966], the log-rank test.
    """
    days, bad = _checked(dwell_days, ended)
    names = sorted(set(group))
    if len(names) < 2:
        raise NotPossible("One group has nothing to be compared with.", "Give coupons of two groups or more.")
    if not bad.any():
        raise NotPossible("No coupon has ended, so nothing can differ yet.", "Wait for the first, or compare readings.")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines.statistics import multivariate_logrank_test

        # Groups go in by their place in the alphabet, so that swapping rows cannot change a digit.
        order = np.lexsort((bad, days, np.array([names.index(name) for name in group])))
        tested = multivariate_logrank_test(days[order], np.array(group)[order], bad[order])
    return GroupDifference(
        tuple(names), float(tested.test_statistic), len(names) - 1, float(tested.p_value), "log-rank"
    )


def at_least_so_many(*, unacceptable: int, seen: int, share: float) -> float:
    """Probability of seeing at least so many unacceptable, were ``share`` the true unacceptable share.

    Parameters
    ----------
    unacceptable, seen : int
        Seen with their end, such as objects taken off display.
    share : float
        Permitted unacceptable share.

    Returns
    -------
    float
        1 where nothing was seen.

    Source
    ------
    [clopper1934], the exact binomial tail.
    """
    from scipy.stats import binom

    return float(binom.sf(unacceptable - 1, seen, share)) if seen else 1.0


def _checked(dwell_days: np.ndarray, ended: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    days, bad = np.asarray(dwell_days, float), np.asarray(ended, bool)
    if days.size == 0 or days.shape != bad.shape or not np.all(np.isfinite(days)) or np.any(days <= 0):
        raise NotPossible(
            "A dwell is missing, not above 0, or has no end beside it.", "Give one dwell above 0 d for each coupon."
        )
    return days, bad
