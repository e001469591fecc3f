"""Planning, readings: the decline bound of many invented studies of one design at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from study.analysis.decline import LARGEST_DAY_SHARE, SCANNED
from study.analysis.tolerance import reading_factor

HALVINGS = 60
NODES = 600
"""Leverages at which the tolerance factor is worked out; between them a cubic, good to 1e-8 of the factor."""


@dataclass(frozen=True)
class DeclineBounds:
    """What ``decline_fit`` says of each of n studies."""

    g: np.ndarray
    """(n,) bound on the time scale; the cap where it is not reached."""
    day_share: np.ndarray
    """(n,) the share that cannot be ruled out."""
    adequate: np.ndarray
    """(n,) whether the line fits."""


@dataclass(frozen=True)
class _Lines:
    intercept: np.ndarray
    slope: np.ndarray
    weight: np.ndarray
    centre: np.ndarray
    spread: np.ndarray
    between: np.ndarray


def decline_bounds(
    *,
    g: np.ndarray,
    counts: np.ndarray,
    y: np.ndarray,
    limit: float,
    cap: float,
    permitted_share: float,
    confidence: float,
) -> DeclineBounds:
    """The bound of section "decline" in DEVELOPERS.md, study by study, as ``decline.decline_fit`` gives it.

    Parameters
    ----------
    g : (K,) float array
        Pulls on the time scale, time zero as 0; three different ones at least.
    counts : (K,) int array
        Coupons read at each pull.
    y : (n, K, max count) float array
        Readings on their scale, unacceptable above; of pull k the first ``counts[k]`` count.
    limit, cap : float
        Limit on the reading's scale; furthest look on the time scale.
    permitted_share, confidence : float

    Source
    ------
    [owen1968], as in ``decline``.
    """
    there = np.arange(y.shape[2]) < counts[:, None]
    means = np.sum(y * there, axis=2) / counts
    within = np.sum((y - means[:, :, None]) ** 2 * there, axis=(1, 2))
    total = int(counts.sum())
    share = _largest_day_share(g, counts, means, within)
    line = _lines(g, counts, means, share)
    sd = np.sqrt((line.between + within / (1 - share)) / (total - 2))

    def leverage(at: np.ndarray) -> np.ndarray:
        return np.asarray(1 / line.weight[:, None] + (at - line.centre[:, None]) ** 2 / line.spread[:, None])

    first = float(g.min())
    span = leverage(np.broadcast_to(np.linspace(0, max(cap, first), SCANNED), (means.shape[0], SCANNED)))
    centre_least = 1 / float(line.weight.max())
    factor = _factor(centre_least, float(span.max()), total - 2, permitted_share, confidence)

    def bound(at: np.ndarray) -> np.ndarray:
        mean = line.intercept[:, None] + line.slope[:, None] * at
        return np.asarray(mean + sd[:, None] * factor(leverage(at)))

    crossing = _first_crossings(bound, limit=limit, first=first, cap=max(cap, first), n=means.shape[0])
    return DeclineBounds(crossing, share, _adequate(g, counts, means))


def _lines(g: np.ndarray, counts: np.ndarray, means: np.ndarray, share: np.ndarray) -> _Lines:
    """``decline.weighted_line`` of every study at its own day share."""
    w = 1 / (share[:, None] + (1 - share[:, None]) / counts)
    weight = w.sum(axis=1)
    centre = (w * g).sum(axis=1) / weight
    off = g - centre[:, None]
    spread = (w * off**2).sum(axis=1)
    slope = (w * off * means).sum(axis=1) / spread
    intercept = (w * means).sum(axis=1) / weight - slope * centre
    between = (w * (means - intercept[:, None] - slope[:, None] * g) ** 2).sum(axis=1)
    return _Lines(intercept, slope, weight, centre, spread, between)


def _largest_day_share(g: np.ndarray, counts: np.ndarray, means: np.ndarray, within: np.ndarray) -> np.ndarray:
    """``decline.largest_day_share`` of every study, by halving."""
    from scipy.stats import f

    k, total = g.size, int(counts.sum())
    zero = np.zeros(means.shape[0])
    if total == k:
        return zero
    wanted = float(f.ppf(1 - (0.80 if k <= 4 else 0.70), k - 2, total - k))

    def excess(share: np.ndarray) -> np.ndarray:
        between = _lines(g, counts, means, share).between
        return np.asarray((between / (k - 2)) / (within / ((1 - share) * (total - k))) - wanted)

    low, high = zero, np.full_like(zero, LARGEST_DAY_SHARE)
    at_most = excess(high) > 0
    none = excess(low) < 0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        above = excess(middle) > 0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.where(none, 0.0, np.where(at_most, LARGEST_DAY_SHARE, (low + high) / 2))


def _adequate(g: np.ndarray, counts: np.ndarray, means: np.ndarray) -> np.ndarray:
    """``decline.adequacy`` of every study, as a verdict at 0.05."""
    from scipy.stats import f

    k = g.size
    if k <= 3 or np.unique(g).size < 3:
        return np.ones(means.shape[0], bool)
    x = g / g.max()
    root = np.sqrt(counts)
    columns = np.column_stack([np.ones(k), x, x**2]) * root[:, None]
    scaled = means * root
    rest = []
    for chosen in (columns[:, :2], columns):
        basis = np.linalg.qr(chosen)[0]
        rest.append(np.sum((scaled - (scaled @ basis) @ basis.T) ** 2, axis=1))
    return np.asarray(f.sf((rest[0] - rest[1]) / (rest[1] / (k - 3)), 1, k - 3) >= 0.05)


def _factor(
    least: float, most: float, freedom: int, share: float, confidence: float
) -> Callable[[np.ndarray], np.ndarray]:
    """The tolerance factor as a function of the leverage alone, since the freedom is that of the design."""
    from scipy.interpolate import CubicSpline

    nodes = np.geomspace(least * (1 - 1e-9), most * (1 + 1e-9), NODES)
    factors = reading_factor(leverage=nodes, freedom=freedom, share=1 - share, confidence=confidence)
    curve = CubicSpline(np.log(nodes), factors)
    return lambda leverage: np.asarray(curve(np.log(leverage)))


def _first_crossings(
    bound: Callable[[np.ndarray], np.ndarray], *, limit: float, first: float, cap: float, n: int
) -> np.ndarray:
    """``decline.first_crossing`` of every study: the safe side of where the bound first leaves the limit."""
    within_first = bound(np.full((n, 1), first))[:, 0] <= limit
    steps = np.linspace(0.0, 1.0, SCANNED)
    start, end = np.where(within_first, first, 0.0), np.where(within_first, cap, first)
    grid = start[:, None] + (end - start)[:, None] * steps
    within = bound(grid) <= limit
    rows = np.arange(n)
    all_within = within_first & within.all(axis=1)
    never = ~within_first & ~within.any(axis=1)
    # From the first pull on, the step before the first one outside; before it, the last one inside.
    inside = np.where(within_first, np.argmin(within, axis=1) - 1, SCANNED - 1 - np.argmax(within[:, ::-1], axis=1))
    inside = np.clip(inside, 0, SCANNED - 2)
    low, high = grid[rows, inside], grid[rows, inside + 1]
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        fits = bound(middle[:, None])[:, 0] <= limit
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    return np.where(all_within, cap, np.where(never, 0.0, low))
