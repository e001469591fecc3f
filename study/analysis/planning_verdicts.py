"""Planning, verdicts: the calibrated pass/fail bound of many invented studies, read off one table of the design."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
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
    simulated_coupons,
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


@dataclass
class Table:
    """What is known of one design at one day share; no reading enters, so that every study may share it."""

    critical: dict[Node, float] = field(default_factory=dict)
    """Signed root that a share 1 - confidence of the studies of a truth reach."""
    plain: dict[Node, float] = field(default_factory=dict)
    """A quick upper limit of the same, where no more was needed."""
    bounds: dict[tuple[int, ...], float] = field(default_factory=dict)
    """Bound [d] of each outcome met; NaN where there is none."""

    def learn(self, other: Table) -> None:
        """Take over what another knows."""
        self.critical.update(other.critical)
        self.plain.update(other.plain)
        self.bounds.update(other.bounds)

    def __len__(self) -> int:
        return len(self.critical) + len(self.plain) + len(self.bounds)


def rounded_share(share: np.ndarray) -> np.ndarray:
    """Day shares rounded up to a tenth, in tenths; at most 6."""
    capped = np.minimum(np.asarray(share, float), LARGEST_DAY_SHARE)
    return np.ceil(capped * SHARE_STEPS - 1e-9).astype(int)


def verdict_bounds(asked: VerdictDesign, tenths: int, outcomes: np.ndarray, known: Table) -> Table:
    """The bound of every outcome at one day share, as ``calibration.calibrated_days`` gives it.

    A study is compared with the studies of a truth through one number of that truth alone: the signed root that a share
    1 - confidence of them reach.

    Parameters
    ----------
    asked : VerdictDesign
    tenths : int
        Day share in tenths.
    outcomes : (U, K) int array
        Unacceptable coupons at each pull, each outcome once.
    known : Table
        The table as far as it is known; left as it is.

    Returns
    -------
    Table
        What is new, with the bound of every outcome: NaN where a study would have none (fewer than three pulls, or a
        share that falls with dwell).

    Source
    ------
    Section "the pass/fail bound" of DEVELOPERS.md.
    """
    days, read = np.array(asked.pull_days), np.array(asked.read)
    bounds = np.full(outcomes.shape[0], math.nan)
    learned = Table()
    if days.size >= 3:
        counted = outcomes.astype(float)
        spoilt = outcomes[:, 0] == read[0]
        bounds[spoilt] = 0.0
        falls = [falling_share(days=days, read=read.astype(float), unacceptable=row) for row in counted]
        sound = np.flatnonzero(~spoilt & ~np.array(falls, bool))
        if sound.size:
            bounds[sound] = _Judge(asked, tenths, known, learned).bounds(counted[sound])
    learned.bounds = {tuple(row): bound for row, bound in zip(outcomes.tolist(), bounds.tolist(), strict=True)}
    return learned


class _Judge:
    def __init__(self, asked: VerdictDesign, tenths: int, known: Table, learned: Table) -> None:
        self.plan = design(asked.pull_days, asked.read, asked.shape, asked.permitted_share)
        self.level = 1 - asked.confidence
        self.known, self.learned = known, learned
        self.studies = asked.studies
        self.last: tuple[Node, np.ndarray, np.ndarray] = ((math.nan, 0.0), np.empty(0), np.empty(0))
        self.how: dict[str, Any] = {"day_share": tenths / SHARE_STEPS, "seed": asked.seed, "studies": asked.studies}

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
            critical = self.found("critical", (log_time, shape))
            if critical is None and not self.plan.exact and float(least.min()) > self.plain(log_time, shape):
                gone[here] = True
            else:
                gone[here] = least > (self.critical(log_time, shape) if critical is None else critical)
        return gone

    def found(self, what: str, node: Node) -> float | None:
        known, learned = getattr(self.known, what), getattr(self.learned, what)
        return known[node] if node in known else learned.get(node)

    def plain(self, log_time: float, shape: float) -> float:
        node = (log_time, shape)
        found = self.found("plain", node)
        if found is None:
            limits = self.upper_limits(node)[1]
            spared = math.ceil(self.level * self.studies) - 1
            found = math.inf if spared < 0 else float(np.partition(limits, -1 - spared)[-1 - spared])
            self.learned.plain[node] = found
        return found

    def critical(self, log_time: float, shape: float) -> float:
        if self.plan.exact:
            found = _exact_critical(self.plan, log_time, shape, self.how["day_share"], self.level)
        else:
            found = self.reached(self.upper_limits((log_time, shape))[0], log_time)
        self.learned.critical[log_time, shape] = found
        return found

    def reached(self, coupons: np.ndarray, log_time: float) -> float:
        """The signed root that a share 1 - confidence of these studies reach."""
        outcomes, marks, times = self.plan.tally(coupons)
        roots = self.plan.roots(outcomes, marks, log_time)
        order = np.argsort(-roots, kind="stable")
        return float(roots[order][np.argmax(~(np.cumsum(times[order]) / self.studies < self.level))])

    def upper_limits(self, node: Node) -> tuple[np.ndarray, np.ndarray]:
        """Coupons of the simulated studies of a truth, and what no signed root of theirs can pass.

        As in ``outcomes.plain_rejection``: twice the log-likelihood ratio against the one shape, with the pulls' own
        shares for the best fit and no division by the over-dispersion; in single precision, with its loss added back.
        """
        if self.last[0] != node:
            share = self.plan.unacceptable(np.array([node[0]]), np.array([node[1]]))[0]
            coupons = simulated_coupons(self.plan, share=share, **self.how)
            clipped = np.clip(share, 1e-13, 1 - 1e-13)
            good = np.log1p(-clipped)
            gain = 2 * (self.plan.own_gain - np.repeat(np.log(clipped) - good, self.plan.read))
            distance = gain.astype(np.float32) @ coupons.astype(np.float32) - np.float32(
                2 * float(good @ self.plan.read)
            )
            slack = 1e-3 + 1e-5 * float(np.abs(gain).sum())
            self.last = (node, coupons, np.sqrt(np.maximum(0.0, distance.astype(float) + slack)))
        return self.last[1], self.last[2]


@lru_cache(maxsize=256)
def _order(plan: Design, log_time: float) -> np.ndarray:
    return np.argsort(-exact_roots(plan, log_time), kind="stable")


def _exact_critical(plan: Design, log_time: float, shape: float, day_share: float, level: float) -> float:
    order = _order(plan, log_time)
    reached = np.cumsum(exact_law(plan, log_time=log_time, shape=shape, day_share=day_share)[order])
    return float(exact_roots(plan, log_time)[order[np.argmax(~(reached < level))]])
