"""Lifetimes: an assumed shape fitted to the intervals, as a picture, and every case in which it would mislead."""

from __future__ import annotations

import math

import numpy as np

from study.analysis.likelihood import (
    Intervals,
    fitted_lines,
    profile_lower_days,
    share_beyond,
    standard_quantile,
)
from study.model.estimate import LifetimeFit

FAMILIES = ("weibull", "lognormal", "loglogistic")
FARTHEST = 30.0
"""Natural logarithm of how far a fitted time may lie from the last look before the fit says nothing."""
DRAWN = 61


def hard_case(
    *, after_days: np.ndarray, by_days: np.ndarray, count: np.ndarray | None = None, time_unit: str = "d"
) -> str | None:
    """The name of the case in which a fitted shape would mislead, or None.

    Parameters
    ----------
    after_days, by_days : (n,) float arrays [d]
        Intervals, open on the left and closed on the right.
    count : (n,) float array, optional
        Coupons a row stands for.
    time_unit : str
        Of the times named.

    Source
    ------
    [ayer1955] for the ordering of shares; the sign of the slope is that of the score at slope 0, because the
    log-likelihood is concave.
    """
    rows = Intervals.counted(after_days=after_days, by_days=by_days, count=count)
    after, by, n = np.exp(rows.log_after), np.exp(rows.log_by), rows.count
    bad = np.isfinite(by)
    if n.size == 0:
        return "no coupon tells anything"
    if not bad.any():
        return f"none unacceptable in {n.sum():g}"
    if not np.any(after > 0):
        first = by.min()
        return f"all unacceptable at the first pull ({first:g} {time_unit}".strip() + ")"
    one_look = bool(np.all((after == 0) | ~bad))
    if one_look and falling_share(days=np.where(bad, by, after), read=n, unacceptable=n * bad):
        return "the unacceptable share does not rise with dwell"
    if after.max() < by[bad].min():
        good_to, bad_from = (f"{days:g} {time_unit}".strip() for days in (after.max(), by[bad].min()))
        return f"clean separation: all acceptable up to {good_to}, all unacceptable from {bad_from}"
    if after.max() == by[bad].min():
        return f"the whole change falls at one pull ({after.max():g} {time_unit}".strip() + ")"
    return None


def falling_share(*, days: np.ndarray, read: np.ndarray, unacceptable: np.ndarray) -> bool:
    """Whether the likeliest slope of the unacceptable share on log dwell is 0 or below, though some are unacceptable.

    Parameters
    ----------
    days : (K,) float array [d]
        Dwell of each pull, above 0; may repeat.
    read, unacceptable : (K,) float arrays
        Counts.

    Source
    ------
    Score of the slope at slope 0 in cloglog(share) = a + b log dwell: its sign is the sign of the maximum-likelihood
    slope, since the log-likelihood is concave in a and b.
    """
    total, bad = float(read.sum()), float(unacceptable.sum())
    if bad == 0 or bad == total:
        return False
    excess = (unacceptable - read * bad / total) * np.log(days / days.max())
    return math.fsum(excess.tolist()) <= 1e-10 * math.fsum(np.abs(excess).tolist())


def lifetime_fit(
    *,
    family: str,
    after_days: np.ndarray,
    by_days: np.ndarray,
    count: np.ndarray | None = None,
    permitted_share: float = 0.10,
    confidence: float = 0.95,
    time_unit: str = "d",
) -> LifetimeFit:
    """One family fitted to the intervals, or the reason why not.

    Parameters
    ----------
    family : str
        weibull, lognormal or loglogistic.
    after_days, by_days : (n,) float arrays [d]
        Intervals, open on the left and closed on the right; (0, inf) rows tell nothing and are left out.
    count : (n,) float array, optional
        Coupons a row stands for.
    permitted_share, confidence : float
        Permitted unacceptable share, and one-sided confidence of the profile limit.
    time_unit : str
        Of the times named in a refusal.

    Returns
    -------
    LifetimeFit
        With ``refused`` in a hard case. Ordinary limits of the time to the permitted share are too short of the truth
        with 3 to 10 coupons per pull; they are a picture.
    """
    refused = hard_case(after_days=after_days, by_days=by_days, count=count, time_unit=time_unit)
    if refused is not None:
        return LifetimeFit(family=family, refused=refused)
    rows = Intervals.counted(after_days=after_days, by_days=by_days, count=count)
    at, value, settled = fitted_lines(family=family, rows=rows, count=rows.count[None, :])
    if not settled[0] or not np.all(np.isfinite(at)):
        return LifetimeFit(family=family, refused="the fit did not settle")
    intercept, slope = (float(v) for v in at[0])
    mu, sigma, likelihood = -intercept / slope, 1 / slope, float(value[0])
    finite = rows.log_by[np.isfinite(rows.log_by)]
    log_last = max(float(rows.log_after.max()), float(finite.max()))
    log_permitted = mu + sigma * standard_quantile(family, permitted_share)
    if max(abs(mu - log_last), abs(log_permitted - log_last)) > FARTHEST:
        return LifetimeFit(family=family, refused="the unacceptable share hardly rises with dwell")
    permitted, last = math.exp(log_permitted), math.exp(log_last)
    drawn = np.linspace(0, last, DRAWN)
    with np.errstate(divide="ignore"):
        share = share_beyond(family, intercept + slope * np.log(drawn))
    weibull = family == "weibull"
    return LifetimeFit(
        family=family,
        shape=slope if weibull else None,
        scale_days=math.exp(mu) if weibull else None,
        mu=None if weibull else mu,
        sigma=None if weibull else sigma,
        log_likelihood=likelihood,
        aic=4 - 2 * likelihood,
        t_permitted_days=permitted,
        t_permitted_profile_lower_days=profile_lower_days(
            family=family,
            rows=rows,
            permitted_share=permitted_share,
            confidence=confidence,
            best=likelihood,
            estimate_days=permitted,
        ),
        draw_days=tuple(drawn.tolist()),
        draw_acceptable=tuple(share.tolist()),
    )
