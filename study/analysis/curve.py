"""Curve: acceptable share against dwell time, with no shape assumed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from study.analysis.band import mixed_band, share_band
from study.analysis.intervals import checked_intervals
from study.errors import NotPossible
from study.model.estimate import ShareCurve

CERTIFICATE = 1e-8
"""Largest directional derivative allowed at the solution, per coupon."""
ROUNDS = 5000
NEAR = 0.3
"""Certificate per coupon from which on it is known well enough where mass lies to move all of it together."""
MOST_STEPS = 400
"""Steps of a curve up to which all of them are moved together; more would cost more than they save."""


def share_curve(
    *, after_days: np.ndarray, by_days: np.ndarray, count: np.ndarray | None = None, confidence: float = 0.95
) -> ShareCurve:
    """Share of coupons still acceptable against dwell time: the nonparametric maximum-likelihood estimate.

    Parameters
    ----------
    after_days : (n,) float array [d]
        Last dwell at which coupon i was seen acceptable; 0 if never looked at before.
    by_days : (n,) float array [d]
        First dwell at which it was seen unacceptable; inf if never.
    count : (n,) int array, optional
        Coupons a row stands for; 1 as a rule.
    confidence : float
        One-sided confidence of the band: of each limit by itself for one-look data, of all lower (or all upper) limits
        together for mixed intervals.

    Returns
    -------
    ShareCurve

    Raises
    ------
    NotPossible
        For intervals that are reversed, empty or negative, counts of 0 or below, or no coupon that tells anything.

    Source
    ------
    [turnbull1976]; [ayer1955] for one look per coupon, [groeneboom1992] for mixed intervals. Bands: ``share_band`` and
    ``mixed_band``.
    """
    after, by, weight = checked_intervals(after_days=after_days, by_days=by_days, count=count)
    if after.size == 0:
        raise NotPossible("No coupon tells anything about its time to unacceptable.", "Pull and read at least one.")
    one_look = bool(np.all((after == 0) | np.isinf(by)))
    if one_look:
        return _one_look_curve(after, by, weight, confidence)
    return _mixed_curve(after, by, weight, confidence)


def _one_look_curve(after: np.ndarray, by: np.ndarray, weight: np.ndarray, confidence: float) -> ShareCurve:
    """Weighted isotonic regression of the unacceptable fraction on dwell time; exact."""
    from scipy.optimize import isotonic_regression

    bad = np.isfinite(by)
    days, back = np.unique(np.where(bad, by, after), return_inverse=True)
    read = np.bincount(back, weights=weight)
    unacceptable = np.bincount(back, weights=weight * bad)
    fitted = np.clip(isotonic_regression(unacceptable / read, weights=read).x, 0, 1)
    starts = np.flatnonzero(np.diff(fitted, prepend=0.0) > 1e-12)
    left = np.concatenate([[0.0], days])[starts]
    mass = np.diff(fitted[starts], prepend=0.0)
    lower, upper = share_band(days=days, read=read, unacceptable=unacceptable, confidence=confidence)
    # Where shares fall with dwell the two limits look at coupons that contradict each other and may cross: widened to
    # hold the curve, which keeps both valid.
    lower, upper = np.minimum(lower, 1 - fitted), np.maximum(upper, 1 - fitted)
    return _steps(
        left, days[starts], mass, tail_from=float(days[-1]), method="weighted isotonic regression, one look per coupon",
        certificate=0.0, band=(days, lower, upper), band_method="each limit by itself",
    )  # fmt: skip


def _steps(
    left: np.ndarray, right: np.ndarray, mass: np.ndarray, *, tail_from: float, method: str, certificate: float,
    band: tuple[np.ndarray, np.ndarray, np.ndarray], band_method: str,
) -> ShareCurve:  # fmt: skip
    kept = mass > 1e-12
    left, right, mass = left[kept], right[kept], mass[kept]
    rest = 1 - float(mass[np.isfinite(right)].sum())
    finite = np.isfinite(right)
    left, right, mass = left[finite], right[finite], mass[finite]
    acceptable = np.clip(1 - np.cumsum(mass), 0, 1)
    if rest > 1e-12:
        left, right = np.append(left, tail_from), np.append(right, math.inf)
        mass, acceptable = np.append(mass, rest), np.append(acceptable, 0.0)
    days, lower, upper = band
    return ShareCurve(
        after_days=tuple(left.tolist()), by_days=tuple(right.tolist()), mass=tuple(mass.tolist()),
        acceptable=tuple(acceptable.tolist()), method=method, certificate=certificate,
        band_days=tuple(days.tolist()), band_lower=tuple(lower.tolist()), band_upper=tuple(upper.tolist()),
        band_method=band_method,
    )  # fmt: skip


@dataclass(frozen=True)
class _Support:
    """Where mass can lie, and which stretch of it each row may use."""

    left: np.ndarray
    right: np.ndarray
    low: np.ndarray
    high: np.ndarray
    """First and last support interval of each row."""


def _support(after: np.ndarray, by: np.ndarray) -> _Support:
    """Innermost intervals: a left end directly followed by a right end, in order of time.

    At one time a right end (closed) comes before a left end (open).
    """
    ends, starts = np.unique(by), np.unique(after)
    times = np.concatenate([ends, starts])
    order = np.argsort(times, kind="stable")  # right ends were put first, and stay first at one time
    times, opens = times[order], order >= ends.size
    inner = np.flatnonzero(opens[:-1] & ~opens[1:])
    left, right = times[inner], times[inner + 1]
    low = np.searchsorted(left, after, side="left")
    high = np.searchsorted(right, by, side="right") - 1
    return _Support(left, right, low, high)


def _mixed_curve(after: np.ndarray, by: np.ndarray, weight: np.ndarray, confidence: float) -> ShareCurve:
    """EM steps, each with a convex-minorant step and one of all masses together, until the certificate holds."""
    support = _support(after, by)
    total = float(weight.sum())
    now = _Point(np.full(support.left.size, 1 / support.left.size), _Stretches.of(support, weight))
    worst = math.inf
    for _ in range(ROUNDS):
        slope = now.slope()
        worst = float(slope.max()) - total
        if worst <= CERTIFICATE * total:
            break
        now = _minorant_step(now.moved(now.mass * slope))
        if worst < NEAR * total:
            now = _newton_step(now)
    else:
        raise NotPossible(
            "The acceptable share did not settle: its certificate stayed above the bound.",
            "Send this table to the makers.",
        )
    days, lower, upper = mixed_band(after=after, by=by, weight=weight, confidence=confidence)
    fallen = np.concatenate([[0.0], np.cumsum(now.mass)])[np.searchsorted(support.right, days, side="right")]
    # Widened, if need be, to hold the curve, which keeps both valid.
    lower, upper = np.minimum(lower, 1 - fallen), np.maximum(upper, 1 - fallen)
    return _steps(
        support.left, support.right, now.mass, tail_from=float(support.left[-1]),
        method="EM with iterative convex minorant steps, mixed intervals", certificate=max(worst, 0.0) / total,
        band=(days, np.clip(lower, 0, 1), np.clip(upper, 0, 1)), band_method="all limits together",
    )  # fmt: skip


@dataclass(frozen=True)
class _Stretches:
    """Rows that may use the same stretch of the support, counted together."""

    low: np.ndarray
    past: np.ndarray
    """First support interval of each stretch, and the one past its last."""
    weight: np.ndarray
    size: int

    @staticmethod
    def of(support: _Support, weight: np.ndarray) -> _Stretches:
        size = support.left.size
        keys, place = np.unique(support.low * (size + 1) + support.high + 1, return_inverse=True)
        low, past = np.divmod(keys, size + 1)
        return _Stretches(low, past, np.bincount(place, weight), size)

    def sums(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Values added up where stretches begin, and where they have ended."""
        return np.bincount(self.low, values, self.size + 1), np.bincount(self.past, values, self.size + 1)


class _Point:
    """One curve on the way: its masses, and what every use of it needs, worked out once."""

    def __init__(self, mass: np.ndarray, rows: _Stretches) -> None:
        self.mass, self.rows = mass, rows
        running = np.zeros(mass.size + 1)
        mass.cumsum(out=running[1:])
        self.reached = np.maximum(running[rows.past] - running[rows.low], 1e-300)
        # A plain sum: a threaded product of so few numbers waits for the other core longer than it saves.
        self.value = float(np.sum(rows.weight * np.log(self.reached)))

    def moved(self, mass: np.ndarray) -> _Point:
        """The curve with other masses, made to add up to one."""
        return _Point(mass / mass.sum(), self.rows)

    def slope(self) -> np.ndarray:
        """Directional derivative of the log-likelihood towards each support interval."""
        begin, end = self.rows.sums(self.rows.weight / self.reached)
        return np.asarray(np.cumsum(begin - end)[:-1])


def _minorant_step(now: _Point) -> _Point:
    """One Newton-like step on the running share, kept rising by weighted isotonic regression, halved until it gains."""
    from scipy.optimize import isotonic_regression

    if now.mass.size == 1:
        return now
    first = now.rows.weight / now.reached
    begin, end = now.rows.sums(first)
    begin_bend, end_bend = now.rows.sums(first / now.reached)
    gradient, curvature = (end - begin)[1:-1], np.maximum((end_bend + begin_bend)[1:-1], 1e-12)
    share = now.mass.cumsum()[:-1] + gradient / curvature
    reached = np.zeros(now.mass.size + 1)
    reached[1:-1] = np.minimum(np.maximum(isotonic_regression(share, weights=curvature).x, 0), 1)
    reached[-1] = 1
    aim = reached[1:] - reached[:-1]
    step = 1.0
    while step > 1e-6:
        tried = now.moved(np.maximum(now.mass + step * (aim - now.mass), 0.0))
        if tried.value > now.value:
            return tried
        step /= 2
    return now


def _newton_step(now: _Point) -> _Point:
    """One Newton step of all masses above zero together, halved until it gains; none takes it below zero.

    The convex-minorant steps find in a few rounds where mass lies, and then settle slowly; this one settles quickly.
    """
    from scipy.linalg.lapack import dposv

    steps = np.flatnonzero(now.mass > 0)
    if not 1 < steps.size <= MOST_STEPS:
        return now
    k, before = steps.size, np.concatenate([[0], np.cumsum(now.mass > 0)])
    low, past = before[now.rows.low], before[now.rows.past]
    first = now.rows.weight / now.reached
    bend = first / now.reached
    gradient = (np.bincount(past, first, k + 1) - np.bincount(low, first, k + 1))[1:-1]
    cross = np.bincount(low * (k + 1) + past, bend, (k + 1) ** 2).reshape(k + 1, k + 1)
    curvature = (np.diag(cross.sum(axis=0) + cross.sum(axis=1)) - cross - cross.T)[1:-1, 1:-1]
    # A little more on the diagonal, so that shares that nothing tells apart stay where they are.
    curvature += np.diag(1e-8 * curvature.diagonal())
    _, solved, failed = dposv(curvature, gradient)
    if failed or not np.all(np.isfinite(solved)):
        return now
    reached = np.zeros(k + 1)
    reached[1:-1] = solved
    move = reached[1:] - reached[:-1]
    falling = move < 0
    step = min(1.0, float(np.min(now.mass[steps][falling] / -move[falling], initial=np.inf)))
    while step > 1e-3:
        mass = now.mass.copy()
        mass[steps] = np.maximum(mass[steps] + step * move, 0.0)
        tried = now.moved(mass)
        if tried.value > now.value:
            return tried
        step /= 2
    return now
