"""Planning, verdicts: the calibrated pass/fail bound of many invented studies, read off one table of the design."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from study.analysis.calibration import LARGEST_DAY_SHARE, STUDIES, two_digits_down
from study.analysis.lifetime import falling_share
from study.analysis.outcomes import (
    SLACK,
    Design,
    design,
    exact_law,
    exact_roots,
    plain_rejection,
    simulated_roots,
)

SHARE_STEPS = 10
"""Day shares are rounded up to a tenth, the safe side, so that the studies of a plan share one table."""
NEAR = 1.01
"""An exact bound is narrowed down to 1 %, its lower end; a simulated one to the two digits it is printed with."""

Node = tuple[float, float]
"""Log time and shape of a truth."""


@dataclass(frozen=True)
class VerdictDesign:
    """What the bound depends on beside the counts of unacceptable coupons and the day share."""

    pull_days: tuple[float, ...]
    read: tuple[int, ...]
    shape: tuple[float, float]
    permitted_share: float
    confidence: float
    seed: int
    studies: int = STUDIES


def rounded_share(share: np.ndarray) -> np.ndarray:
    """Day shares rounded up to a tenth, in tenths; at most 6."""
    capped = np.minimum(np.asarray(share, float), LARGEST_DAY_SHARE)
    return np.ceil(capped * SHARE_STEPS - 1e-9).astype(int)


def verdict_bounds(
    asked: VerdictDesign, tenths: int, outcomes: np.ndarray, known: dict[Node, float]
) -> tuple[np.ndarray, dict[Node, float]]:
    """The bound of every outcome at one day share, as ``calibration.calibrated_days`` gives it.

    A study is compared with the studies of a truth through one number of that truth alone: the signed root that a share
    1 - confidence of them reach. These numbers are the design's table; no reading enters, so all studies share it.

    Parameters
    ----------
    asked : VerdictDesign
    tenths : int
        Day share in tenths.
    outcomes : (U, K) int array
        Unacceptable coupons at each pull, each outcome once.
    known : dict
        The table as far as it is known.

    Returns
    -------
    bounds : (U,) float array [d]
        NaN where a study would have none: fewer than three pulls, or a share that falls with dwell.
    learned : dict
        What was added to the table.

    Source
    ------
    Section "the pass/fail bound" of DEVELOPERS.md.
    """
    days, read = np.array(asked.pull_days), np.array(asked.read)
    bounds = np.full(outcomes.shape[0], math.nan)
    if days.size < 3:
        return bounds, {}
    counted = outcomes.astype(float)
    spoilt = outcomes[:, 0] == read[0]
    bounds[spoilt] = 0.0
    falls = np.array([falling_share(days=days, read=read.astype(float), unacceptable=row) for row in counted], bool)
    sound = np.flatnonzero(~spoilt & ~falls)
    if sound.size:
        table = _Table(asked, tenths, known)
        bounds[sound] = table.bounds(counted[sound])
        return bounds, table.learned
    return bounds, {}


class _Table:
    def __init__(self, asked: VerdictDesign, tenths: int, known: dict[Node, float]) -> None:
        self.plan = design(asked.pull_days, asked.read, asked.shape, asked.permitted_share)
        self.level = 1 - asked.confidence
        self.known = known
        self.learned: dict[Node, float] = {}
        self.how: dict[str, Any] = {
            "day_share": tenths / SHARE_STEPS, "seed": asked.seed, "studies": asked.studies,
        }  # fmt: skip

    def bounds(self, outcomes: np.ndarray) -> np.ndarray:
        plan = self.plan
        marks = plan.marks_of(outcomes)
        swept = [plan.swept_roots(outcomes[i : i + 1], marks[:, i : i + 1]) for i in range(outcomes.shape[0])]
        roots, shapes = np.array([s[0] for s in swept]), np.array([s[1] for s in swept])
        sweep = plan.sweep
        step = np.full(outcomes.shape[0], sweep.size)
        active = np.arange(outcomes.shape[0])
        for place, log_time in enumerate(np.log(sweep).tolist()):
            if not active.size:
                break
            gone = self.rejected(log_time, roots[active, place], shapes[active, place])
            step[active[~gone]] = place
            active = active[gone]
        found = np.where(step == 0, 0.0, 1.5 * plan.days[-1])
        between = np.flatnonzero((step > 0) & (step < sweep.size))
        if between.size:
            low, high = sweep[step[between] - 1], sweep[step[between]]
            found[between] = self.narrowed(outcomes[between], marks[:, between], low, high)
        return found

    def narrowed(self, outcomes: np.ndarray, marks: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Halve between the last rejected and the first accepted time; studies of one interval share its middles."""
        low, high = low.copy(), high.copy()
        while True:
            apart = [not self.near(a, b) for a, b in zip(low.tolist(), high.tolist(), strict=True)]
            rows = np.flatnonzero(apart)
            if not rows.size:
                break
            middle = np.sqrt(low[rows] * high[rows])
            for time in np.unique(middle).tolist():
                here = rows[middle == time]
                log_time = math.log(time)
                root, shape = self.plan.signed_root(outcomes[here], marks[:, here], log_time)
                gone = self.rejected(log_time, root, shape)
                low[here[gone]] = time
                high[here[~gone]] = time
        return low if self.plan.exact else np.array([two_digits_down(value) for value in low.tolist()])

    def near(self, low: float, high: float) -> bool:
        if self.plan.exact:
            return high <= low * NEAR
        return two_digits_down(low) == two_digits_down(high)

    def rejected(self, log_time: float, roots: np.ndarray, shapes: np.ndarray) -> np.ndarray:
        """Whether each study contradicts a time, its shape being that of its own constrained fit."""
        gone = np.zeros(roots.size, bool)
        for shape in np.unique(shapes).tolist():
            here = shapes == shape
            least = roots[here] - SLACK
            if not self.plan.exact and (log_time, shape) not in self.known and (log_time, shape) not in self.learned:
                plain = plain_rejection.__wrapped__(
                    self.plan, log_time=log_time, shape=shape, level=self.level, **self.how
                )
                if np.all(least > plain):
                    gone[here] = True
                    continue
            gone[here] = least > self.critical(log_time, shape)
        return gone

    def critical(self, log_time: float, shape: float) -> float:
        """The signed root that a share 1 - confidence of the studies of this truth reach: the table's entry."""
        node = (log_time, shape)
        if node not in self.known and node not in self.learned:
            if self.plan.exact:
                found = _exact_critical(self.plan, log_time, shape, self.how["day_share"], self.level)
            else:
                roots, times = simulated_roots.__wrapped__(self.plan, log_time=log_time, shape=shape, **self.how)
                order = np.argsort(-roots, kind="stable")
                reached = np.cumsum(times[order]) / self.how["studies"]
                found = float(roots[order][np.argmax(~(reached < self.level))])
            self.learned[node] = found
        return self.learned[node] if node in self.learned else self.known[node]


@lru_cache(maxsize=256)
def _order(plan: Design, log_time: float) -> np.ndarray:
    return np.argsort(-exact_roots(plan, log_time), kind="stable")


def _exact_critical(plan: Design, log_time: float, shape: float, day_share: float, level: float) -> float:
    order = _order(plan, log_time)
    reached = np.cumsum(exact_law(plan, log_time=log_time, shape=shape, day_share=day_share)[order])
    return float(exact_roots(plan, log_time)[order[np.argmax(~(reached < level))]])
