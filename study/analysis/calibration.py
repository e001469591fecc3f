"""Calibration: the pass/fail bound, compared with studies of the same design in which pulls share a day effect."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np

from study.analysis.lifetime import falling_share
from study.analysis.outcomes import EXACT_OUTCOMES, SLACK, design, plain_rejection, worse_probability
from study.errors import NotPossible
from study.model.estimate import PassFailBound

STUDIES = 10_000
LARGEST_DAY_SHARE = 0.6
FREE_SHAPE = (0.1, 12.0)
HALVINGS = 30
MOST_PULLS = 120
"""Beyond so many different dwells a comparison with simulated studies takes minutes and says little more."""
MOST_COUPONS = 2000
"""Beyond so many coupons in a study more add little beside the day effect, and could not be held in memory."""
METHOD = "calibrated likelihood ratio"
FALLING = (
    "the unacceptable share does not rise with dwell: look for a change of lot or operator, for swapped coupons, "
    "or for a grip that peaks and then lets go"
)


@lru_cache(maxsize=4096)
def calibrated_days(
    *,
    pull_days: tuple[float, ...],
    read: tuple[int, ...],
    unacceptable: tuple[int, ...],
    day_share: float,
    shape: tuple[float, float],
    permitted_share: float,
    confidence: float,
    seed: int,
    studies: int = STUDIES,
) -> float:
    """The bound itself: the smallest time to the permitted share that the verdicts do not contradict.

    Parameters
    ----------
    pull_days : tuple of K floats [d]
        Rising, above 0.
    read, unacceptable : tuples of K ints
        Coupons at each pull.
    day_share : float
        Share of the variance that a pull's coupons have in common, 0 to 0.6.
    shape : tuple of two floats
        Declared range of the Weibull shape.
    permitted_share, confidence : float
        Permitted unacceptable share and one-sided confidence.
    seed, studies : int
        Of the simulation, where there are too many outcomes to weigh.

    Returns
    -------
    float [d]
        Up to 1.5 times the last pull; a simulated one is rounded down to 2 significant digits.

    Source
    ------
    Section "the pass/fail bound" of DEVELOPERS.md: signed root likelihood ratio over the root of the Pearson
    over-dispersion, calibrated under the constrained fit.
    """
    plan = design(pull_days, read, shape, permitted_share)
    seen = np.array([unacceptable], float)
    marks = plan.marks_of(seen)
    swept, shapes = plan.swept_roots(seen, marks)

    def rejected(days: float, observed: float, fitted: float) -> bool:
        least, level = observed - SLACK, 1 - confidence
        asked: dict[str, Any] = {
            "log_time": math.log(days), "shape": fitted, "day_share": day_share, "seed": seed, "studies": studies,
        }  # fmt: skip
        if not plan.exact and least > plain_rejection(plan, level=level, **asked):
            return True
        return worse_probability(plan, least=least, **asked) < level

    low = high = 0.0
    for days, observed, fitted in zip(plan.sweep.tolist(), swept.tolist(), shapes.tolist(), strict=True):
        if not rejected(days, observed, fitted):
            high = days
            break
        low = days
    if high == 0:
        return 1.5 * pull_days[-1]
    if low == 0:
        return 0.0
    for _ in range(HALVINGS):
        if not plan.exact and two_digits_down(low) == two_digits_down(high):
            break  # further halving cannot change what is printed
        middle = math.sqrt(low * high)
        root, shape_there = plan.signed_root(seen, marks, math.log(middle))
        low, high = (middle, high) if rejected(middle, float(root[0]), float(shape_there[0])) else (low, middle)
    return low if plan.exact else two_digits_down(low)


def two_digits_down(value: float) -> float:
    """A number rounded down to two significant digits."""
    if value <= 0:
        return 0.0
    place = 1 - math.floor(math.log10(value))
    return round(math.floor(value * 10.0**place + 1e-9) / 10.0**place, place)


def _check_counts(pull_days: np.ndarray, read: np.ndarray, unacceptable: np.ndarray) -> None:
    days, m, bad = (np.asarray(v, float) for v in (pull_days, read, unacceptable))
    if not days.size == m.size == bad.size:
        raise NotPossible(
            "Dwells and counts differ in number.", "Give the coupons read and unacceptable at each dwell."
        )
    if not (np.all(np.isfinite(days)) and np.all(days > 0)) or np.unique(days).size < days.size:
        raise NotPossible("A dwell is not above 0, or stands twice.", "Count the coupons of one dwell together.")
    if not np.all((m >= 1) & (bad >= 0) & (bad <= m)):
        raise NotPossible(
            "The counts of a pull contradict each other.", "Give at least one read, and no more unacceptable than read."
        )


def pass_fail_bound(
    *,
    pull_days: np.ndarray,
    read: np.ndarray,
    unacceptable: np.ndarray,
    day_share: float,
    shape: tuple[float, float],
    permitted_share: float,
    confidence: float,
    seed: int,
    aside: bool = True,
    time_unit: str = "d",
    progress: Callable[[str], None] | None = None,
) -> PassFailBound:
    """Lower bound of the time by which the permitted share is unacceptable, from counts at each pull.

    Parameters
    ----------
    pull_days : (K,) float array [d]
        Distinct and above 0.
    read, unacceptable : (K,) int arrays
        Coupons at each pull.
    day_share : float
        Share of the variance that a pull's coupons have in common; at most 0.6 is used.
    shape : tuple of two floats
        Declared range of the Weibull shape.
    permitted_share, confidence : float
        Permitted unacceptable share and one-sided confidence.
    seed : int
        Of the simulation.
    aside : bool
        Work out the two figures that stand beside it and never decide.
    time_unit : str
        Of the times named in words.
    progress : function of a sentence, optional
        Told before a simulation.

    Returns
    -------
    PassFailBound
        ``lower_days`` None with ``why`` for fewer than 3 pulls or a share that falls with dwell.

    Raises
    ------
    NotPossible
        For dwells of 0 or below or given twice, and counts that contradict each other.
    """
    _check_counts(pull_days, read, unacceptable)
    order = np.argsort(pull_days, kind="stable")
    days, m, bad = (np.asarray(v)[order] for v in (pull_days, read, unacceptable))
    day_share = min(float(day_share), LARGEST_DAY_SHARE)
    exact = days.size <= MOST_PULLS and math.prod(int(n) + 1 for n in m) <= EXACT_OUTCOMES
    if days.size and bad[0] == m[0]:
        seen = "the only coupon" if m[0] == 1 else f"all {m[0]}"
        why = f"{seen} unacceptable at the first pull ({days[0]:g} {time_unit}".strip() + ")"
        return PassFailBound(METHOD, 0.0, day_share, 0.0, 0.0, exact=True, why=why)
    if days.size < 3:
        pulls = "1 pull" if days.size == 1 else f"{days.size} pulls"
        return PassFailBound(METHOD, None, day_share, exact=exact, why=f"{pulls} with readings; three are needed")
    if days.size > MOST_PULLS:
        too_many = f"{days.size} different dwells; count looks of nearby days together, {MOST_PULLS} dwells at most"
        return PassFailBound(METHOD, None, day_share, exact=False, why=too_many)
    if falling_share(days=days.astype(float), read=m.astype(float), unacceptable=bad.astype(float)):
        return PassFailBound(METHOD, None, day_share, exact=exact, why=FALLING)
    m, bad, condensed = _condensed(m, bad)
    if progress is not None and not exact:
        progress(f"comparing {int(bad.sum())} unacceptable of {int(m.sum())} with {STUDIES} studies of the same pulls")
    asked = (tuple(days.astype(float).tolist()), tuple(m.astype(int).tolist()), tuple(bad.astype(int).tolist()))

    def days_at(rho: float, shapes: tuple[float, float]) -> float:
        return calibrated_days(
            pull_days=asked[0], read=asked[1], unacceptable=asked[2], day_share=rho, shape=shapes,
            permitted_share=permitted_share, confidence=confidence, seed=seed,
        )  # fmt: skip

    return PassFailBound(
        method=METHOD,
        lower_days=days_at(day_share, shape),
        day_share=day_share,
        lower_alike_days=days_at(0.0, shape) if aside else None,
        lower_shape_free_days=days_at(0.0, FREE_SHAPE) if aside else None,
        exact=exact,
        why=condensed,
    )


def _condensed(read: np.ndarray, unacceptable: np.ndarray) -> tuple[np.ndarray, np.ndarray, str | None]:
    """Counts of a very large study as those of a smaller one, with the unacceptable rounded up: the safe side."""
    if read.sum() <= MOST_COUPONS:
        return read, unacceptable, None
    most = MOST_COUPONS // read.size
    fewer = np.minimum(read, most)
    bad = np.ceil(unacceptable * fewer / read - 1e-9).astype(np.int64)
    return fewer, bad, f"counted as if at most {most} coupons had been read at each pull, unacceptable ones rounded up"
