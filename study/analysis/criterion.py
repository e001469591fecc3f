"""One criterion of one pairing: from its coupons to the bound that decides, and what that bound rests on."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from study.analysis.acceptance import time_zero_limits
from study.analysis.calibration import pass_fail_bound
from study.analysis.censoring import (
    PullGroup,
    dropped_words,
    informative,
    judged_histories,
    observations,
    pull_counts,
    pull_groups,
)
from study.analysis.deciding import AT_PLACEMENT, READINGS, SHORTER_READINGS, SHORTER_VERDICTS, deciding_bound
from study.analysis.decline import decline_fit
from study.analysis.lifetime import lifetime_fit
from study.analysis.pictures import censored_readings, grades_seen, shapes, watched_ends
from study.analysis.pooling import lot_pooling
from study.analysis.statement import statement
from study.analysis.tolerance import zero_failure_days
from study.model.estimate import (
    DeclineFit,
    Estimate,
    Observation,
    PassFailBound,
    PullCount,
)
from study.model.protocol import Criterion, Protocol, Rule
from study.model.reading import CouponHistory

DECLINE = "decline of the readings"
PASS_FAIL = "pass and fail at each pull"
SMALLER = "the shorter of decline and pass and fail, because the line does not fit well"
APPROXIMATE = "approximate limit from looks in place"
BASIS = {
    AT_PLACEMENT: "a coupon was unacceptable on the day it was placed",
    READINGS: DECLINE,
    SHORTER_READINGS: SMALLER,
    SHORTER_VERDICTS: SMALLER,
}
"""In words, what each deciding bound but that of verdicts alone rests on."""


@dataclass(frozen=True)
class Judged:
    """The coupons of one criterion, judged and counted, before any bound."""

    criterion: Criterion
    limit: float | None
    found: tuple[Observation, ...]
    pulls: tuple[PullCount, ...]
    horizon_days: float
    """Furthest dwell a bound may be looked for at."""
    refused: str | None

    @property
    def telling(self) -> tuple[Observation, ...]:
        """Observations that say something after placement."""
        return informative(self.found)

    @property
    def unacceptable_at_zero(self) -> bool:
        """Whether a coupon was unacceptable on the day it was placed."""
        return any(o.unacceptable is True and o.dwell_days <= 0 for o in self.found)


def judged(
    histories: Sequence[CouponHistory], *, criterion: Criterion, protocol: Protocol, faces_object: bool
) -> Judged:
    """Judge and count the coupons of one criterion.

    Parameters
    ----------
    histories : sequence of CouponHistory
        All coupons of the pairing that have left their placement.
    criterion, protocol : Criterion, Protocol
    faces_object : bool
        Whether the substrate stands for an object.
    """
    limits = time_zero_limits(histories, criterion=criterion)
    chosen = judged_histories(histories, criterion=criterion, protocol=protocol)
    found = observations(chosen, criterion=criterion, limits=limits, faces_object=faces_object)
    pulls = pull_counts(found, confidence=protocol.rule.confidence)
    known = sorted({limit for limit in limits.values() if limit is not None})
    refused = None
    if criterion.of_time_zero and not known:
        refused = "no coupon was read at time zero, and the limit is a share of that reading"
    elif len(known) > 1:
        refused = "the lots have different limits, taken from their own time-zero readings"
    limit = (min if criterion.unacceptable == "above" else max)(known) if known else None
    last = pulls[-1].dwell_days if pulls else 0.0
    return Judged(criterion, limit, found, pulls, extended_days(last, rule=protocol.rule), refused)


def extended_days(last_days: float, *, rule: Rule) -> float:
    """How far past a pull a bound may reach under the rule: not at all, unless extrapolation is declared."""
    if not rule.extrapolation:
        return last_days
    return min(last_days * rule.extrapolation_factor, last_days + rule.extrapolation_days)


def decline_of(case: Judged, *, rule: Rule, time_scale: str) -> tuple[DeclineFit | None, str | None]:
    """The decline of one criterion's readings, or the reason why the readings themselves cannot carry one.

    Parameters
    ----------
    case : Judged
    rule : Rule
        Permitted share and confidence.
    time_scale : str
        sqrt or linear.
    """
    criterion, limit = case.criterion, case.limit
    # Looks in place follow a coupon until it fails, so that its readings are no sample of one dwell.
    if not criterion.continuous or criterion.looks == "in place":
        return None, None
    if case.refused is not None or limit is None:
        return None, case.refused
    measured = [o for o in case.found if not math.isnan(o.lower)]
    censored = sum(o.lower != o.upper for o in measured)
    released = sum(o.released for o in case.found)
    if not measured and not released:
        return None, None
    if censored or released:
        parts = [f"{censored} known only as above or below a value"] if censored else []
        parts += [f"{released} released by itself"] if released else []
        return None, "not every coupon has a reading on the scale: " + " and ".join(parts)
    groups = pull_groups(case.found)
    fit = decline_fit(
        pull_days=np.array([g.dwell_days for g in groups]),
        pull=np.repeat(np.arange(len(groups)), [len(g.members) for g in groups]),
        values=np.array([o.lower for g in groups for o in g.members]),
        limit=limit,
        unacceptable=criterion.unacceptable,
        value_scale=criterion.value_scale,
        time_scale=time_scale,
        permitted_share=rule.permitted_unacceptable_share,
        confidence=rule.confidence,
        horizon_days=case.horizon_days,
    )
    if fit.intercept is None:
        return fit, fit.why
    return _with_lots(fit, groups, criterion=criterion, rule=rule, horizon_days=case.horizon_days), None


def _with_lots(
    fit: DeclineFit, groups: Sequence[PullGroup], *, criterion: Criterion, rule: Rule, horizon_days: float
) -> DeclineFit:
    """The same fit, its mean line's limit taken lot by lot where the lots do not share one line."""
    lots = lot_pooling(
        dwell_days=np.array([g.dwell_days for g in groups for _ in g.members]),
        values=np.array([o.lower for g in groups for o in g.members]),
        lot=np.array([o.lot for g in groups for o in g.members]),
        limit=fit.limit,
        unacceptable=criterion.unacceptable,
        value_scale=fit.value_scale,
        time_scale=fit.time_scale,
        confidence=rule.confidence,
        horizon_days=horizon_days,
    )
    if lots is None:
        return fit
    return replace(fit, lots=lots, mean_limit_days=lots.mean_limit_days)


def _pass_fail(
    case: Judged, *, rule: Rule, day_share: float, aside: bool, progress: Callable[[str], None] | None
) -> PassFailBound:
    """The bound from verdicts alone: calibrated from pulls, or approximate from looks in place."""
    if case.criterion.looks == "in place":
        return _in_place(case, rule)
    return pass_fail_bound(
        pull_days=np.array([p.dwell_days for p in case.pulls]),
        read=np.array([p.read for p in case.pulls]),
        unacceptable=np.array([p.unacceptable for p in case.pulls]),
        day_share=day_share,
        shape=(rule.shape_from, rule.shape_to),
        permitted_share=rule.permitted_unacceptable_share,
        confidence=rule.confidence,
        seed=rule.seed,
        aside=aside,
        progress=progress,
    )


def _in_place(case: Judged, rule: Rule) -> PassFailBound:
    telling = case.telling
    after, by = np.array([o.after_days for o in telling]), np.array([o.by_days for o in telling])
    share = rule.permitted_unacceptable_share
    if not telling:
        return PassFailBound("profile likelihood", None, None, approximate=True, why="no coupon tells anything")
    if np.all(np.isinf(by)):
        days, shape = zero_failure_days(
            last_acceptable_days=after, permitted_share=share, confidence=rule.confidence,
            shape=(rule.shape_from, rule.shape_to),
        )  # fmt: skip
        why = f"none unacceptable; the smallest over the declared shapes sits at {shape:g}"
        return PassFailBound("zero failures, Weibull", days, None, approximate=True, why=why)
    fit = lifetime_fit(
        family="weibull", after_days=after, by_days=by, permitted_share=share, confidence=rule.confidence
    )
    why_not = fit.refused
    if why_not is None and fit.t_permitted_profile_lower_days is None:
        why_not = "the likelihood does not fall far enough to give a limit"
    return PassFailBound(
        "profile likelihood, Weibull", fit.t_permitted_profile_lower_days, None, approximate=True, why=why_not
    )


def criterion_estimate(
    case: Judged,
    *,
    rule: Rule,
    declines: Mapping[str, tuple[DeclineFit | None, str | None]],
    day_share: float,
    progress: Callable[[str], None] | None = None,
) -> Estimate:
    """Everything about one criterion of one pairing.

    Parameters
    ----------
    case : Judged
    rule : Rule
    declines : mapping of time scale to ``decline_of``
    day_share : float
        What the pass/fail bound assumes pulls to share.
    progress : function of a sentence, optional
    """
    criterion = case.criterion
    decline, no_decline = declines[criterion.time_scale]
    other = declines["linear" if criterion.time_scale == "sqrt" else "sqrt"][0]
    telling = case.telling
    # The two figures that never decide are worked out only where the verdicts do.
    aside = not (decline is not None and decline.adequate)
    pass_fail = _pass_fail(case, rule=rule, day_share=day_share, aside=aside, progress=progress) if telling else None
    bound, basis, provisional = _deciding(case, decline, pass_fail)
    curve, lifetimes, hard = shapes(telling, rule=rule)
    watched, lots_alike = watched_ends(case.found, confidence=rule.confidence)
    dropped, dropped_why = dropped_words(case.found)
    estimate = Estimate(
        criterion=criterion.key,
        title=criterion.title,
        unit=criterion.unit,
        unacceptable=criterion.unacceptable,
        limit=case.limit,
        observations=case.found,
        n=len(telling),
        n_unacceptable=sum(o.unacceptable is True for o in telling),
        dropped=dropped,
        dropped_why=dropped_why,
        pulls=case.pulls,
        curve=curve,
        lifetimes=lifetimes,
        pass_fail=pass_fail,
        decline=decline if decline is not None and decline.intercept is not None else None,
        decline_other=other if other is not None and other.intercept is not None else None,
        bound_days=bound,
        basis=basis,
        provisional_why=provisional,
        hard_case=case.refused if not telling and case.refused else hard,
        statement="",
        stopped_by=tuple(sorted(o.code for o in case.found if o.stop)),
        picture=censored_readings(case.found, criterion=criterion),
        grades=grades_seen(case.found, criterion=criterion),
        watched=watched,
        lots_alike=lots_alike,
    )
    return replace(estimate, statement=statement(estimate, rule, no_decline))


def _deciding(
    case: Judged, decline: DeclineFit | None, pass_fail: PassFailBound | None
) -> tuple[float | None, str, str | None]:
    """The bound that decides, what it rests on, and the assumption it rests on alone, if so."""
    found = deciding_bound(
        decline=decline,
        verdict_days=pass_fail.lower_days if pass_fail is not None else None,
        horizon_days=case.horizon_days,
        unacceptable_at_zero=case.unacceptable_at_zero,
    )
    basis = BASIS.get(found.by, APPROXIMATE if pass_fail is not None and pass_fail.approximate else PASS_FAIL)
    return found.days, basis, _assumption(case, pass_fail) if found.from_verdicts else None


def _assumption(case: Judged, pass_fail: PassFailBound | None) -> str | None:
    if pass_fail is not None and pass_fail.approximate:
        return "looks in place give only an approximate limit"
    if not any(o.unacceptable for o in case.telling):
        return (
            "no unacceptable coupon was seen yet: the bound rests on taking it that the risk does not fall with dwell"
        )
    return None
