"""Decline: the readings themselves against dwell, and how long they stay within the limit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from study.analysis.tolerance import reading_factor
from study.model.estimate import DeclineFit

LARGEST_DAY_SHARE = 0.97
DRAWN = 61
SCANNED = 201


@dataclass(frozen=True)
class Line:
    """A line through pull means at one day share, with what its bounds need."""

    day_share: float
    intercept: float
    slope: float
    weight: float
    centre: float
    spread: float
    """Weighted sum of squares of the time scale about its centre."""
    between: float
    """Weighted sum of squares of the pull means about the line."""
    sd: float
    """Scatter of one reading, day effect included."""
    freedom: int

    def mean(self, g: np.ndarray) -> np.ndarray:
        """The line at ``g`` on the time scale."""
        return np.asarray(self.intercept + self.slope * g)

    def leverage(self, g: np.ndarray) -> np.ndarray:
        """Variance of the line at ``g``, as a multiple of the variance of one reading."""
        return np.asarray(1 / self.weight + (g - self.centre) ** 2 / self.spread)


@dataclass(frozen=True)
class PulledReadings:
    """Readings of K pulls on their scales, turned so that unacceptable lies above."""

    g: np.ndarray
    """(K,) dwell on the time scale."""
    means: np.ndarray
    counts: np.ndarray
    within: float
    """Sum of squares of the readings about their pull's mean."""

    @property
    def n(self) -> int:
        """Readings in all."""
        return int(self.counts.sum())


def pulled_readings(*, g: np.ndarray, pull: np.ndarray, y: np.ndarray) -> PulledReadings:
    """Means, counts and within-pull scatter.

    Parameters
    ----------
    g : (K,) float array
        Dwell of each pull on the time scale.
    pull : (N,) int array
        The pull of each reading, 0 to K - 1.
    y : (N,) float array
        Readings on their scale.
    """
    order = np.lexsort((y, pull))
    pull, y = pull[order], y[order]
    counts = np.bincount(pull, minlength=g.size)
    means = np.bincount(pull, weights=y, minlength=g.size) / counts
    return PulledReadings(g, means, counts, float(np.sum((y - means[pull]) ** 2)))


def weighted_line(pulls: PulledReadings, *, day_share: float) -> Line:
    """Weighted least squares of the pull means at one day share.

    Source
    ------
    Generalised least squares with compound symmetry inside a pull: a_k = rho + (1 - rho)/m_k, w_k = 1/a_k;
    s^2 = [Qb + SSw/(1 - rho)]/(N - 2).
    """
    w = 1 / (day_share + (1 - day_share) / pulls.counts)
    weight = float(w.sum())
    centre = float(np.sum(w * pulls.g) / weight)
    spread = float(np.sum(w * (pulls.g - centre) ** 2))
    slope = float(np.sum(w * (pulls.g - centre) * pulls.means) / spread)
    intercept = float(np.sum(w * pulls.means) / weight - slope * centre)
    between = float(np.sum(w * (pulls.means - intercept - slope * pulls.g) ** 2))
    freedom = pulls.n - 2
    sd = float(np.sqrt((between + pulls.within / (1 - day_share)) / freedom))
    return Line(day_share, intercept, slope, weight, centre, spread, between, sd, freedom)


def largest_day_share(pulls: PulledReadings) -> float:
    """The day share that the readings cannot rule out: its upper limit from the pure-error F.

    Returns
    -------
    float
        Root in [0, 0.97]; 0 with one coupon per pull (the bound is then exact for any share).

    Source
    ------
    Pure-error F test of the line, inverted; level 70 %, or 80 % with 3 or 4 pulls.
    """
    from scipy.optimize import brentq
    from scipy.stats import f

    k, n = pulls.g.size, pulls.n
    if n == k:
        return 0.0
    level = 0.80 if k <= 4 else 0.70
    wanted = float(f.ppf(1 - level, k - 2, n - k))

    def excess(share: float) -> float:
        return day_ratio(pulls, day_share=share) - wanted

    if excess(0.0) < 0:
        return 0.0
    if excess(LARGEST_DAY_SHARE) > 0:
        return LARGEST_DAY_SHARE
    return float(brentq(excess, 0.0, LARGEST_DAY_SHARE, xtol=1e-14))


def day_ratio(pulls: PulledReadings, *, day_share: float = 0.0) -> float:
    """Scatter of pulls about the line over scatter inside pulls; the pure-error F at day share 0."""
    k, n = pulls.g.size, pulls.n
    line = weighted_line(pulls, day_share=day_share)
    return float((line.between / (k - 2)) / (pulls.within / ((1 - day_share) * (n - k))))


def adequacy(pulls: PulledReadings) -> float | None:
    """p of a quadratic term added to the line of pull means; None with three pulls or fewer.

    Source
    ------
    F(1, K - 3) of x squared, weights the coupons of each pull.
    """
    from scipy.stats import f

    k = pulls.g.size
    if k <= 3 or np.unique(pulls.g).size < 3:
        return None
    x = pulls.g / pulls.g.max()
    root = np.sqrt(pulls.counts)
    columns = np.column_stack([np.ones(k), x, x**2]) * root[:, None]
    rest = [float(np.sum((pulls.means * root - c @ np.linalg.lstsq(c, pulls.means * root, rcond=None)[0]) ** 2))
            for c in (columns[:, :2], columns)]  # fmt: skip
    if rest[1] <= 1e-14 * max(rest[0], 1e-300):
        return 0.0 if rest[0] > 0 else 1.0
    return float(f.sf((rest[0] - rest[1]) / (rest[1] / (k - 3)), 1, k - 3))


def upper_reading(line: Line, g: np.ndarray, *, share: float, confidence: float) -> np.ndarray:
    """One-sided tolerance bound of the readings at ``g``: all but ``share`` lie below it, with ``confidence``.

    Source
    ------
    [owen1968]
    """
    factor = reading_factor(leverage=line.leverage(g), freedom=line.freedom, share=1 - share, confidence=confidence)
    return np.asarray(line.mean(g) + line.sd * factor)


def upper_mean(line: Line, g: np.ndarray, *, confidence: float) -> np.ndarray:
    """One-sided confidence limit of the mean line at ``g``, [ich-q1e]; says nothing about the worst coupons."""
    from scipy.special import stdtrit

    return np.asarray(line.mean(g) + line.sd * np.sqrt(line.leverage(g)) * stdtrit(line.freedom, confidence))


def first_crossing(
    bound: Callable[[np.ndarray], np.ndarray], *, limit: float, first: float, cap: float
) -> tuple[float, bool]:
    """Largest g up to which ``bound`` stays within ``limit``, never bridging a stretch where it does not.

    Parameters
    ----------
    bound : function of a float array on the time scale
    limit : float
        Unacceptable above it.
    first, cap : float
        First pull and furthest look, on the time scale.

    Returns
    -------
    tuple of float and bool
        The crossing on the time scale, 0 if never within, and whether the bound is still within at the cap.
    """
    from scipy.optimize import brentq

    within_first = bool(bound(np.array([first]))[0] <= limit)
    grid = np.linspace(first, cap, SCANNED) if within_first else np.linspace(0.0, first, SCANNED)
    within = bound(grid) <= limit
    if within_first:
        if within.all():
            return cap, True
        step = int(np.argmin(within))
        inside, outside = grid[step - 1], grid[step]
    else:
        if not within.any():
            return 0.0, False
        step = int(np.flatnonzero(within)[-1])
        inside, outside = grid[step], grid[step + 1]
    crossing = float(brentq(lambda g: float(bound(np.array([g]))[0]) - limit, inside, outside, xtol=1e-13))
    # The safe side of the last rounding.
    return (crossing if bound(np.array([crossing]))[0] <= limit else np.nextafter(crossing, inside)), False


@dataclass(frozen=True)
class Scales:
    """How readings and dwell are turned before a line is drawn, and back."""

    value_scale: str
    time_scale: str
    sign: int
    """-1 where a reading is unacceptable below the limit."""

    def g(self, days: np.ndarray | float) -> np.ndarray:
        """Dwell on the time scale."""
        return np.sqrt(days) if self.time_scale == "sqrt" else np.asarray(days, float)

    def days(self, g: np.ndarray | float) -> np.ndarray:
        """Back to days."""
        return np.asarray(g, float) ** 2 if self.time_scale == "sqrt" else np.asarray(g, float)

    def y(self, values: np.ndarray | float) -> np.ndarray:
        """A reading on its scale, turned so that unacceptable lies above."""
        return np.asarray(self.sign * (np.log(values) if self.value_scale == "log" else np.asarray(values, float)))

    def value(self, y: np.ndarray) -> np.ndarray:
        """Back to the unit of the reading."""
        return np.asarray(np.exp(self.sign * y) if self.value_scale == "log" else self.sign * y)


def decline_fit(
    *,
    pull_days: np.ndarray,
    pull: np.ndarray,
    values: np.ndarray,
    limit: float,
    unacceptable: str,
    value_scale: str,
    time_scale: str,
    permitted_share: float,
    confidence: float,
    horizon_days: float,
    time_unit: str = "d",
) -> DeclineFit:
    """Readings against dwell, and the lower bound of the dwell at which the permitted share is unacceptable.

    Parameters
    ----------
    pull_days : (K,) float array [d]
        Smallest dwell of each pull, 0 for time zero; typically 0 to 1 100.
    pull : (N,) int array
        The pull of each reading.
    values : (N,) float array [unit of the limit]
        Exact readings.
    limit : float
        Equal to it is acceptable.
    unacceptable : str
        "above" or "below".
    value_scale, time_scale : str
        "log" or "as read"; "sqrt" or "linear".
    permitted_share, confidence : float
        Permitted unacceptable share and one-sided confidence.
    horizon_days : float [d]
        Furthest dwell looked at: the last pull, or further where extrapolation is declared.
    time_unit : str
        Of the times named in words.

    Returns
    -------
    DeclineFit
        ``lower_days`` is 0 if the bound is never within the limit, None with ``why`` where the limit is not reached
        by the horizon or nothing can be computed; the figures that never decide likewise, without a word.

    Source
    ------
    [owen1968] at the largest day share the pure-error F leaves open. The square root of dwell is exact for grip that
    grows so and cautious where it grows faster.
    """
    scales = Scales(value_scale, time_scale, 1 if unacceptable == "above" else -1)
    k, n = pull_days.size, values.size
    empty = DeclineFit(time_scale=time_scale, value_scale=value_scale, limit=limit, n=n, pulls=k)
    why = _refusal(pull_days, values, limit, value_scale)
    if why is not None:
        return replace(empty, why=why)
    pulls = pulled_readings(g=scales.g(pull_days), pull=pull, y=scales.y(values))
    scale = max(float(np.max(np.abs(pulls.means))), 1e-300)
    if n > k and pulls.within <= 1e-20 * scale**2 * n:
        return replace(empty, why="the readings of each pull are all equal, so nothing says how much coupons scatter")
    alike = weighted_line(pulls, day_share=0.0)
    if alike.sd <= 1e-10 * scale:
        return replace(empty, why="the readings lie exactly on a line, so nothing says how much coupons scatter")
    wary = weighted_line(pulls, day_share=largest_day_share(pulls))
    asked: dict[str, Any] = {"share": permitted_share, "confidence": confidence}
    level, first, cap = float(scales.y(limit)), float(pulls.g.min()), float(scales.g(horizon_days))
    cap = max(cap, first)

    def at(line: Line) -> tuple[float, bool]:
        return first_crossing(lambda g: upper_reading(line, g, **asked), limit=level, first=first, cap=cap)

    (crossing, beyond), (alike_crossing, alike_beyond) = at(wary), at(alike)
    p, drawn = adequacy(pulls), np.linspace(0, cap, DRAWN)
    mean_crossing, mean_beyond = first_crossing(
        lambda g: upper_mean(alike, g, confidence=confidence), limit=level, first=first, cap=cap
    )
    return replace(
        empty,
        intercept=scales.sign * alike.intercept,
        slope=scales.sign * alike.slope,
        residual_sd=alike.sd,
        day_share=wary.day_share,
        lower_days=None if beyond else float(scales.days(crossing)),
        lower_alike_days=None if alike_beyond else float(scales.days(alike_crossing)),
        mean_limit_days=None if mean_beyond else float(scales.days(mean_crossing)),
        adequacy_p=p,
        adequate=p is None or p >= 0.05,
        not_reached=beyond,
        why=f"the bound is still within the limit at {horizon_days:g} {time_unit}".strip() if beyond else None,
        draw_days=tuple(scales.days(drawn).tolist()),
        draw_mean=tuple(scales.value(wary.mean(drawn)).tolist()),
        draw_bound=tuple(scales.value(upper_reading(wary, drawn, **asked)).tolist()),
    )


def _refusal(pull_days: np.ndarray, values: np.ndarray, limit: float, value_scale: str) -> str | None:
    """Why no line can be drawn, or None."""
    if not np.all(np.isfinite(pull_days)) or np.any(pull_days < 0):
        return "a dwell is missing or negative"
    if not np.isfinite(limit) or (value_scale == "log" and limit <= 0):
        return f"a limit of {limit:g} cannot be judged on this scale"
    distinct = np.unique(pull_days).size
    if distinct < 3:
        return f"readings from {distinct} different dwells do not show a line; three pulls are needed"
    if not np.all(np.isfinite(values)):
        return "a reading is not a number"
    if value_scale == "log" and np.any(values <= 0):
        return "a reading of 0 or below has no logarithm; declare the scale as read, or type it as below the least read"
    return None
