"""Censored line: a line through readings of which some are known only as above or below a value; a picture."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from study.analysis.decline import DRAWN, Scales
from study.model.estimate import CensoredPicture


@dataclass(frozen=True)
class CensoredLine:
    """Maximum-likelihood line with normal scatter."""

    intercept: float
    slope: float
    sd: float
    log_likelihood: float


def censored_line(*, g: np.ndarray, lower: np.ndarray, upper: np.ndarray) -> CensoredLine | None:
    """Line through values known exactly or only between bounds.

    Parameters
    ----------
    g : (n,) float array
        Dwell on the time scale.
    lower, upper : (n,) float arrays
        Bounds of each value on its scale: equal for an exact one, infinite where open.

    Returns
    -------
    CensoredLine or None
        None where fewer than three exact values, or all at fewer than two dwells, leave the scatter open.

    Source
    ------
    [tobin1958], extended to bounds on either side; in the terms value/sd the log-likelihood is concave, so that one
    search finds the only maximum.
    """
    from scipy.optimize import minimize
    from scipy.special import log_ndtr

    exact = lower == upper
    if exact.sum() < 3 or np.unique(g).size < 2:
        return None
    reach = max(float(np.max(np.abs(g))), 1e-300)
    x = np.column_stack([np.ones(g.size), g / reach])
    start, *_ = np.linalg.lstsq(x[exact], lower[exact], rcond=None)
    scatter = float(np.sqrt(np.mean((lower[exact] - x[exact] @ start) ** 2)))
    if scatter <= 1e-10 * max(float(np.max(np.abs(lower[exact]))), 1e-300):
        return None
    low, high = np.where(exact, 0.0, lower), np.where(exact, 0.0, upper)

    def cost(at: np.ndarray) -> tuple[float, np.ndarray]:
        """Minus the log-likelihood and its gradient in intercept/sd, slope/sd and log(1/sd)."""
        precision, line = math.exp(at[2]), x @ at[:2]
        own = precision * np.where(exact, lower, 0.0) - line
        value = float(np.sum(exact * (at[2] - own**2 / 2 - math.log(2 * math.pi) / 2)))
        pull = np.where(exact, own, 0.0)
        scale = float(np.sum(exact)) - precision * float(np.sum(np.where(exact, own * lower, 0.0)))
        for i in np.flatnonzero(~exact):
            a, b = precision * low[i] - line[i], precision * high[i] - line[i]
            # The upper tail is taken from its own side, where no digit is lost.
            a, b, turned = (-b, -a, -1.0) if a > 0 else (a, b, 1.0)
            whole = float(log_ndtr(b))
            share = whole + math.log(-math.expm1(min(float(log_ndtr(a)) - whole, -1e-300)))
            value += share
            at_a, at_b = (math.exp(-z * z / 2 - share) / math.sqrt(2 * math.pi) if math.isfinite(z) else 0.0
                          for z in (a, b))  # fmt: skip
            pull[i] = turned * (at_a - at_b)
            scale += sum(d * z for d, z in ((at_b, b), (-at_a, a)) if d) + turned * (at_b - at_a) * line[i]
        return -value, -np.array([*(x.T @ pull), scale])

    found = minimize(cost, np.array([*(start / scatter), -math.log(scatter)]), jac=True, method="BFGS",
                     options={"gtol": 1e-7, "maxiter": 500})  # fmt: skip
    precision = math.exp(found.x[2])
    intercept, slope = found.x[:2] / precision
    if not np.all(np.isfinite(found.x)):
        return None
    return CensoredLine(float(intercept), float(slope / reach), 1 / precision, -float(found.fun))


def censored_picture(
    *, dwell_days: np.ndarray, lower: np.ndarray, upper: np.ndarray, value_scale: str, time_scale: str,
    horizon_days: float,
) -> CensoredPicture:  # fmt: skip
    """The line to be drawn where some readings are only bounds; section 3's bound decides, never this.

    Parameters
    ----------
    dwell_days : (n,) float array [d]
    lower, upper : (n,) float arrays [unit of the reading]
    value_scale, time_scale : str
        "log" or "as read"; "sqrt" or "linear".
    horizon_days : float [d]
        How far it is drawn.

    Source
    ------
    [tobin1958]
    """
    scales = Scales(value_scale, time_scale, 1)
    censored = int(np.sum(lower != upper))
    empty = CensoredPicture(time_scale=time_scale, value_scale=value_scale, n=int(lower.size), censored=censored)
    low, high = lower.astype(float), upper.astype(float)
    if value_scale == "log":
        if np.any((low == high) & (low <= 0)) or np.any(high <= 0):
            return replace(empty, refused="a reading of 0 or below has no logarithm")
        with np.errstate(divide="ignore"):
            low, high = np.log(np.maximum(low, 0)), np.log(high)
    line = censored_line(g=scales.g(dwell_days), lower=low, upper=high)
    if line is None:
        return replace(empty, refused="too few exact readings to draw a line through")
    drawn = np.linspace(0, float(scales.g(horizon_days)), DRAWN)
    return CensoredPicture(
        time_scale, value_scale, int(lower.size), censored, line.intercept, line.slope, line.sd, line.log_likelihood,
        None, tuple(scales.days(drawn).tolist()), tuple(scales.value(line.intercept + line.slope * drawn).tolist()),
    )  # fmt: skip
