"""Bridging: a successor's readings against its predecessor's at the pulls both were read; never a duration."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import stats

from study.analysis.criterion import judged
from study.errors import NotPossible
from study.model.bridge import Bridge, ForceBridge, ShareBridge
from study.model.estimate import Observation
from study.model.protocol import Protocol
from study.model.reading import CouponHistory

SAME_DAY = "blocked by pull"
OTHER_DAYS = "each pull a unit, since they were read on other days"
AS_FAR = 1e-9
"""Outcomes as likely as the one seen, up to rounding, count as far from alike as it."""

Arm = Sequence[np.ndarray]
"""One array of readings for each pull."""


def bridge(
    old: Sequence[CouponHistory], new: Sequence[CouponHistory], *, keys: tuple[str, str], protocol: Protocol,
    faces_object: bool, factor: float = 1.5, confidence: float = 0.95,
) -> Bridge:  # fmt: skip
    """Compare a successor with its predecessor at equal dwell, under one protocol.

    Parameters
    ----------
    old, new : sequence of CouponHistory
        Coupons of the predecessor's and of the successor's pairing.
    keys : pair of str
        Keys of both, predecessor first.
    protocol : Protocol
        Judges both.
    factor : float
        Margin of “alike” for the ratio of removal forces, above 1; typically 1.25 to 2. A choice, not a finding.
    confidence : float
        Of the limits; each one-sided test is made at 1 − confidence, so the ratio's limits hold with
        1 − 2 (1 − confidence).

    Raises
    ------
    NotPossible
        For a factor of 1 or below, or a confidence that is not between 0.5 and 1.
    """
    if not factor > 1 or not 0.5 <= confidence < 1:
        raise NotPossible(
            f"A factor of {factor:g} at a confidence of {confidence:g} cannot be tested.",
            "Give a factor above 1, such as 1.5, and a confidence of 0.5 to below 1, such as 0.95.",
        )
    order = {pull.label: place for place, pull in enumerate(protocol.schedule.pulls)}
    groups = [_read_groups(one) for one in (old, new)]
    both = sorted(groups[0] & groups[1], key=lambda label: (order.get(label, -1), label))
    only = [tuple(sorted(one - set(both), key=lambda label: (order.get(label, -1), label))) for one in groups]
    force: ForceBridge | None = None
    no_force = "no criterion of the protocol judges it"
    shares = []
    for criterion in protocol.criteria:
        cases = [judged(one, criterion=criterion, protocol=protocol, faces_object=faces_object) for one in (old, new)]
        seen = [[o for o in case.found if o.pull_group in both] for case in cases]
        if criterion.quantity == "removal_force" and force is None:
            force, no_force = _force(seen, (old, new), both, factor=factor, confidence=confidence)
        share = _share(seen, both, key=criterion.key, title=criterion.title, confidence=confidence)
        shares += [share] if share else []
    return Bridge(keys[0], keys[1], tuple(both), only[0], only[1], force, no_force, tuple(shares))


def _read_groups(histories: Sequence[CouponHistory]) -> set[str]:
    return {h.pull_group for h in histories if h.readings.keys() - {"colour_before"} and h.pull_kind != "in place"}


def _force(
    seen: Sequence[Sequence[Observation]], histories: tuple[Sequence[CouponHistory], Sequence[CouponHistory]],
    labels: Sequence[str], *, factor: float, confidence: float,
) -> tuple[ForceBridge | None, str]:  # fmt: skip
    exact = [[o for o in arm if o.lower == o.upper and o.lower > 0 and math.isfinite(o.lower)] for arm in seen]
    bounds = sum(len(arm) for arm in seen) - sum(len(arm) for arm in exact)
    bounds -= sum(math.isnan(o.lower) for arm in seen for o in arm)
    kept = [label for label in labels if all(any(o.pull_group == label for o in arm) for arm in exact)]
    if not kept:
        return None, "at no common pull were forces read on both as numbers"
    arms = [[np.log([o.lower for o in arm if o.pull_group == label]) for label in kept] for arm in exact]
    days = [_days(one, kept) for one in histories]
    same = all(a == b and len(a) == 1 for a, b in zip(*days, strict=True))
    found = difference_by_pull(arms[0], arms[1]) if same else difference_of_pulls(arms[0], arms[1])
    if found is None:
        few = "too few coupons for a scatter" if same else "read on other days at fewer than two common pulls"
        return None, few
    shift, error, freedom = found
    alpha = 1 - confidence
    half = float(stats.t.ppf(1 - alpha, freedom)) * error
    return ForceBridge(
        ratio=math.exp(shift), lower=math.exp(shift - half), upper=math.exp(shift + half), confidence=1 - 2 * alpha,
        factor=factor, p_not_alike=two_one_sided(shift, error, freedom, margin=math.log(factor)),
        coupons=(sum(a.size for a in arms[0]), sum(a.size for a in arms[1])), pulls=len(kept), bounds=bounds,
        method=SAME_DAY if same else OTHER_DAYS,
    ), ""  # fmt: skip


def _days(histories: Sequence[CouponHistory], labels: Sequence[str]) -> list[set[object]]:
    read = [h for h in histories if "removal_force" in h.readings]
    return [{h.readings["removal_force"].read_on for h in read if h.pull_group == label} for label in labels]


def difference_by_pull(old: Arm, new: Arm) -> tuple[float, float, float] | None:
    """Mean difference new − old with pulls as blocks: estimate, its standard error, degrees of freedom.

    Parameters
    ----------
    old, new : sequence of arrays
        Readings on the scale of comparison, an array for each pull, pulls in the same order, none empty.

    Returns
    -------
    tuple or None
        None where no degree of freedom or no scatter is left.

    Notes
    -----
    Least squares for reading = pull + (new or old): weights n m / (n + m) of each pull's difference, residual
    variance with N − K − 1 degrees of freedom. What the coupons of a pull share (tester, room) is in the block, which
    holds only where both were read on the same day.
    """
    weights = np.array([a.size * b.size / (a.size + b.size) for a, b in zip(old, new, strict=True)])
    gaps = np.array([b.mean() - a.mean() for a, b in zip(old, new, strict=True)])
    shift = float(weights @ gaps / weights.sum())
    within = sum(float(((one - one.mean()) ** 2).sum()) for arm in (old, new) for one in arm)
    residual = within + float(weights @ (gaps - shift) ** 2)
    freedom = sum(one.size for arm in (old, new) for one in arm) - len(gaps) - 1
    if freedom < 1 or residual <= 0:
        return None
    return shift, math.sqrt(residual / freedom / weights.sum()), float(freedom)


def difference_of_pulls(old: Arm, new: Arm) -> tuple[float, float, float] | None:
    """Mean difference of pull means with the pull as the unit: estimate, standard error, degrees of freedom K − 1.

    Where both were read on different days a pull's coupons share the luck of their day, which no number of coupons
    averages out; only further pulls do.
    """
    gaps = np.array([b.mean() - a.mean() for a, b in zip(old, new, strict=True)])
    if gaps.size < 2 or float(gaps.std(ddof=1)) <= 0:
        return None
    return float(gaps.mean()), float(gaps.std(ddof=1) / math.sqrt(gaps.size)), float(gaps.size - 1)


def two_one_sided(shift: float, error: float, freedom: float, *, margin: float) -> float:
    """The larger p-value of the two one-sided t tests that a difference lies within ± margin.

    Source
    ------
    [schuirmann1987].
    """
    above = float(stats.t.sf((shift + margin) / error, freedom))
    below = float(stats.t.cdf((shift - margin) / error, freedom))
    return max(above, below)


def _share(
    seen: Sequence[Sequence[Observation]], labels: Sequence[str], *, key: str, title: str, confidence: float
) -> ShareBridge | None:
    tables = []
    for label in labels:
        counts = []
        for arm in seen:
            told = [o.unacceptable for o in arm if o.pull_group == label and o.unacceptable is not None]
            counts += [told.count(False), len(told)]
        if counts[1] and counts[3]:
            tables.append((counts[0], counts[1], counts[2], counts[3]))
    if not tables:
        return None
    good = (sum(t[0] for t in tables), sum(t[2] for t in tables))
    read = (sum(t[1] for t in tables), sum(t[3] for t in tables))
    limits = (exact_limits(good[0], read[0], confidence), exact_limits(good[1], read[1], confidence))
    return ShareBridge(
        key, title, good, read, limits, confidence, exact_test(tables), len(tables),
    )  # fmt: skip


def exact_limits(good: int, read: int, confidence: float) -> tuple[float, float]:
    """Exact two-sided limits of a share [clopper1934]."""
    alpha = 1 - confidence
    low = 0.0 if good == 0 else float(stats.beta.ppf(alpha / 2, good, read - good + 1))
    high = 1.0 if good == read else float(stats.beta.ppf(1 - alpha / 2, good + 1, read - good))
    return low, high


def exact_test(tables: Sequence[tuple[int, int, int, int]]) -> float:
    """Exact p-value that two shares are alike within strata, given each stratum's margins.

    Parameters
    ----------
    tables : sequence of (good, read, good, read)
        Predecessor then successor, a stratum each. One stratum gives Fisher's exact test.

    Notes
    -----
    The successor's good coupons over all strata follow a sum of hypergeometric counts; outcomes as likely as the one
    seen, or less, make up p [fisher1935].
    """
    chances, least, seen = np.array([1.0]), 0, 0
    for good_old, read_old, good_new, read_new in tables:
        total, good = read_old + read_new, good_old + good_new
        first, last = max(0, good - read_old), min(good, read_new)
        counts = np.arange(first, last + 1)
        chances = np.convolve(chances, stats.hypergeom.pmf(counts, total, good, read_new))
        least, seen = least + first, seen + good_new
    own = chances[seen - least]
    return float(min(1.0, chances[chances <= own * (1 + AS_FAR)].sum()))
