"""Likelihood: three families on log time under interval censoring, climbed for many studies at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from study.analysis.intervals import tidy_intervals

DROWNED = 1e-140
"""A probability below this has lost its digits: where an interval has no more, the log-likelihood counts as -inf."""
SAFE_SPREAD = 5.0
"""Standard units that a search may begin from a family's centre without drowning any interval."""


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


def score(family: str, rows: Intervals, count: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log-likelihood (B,), its gradient (B, 2) and curvature (B, 2, 2) in intercept and slope on log time.

    The log-likelihood is -inf where an interval drowns (``DROWNED``), so that a search that climbs never enters there.
    """
    terms = []
    for ends, open_share in ((rows.log_by, 1.0), (rows.log_after, 0.0)):
        closed = np.isfinite(ends)
        x = np.where(closed, ends, 0.0)
        share, density, bend = standard_share(family, at[:, :1] + at[:, 1:] * x)
        terms.append((np.where(closed, share, open_share), density * closed, bend * closed, x))
    (upper, d_upper, b_upper, x_upper), (lower, d_lower, b_lower, x_lower) = terms
    survive = np.isinf(rows.log_by)
    reached = np.where(
        survive, share_beyond(family, at[:, :1] + at[:, 1:] * np.where(survive, rows.log_after, 0.0)), upper - lower
    )
    drowned = np.any((reached < DROWNED) & (count > 0), axis=1)
    reached = np.maximum(reached, DROWNED)
    value = np.where(drowned, -np.inf, np.sum(count * np.log(reached), axis=1))
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


def share_beyond(family: str, z: np.ndarray) -> np.ndarray:
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
        weibull, lognormal or loglogistic.
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
    slope = _safe_slope(ends, centre, at_most=1.5)
    at = np.stack([-slope * centre, slope], axis=1)
    value, gradient, curvature = score(family, rows, count, at)
    live = np.ones(centre.size, bool)
    for _ in range(rounds):
        index = np.flatnonzero(live)
        if index.size == 0:
            break
        ridge = 1e-9 * np.trace(curvature[index], axis1=1, axis2=2)[:, None, None] * np.eye(2)
        step = np.linalg.solve(-(curvature[index] + ridge), gradient[index][:, :, None])[:, :, 0]
        gain = np.sum(step * gradient[index], axis=1)
        settled = gain < 1e-13 * (1 + np.abs(value[index]))
        # The last step gains nothing that shows in the value, but intercept and slope still gain digits by it.
        last = settled & (at[index, 1] + step[:, 1] > 0)
        at[index[last]] += step[last]
        live[index[settled]] = False
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


def _safe_slope(log_ends: np.ndarray, log_centre: np.ndarray, *, at_most: float) -> np.ndarray:
    """(B,) a slope on log time at which no interval drowns, for lines that pass their centre at each log time."""
    farthest = np.max(np.abs(log_ends - log_centre[:, None]), axis=1)
    return np.minimum(at_most, SAFE_SPREAD / np.maximum(farthest, 1e-300))


def profile_lower_days(
    *, family: str, rows: Intervals, permitted_share: float, confidence: float, best: float, estimate_days: float
) -> float | None:
    """One-sided profile-likelihood lower limit of the time to the permitted share: approximate, never supporting.

    Parameters
    ----------
    family : str
        weibull, lognormal or loglogistic.
    rows : Intervals
        With their counts.
    permitted_share, confidence : float
        Permitted unacceptable share, and one-sided confidence: 0.95 lets the log-likelihood fall by half of 2.7055.
    best, estimate_days : float
        Largest log-likelihood, and the fitted time to the permitted share [d].

    Returns
    -------
    float or None
        None where the likelihood never falls far enough within a thousandth of the estimate.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtri

    start, wanted = standard_quantile(family, permitted_share), float(ndtri(confidence))
    near = [math.inf]
    """Slope where the last search ended: the next time asked is not far away."""

    def beyond(log_days: float) -> float:
        # The root of the fall is nearly a straight line in log time, so that few times need to be looked at.
        value, near[0] = _likeliest_through(family, rows, start, log_days, begin=near[0])
        return math.sqrt(2 * max(best - value, 0.0)) - wanted

    least, high, step = math.log(estimate_days / 1000), math.log(estimate_days), 0.3
    if beyond(high) >= 0:
        return estimate_days
    low = high - step
    while beyond(low) < 0:
        if low == least:
            return None
        step *= 2
        low, high = max(low - step, least), low
    return math.exp(brentq(beyond, low, high, xtol=1e-10))


def _likeliest_through(
    family: str, rows: Intervals, start: float, log_days: float, *, begin: float
) -> tuple[float, float]:
    """Largest log-likelihood of the curves whose standard score at ``log_days`` is ``start``, and its slope.

    Along those curves it is concave in the slope, so that damped Newton steps that only climb end at the top.
    """
    count = rows.count[None, :]
    toward = np.array([-log_days, 1.0])

    def at(slope: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        return score(family, rows, count, np.array([[start - slope * log_days, slope]]))

    slope, here = begin, None if math.isinf(begin) else at(begin)
    if here is None or not math.isfinite(here[0][0]):
        ends = np.where(np.isfinite(rows.log_by), rows.log_by, rows.log_after)[None, :]
        slope = float(_safe_slope(ends, np.array([log_days]), at_most=min(begin, 1.5))[0])
        here = at(slope)
    for _ in range(200):
        value, first = float(here[0][0]), float(here[1][0] @ toward)
        second = float(toward @ here[2][0] @ toward)
        step = first / -second if second < 0 else math.copysign(slope, first)
        step = min(max(step, -slope / 2), slope)
        tried = at(slope + step)
        while step * first > 1e-13 and tried[0][0] < value:
            step /= 2
            tried = at(slope + step)
        if tried[0][0] >= value:
            slope, here = slope + step, tried
        if step * first < 1e-12 or slope < 1e-6:
            break
    return float(here[0][0]), max(slope, 1e-6)
