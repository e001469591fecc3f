"""Lifetimes: an assumed shape fitted to the intervals, as a picture, and every case in which it would mislead."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from study.analysis.intervals import tidy_intervals
from study.model.estimate import LifetimeFit

FAMILIES = ("weibull", "lognormal", "loglogistic")
PROFILE_DROP = 2.7055 / 2
"""Fall of the log-likelihood at a one-sided 95 % limit: half the 90 % point of chi-square with 1 freedom."""
FARTHEST = 30.0
"""Natural logarithm of how far a fitted time may lie from the last look before the fit says nothing."""
DRAWN = 61


def standard_share(family: str, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Share below ``z`` of a family's standard law on log time, its density, and the density's slope.

    Parameters
    ----------
    family : str
        weibull (smallest extreme value), lognormal (normal) or loglogistic (logistic).
    z : float array
    """
    from scipy.special import expit, ndtr

    if family == "weibull":
        power = np.exp(np.minimum(z, 300))
        density = np.exp(np.minimum(z, 300) - power)
        return -np.expm1(-power), density, density * (1 - power)
    if family == "lognormal":
        density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
        return ndtr(z), density, -z * density
    share = expit(z)
    density = share * (1 - share)
    return share, density, density * (1 - 2 * share)


def standard_quantile(family: str, share: float) -> float:
    """Where a family's standard law on log time has ``share`` below it."""
    from scipy.special import logit, ndtri

    if family == "weibull":
        return math.log(-math.log1p(-share))
    return float(ndtri(share) if family == "lognormal" else logit(share))


@dataclass(frozen=True)
class Intervals:
    """Alike intervals counted together; the left end 0 and the right end infinity are open ends."""

    log_after: np.ndarray
    log_by: np.ndarray
    count: np.ndarray

    @classmethod
    def counted(cls, *, after_days: np.ndarray, by_days: np.ndarray, count: np.ndarray | None = None) -> Intervals:
        """Rows that tell something, alike ones together, in order of time."""
        after, by, total = tidy_intervals(after_days=after_days, by_days=by_days, count=count)
        with np.errstate(divide="ignore"):
            return cls(np.log(after), np.log(by), total)


def hard_case(*, after_days: np.ndarray, by_days: np.ndarray, count: np.ndarray | None = None) -> str | None:
    """The name of the case in which a fitted shape would mislead, or None.

    Parameters
    ----------
    after_days, by_days : (n,) float arrays [d]
        Intervals, open on the left and closed on the right.
    count : (n,) float array, optional
        Coupons a row stands for.

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
        return f"all unacceptable at the first pull ({first:g} d)"
    one_look = bool(np.all((after == 0) | ~bad))
    if one_look and falling_share(days=np.where(bad, by, after), read=n, unacceptable=n * bad):
        return "the unacceptable share does not rise with dwell"
    if after.max() < by[bad].min():
        return f"clean separation: all acceptable up to {after.max():g} d, all unacceptable from {by[bad].min():g} d"
    if after.max() == by[bad].min():
        return f"the whole change falls at one pull ({after.max():g} d)"
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


def score(family: str, rows: Intervals, count: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log-likelihood (B,), its gradient (B, 2) and curvature (B, 2, 2) in intercept and slope on log time."""
    terms = []
    for ends, open_share in ((rows.log_by, 1.0), (rows.log_after, 0.0)):
        closed = np.isfinite(ends)
        x = np.where(closed, ends, 0.0)
        share, density, bend = standard_share(family, at[:, :1] + at[:, 1:] * x)
        terms.append((np.where(closed, share, open_share), density * closed, bend * closed, x))
    (upper, d_upper, b_upper, x_upper), (lower, d_lower, b_lower, x_lower) = terms
    survive = np.isinf(rows.log_by)
    reached = np.where(
        survive, _beyond(family, at[:, :1] + at[:, 1:] * np.where(survive, rows.log_after, 0.0)), upper - lower
    )
    reached = np.maximum(reached, 1e-140)
    value = np.sum(count * np.log(reached), axis=1)
    first = [d_upper - d_lower, d_upper * x_upper - d_lower * x_lower]
    second = [b_upper * x_upper**i - b_lower * x_lower**i for i in range(3)]
    gradient = np.stack([np.sum(count * f / reached, axis=1) for f in first], axis=1)
    curvature = np.empty((at.shape[0], 2, 2))
    for i in range(2):
        for j in range(2):
            curvature[:, i, j] = np.sum(
                count * (second[i + j] / reached - first[i] / reached * first[j] / reached), axis=1
            )
    return value, gradient, curvature


def _beyond(family: str, z: np.ndarray) -> np.ndarray:
    """Share above ``z``, without loss where it is small."""
    from scipy.special import expit, ndtr

    if family == "weibull":
        return np.asarray(np.exp(-np.exp(np.minimum(z, 300))))
    return np.asarray(ndtr(-z) if family == "lognormal" else expit(-z))


def fitted_lines(
    *, family: str, rows: Intervals, count: np.ndarray, rounds: int = 60
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Maximum-likelihood intercept and slope on log time for many sets of counts at once, by damped Newton steps.

    Parameters
    ----------
    family : str
        One of FAMILIES.
    rows : Intervals
        J intervals shared by all sets.
    count : (B, J) float array
        Coupons in each interval, for each of B sets; none of them a hard case.
    rounds : int
        Newton steps at most.

    Returns
    -------
    tuple of (B, 2), (B,) and (B,) arrays
        Intercept and slope (shape is the slope, scale exp(-intercept/slope)), log-likelihood, and whether it settled.

    Source
    ------
    The log-likelihood is concave in intercept and slope because the three densities are log-concave.
    """
    ends = np.where(np.isfinite(rows.log_by), rows.log_by, rows.log_after)
    centre = np.sum(count * ends, axis=1) / count.sum(axis=1)
    at = np.stack([-1.5 * centre, np.full(centre.size, 1.5)], axis=1)
    value, gradient, curvature = score(family, rows, count, at)
    live = np.ones(centre.size, bool)
    for _ in range(rounds):
        index = np.flatnonzero(live)
        if index.size == 0:
            break
        ridge = 1e-9 * np.trace(curvature[index], axis1=1, axis2=2)[:, None, None] * np.eye(2)
        step = np.linalg.solve(-(curvature[index] + ridge), gradient[index][:, :, None])[:, :, 0]
        gain = np.sum(step * gradient[index], axis=1)
        live[index[gain < 1e-13 * (1 + np.abs(value[index]))]] = False
        scale = np.ones(index.size)
        open_rows = np.flatnonzero(live[index])
        for _ in range(30):
            if open_rows.size == 0:
                break
            chosen = index[open_rows]
            tried = at[chosen] + scale[open_rows, None] * step[open_rows]
            v, g, c = score(family, rows, count[chosen], tried)
            better = (v >= value[chosen]) & (tried[:, 1] > 0)
            taken = chosen[better]
            at[taken], value[taken], gradient[taken], curvature[taken] = tried[better], v[better], g[better], c[better]
            open_rows = open_rows[~better]
            scale[open_rows] /= 2
        live[index[open_rows]] = False
    return at, value, ~live


def profile_lower_days(
    *, family: str, rows: Intervals, permitted_share: float, best: float, estimate_days: float, slope: float
) -> float | None:
    """One-sided profile-likelihood lower limit of the time to the permitted share: approximate, never supporting.

    Parameters
    ----------
    family : str
        One of FAMILIES.
    rows : Intervals
        With their counts.
    permitted_share : float
        Permitted unacceptable share.
    best, estimate_days : float
        Largest log-likelihood, and the fitted time to the permitted share [d].
    slope : float
        The fitted slope on log time; the search starts well below it, where no share is lost to rounding.

    Returns
    -------
    float or None
        None where the likelihood never falls far enough within a thousandth of the estimate.
    """
    from scipy.optimize import brentq

    start = standard_quantile(family, permitted_share)
    count = rows.count[None, :]

    near = [slope / 64]
    """Where the last search ended: the next time asked is not far away."""

    def drop(log_days: float) -> float:
        value, slope = -math.inf, near[0]
        for _ in range(200):
            at = np.array([[start - slope * log_days, slope]])
            v, g, c = score(family, rows, count, at)
            value = float(v[0])
            toward = np.array([-log_days, 1.0])
            first, second = float(g[0] @ toward), float(toward @ c[0] @ toward)
            step = first / -second if second < 0 else math.copysign(slope, first)
            step = min(max(step, -slope / 2), slope)
            while (
                step * first > 1e-13
                and score(family, rows, count, np.array([[start - (slope + step) * log_days, slope + step]]))[0][0]
                < value
            ):
                step /= 2
            slope += step
            if abs(step * first) < 1e-12 or slope < 1e-6:
                break
        near[0] = max(slope, 1e-6)
        return best - value - PROFILE_DROP

    low, high = math.log(estimate_days / 1000), math.log(estimate_days)
    if drop(low) < 0:
        return None
    return math.exp(brentq(drop, low, high, xtol=1e-11))


def lifetime_fit(
    *,
    family: str,
    after_days: np.ndarray,
    by_days: np.ndarray,
    count: np.ndarray | None = None,
    permitted_share: float = 0.10,
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
    permitted_share : float
        Permitted unacceptable share.

    Returns
    -------
    LifetimeFit
        With ``refused`` in a hard case. Ordinary limits of the time to the permitted share are too short of the truth
        with 3 to 10 coupons per pull; they are a picture.
    """
    refused = hard_case(after_days=after_days, by_days=by_days, count=count)
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
        share = _beyond(family, intercept + slope * np.log(drawn))
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
            best=likelihood,
            estimate_days=permitted,
            slope=slope,
        ),
        draw_days=tuple(drawn.tolist()),
        draw_acceptable=tuple(share.tolist()),
    )
