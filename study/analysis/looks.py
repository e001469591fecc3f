"""Looks: the estimators on a table somebody already has, grouped by its own days."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from study.analysis.calibration import METHOD, pass_fail_bound
from study.analysis.curve import share_curve
from study.analysis.deciding import (
    AT_PLACEMENT,
    BEFORE_FIRST,
    NO_BOUND,
    READINGS,
    SHORTER_READINGS,
    SHORTER_VERDICTS,
    TOO_FEW,
    assumed_day_share,
    deciding_bound,
    last_with_enough,
    refused_because,
)
from study.analysis.decline import decline_fit
from study.analysis.lifetime import FAMILIES, lifetime_fit
from study.analysis.tolerance import share_lower, zero_failure_days
from study.model.estimate import DeclineFit, LifetimeFit, PassFailBound, PullCount, ShareCurve
from study.model.looks import LookDuration, LookEstimate, LookRows, LookRule, time_down
from study.model.protocol import Rule
from study.model.units import percent

USUAL = Rule(sources=("common-practice",))
"""The decision rule as it stands where no protocol says otherwise."""
ENOUGH_COUPONS = USUAL.minimum_coupons
NO_PULLS = "the rows are intervals, not pulls, so that only an approximate limit can be given"
NOTHING = "no coupon tells anything"


def looks_estimate(rows: LookRows, *, rule: LookRule, progress: Callable[[str], None] | None = None) -> LookEstimate:
    """Curve, pulls, lifetimes, bounds and duration of one group.

    Parameters
    ----------
    rows : LookRows
        Columns of n rows each; times in any one unit.
    rule : LookRule
    progress : function of a sentence, optional

    Returns
    -------
    LookEstimate
        Times in the unit of the rows. Never infinite or NaN where a person reads it.
    """
    telling = _telling(rows)
    curve, lifetimes = _pictures(rows, telling, rule)
    n = int(rows.count[telling].sum())
    bad = int(rows.count[telling & np.isfinite(rows.by)].sum())
    declines = _declines(rows, rule)
    if rows.dwell is None:
        pulls: tuple[PullCount, ...] = ()
        bound = PassFailBound(METHOD, None, None, exact=False, why=NO_PULLS if n else NOTHING)
    else:
        pulls = _pulls(rows, telling, rule)
        bound = _bound(rows, pulls, declines, rule, progress)
    duration, used = _duration(rows, telling, rule, bound, declines, lifetimes, pulls)
    dropped, why = _dropped(rows, telling)
    return LookEstimate(rows.group, n, bad, dropped, why, curve, pulls, lifetimes, bound, declines, used, duration)


def _telling(rows: LookRows) -> np.ndarray:
    """Which rows say something about the time after placement."""
    if rows.dwell is None or rows.unacceptable is None:
        return np.asarray((rows.after > 0) | np.isfinite(rows.by))
    return np.asarray((rows.unacceptable >= 0) & (rows.dwell > 0))


def _dropped(rows: LookRows, telling: np.ndarray) -> tuple[int, str]:
    reasons = [(rows.not_measured, "not measured")]
    if rows.dwell is None or rows.unacceptable is None:
        reasons.append((int(rows.count[~telling].sum()), "never looked at after placement"))
    else:
        if rows.lower is None:
            at_zero = int(rows.count[(rows.unacceptable == 0) & (rows.dwell == 0)].sum())
            reasons.append((at_zero, "looked at on the day of placement only"))
        else:
            undecided = int(rows.count[(rows.unacceptable < 0) & ~np.isnan(rows.lower)].sum())
            reasons.append((undecided, "with a value that does not decide it"))
    told = [f"{count} {reason}" for count, reason in reasons if count]
    return sum(count for count, _ in reasons), ", ".join(told) or "nothing was left out"


def _pictures(rows: LookRows, telling: np.ndarray, rule: LookRule) -> tuple[ShareCurve | None, tuple[LifetimeFit, ...]]:
    after, by, count = rows.after[telling], rows.by[telling], rows.count[telling]
    if not after.size:
        return None, tuple(LifetimeFit(family, refused=NOTHING) for family in FAMILIES)
    after, by, count = _gathered(after, by, count)
    lifetimes = tuple(
        lifetime_fit(
            family=family,
            after_days=after,
            by_days=by,
            count=count,
            permitted_share=rule.permitted,
            confidence=rule.confidence,
            time_unit="",
        )
        for family in FAMILIES
    )
    return share_curve(after_days=after, by_days=by, count=count, confidence=rule.confidence), lifetimes


def _gathered(after: np.ndarray, by: np.ndarray, count: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Equal intervals counted together, so that a million rows cost no more than their distinct days."""
    pairs, place = np.unique(np.column_stack([after, by]), axis=0, return_inverse=True)
    return pairs[:, 0], pairs[:, 1], np.bincount(place.ravel(), weights=count)


def _pulls(rows: LookRows, telling: np.ndarray, rule: LookRule) -> tuple[PullCount, ...]:
    assert rows.dwell is not None
    assert rows.unacceptable is not None
    days, place = np.unique(rows.dwell[telling], return_inverse=True)
    count = rows.count[telling]
    read = np.bincount(place, weights=count, minlength=days.size).astype(int)
    bad = np.bincount(place, weights=count * (rows.unacceptable[telling] == 1), minlength=days.size).astype(int)
    return tuple(
        PullCount(
            label=time_down(float(day)),
            dwell_days=float(day),
            read=int(m),
            unacceptable=int(x),
            acceptable_lower=share_lower(unacceptable=int(m - x), read=int(m), confidence=rule.confidence),
            unacceptable_lower=share_lower(unacceptable=int(x), read=int(m), confidence=rule.confidence),
        )
        for day, m, x in zip(days, read, bad, strict=True)
    )


def _declines(rows: LookRows, rule: LookRule) -> tuple[DeclineFit, ...]:
    """The line on the root of time, which may decide, and on time as it is, a picture."""
    if rows.dwell is None or rows.lower is None or rows.upper is None or rule.limit is None:
        return ()
    measured = ~(np.isnan(rows.lower) & np.isnan(rows.upper))
    censored = int(rows.count[measured & (rows.lower != rows.upper)].sum())
    order = np.argsort(rows.dwell[measured], kind="stable")
    times = np.repeat(rows.dwell[measured][order], rows.count[measured][order])
    values = np.repeat(rows.lower[measured][order], rows.count[measured][order])
    days, pull = np.unique(times, return_inverse=True)
    fits = []
    for scale in ("sqrt", "linear"):
        if censored or not days.size:
            known = "1 value is" if censored == 1 else f"{censored} values are"
            why = f"{known} known only as above or below" if censored else "no value is given"
            fit = DeclineFit(scale, rule.value_scale, rule.limit, int(times.size), int(days.size), why=why)
        else:
            fit = decline_fit(
                pull_days=days, pull=pull, values=values, limit=rule.limit, unacceptable=rule.unacceptable,
                value_scale=rule.value_scale, time_scale=scale, permitted_share=rule.permitted,
                confidence=rule.confidence, horizon_days=float(days[-1]), time_unit="",
            )  # fmt: skip
        fits.append(fit)
    return tuple(fits)


def _bound(
    rows: LookRows,
    pulls: tuple[PullCount, ...],
    declines: tuple[DeclineFit, ...],
    rule: LookRule,
    progress: Callable[[str], None] | None,
) -> PassFailBound:
    read_share = declines[0].day_share if declines else None
    share = rule.day_share if rule.day_share is not None else read_share
    day_share = assumed_day_share(share, declared=USUAL.day_share)
    if _unacceptable_at_zero(rows):
        why = "unacceptable on the day of placement"
        return PassFailBound(METHOD, 0.0, day_share, 0.0, 0.0, why=why)
    if not pulls:
        return PassFailBound(METHOD, None, day_share, exact=False, why=NOTHING)
    return pass_fail_bound(
        pull_days=np.array([pull.dwell_days for pull in pulls]),
        read=np.array([pull.read for pull in pulls]),
        unacceptable=np.array([pull.unacceptable for pull in pulls]),
        day_share=day_share,
        shape=(rule.shape_from, rule.shape_to),
        permitted_share=rule.permitted,
        confidence=rule.confidence,
        seed=rule.seed,
        time_unit="",
        progress=(lambda words: progress(f"{rows.group}: {words}")) if progress else None,
    )


def _unacceptable_at_zero(rows: LookRows) -> bool:
    return rows.dwell is not None and bool(np.any((rows.unacceptable == 1) & (rows.dwell == 0)))


def _duration(
    rows: LookRows,
    telling: np.ndarray,
    rule: LookRule,
    bound: PassFailBound,
    declines: tuple[DeclineFit, ...],
    lifetimes: tuple[LifetimeFit, ...],
    pulls: tuple[PullCount, ...],
) -> tuple[LookDuration, str]:
    """The duration, and the time scale of the decline that decides it, if one does."""
    if rows.harm.any():
        harmed = int(rows.count[rows.harm].sum())
        words = f"Stopped: {harmed} {'coupon' if harmed == 1 else 'coupons'} with harm, and one is enough to stop."
        return LookDuration("stopped", None, rule.harmed_by, words), ""
    cap = _cap(rows, telling, pulls)
    ground = _deciding(rows, telling, rule, bound, declines, lifetimes)
    days, first = ground.days, _first_look(rows, telling, pulls)
    because = refused_because(days, first_days=first, cap_days=cap)
    if because is not None or days is None or cap is None:
        why = f"Not shown: {_refusal(because or NO_BOUND, ground, first, pulls, rule)}; not shown does not mean safe."
        return LookDuration("not shown", None, rule.judged_by, why), ground.time_scale
    shown = min(days, cap)
    outcome = "provisional" if ground.assumption else "supported"
    only = f", because {ground.assumption}" if ground.assumption else ""
    held = f"; it ends there as the last time with at least {ENOUGH_COUPONS} coupons" if days >= cap else ""
    words = (
        f"{outcome.capitalize()} up to {time_down(shown)}{only}: with {percent(rule.confidence)} confidence at most "
        f"{percent(rule.permitted)} of such coupons are unacceptable by then, judged by {ground.basis}{held}."
    )
    return LookDuration(outcome, shown, rule.judged_by, words), ground.time_scale


def _refusal(because: str, ground: _Ground, first: float, pulls: tuple[PullCount, ...], rule: LookRule) -> str:
    """Why no time is shown, and what would show one."""
    if because == NO_BOUND:
        return ground.basis
    if because == TOO_FEW:
        return f"at no time were {ENOUGH_COUPONS} coupons looked at; look at {ENOUGH_COUPONS} or more at one time"
    if pulls and ground.by_verdicts and pulls[0].unacceptable == pulls[0].read:
        return (
            f"{ground.basis}; with {percent(rule.confidence)} confidence at least "
            f"{percent(pulls[0].unacceptable_lower)} of such coupons are by then, and earlier looks would show more"
        )
    if because == BEFORE_FIRST:
        return (
            f"the bound lies before the first look at {first:g}, judged by {ground.basis}; more coupons, or looks "
            f"before {first:g}, would show more"
        )
    if ground.at_placement:
        return ground.basis
    return f"no time at all can be shown, judged by {ground.basis}; more coupons and more times would show more"


@dataclass(frozen=True)
class _Ground:
    """The deciding time, what it rests on in words, and the assumption it rests on alone, if any."""

    days: float | None
    basis: str
    assumption: str = ""
    time_scale: str = ""
    """Of a decline that decides."""
    by_verdicts: bool = False
    at_placement: bool = False


def _deciding(
    rows: LookRows,
    telling: np.ndarray,
    rule: LookRule,
    bound: PassFailBound,
    declines: tuple[DeclineFit, ...],
    lifetimes: tuple[LifetimeFit, ...],
) -> _Ground:
    seen = bool(np.isfinite(rows.by[telling]).any())
    if rows.dwell is None:
        return _from_intervals(rows, telling, rule, lifetimes, seen)
    line = declines[0] if declines else None
    found = deciding_bound(
        decline=line,
        verdict_days=bound.lower_days,
        horizon_days=float(rows.dwell.max(initial=0.0)),
        unacceptable_at_zero=_unacceptable_at_zero(rows),
    )
    if found.by == AT_PLACEMENT:
        return _Ground(found.days, "unacceptable on the day of placement already", at_placement=True)
    if line is not None and found.by == READINGS:
        few = " (three times are too few to test whether it fits)" if line.adequacy_p is None else ""
        return _Ground(found.days, f"the line of the values against time{few}", time_scale=line.time_scale)
    misfit = found.by in (SHORTER_READINGS, SHORTER_VERDICTS)
    if line is not None and found.by == SHORTER_READINGS:
        basis = "the line of the values against time, the shorter of two bounds because it fits badly"
        return _Ground(found.days, basis, time_scale=line.time_scale)
    if found.days is None:
        why = bound.why or NOTHING
        return _Ground(None, f"the line of the values fits badly, and of pass and fail there is no bound: {why}"
                       if misfit else why)  # fmt: skip
    taken = "it is taken that the risk does not fall with time"
    if rule.shape_from < 1:
        taken = f"it is taken that lives have a Weibull shape of {rule.shape_from:g} to {rule.shape_to:g}"
    if found.days == 0 and bound.why is not None:
        return _Ground(found.days, bound.why, by_verdicts=True)
    parts = [
        "pass and fail at each time" + (" (the line of the values fits badly)" if misfit else ""),
        f"for which {taken}" if seen else "",
        bound.why or "",
    ]
    untested = "" if seen else f"nothing unacceptable was seen yet and {taken}"
    return _Ground(found.days, ", ".join(part for part in parts if part), untested, by_verdicts=True)


def _from_intervals(
    rows: LookRows, telling: np.ndarray, rule: LookRule, lifetimes: tuple[LifetimeFit, ...], seen: bool
) -> _Ground:
    approximate = "intervals give only an approximate limit"
    if not telling.any():
        return _Ground(None, NOTHING)
    if not seen:
        days, _ = zero_failure_days(
            last_acceptable_days=rows.after[telling], count=rows.count[telling], permitted_share=rule.permitted,
            confidence=rule.confidence, shape=(rule.shape_from, rule.shape_to),
        )  # fmt: skip
        return _Ground(days, "how long none was unacceptable", approximate)
    weibull = next(fit for fit in lifetimes if fit.family == "weibull")
    if weibull.t_permitted_profile_lower_days is None:
        why = weibull.refused or "they fit so many lives that there is no lower limit"
        return _Ground(None, f"the intervals carry no limit: {why}")
    return _Ground(weibull.t_permitted_profile_lower_days, "the profile likelihood of a Weibull life", approximate)


def _first_look(rows: LookRows, telling: np.ndarray, pulls: tuple[PullCount, ...]) -> float:
    if rows.dwell is not None:
        return pulls[0].dwell_days if pulls else 0.0
    looks = np.concatenate([rows.after[telling], rows.by[telling]])
    return float(min(looks[(looks > 0) & np.isfinite(looks)], default=0.0))


def _cap(rows: LookRows, telling: np.ndarray, pulls: tuple[PullCount, ...]) -> float | None:
    """The last time with enough coupons: read at it, or for intervals looked at then or later."""
    if rows.dwell is not None:
        enough = last_with_enough(pulls, minimum=ENOUGH_COUPONS)
        return enough.dwell_days if enough is not None else None
    looked = np.where(np.isfinite(rows.by[telling]), rows.by[telling], rows.after[telling])
    order = np.argsort(-looked, kind="stable")
    reached = np.cumsum(rows.count[telling][order]) >= ENOUGH_COUPONS
    return float(looked[order][reached.argmax()]) if reached.any() else None
