"""Grades: the share of coupons in each residue grade against dwell, as a picture that never decides."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from study.model.estimate import GradePull, GradeShares
from study.model.protocol import RESIDUE_GRADES

DRAWN = 61
FEWEST_DWELLS = 3
SETTLED = 1e-5
"""Largest slope of the log-likelihood at the solution, per coupon."""


@dataclass(frozen=True)
class GradeRows:
    """Coupons of one dwell and one span of classes, counted together."""

    x: np.ndarray
    """(r,) dwell on the time scale, as a share of the longest."""
    low: np.ndarray
    high: np.ndarray
    """(r,) int; first and last class, 0 for the lowest."""
    count: np.ndarray


def grade_likelihood(at: np.ndarray, rows: GradeRows) -> tuple[float, np.ndarray]:
    """Log-likelihood of the cumulative probit and its gradient.

    Parameters
    ----------
    at : (c,) float array
        First cutpoint, logarithms of the steps to the following ones, slope; c classes.
    rows : GradeRows

    Returns
    -------
    tuple of float and (c,) float array

    Source
    ------
    [mccullagh1980] with the normal distribution: share at or below class j is Phi(cut_j - slope x). A reading that
    leaves several classes open has the probability of their union.
    """
    from scipy.special import log_ndtr

    steps = np.exp(at[1:-1])
    edges = np.concatenate([[-math.inf], at[0] + np.concatenate([[0.0], np.cumsum(steps)]), [math.inf]])
    shift = at[-1] * rows.x
    a, b = edges[rows.low] - shift, edges[rows.high + 1] - shift
    # The upper tail is taken from its own side, where no digit is lost.
    turned = a > 0
    near, far = np.where(turned, -a, b), np.where(turned, -b, a)
    whole = log_ndtr(near)
    share = whole + np.log(-np.expm1(np.minimum(log_ndtr(far) - whole, -1e-300)))
    at_a, at_b = (np.exp(-(np.where(np.isfinite(z), z, 0.0) ** 2) / 2 - share) * np.isfinite(z) for z in (a, b))
    pull_a, pull_b = (rows.count * v / math.sqrt(2 * math.pi) for v in (at_a, at_b))
    by_edge = np.bincount(rows.high + 1, pull_b, edges.size) - np.bincount(rows.low, pull_a, edges.size)
    # Moving the first cutpoint moves all; moving a step moves those after it.
    later = np.cumsum(by_edge[1:-1][::-1])[::-1]
    gradient = np.concatenate([later[:1], later[1:] * steps, [float(np.sum((pull_a - pull_b) * rows.x))]])
    return float(np.sum(rows.count * share)), gradient


def classes(lower: np.ndarray, upper: np.ndarray) -> list[tuple[int, int]]:
    """Grades that the readings tell apart: a first grade directly followed by a last one, in order.

    Parameters
    ----------
    lower, upper : (n,) int arrays
        First and last grade a reading leaves open; equal for an exact one.

    Returns
    -------
    list of (first, last) grade
        A grade that was never given, or only as one of two, is no class of its own where the likelihood would leave
        it empty.

    Source
    ------
    [turnbull1976]: the innermost intervals; any other cutpoint can be moved on to its neighbour without loss.
    """
    ends = sorted({(int(v), 0) for v in lower} | {(int(v), 1) for v in upper})
    return [(ends[i][0], ends[i + 1][0]) for i in range(len(ends) - 1) if ends[i][1] == 0 and ends[i + 1][1] == 1]


def separated(rows: GradeRows, *, size: int) -> bool:
    """Whether the likelihood rises for ever along some direction, so that no finite slope is the likeliest.

    Parameters
    ----------
    rows : GradeRows
    size : int
        Classes.

    Source
    ------
    [albert1984], for cutpoints and slope: a direction in which no coupon loses and one gains, by linear programming.
    """
    from scipy.optimize import linprog

    cuts = size - 1
    gains = []
    for x, low, high in zip(rows.x, rows.low, rows.high, strict=True):
        for cut, sign in ((high, 1.0), (low - 1, -1.0)):
            if 0 <= cut < cuts:
                row = np.zeros(size)
                row[cut], row[-1] = sign, -sign * x
                gains.append(row)
    order = [np.eye(size)[j + 1] - np.eye(size)[j] for j in range(cuts - 1)]
    matrix = np.array([*gains, *order])
    found = linprog(-np.sum(gains, axis=0), A_ub=-matrix, b_ub=np.zeros(len(matrix)), bounds=(-1, 1), method="highs")
    return found.fun is not None and float(found.fun) < -1e-9


def grade_shares(
    *, dwell_days: np.ndarray, lower: np.ndarray, upper: np.ndarray, pull: np.ndarray, time_scale: str
) -> GradeShares:
    """Share of coupons in each grade against dwell: an ordinal probit with ordered cutpoints.

    Parameters
    ----------
    dwell_days : (n,) float array [d]
        0 for time zero; typically to 1 100.
    lower, upper : (n,) float arrays [grade, 0 to 5]
        Equal for an exact grade, apart for one typed 3-4.
    pull : (n,) int array
        Coupons with one number are shown together, at the smallest of their dwells.
    time_scale : str
        "sqrt" or "linear", as the protocol declares.

    Returns
    -------
    GradeShares
        A picture. ``refused`` names a hard case: no grade, one grade only, fewer than three dwells, or grades so
        cleanly parted by dwell that the likeliest slope is infinite; what was seen is carried all the same.

    Source
    ------
    [mccullagh1980], maximum likelihood.
    """
    days, first, last = np.asarray(dwell_days, float), *_whole_grades(lower, upper)
    empty = GradeShares(time_scale=time_scale, n=int(days.size), spans=int(np.sum(first != last)))
    if not days.size:
        return replace(empty, refused="no coupon was given a grade")
    told = classes(first, last)
    low = np.array([next(i for i, (_, end) in enumerate(told) if end >= grade) for grade in first])
    high = np.array([max(i for i, (start, _) in enumerate(told) if start <= grade) for grade in last])
    seen = replace(empty, grades=tuple(told), pulls=_pulls(days, low, high, np.asarray(pull), len(told)))
    if len(told) == 1:
        return replace(seen, refused=f"all coupons were given {_words(told[0])}, so nothing says how grades change")
    distinct = np.unique(days).size
    if distinct < FEWEST_DWELLS:
        return replace(seen, refused=f"grades from {distinct} different dwells show no course; three are needed")
    g = np.sqrt(days) if time_scale == "sqrt" else days
    keys, count = np.unique(np.column_stack([g / g.max(), low, high]), axis=0, return_counts=True)
    rows = GradeRows(keys[:, 0], keys[:, 1].astype(int), keys[:, 2].astype(int), count.astype(float))
    if separated(rows, size=len(told)):
        return replace(seen, refused="dwell parts the grades so cleanly that the likeliest change has no finite slope")
    best = _likeliest(rows, size=len(told))
    if best is None:
        return replace(seen, refused="the search for the likeliest shares did not settle")
    value, at = best
    cuts = at[0] + np.concatenate([[0.0], np.cumsum(np.exp(at[1:-1]))])
    drawn = np.linspace(0, 1, DRAWN)
    return replace(
        seen, cutpoints=tuple(cuts.tolist()), slope=float(at[-1] / g.max()), log_likelihood=value,
        draw_days=tuple(((drawn * g.max()) ** 2 if time_scale == "sqrt" else drawn * g.max()).tolist()),
        draw_shares=tuple(tuple(row) for row in _shares(cuts, at[-1] * drawn).tolist()),
    )  # fmt: skip


def _whole_grades(lower: np.ndarray, upper: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First and last whole grade of each reading, held on the scale."""
    least, most = RESIDUE_GRADES
    first = np.clip(np.floor(np.asarray(lower, float)), least, most)
    last = np.clip(np.ceil(np.asarray(upper, float)), least, most)
    return first.astype(int), np.maximum(first, last).astype(int)


def _words(grade: tuple[int, int]) -> str:
    return f"grade {grade[0]}" if grade[0] == grade[1] else f"grade {grade[0]} or {grade[1]}"


def _pulls(days: np.ndarray, low: np.ndarray, high: np.ndarray, pull: np.ndarray, size: int) -> tuple[GradePull, ...]:
    """Coupons at or below each class but the last, pull by pull; pulls of one dwell are counted together."""
    first = np.array([days[pull == one].min() for one in pull])
    found = []
    for day in np.unique(first):
        chosen = first == day
        surely, perhaps = (tuple(int(np.sum(side[chosen] <= cut)) for cut in range(size - 1)) for side in (high, low))
        found.append(GradePull(float(day), int(chosen.sum()), surely, perhaps))
    return tuple(found)


def _shares(cuts: np.ndarray, shift: np.ndarray) -> np.ndarray:
    """(c, k) share in each class; each column adds up to one."""
    from scipy.special import ndtr

    below = ndtr(cuts[:, None] - shift[None, :])
    return np.diff(np.vstack([np.zeros(shift.size), below, np.ones(shift.size)]), axis=0)


def _likeliest(rows: GradeRows, *, size: int) -> tuple[float, np.ndarray] | None:
    """Log-likelihood and parameters at its only maximum: it is concave in cutpoints and slope."""
    from scipy.optimize import minimize
    from scipy.special import ndtri

    total = float(rows.count.sum())
    middle = (rows.low + rows.high) / 2
    below = [float(rows.count[middle <= j + 0.25].sum()) for j in range(size - 1)]
    cuts = ndtri(np.clip((np.array(below) + 0.5) / (total + 1), 0.01, 0.99))
    start = np.concatenate([cuts[:1], np.log(np.maximum(np.diff(cuts), 0.1)), [0.0]])

    def cost(at: np.ndarray) -> tuple[float, np.ndarray]:
        value, gradient = grade_likelihood(at, rows)
        return -value / total, -gradient / total

    found = minimize(cost, start, jac=True, method="BFGS", options={"gtol": 1e-9, "maxiter": 1000})
    value, gradient = grade_likelihood(found.x, rows)
    if not np.all(np.isfinite(found.x)) or np.max(np.abs(gradient)) > SETTLED * total:
        return None
    return value, np.asarray(found.x)
