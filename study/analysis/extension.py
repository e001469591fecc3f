"""Extension: which pull, or how many further coupons, would lift the bound, worked out with the same estimators."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from study.analysis.calibration import LARGEST_DAY_SHARE, calibrated_days
from study.analysis.censoring import pull_groups
from study.analysis.criterion import DECLINE, Judged, extended_days
from study.analysis.decline import Scales, decline_fit
from study.model.estimate import Estimate, PullCount
from study.model.protocol import Protocol
from study.model.units import DAYS_PER_MONTH, duration_words

OUTLOOK_STUDIES = 2000
"""An outlook says "about": fewer simulated studies than a bound are enough for it."""
MORE_COUPONS = (5, 10, 20)
AT_THE_SAME_PULL = 0.05
"""A scheduled pull this near to one already read, as a share of its dwell, is that pull."""


def scheduled_days(protocol: Protocol) -> tuple[tuple[str, float], ...]:
    """Label and nominal dwell [d] of each pull of the schedule."""
    return tuple((p.label, p.weeks * 7 + p.months * DAYS_PER_MONTH) for p in protocol.schedule.pulls)


def next_pull(pulls: Sequence[PullCount], *, protocol: Protocol) -> tuple[str, float] | None:
    """The first pull of the schedule that lies after the last one read, with its nominal dwell [d]."""
    last = pulls[-1].dwell_days if pulls else 0.0
    for label, days in scheduled_days(protocol):
        if days > last * (1 + AT_THE_SAME_PULL):
            return label, days
    return None


def extension_words(
    *,
    outcome: str,
    estimate: Estimate | None,
    case: Judged | None,
    days: float | None,
    capped: bool,
    protocol: Protocol,
) -> str:
    """What would extend a duration, in one sentence.

    Parameters
    ----------
    outcome : str
        As in Duration.
    estimate, case : Estimate and Judged, or None
        Of the limiting criterion.
    days : float or None [d]
        The bound after the caps.
    capped : bool
        Whether the cap, not the bound, holds it.
    protocol : Protocol
    """
    if outcome == "stopped":
        return "Nothing by itself: a stop is lifted only by a recorded act with a second person and a reason."
    if estimate is None or case is None or estimate.n == 0:
        title = f" of {estimate.title.lower()}" if estimate is not None else ""
        return f"Readings{title} from at least three pulls, {protocol.rule.minimum_coupons} coupons or more at each."
    coming = next_pull(estimate.pulls, protocol=protocol)
    usual = round(float(np.median([p.read for p in estimate.pulls])))
    if outcome == "not shown":
        return _first_showing(estimate, coming=coming, usual=usual, days=days, protocol=protocol)
    if capped:
        if coming is None:
            return "Nothing in this schedule: the bound already reaches the last pull. A longer study would be needed."
        coupons = max(usual, protocol.rule.minimum_coupons)
        return f"The bound reaches the last pull: read {coupons} coupons at the {coming[0]} pull."
    if estimate.basis == DECLINE:
        return _more_readings(estimate, case, coming=coming, usual=usual, protocol=protocol)
    return _more_verdicts(estimate, coming=coming, usual=usual, protocol=protocol)


def _first_showing(
    estimate: Estimate, *, coming: tuple[str, float] | None, usual: int, days: float | None, protocol: Protocol
) -> str:
    first = estimate.pulls[0].dwell_days if estimate.pulls else 0.0
    if len(estimate.pulls) < 3:
        then = f" The next is the {coming[0]} pull." if coming else ""
        return f"Readings from at least three pulls; so far there are {len(estimate.pulls)}.{then}"
    if days is not None and days < first:
        unread = [label for label, at in scheduled_days(protocol) if at < first * (1 - AT_THE_SAME_PULL)]
        named = f", such as the {unread[0]} pull of the schedule" if unread else ""
        return f"Earlier pulls: coupons read before {first:g} d{named}, in a new set."
    if days is None:
        return "First find out why: compare lots, operators and codes at the pulls that disagree; then repeat them."
    return _more_verdicts(estimate, coming=coming, usual=usual, protocol=protocol)


def _more_readings(
    estimate: Estimate, case: Judged, *, coming: tuple[str, float] | None, usual: int, protocol: Protocol
) -> str:
    """The next pull, or more coupons at the last one, reading as the line foretells, with the bound each would give."""
    now = estimate.bound_days or 0.0
    rises = f"the bound of {estimate.title.lower()} rises from {math.floor(now)} d to about"
    if coming is not None:
        lifted = _decline_with(case, estimate, at=coming[1], more=usual, protocol=protocol)
        if lifted is not None and math.floor(lifted) > math.floor(now):
            return (
                f"The {coming[0]} pull: if its {usual} coupons read as the line foretells, with the scatter seen so "
                f"far, {rises} {math.floor(lifted)} d ({duration_words(lifted)})."
            )
    last = estimate.pulls[-1].dwell_days
    for more in MORE_COUPONS:
        lifted = _decline_with(case, estimate, at=last, more=more, protocol=protocol)
        if lifted is not None and math.floor(lifted) > math.floor(now):
            return (
                f"More pulls sharpen the bound more than more coupons; {more} further coupons at {last:g} d that read "
                f"like those seen: {rises} {math.floor(lifted)} d ({duration_words(lifted)})."
            )
    pull = f" The {coming[0]} pull adds one." if coming else ""
    return f"More pulls, which sharpen the bound more than more coupons at each pull.{pull}"


def _decline_with(
    case: Judged, estimate: Estimate, *, at: float, more: int, protocol: Protocol
) -> float | None:  # fmt: skip
    """The decline bound if ``more`` coupons at ``at`` [d] read as the line foretells, scattered as those seen."""
    fit, rule, groups = estimate.decline, protocol.rule, pull_groups(case.found)
    if fit is None or fit.intercept is None or fit.slope is None:
        return None
    scales = Scales(fit.value_scale, fit.time_scale, 1)
    days = [g.dwell_days for g in groups]
    seen = [scales.y(np.array([o.lower for o in g.members])) for g in groups]
    within = sum(float(np.sum((y - y.mean()) ** 2)) for y in seen) / max(sum(y.size - 1 for y in seen), 1)
    spread = np.linspace(-1, 1, more) if more > 1 else np.zeros(1)
    square = float(np.sum(spread**2))
    spread *= math.sqrt(within * (more - 1) / square) if square > 0 else 0.0
    if at in days:
        pull = days.index(at)
        seen[pull] = np.concatenate([seen[pull], seen[pull].mean() + spread])
    else:
        days.append(at)
        seen.append(fit.intercept + fit.slope * scales.g(at) + spread)
    tried = decline_fit(
        pull_days=np.array(days),
        pull=np.repeat(np.arange(len(seen)), [y.size for y in seen]),
        values=scales.value(np.concatenate(seen)),
        limit=fit.limit,
        unacceptable=estimate.unacceptable,
        value_scale=fit.value_scale,
        time_scale=fit.time_scale,
        permitted_share=rule.permitted_unacceptable_share,
        confidence=rule.confidence,
        horizon_days=extended_days(max(days), rule=rule),
    )
    return max(days) if tried.not_reached else tried.lower_days


def _more_verdicts(estimate: Estimate, *, coming: tuple[str, float] | None, usual: int, protocol: Protocol) -> str:
    """The next pull, or more coupons at the last one, all acceptable, with the bound each would give."""
    now = estimate.bound_days or 0.0
    if estimate.pass_fail is None or estimate.pass_fail.day_share is None:
        return "More coupons looked at, and later looks."
    if coming is not None:
        lifted = _bound_with(estimate, at=coming[1], more=usual, new=True, protocol=protocol)
        if lifted is not None and math.floor(lifted) > math.floor(now):
            return (
                f"The {coming[0]} pull: if all {usual} coupons are acceptable there, the bound of "
                f"{estimate.title.lower()} rises from {math.floor(now)} d to about {math.floor(lifted)} d "
                f"({duration_words(lifted)})."
            )
    last = estimate.pulls[-1].dwell_days
    for more in MORE_COUPONS:
        lifted = _bound_with(estimate, at=last, more=more, new=False, protocol=protocol)
        if lifted is not None and math.floor(lifted) > math.floor(now):
            return (
                f"{more} further coupons, all acceptable at {last:g} d: the bound of {estimate.title.lower()} would "
                f"rise from {math.floor(now)} d to about {math.floor(lifted)} d ({duration_words(lifted)})."
            )
    return f"Not {MORE_COUPONS[-1]} further acceptable coupons at {last:g} d: a new set with more pulls is needed."


def _bound_with(estimate: Estimate, *, at: float, more: int, new: bool, protocol: Protocol) -> float | None:
    """The pass/fail bound if ``more`` acceptable coupons were read at ``at`` [d]; capped there."""
    rule, verdicts = protocol.rule, estimate.pass_fail
    if verdicts is None or verdicts.day_share is None:
        return None
    pulls = [(p.dwell_days, p.read, p.unacceptable) for p in estimate.pulls]
    pulls = [*pulls, (at, more, 0)] if new else [*pulls[:-1], (at, pulls[-1][1] + more, pulls[-1][2])]
    if len(pulls) < 3:
        return None
    lifted = calibrated_days(
        pull_days=tuple(float(p[0]) for p in pulls),
        read=tuple(int(p[1]) for p in pulls),
        unacceptable=tuple(int(p[2]) for p in pulls),
        day_share=min(verdicts.day_share, LARGEST_DAY_SHARE),
        shape=(rule.shape_from, rule.shape_to),
        permitted_share=rule.permitted_unacceptable_share,
        confidence=rule.confidence,
        seed=rule.seed,
        studies=OUTLOOK_STUDIES,
    )
    return min(lifted, extended_days(at, rule=rule))
