"""Pictures: what is drawn beside a criterion's bound and never decides."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from study.analysis.censored_line import censored_picture
from study.analysis.curve import share_curve
from study.analysis.grades import grade_shares
from study.analysis.lifetime import FAMILIES, hard_case, lifetime_fit
from study.analysis.observed import group_difference, observed_curve, seen_on_its_day
from study.model.estimate import (
    CensoredPicture,
    GradeShares,
    GroupDifference,
    LifetimeFit,
    Observation,
    ObservedCurve,
    ShareCurve,
)
from study.model.protocol import Criterion, Rule


def shapes(
    telling: Sequence[Observation], *, rule: Rule
) -> tuple[ShareCurve | None, tuple[LifetimeFit, ...], str | None]:
    """The curve, the three fitted shapes and the name of the hard case.

    Parameters
    ----------
    telling : sequence of Observation
        Those that say something after placement.
    rule : Rule
        Permitted share and confidence.
    """
    if not telling:
        return None, (), "no coupon tells anything"
    after, by = np.array([o.after_days for o in telling]), np.array([o.by_days for o in telling])
    curve = share_curve(after_days=after, by_days=by, confidence=rule.confidence)
    lifetimes = tuple(
        lifetime_fit(family=family, after_days=after, by_days=by, permitted_share=rule.permitted_unacceptable_share)
        for family in FAMILIES
    )
    return curve, lifetimes, hard_case(after_days=after, by_days=by)


def censored_readings(found: Sequence[Observation], *, criterion: Criterion) -> CensoredPicture | None:
    """The line through readings of which some are bounds; None where all are exact or the criterion has no scale."""
    measured = [o for o in found if not math.isnan(o.lower)]
    if not criterion.continuous or all(o.lower == o.upper for o in measured):
        return None
    return censored_picture(
        dwell_days=np.array([o.dwell_days for o in measured]),
        lower=np.array([o.lower for o in measured]),
        upper=np.array([o.upper for o in measured]),
        value_scale=criterion.value_scale,
        time_scale=criterion.time_scale,
        horizon_days=max(o.dwell_days for o in measured),
    )


def grades_seen(found: Sequence[Observation], *, criterion: Criterion) -> GradeShares | None:
    """The share in each residue grade; None for a criterion that is no grade, or before any coupon is graded."""
    graded = [o for o in found if not math.isnan(o.lower)]
    if criterion.quantity != "residue_grade" or not graded:
        return None
    keys = {key: i for i, key in enumerate(sorted({(o.set_key, o.pull_group) for o in graded}))}
    return grade_shares(
        dwell_days=np.array([o.dwell_days for o in graded]),
        lower=np.array([o.lower for o in graded]),
        upper=np.array([o.upper for o in graded]),
        pull=np.array([keys[o.set_key, o.pull_group] for o in graded]),
        time_scale=criterion.time_scale,
    )


def watched_ends(
    found: Sequence[Observation], *, confidence: float
) -> tuple[ObservedCurve | None, GroupDifference | None]:
    """The curve of coupons watched every day, and whether their lots end alike; None where there is no such thing.

    Parameters
    ----------
    found : sequence of Observation
    confidence : float
        One-sided.
    """
    seen = seen_on_its_day(found)
    if seen is None:
        return None, None
    curve = observed_curve(dwell_days=seen[0], ended=seen[1], confidence=confidence)
    by_lot = {lot: [o for o in found if o.lot == lot] for lot in sorted({o.lot for o in found})}
    return curve, watched_difference(by_lot)


def watched_difference(groups: Mapping[str, Sequence[Observation]]) -> GroupDifference | None:
    """Log-rank between groups of coupons that were watched every day.

    Parameters
    ----------
    groups : mapping of a group's name to its observations
        A group without a coupon that tells anything is left out.

    Returns
    -------
    GroupDifference or None
        None with fewer than two groups, where no coupon has ended, or some end was not seen on its day.

    Source
    ------
    [mantel1966]
    """
    kept = {name: [o for o in found if o.unacceptable is not None and o.dwell_days > 0]
            for name, found in groups.items()}  # fmt: skip
    kept = {name: found for name, found in kept.items() if found}
    seen = seen_on_its_day([o for found in kept.values() for o in found])
    if seen is None or len(kept) < 2:
        return None
    group = [name for name, found in kept.items() for _ in found]
    return group_difference(dwell_days=seen[0], ended=seen[1], group=group)
