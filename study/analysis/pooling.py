"""Pooling: whether several lots may share one mean line, and where the mean reaches the limit if so."""

from __future__ import annotations

import numpy as np

from study.analysis.decline import Scales, first_crossing
from study.model.estimate import LotPooling

LEVEL = 0.25
"""So large that lots are taken together only where nothing speaks against it."""


def lot_pooling(
    *, dwell_days: np.ndarray, values: np.ndarray, lot: np.ndarray, limit: float, unacceptable: str,
    value_scale: str, time_scale: str, confidence: float, horizon_days: float,
) -> LotPooling | None:  # fmt: skip
    """Mean lines of several lots: separate, of one slope, or one; and the limit of the mean in the worst lot.

    Parameters
    ----------
    dwell_days : (n,) float array [d]
    values : (n,) float array [unit of the limit]
        Exact readings.
    lot : (n,) array of texts
    limit : float
    unacceptable : str
        "above" or "below".
    value_scale, time_scale : str
        "log" or "as read"; "sqrt" or "linear".
    confidence : float
        One-sided, for the mean.
    horizon_days : float [d]
        Furthest dwell looked at.

    Returns
    -------
    LotPooling or None
        None with a single lot, or where a lot has fewer than two dwells, or nothing is left to judge scatter by. It
        says nothing about the worst coupons, and never decides.

    Source
    ------
    [ich-q1e]: F test of the slopes, then of the intercepts given one slope, each at 0.25. Separate lines keep their
    common scatter.
    """
    scales = Scales(value_scale, time_scale, 1 if unacceptable == "above" else -1)
    names, which = np.unique(lot, return_inverse=True)
    g = scales.g(dwell_days)
    if names.size < 2 or any(np.unique(g[which == i]).size < 2 for i in range(names.size)):
        return None
    y, own = scales.y(values), np.eye(names.size)[which]
    one = np.column_stack([np.ones(g.size), g])
    slope = np.column_stack([own, g])
    separate = np.column_stack([own, own * g[:, None]])
    if g.size <= separate.shape[1]:
        return None
    rest = [_rest(x, y) for x in (one, slope, separate)]
    if rest[2] <= 1e-20 * float(np.sum(y**2)):
        return None
    p_slopes = _p(rest[1], rest[2], names.size - 1, g.size - separate.shape[1])
    p_intercepts = None if p_slopes < LEVEL else _p(rest[0], rest[1], names.size - 1, g.size - slope.shape[1])
    if p_intercepts is None:
        model, words = separate, "separate lines"
    elif p_intercepts < LEVEL:
        model, words = slope, "common slope"
    else:
        model, words = one, "one line"
    crossings = [
        _mean_crossing(model, y, lot=i, lots=names.size, words=words, level=float(scales.y(limit)),
                       first=float(g[which == i].min()), cap=float(scales.g(horizon_days)), confidence=confidence)
        for i in range(1 if words == "one line" else names.size)
    ]  # fmt: skip
    reached = [crossing for crossing, beyond in crossings if not beyond]
    days = float(scales.days(min(reached))) if reached else None
    return LotPooling(tuple(str(name) for name in names), p_slopes, p_intercepts, words, days)


def _rest(x: np.ndarray, y: np.ndarray) -> float:
    return float(np.sum((y - x @ np.linalg.lstsq(x, y, rcond=None)[0]) ** 2))


def _p(simple: float, full: float, more: int, freedom: int) -> float:
    from scipy.stats import f

    return float(f.sf(max(simple - full, 0.0) / more / (full / freedom), more, freedom))


def _mean_crossing(
    x: np.ndarray, y: np.ndarray, *, lot: int, lots: int, words: str, level: float, first: float, cap: float,
    confidence: float,
) -> tuple[float, bool]:  # fmt: skip
    """Where the one-sided limit of one lot's mean reaches the limit, on the time scale."""
    from scipy.special import stdtrit

    best = np.linalg.lstsq(x, y, rcond=None)[0]
    freedom = y.size - x.shape[1]
    sd = np.sqrt(np.sum((y - x @ best) ** 2) / freedom)
    inverse = np.linalg.pinv(x.T @ x)

    def bound(at: np.ndarray) -> np.ndarray:
        row = np.zeros((at.size, x.shape[1]))
        row[:, 0 if words == "one line" else lot] = 1
        row[:, {"one line": 1, "common slope": lots, "separate lines": lots + lot}[words]] = at
        spread = np.sqrt(np.einsum("ij,jk,ik->i", row, inverse, row))
        return np.asarray(row @ best + sd * spread * stdtrit(freedom, confidence))

    return first_crossing(bound, limit=level, first=first, cap=max(cap, first))
