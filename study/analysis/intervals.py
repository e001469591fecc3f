"""Intervals: rows of (after, by] checked, and alike ones counted together."""

from __future__ import annotations

import math

import numpy as np

from study.errors import NotPossible


def checked_intervals(
    *, after_days: np.ndarray, by_days: np.ndarray, count: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows that tell something, as they came.

    Parameters
    ----------
    after_days, by_days : (n,) float arrays [d]
        Open on the left, closed on the right; (0, inf) tells nothing and is left out.
    count : (n,) float array, optional
        Coupons a row stands for.

    Returns
    -------
    tuple of three (r,) arrays
        Intervals and their counts; empty where no row tells anything.

    Raises
    ------
    NotPossible
        For intervals that are negative, empty or reversed, columns of different length, or counts of 0 or below.

    Source
    ------
    [turnbull1976] for the ends.
    """
    after, by = np.asarray(after_days, float), np.asarray(by_days, float)
    weight = np.ones(after.size) if count is None else np.asarray(count, float)
    if not after.size == by.size == weight.size:
        raise NotPossible(
            f"There are {after.size} left ends, {by.size} right ends and {weight.size} counts.",
            "Give one of each for every row.",
        )
    # A comparison with NaN is false, so that a missing end is refused with the others.
    if not (np.all(after >= 0) and np.all(after < by)):
        raise NotPossible(
            "An interval is negative, empty or reversed.",
            "Give the last look before it, and the first look at which it was.",
        )
    if not (np.all(weight > 0) and np.all(np.isfinite(weight))):
        raise NotPossible("A row stands for no coupon.", "Give a count of 1 or more.")
    tells = (after > 0) | np.isfinite(by)
    return (after, by, weight) if tells.all() else (after[tells], by[tells], weight[tells])


def tidy_intervals(
    *, after_days: np.ndarray, by_days: np.ndarray, count: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As ``checked_intervals``, alike ones counted together, in order of time."""
    after, by, weight = checked_intervals(after_days=after_days, by_days=by_days, count=count)
    if after.size == 0:
        return after, by, weight
    if np.all((after == 0) | np.isinf(by)):
        # One look each: the look alone orders the rows, which is much the faster sort with a million of them.
        bad = np.isfinite(by)
        days, back = np.unique(np.where(bad, by, after), return_inverse=True)
        good = np.bincount(back, weights=weight * ~bad, minlength=days.size)
        failed = np.bincount(back, weights=weight * bad, minlength=days.size)
        after, by = np.concatenate([0 * days, days]), np.concatenate([days, np.full(days.size, math.inf)])
        weight = np.concatenate([failed, good])
        kept = weight > 0
        return after[kept], by[kept], weight[kept]
    order = np.lexsort((by, after))
    after, by = after[order], by[order]
    first = np.concatenate([[True], (after[1:] != after[:-1]) | (by[1:] != by[:-1])])
    return after[first], by[first], np.add.reduceat(weight[order], np.flatnonzero(first))
