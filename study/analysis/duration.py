"""Duration: from the estimates of all criteria to the maximum display duration, each step in plain words."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from study.analysis.censoring import joined, pull_groups
from study.analysis.criterion import Judged, criterion_estimate, decline_of, extended_days, judged
from study.analysis.deciding import (
    BEFORE_FIRST,
    NO_BOUND,
    NOTHING_SHOWN,
    TOO_FEW,
    assumed_day_share,
    last_with_enough,
    refused_because,
)
from study.analysis.extension import extension_words
from study.analysis.tolerance import share_upper
from study.model.coupon import EVIDENCE_ROLES
from study.model.estimate import AnyFailure, Duration, Estimate, PairingEstimate
from study.model.protocol import Protocol, Rule
from study.model.reading import CouponHistory
from study.model.units import duration_words, percent, with_unit

SUPPORTED, PROVISIONAL, NOT_SHOWN, STOPPED = "supported", "provisional", "not shown", "stopped"


def pairing_estimate(
    *,
    histories: Sequence[CouponHistory],
    protocol: Protocol,
    faces_object: bool,
    progress: Callable[[str], None] | None = None,
) -> PairingEstimate:
    """All criteria of one pairing, and the maximum display duration they support together.

    Parameters
    ----------
    histories : sequence of CouponHistory
        Coupons of the pairing that have left their placement, in any order.
    protocol : Protocol
        Criteria and rule, as frozen before the first reading.
    faces_object : bool
        Whether the substrate stands for an object, so that harm to it stops the pairing.
    progress : function of a sentence, optional
        Told what is being worked out.

    Returns
    -------
    PairingEstimate
        The order of rows and the names of coupons change nothing but the names shown.

    Source
    ------
    [common-practice] for the rule; the bounds name their own sources.
    """
    evidence = tuple(
        sorted(
            (h for h in histories if h.role in EVIDENCE_ROLES),
            key=lambda h: (h.dwell_days, h.set_key, h.pull_group, h.test, h.code),
        )
    )
    rule = protocol.rule
    cases = [judged(evidence, criterion=c, protocol=protocol, faces_object=faces_object) for c in protocol.criteria]
    declines = [
        {scale: decline_of(case, rule=rule, time_scale=scale) for scale in ("sqrt", "linear")} for case in cases
    ]
    judging = [fits[case.criterion.time_scale][0] for case, fits in zip(cases, declines, strict=True)]
    own = [fit.day_share if fit is not None else None for fit in judging]
    known = [share for share in own if share is not None]
    common = max(known) if known else rule.day_share
    estimates = []
    for case, fits, share in zip(cases, declines, own, strict=True):
        if progress is not None:
            progress(case.criterion.title)
        day_share = assumed_day_share(share, declared=common)
        estimates.append(criterion_estimate(case, rule=rule, declines=fits, day_share=day_share, progress=progress))
    duration = display_duration(estimates, cases=cases, protocol=protocol)
    return PairingEstimate(tuple(estimates), duration, rule.seed)


@dataclass(frozen=True)
class Capped:
    """What one criterion allows after the caps, or why it allows nothing."""

    estimate: Estimate
    days: float | None
    """After the caps; None where nothing is shown."""
    refusal: str | None
    provisional: str | None
    cap_days: float | None
    cap_read: int
    capped: bool
    first_days: float


def capped_bound(estimate: Estimate, *, rule: Rule) -> Capped:
    """One criterion's bound under the caps of the rule.

    Parameters
    ----------
    estimate : Estimate
    rule : Rule
        Minimum of coupons at the pull a bound may reach, and extrapolation.

    Returns
    -------
    Capped
        Never longer than the bound.
    """
    first = min((p.dwell_days for p in estimate.pulls), default=0.0)
    enough = last_with_enough(estimate.pulls, minimum=rule.minimum_coupons)
    cap, read = (enough.dwell_days, enough.read) if enough is not None else (None, 0)
    name = estimate.title
    refusal: str | None = None
    bound = estimate.bound_days
    because = refused_because(bound, first_days=first, cap_days=cap)
    if estimate.n == 0:
        refusal = f"{name} has not been read on any coupon that tells something"
        refusal += f" ({estimate.dropped_why})" if estimate.dropped_why else ""
    elif because == NO_BOUND:
        why = estimate.pass_fail.why if estimate.pass_fail is not None else None
        refusal = f"{name}: {why or estimate.hard_case or 'the evidence is too thin'}"
    elif because == NOTHING_SHOWN:
        why = estimate.pass_fail.why if estimate.pass_fail is not None and estimate.pass_fail.lower_days == 0 else None
        refusal = f"{name}: no safe duration is shown, {why or estimate.basis}"
    elif because == BEFORE_FIRST:
        refusal = f"{name}: less than {first:g} d, and nothing was looked at before {first:g} d"
    elif because == TOO_FEW:
        refusal = f"{name}: no pull has {rule.minimum_coupons} coupons read"
    if refusal is not None or bound is None or cap is None:
        return Capped(estimate, None, refusal, None, cap, read, False, first)
    furthest = extended_days(cap, rule=rule)
    days = min(bound, furthest)
    provisional = estimate.provisional_why
    if days > cap:
        past = f"it reaches past the last pull with {rule.minimum_coupons} coupons ({cap:g} d)"
        provisional = f"{provisional}, and {past}" if provisional else past
    return Capped(estimate, days, None, provisional, cap, read, bound >= furthest, first)


def display_duration(estimates: Sequence[Estimate], *, cases: Sequence[Judged], protocol: Protocol) -> Duration:
    """The maximum display duration of one pairing under the protocol's rule.

    Parameters
    ----------
    estimates, cases : sequences of equal length
        One of each per criterion, in the protocol's order.
    protocol : Protocol

    Returns
    -------
    Duration
        Supported, provisional, not shown or stopped; caps and stops never lengthen.
    """
    rule = protocol.rule
    capped = [capped_bound(estimate, rule=rule) for estimate in estimates]
    telling = [o for e in estimates for o in e.observations if o.unacceptable is not None]
    after = [o for o in telling if o.dwell_days > 0]
    last = max((o.dwell_days for o in after), default=0.0)
    groups = {
        (g.members[0].set_key, g.label) for e in estimates for g in pull_groups(e.observations) if g.dwell_days > 0
    }
    stops = sorted((o.dwell_days, e.title, o.code, o.why) for e in estimates for o in e.observations if o.stop)
    refused = [c for c in capped if c.refusal is not None]
    allowed = [c for c in capped if c.days is not None]
    days: int | None = None
    bound: float | None = None
    if stops:
        outcome, limiting = STOPPED, stops[0][1]
        dwell, _, code, seen = stops[0]
        why = f"{limiting}: coupon {code} after {dwell:g} d ({duration_words(dwell)}): {seen}. "
        why += "One such coupon stops the pairing" + (f"; {len(stops)} in all." if len(stops) > 1 else ".")
    elif refused or not allowed:
        worst = min(refused, key=lambda c: math.inf if c.estimate.bound_days is None else c.estimate.bound_days)
        outcome, limiting = NOT_SHOWN, worst.estimate.title
        bound = worst.estimate.bound_days
        why = "; ".join(c.refusal or "" for c in [worst, *(c for c in refused if c is not worst)]) + "."
    else:
        least = min(c.days or 0.0 for c in allowed)
        tied = [c for c in allowed if c.days == least]
        worst = next((c for c in tied if c.provisional), tied[0])
        outcome, limiting = (PROVISIONAL if worst.provisional else SUPPORTED), worst.estimate.title
        bound, days = least, math.floor(least + 1e-9)
        why = f"{limiting} allows the least: {worst.estimate.basis}."
        if worst.provisional:
            why += f" Provisional, because {worst.provisional}."
    limiting_case = next((i for i, e in enumerate(estimates) if e.title == limiting), None)
    extend = extension_words(
        outcome=outcome,
        estimate=estimates[limiting_case] if limiting_case is not None else None,
        case=cases[limiting_case] if limiting_case is not None else None,
        days=bound,
        capped=limiting_case is not None and capped[limiting_case].capped,
        protocol=protocol,
    )
    any_failure = share_failing_any(estimates, dwell_days=float(days or 0), rule=rule)
    return Duration(
        outcome=outcome, days=days, bound_days=bound, limiting=limiting, why=why, extend=extend,
        coupons=len({o.code for o in telling}), pulls=len(groups), last_dwell_days=last, confidence=rule.confidence,
        permitted_unacceptable_share=rule.permitted_unacceptable_share,
        steps=_steps(capped, rule=rule, outcome=outcome, days=days, why=why, any_failure=any_failure),
        any_failure=any_failure,
    )  # fmt: skip


def share_failing_any(estimates: Sequence[Estimate], *, dwell_days: float, rule: Rule) -> AnyFailure | None:
    """Share of coupons that failed any criterion they were read for, at the first pull at or after a dwell.

    Parameters
    ----------
    estimates : sequence of Estimate
    dwell_days : float [d]
    rule : Rule
        Its confidence is used.

    Source
    ------
    [clopper1934]
    """
    together = joined([estimate.observations for estimate in estimates])
    after = [o for o in together if o.unacceptable is not None and o.dwell_days >= max(dwell_days, 1e-9)]
    if not after:
        return None
    group = min((o.dwell_days, o.pull_group) for o in after)[1]
    pull = [o for o in after if o.pull_group == group]
    failed = sum(o.unacceptable is True for o in pull)
    upper = share_upper(unacceptable=failed, read=len(pull), confidence=rule.confidence)
    return AnyFailure(min(o.dwell_days for o in pull), len(pull), failed, upper)


def _steps(
    capped: Sequence[Capped], *, rule: Rule, outcome: str, days: int | None, why: str, any_failure: AnyFailure | None
) -> tuple[str, ...]:
    """Every step from readings to the number, for a careful reader who is no statistician."""
    share, sure = percent(rule.permitted_unacceptable_share), percent(rule.confidence)
    steps = [
        f"The rule: at most {share} of coupons may be unacceptable, shown with {sure} confidence, for each criterion "
        "on its own. The criterion that allows the least decides."
    ]
    told: set[str] = set()
    steps += [_criterion_step(c, rule, told) for c in capped]
    if outcome == STOPPED:
        steps.append(f"Stopped. {why} Only a recorded act by a second person can lift a stop.")
    elif days is None:
        steps.append(f"Not shown. {why} Not shown does not mean safe.")
    else:
        words = duration_words(days)
        steps.append(f"{why} Rounded down to whole days: {days} d, in words {words}.")
    if any_failure is not None:
        steps.append(
            f"Seen together: of {any_failure.read} coupons at {any_failure.dwell_days:g} d, {any_failure.unacceptable} "
            f"failed at least one criterion they were read for; with {sure} confidence at most "
            f"{percent(any_failure.share_upper)} of such coupons would."
        )
    return tuple(steps)


def _criterion_step(capped: Capped, rule: Rule, told: set[str]) -> str:
    estimate = capped.estimate
    limit = (
        f", unacceptable {estimate.unacceptable} {with_unit(estimate.limit, estimate.unit)}"
        if estimate.limit is not None
        else ""
    )
    dropped = f" {estimate.dropped} left out: {estimate.dropped_why}." if estimate.dropped else ""
    text = f"{estimate.title}{limit}: {estimate.statement}{dropped}"
    decline, verdicts = estimate.decline, estimate.pass_fail
    if decline is not None and decline.day_share is not None:
        fit = "fits" if decline.adequate else "does not fit well"
        fit = "has too few pulls to be tested" if decline.adequacy_p is None else fit
        text += (
            f" {decline.n} readings from {decline.pulls} pulls; the line {fit}; up to {percent(decline.day_share)} of "
            "their scatter may be shared by all coupons of one pull, and the bound allows for it."
        )
    if (decline is None or decline.adequate is False) and verdicts is not None and verdicts.day_share is not None:
        how = "every possible outcome weighed" if verdicts.exact else "by seeded simulation, rounded down to two digits"
        compared = (
            f" The verdicts were compared with studies of the same pulls in which {percent(verdicts.day_share)} of the "
            f"scatter is shared by a pull's coupons ({how}), taking it that the risk does not fall with dwell."
        )
        text += " The verdicts were compared in the same way as above." if compared in told else compared
        told.add(compared)
    if capped.days is not None and capped.cap_days is not None and capped.capped:
        text += f" Held at {capped.days:g} d: the last pull with at least {rule.minimum_coupons} coupons read"
        text += f" is at {capped.cap_days:g} d."
    return text
