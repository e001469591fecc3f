"""Looks: the estimators on a table somebody already has, grouped by its own days."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from study.analysis.calibration import pass_fail_bound
from study.analysis.curve import share_curve
from study.analysis.deciding import (
    AT_PLACEMENT,
    BEFORE_FIRST,
    NO_BOUND,
    NOTHING_SHOWN,
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
from study.model.looks import LookDuration, LookEstimate, LookRows, LookRule
from study.model.protocol import Rule

USUAL = Rule(sources=("common-practice",))
"""The decision rule as it stands where no protocol says otherwise."""
ENOUGH_COUPONS = USUAL.minimum_coupons
NO_PULLS = "the rows are intervals, not pulls: only an approximate limit can be given"
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
        bound = PassFailBound("approximate", None, None, why=NO_PULLS if n else NOTHING)
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
        undecided = int(rows.count[rows.unacceptable < 0].sum())
        if rows.lower is None:
            at_zero = int(rows.count[(rows.unacceptable == 0) & (rows.dwell == 0)].sum())
            reasons.append((at_zero, "looked at on the day of placement only"))
        reasons.append((undecided, "with a value that does not decide it"))
    told = [f"{count} {reason}" for count, reason in reasons if count]
    return sum(count for count, _ in reasons), ", ".join(told) or "nothing was left out"


def _pictures(rows: LookRows, telling: np.ndarray, rule: LookRule) -> tuple[ShareCurve | None, tuple[LifetimeFit, ...]]:
    after, by, count = rows.after[telling], rows.by[telling], rows.count[telling]
    if not after.size:
        return None, tuple(LifetimeFit(family, refused=NOTHING) for family in FAMILIES)
    after, by, count = _gathered(after, by, count)
    lifetimes = tuple(
        lifetime_fit(family=family, after_days=after, by_days=by, count=count, permitted_share=rule.permitted)
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
            label=f"{day:g}",
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
            why = f"{censored} values are known only as above or below" if censored else "no value is given"
            fit = DeclineFit(scale, rule.value_scale, rule.limit, int(times.size), int(days.size), why=why)
        else:
            fit = decline_fit(
                pull_days=days, pull=pull, values=values, limit=rule.limit, unacceptable=rule.unacceptable,
                value_scale=rule.value_scale, time_scale=scale, permitted_share=rule.permitted,
                confidence=rule.confidence, horizon_days=float(days[-1]),
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
        return PassFailBound("calibrated likelihood ratio", 0.0, day_share, 0.0, 0.0, why=why)
    if not pulls:
        return PassFailBound("calibrated likelihood ratio", None, day_share, why=NOTHING)
    return pass_fail_bound(
        pull_days=np.array([pull.dwell_days for pull in pulls]),
        read=np.array([pull.read for pull in pulls]),
        unacceptable=np.array([pull.unacceptable for pull in pulls]),
        day_share=day_share,
        shape=(rule.shape_from, rule.shape_to),
        permitted_share=rule.permitted,
        confidence=rule.confidence,
        seed=rule.seed,
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
        words = f"{harmed} {'coupon' if harmed == 1 else 'coupons'} with harm: one is enough to stop."
        return LookDuration("stopped", None, rule.judged_by, words), ""
    cap = _cap(rows, telling, pulls)
    days, basis, provisional, used = _deciding(rows, telling, rule, bound, declines, lifetimes)
    sure = f"with {100 * rule.confidence:g} % confidence at most {100 * rule.permitted:g} % are unacceptable"
    first = _first_look(rows, telling, pulls)
    because = refused_because(days, first_days=first, cap_days=cap)
    if because is not None or days is None or cap is None:
        short = {
            NO_BOUND: basis,
            NOTHING_SHOWN: f"no time is shown ({basis})",
            BEFORE_FIRST: f"less than {first:g}, and nothing was looked at before {first:g} ({basis})",
            TOO_FEW: f"at no time were {ENOUGH_COUPONS} coupons read",
        }[because or NO_BOUND]
        why = f"Not shown: {short}. Not shown does not mean safe."
        return LookDuration("not shown", None, rule.judged_by, why), used
    held = f", held at the last time with {ENOUGH_COUPONS} coupons" if days >= cap else ""
    words = f"{sure} up to {min(days, cap):.4g} ({basis}{held})"
    if provisional:
        return LookDuration(
            "provisional", min(days, cap), rule.judged_by, f"Provisional, because {provisional}: {words}."
        ), used
    return LookDuration("supported", min(days, cap), rule.judged_by, f"Supported: {words}."), used


def _deciding(
    rows: LookRows,
    telling: np.ndarray,
    rule: LookRule,
    bound: PassFailBound,
    declines: tuple[DeclineFit, ...],
    lifetimes: tuple[LifetimeFit, ...],
) -> tuple[float | None, str, str, str]:
    """Deciding time, what it rests on, the assumption it rests on alone, and the time scale of a deciding decline."""
    seen = bool(np.isfinite(rows.by[telling]).any())
    untested = "" if seen else "nothing unacceptable was seen yet and it is taken that the risk does not fall with time"
    if rows.dwell is None:
        return _from_intervals(rows, telling, rule, lifetimes, seen)
    line = declines[0] if declines else None
    found = deciding_bound(
        decline=line,
        verdict_days=bound.lower_days,
        horizon_days=float(rows.dwell.max()),
        unacceptable_at_zero=_unacceptable_at_zero(rows),
    )
    scale = line.time_scale if line is not None else ""
    if found.by == AT_PLACEMENT:
        return found.days, "unacceptable on the day of placement", "", ""
    if found.by == READINGS:
        return found.days, "decline of the values", "", scale
    if found.by == SHORTER_READINGS:
        return found.days, "decline of the values, though the line fits badly", "", scale
    if found.by == SHORTER_VERDICTS:
        if found.days is None:
            return None, bound.why or "the line does not fit and nothing else can be computed", "", ""
        return found.days, "pass and fail at each time, since the line fits badly", untested, ""
    if found.days is None:
        return None, bound.why or NOTHING, "", ""
    return found.days, bound.why or "pass and fail at each time", untested, ""


def _from_intervals(
    rows: LookRows, telling: np.ndarray, rule: LookRule, lifetimes: tuple[LifetimeFit, ...], seen: bool
) -> tuple[float | None, str, str, str]:
    approximate = "intervals give only an approximate limit"
    if not telling.any():
        return None, NOTHING, "", ""
    if not seen:
        looked = np.repeat(rows.after[telling], rows.count[telling])
        days, shape = zero_failure_days(
            last_acceptable_days=looked, permitted_share=rule.permitted, confidence=rule.confidence,
            shape=(rule.shape_from, rule.shape_to),
        )  # fmt: skip
        return days, f"none unacceptable; the formula for no failures at shape {shape:g}", approximate, ""
    weibull = next(fit for fit in lifetimes if fit.family == "weibull")
    if weibull.t_permitted_profile_lower_days is None:
        return None, weibull.refused or "the likelihood does not fall far enough to give a limit", "", ""
    return weibull.t_permitted_profile_lower_days, "profile likelihood of a Weibull life", approximate, ""


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
