"""Band: limits of the acceptable share at any dwell, valid whatever the shape of the fall."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

MOST_DAYS = 120
"""Days at which limits from mixed intervals are worked out; where more end an interval, so many spread over them."""


def share_band(
    *, days: np.ndarray, read: np.ndarray, unacceptable: np.ndarray, confidence: float
) -> tuple[np.ndarray, np.ndarray]:
    """Valid limits of the acceptable share at each look: the nearest m looks on the safe side, counted exactly.

    Parameters
    ----------
    days : (K,) float array [d]
        Distinct dwells, rising.
    read, unacceptable : (K,) float arrays
        Coupons at each.
    confidence : float
        One-sided confidence of each limit.

    Returns
    -------
    tuple of two (K,) float arrays
        Lower and upper limit. A coupon looked at later is at least as likely to be unacceptable, so counting it can
        only lower the lower limit; the same backwards for the upper. Looks of one day are never divided.

    Source
    ------
    [kim2020], valid interval with m = ceil(n^(2/3)).
    """
    from scipy.special import betaincinv

    nearest = math.ceil(round(float(read.sum()) ** (2 / 3), 9))
    ahead, behind = (np.concatenate([[0.0], np.cumsum(values)]) for values in (read, unacceptable))
    k = days.size
    to = np.minimum(np.searchsorted(ahead, ahead[:-1] + nearest - 1e-9), k)
    back = np.maximum(np.searchsorted(ahead, ahead[1:] - nearest + 1e-9, side="right") - 1, 0)
    n, bad = np.round(ahead[to] - ahead[:-1]), np.round(behind[to] - behind[:-1])
    pairs, at = _distinct(n, bad)
    n, bad = pairs
    lower = np.where(bad == n, 0.0, 1 - betaincinv(bad + 1, np.maximum(n - bad, 1), confidence))[at]
    pairs, at = _distinct(np.round(ahead[1:] - ahead[back]), np.round(behind[1:] - behind[back]))
    n, bad = pairs
    upper = np.where(bad == 0, 1.0, 1 - betaincinv(np.maximum(bad, 1), n - bad + 1, 1 - confidence))[at]
    return lower, upper


def _distinct(n: np.ndarray, bad: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(2, p) distinct pairs of counts, and where each look finds its own: exact limits are slow and repeat."""
    whole, at = np.unique(n * (bad.max() + 1) + bad, return_inverse=True)
    return np.stack(np.divmod(whole, bad.max() + 1)), at


def mixed_band(
    *, after: np.ndarray, by: np.ndarray, weight: np.ndarray, confidence: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Valid limits of the acceptable share from mixed intervals, all of one side holding together.

    Parameters
    ----------
    after, by : (r,) float arrays [d]
        Rows that tell something, as ``tidy_intervals`` gives them.
    weight : (r,) float array
        Whole coupons a row stands for.
    confidence : float
        That every lower limit holds, and that every upper limit does.

    Returns
    -------
    tuple of three (K,) float arrays
        Distinct days at which an interval ends [d], ``MOST_DAYS`` of them at most, lower and upper limit of the share
        acceptable on each. The share never rises, so a lower limit holds back to the day before it and an upper one up
        to the day after it.

    Notes
    -----
    Let n coupons have independent lives T alike, S(t) = P(T > t), and let coupon i be looked at until C_i as long as it
    is acceptable, the looks chosen without regard to T.

    Lower, at t. R is the coupons with C_i >= t: given the looks, the acceptable of R at t are binomial (|R|, S(t)).
    A = coupons with after >= t are acceptable at t and lie in R, since after <= C. A coupon of R that is not among
    them has after < t <= C, so it was seen unacceptable at some look: it is one of F = coupons with a finite by and
    after < t. Hence the acceptable of R are at least A and the others at most F, the undecided and those that ended
    before t counted as unacceptable. The exact limit rises with acceptable and falls with unacceptable coupons, so the
    one from A of A + F is no higher than the one from R, which holds.

    Upper, at t. Of all n coupons, B = those with by <= t are unacceptable at t, hence at most as many as truly are; all
    others, undecided or no longer looked at, are counted as acceptable.

    Together. A falls and F rises only just after a distinct positive ``after``, so the lower limit is constant back to
    the one before, and S is least at its right end: all hold if those at the K distinct values of ``after`` do, each at
    1 - (1 - confidence)/K (Bonferroni). Upper limits likewise, over the distinct finite ``by``. The days that end an
    interval are taken as the days looked at. No shape, no independence between days and no large number is assumed;
    the price is width.

    Source
    ------
    [clopper1934] for each limit; the counting is ours.
    """
    from scipy.special import betaincinv

    ended = np.isfinite(by)
    passed, failed = np.unique(after[after > 0]), np.unique(by[ended])
    days = np.unique(np.concatenate([passed, failed]))
    if days.size > MOST_DAYS:
        days = days[np.unique(np.linspace(0, days.size - 1, MOST_DAYS).round().astype(int))]
    n, miss = float(weight.sum()), 1 - confidence
    good = n - _upto(after, weight, days, side="right")
    bad = _upto(after[ended], weight[ended], days, side="right")
    level = 1 - miss / max(min(passed.size, days.size), 1)
    lower = np.where(good == 0, 0.0, 1 - betaincinv(bad + 1, np.maximum(good, 1), level))
    gone = _upto(by[ended], weight[ended], days, side="left")
    level = 1 - miss / max(min(failed.size, days.size), 1)
    upper = np.where(gone == 0, 1.0, 1 - betaincinv(np.maximum(gone, 1), n - gone + 1, 1 - level))
    return days, lower, upper


def _upto(ends: np.ndarray, weight: np.ndarray, days: np.ndarray, *, side: Literal["left", "right"]) -> np.ndarray:
    """Coupons whose end lies before each day ("right"), or on or before it ("left")."""
    place = np.searchsorted(days, ends, side=side)
    return np.asarray(np.round(np.cumsum(np.bincount(place, weight, days.size + 1))[:-1]))
