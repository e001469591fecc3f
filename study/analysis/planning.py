"""Planning: the chance that a plan will show each duration, by invented studies judged as real ones are."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from study.analysis.criterion import extended_days
from study.analysis.design import LifeTruth, ReadingTruth, invented_counts, invented_readings
from study.analysis.planning_decline import decline_bounds
from study.analysis.planning_parts import NEVER_BAD, READINGS, VERDICTS, Part, PlannedDesign
from study.analysis.planning_verdicts import Table, VerdictDesign, rounded_share, verdict_bounds
from study.analysis.tolerance import share_lower, share_upper
from study.analysis.workers import Workers, spread
from study.model.plan import MONTH_DAYS, Picture
from study.model.protocol import Rule
from study.model.support import Chance, PartSupport, Support
from study.model.units import duration_words, percent

LIMIT = 1.0
"""The limit of an invented reading; only its ratio to the start matters."""
ERROR_CONFIDENCE = 0.975
"""Each side of the interval that a share of simulated studies carries: 95 % in all."""

Tables = dict[tuple[VerdictDesign, int], Table]
"""What is known of the tables of designs, by design and day share in tenths."""
Progress = Callable[[str], None]


def chance_of(support: Support, days: int, label: str = "") -> Chance:
    """The share of a plan's invented studies that show at least so many days, with its simulation error.

    Source
    ------
    [clopper1934], 95 % in all.
    """
    reached = np.array(support.days) >= days
    firm = reached & ~np.array(support.provisional)
    ranges = [_interval(int(v.sum()), support.studies) for v in (reached, firm)]
    return Chance(
        label or duration_words(days), days, float(reached.mean()), *ranges[0], float(firm.mean()), *ranges[1]
    )


def design_support(
    plan: PlannedDesign,
    *,
    picture: Picture,
    rule: Rule,
    studies: int = 1000,
    seed: int = 1,
    workers: Workers | None = None,
    tables: Tables | None = None,
    progress: Progress | None = None,
) -> Support:
    """Invent studies of one pairing under a picture of decline, and judge each as a real one.

    Parameters
    ----------
    plan : PlannedDesign
        Pulls, and the coupons of each criterion at them.
    picture : Picture
    rule : Rule
        The protocol's.
    studies : int
        1 000 is usual: a chance of one half then carries ±3 %.
    seed : int
        The answer is the same for the same seed, whatever the workers.
    workers : Workers, optional
    tables : dict, optional
        Tables of designs; what is learned is added, so that the next call is quick.
    progress : function of a sentence, optional

    Source
    ------
    The bounds and the rule of DEVELOPERS.md; exact limits of a share [clopper1934].
    """
    tables = {} if tables is None else tables
    say = progress or (lambda _: None)
    seeds = np.random.SeedSequence(seed).generate_state(2).tolist()
    say(f"inventing {studies} studies")
    readings = _readings(plan, picture, rule, studies, int(seeds[0]))
    rho = np.full(studies, rule.day_share) if readings is None else readings.day_share
    tenths = rounded_share(rho)
    needed: list[_Needed] = []
    if readings is not None and not readings.adequate.all():
        # The line of some studies does not fit: their readings are judged by pass and fail too.
        needed.append(_Needed(readings.part, readings.bad, tenths, ~readings.adequate))
    for part in plan.parts:
        if part.kind in (VERDICTS, NEVER_BAD):
            bad = _counts(plan, part, picture, rule, studies, int(seeds[1]))
            needed.append(_Needed(part, bad, tenths, np.ones(studies, bool)))
    found = _verdict_bounds(plan, needed, rule, workers or Workers(), tables, say)
    return _judged(plan, picture, rule, readings, needed, found, studies=studies, seed=seed)


@dataclass(frozen=True)
class _Readings:
    part: Part
    days: np.ndarray
    day_share: np.ndarray
    adequate: np.ndarray
    bad: np.ndarray
    """(n, K) readings beyond the limit at each pull after placing."""
    spoilt: np.ndarray
    """(n,) whether a coupon was beyond the limit on the day it was placed."""


@dataclass(frozen=True)
class _Needed:
    """Counts of a part that need a pass/fail bound, in the studies that ask for one."""

    part: Part
    bad: np.ndarray
    tenths: np.ndarray
    asked: np.ndarray


def _readings(plan: PlannedDesign, picture: Picture, rule: Rule, studies: int, seed: int) -> _Readings | None:
    part = next((part for part in plan.parts if part.kind == READINGS), None)
    if part is None or picture.readings_months is None:
        return None
    counts = np.array([n for n in (part.time_zero, *part.coupons) if n])
    days = np.array([d for d, n in zip((0, *plan.days), (part.time_zero, *part.coupons), strict=True) if n], float)
    if np.unique(days).size < 3:
        # No line can be drawn through them, and pass and fail need three pulls too: nothing can be shown.
        nothing, after = np.full(studies, math.nan), np.zeros((studies, int((days > 0).sum())), np.int64)
        own = np.full(studies, rule.day_share)
        return _Readings(part, nothing, own, np.ones(studies, bool), after, np.zeros(studies, bool))
    truth = ReadingTruth(
        t_permitted_days=picture.readings_months * MONTH_DAYS, time_scale=picture.time_scale,
        day_sd=picture.day_scatter, start=picture.start_share * LIMIT, limit=LIMIT, total_sd=picture.scatter,
        permitted_share=rule.permitted_unacceptable_share,
    )  # fmt: skip
    forces = invented_readings(truth, pull_days=days, coupons=int(counts.max()), studies=studies, seed=seed)
    horizon = extended_days(float(days[-1]), rule=rule)
    root = part.time_scale == "sqrt"
    bounds = decline_bounds(
        g=np.sqrt(days) if root else days, counts=counts, y=np.log(forces), limit=math.log(LIMIT),
        cap=math.sqrt(horizon) if root else horizon,
        permitted_share=rule.permitted_unacceptable_share, confidence=rule.confidence,
    )  # fmt: skip
    there = np.arange(forces.shape[2]) < counts[:, None]
    bad = ((forces > LIMIT) & there).sum(axis=2)
    bound = bounds.g**2 if root else bounds.g
    spoilt = bad[:, days == 0].sum(axis=1) > 0
    return _Readings(part, bound, bounds.day_share, bounds.adequate, bad[:, days > 0], spoilt)


def _counts(
    plan: PlannedDesign, part: Part, picture: Picture, rule: Rule, studies: int, seed: int
) -> np.ndarray:  # fmt: skip
    coupons = np.array([n for n in part.coupons if n])
    days = np.array([d for d, n in zip(plan.days, part.coupons, strict=True) if n], float)
    if part.kind == NEVER_BAD or picture.verdict_months is None:
        return np.zeros((studies, coupons.size), np.int64)
    truth = LifeTruth(
        picture.verdict_months * MONTH_DAYS, spread=picture.verdict_shape,
        day_share=(picture.day_scatter / picture.scatter) ** 2, permitted_share=rule.permitted_unacceptable_share,
    )  # fmt: skip
    return invented_counts(truth, pull_days=days, coupons=coupons, studies=studies, seed=seed)


def _verdict_bounds(
    plan: PlannedDesign, needed: Sequence[_Needed], rule: Rule, workers: Workers, tables: Tables, say: Progress
) -> list[np.ndarray]:
    """(n,) bound of each part, NaN where there is none or none was asked for."""
    places: list[tuple[int, np.ndarray, np.ndarray, np.ndarray, Table]] = []
    wanted: dict[tuple[VerdictDesign, int], dict[tuple[int, ...], None]] = {}
    for number, one in enumerate(needed):
        design = verdict_design(plan, one.part, rule)
        for tenths in np.unique(one.tenths[one.asked]).tolist():
            rows = np.flatnonzero(one.asked & (one.tenths == tenths))
            outcomes, back = np.unique(one.bad[rows], axis=0, return_inverse=True)
            table = tables.setdefault((design, tenths), Table())
            places.append((number, rows, outcomes, back.ravel(), table))
            new = [row for row in map(tuple, outcomes.tolist()) if row not in table.bounds]
            if new:
                wanted.setdefault((design, tenths), {}).update(dict.fromkeys(new))
    tasks = [(design, tenths, np.array(list(new)), tables[design, tenths]) for (design, tenths), new in wanted.items()]
    if tasks:
        say(f"judging {sum(len(task[2]) for task in tasks)} new outcomes by pass and fail")
    for task, learned in zip(tasks, spread(verdict_bounds, tasks, workers=workers), strict=True):
        tables[task[0], task[1]].learn(learned)
        say(f"judged where pulls share {task[1] * 10} % of the scatter, {sum(task[0].read)} coupons in all")
    found = [np.full(one.bad.shape[0], math.nan) for one in needed]
    for number, rows, outcomes, back, table in places:
        found[number][rows] = np.array([table.bounds[row] for row in map(tuple, outcomes.tolist())])[back]
    return found


def verdict_design(plan: PlannedDesign, part: Part, rule: Rule) -> VerdictDesign:
    """What the pass/fail bound of one part depends on."""
    pairs = [(float(d), n) for d, n in zip(plan.days, part.coupons, strict=True) if n]
    return VerdictDesign(
        tuple(d for d, _ in pairs), tuple(n for _, n in pairs), (rule.shape_from, rule.shape_to),
        rule.permitted_unacceptable_share, rule.confidence, rule.seed,
    )  # fmt: skip


def _judged(
    plan: PlannedDesign,
    picture: Picture,
    rule: Rule,
    readings: _Readings | None,
    needed: Sequence[_Needed],
    found: Sequence[np.ndarray],
    *,
    studies: int,
    seed: int,
) -> Support:
    """Each study's duration by the rule of ``duration.display_duration``: caps, and the smallest of all criteria."""
    allowed: list[np.ndarray] = []
    assumption: list[np.ndarray] = []
    parts: list[Part] = []
    own = next((bounds for one, bounds in zip(needed, found, strict=True) if one.part.kind == READINGS), None)
    if readings is not None:
        bound, resting = readings.days.copy(), np.zeros(studies, bool)
        if own is not None:
            poor = ~readings.adequate
            shorter = poor & (own < bound)
            bound[poor] = np.where(np.isnan(own[poor]), np.nan, np.minimum(own[poor], bound[poor]))
            resting = shorter & (readings.bad.sum(axis=1) == 0)
        bound[readings.spoilt] = 0.0
        parts.append(readings.part)
        held, past = _capped(plan, readings.part, bound, rule)
        allowed.append(held)
        assumption.append(resting | past)
    for one, bounds in zip(needed, found, strict=True):
        if one.part.kind != READINGS:
            parts.append(one.part)
            held, past = _capped(plan, one.part, bounds, rule)
            allowed.append(held)
            assumption.append((one.bad.sum(axis=1) == 0) | past)
    each = np.array(allowed)
    least = each.min(axis=0)
    tied = each == least
    shown = least > 0
    days = np.floor(np.where(shown, least, 0) + 1e-9).astype(int)
    support = Support(
        chances=(), median_days=math.floor(np.median(days)), not_shown=float(1 - shown.mean()),
        parts=tuple(
            PartSupport(part.title, math.floor(np.median(row)), float((row == least).mean()))
            for part, row in zip(parts, each, strict=True)
        ),
        studies=studies, seed=seed, assumed=assumed_words(plan, picture, parts, rule),
        days=tuple(days.tolist()), provisional=tuple((shown & (tied & np.array(assumption)).any(axis=0)).tolist()),
    )  # fmt: skip
    chances = tuple(chance_of(support, d, label) for d, label in zip(plan.days, plan.labels, strict=True))
    return replace(support, chances=chances)


def _capped(plan: PlannedDesign, part: Part, bound: np.ndarray, rule: Rule) -> tuple[np.ndarray, np.ndarray]:
    """``duration.capped_bound`` over studies: 0 where the criterion shows nothing; whether it extrapolates."""
    first = next(d for d, n in zip(plan.days, part.coupons, strict=True) if n)
    enough = [d for d, n in zip(plan.days, part.coupons, strict=True) if n >= rule.minimum_coupons]
    if not enough:
        return np.zeros(bound.size), np.zeros(bound.size, bool)
    found = np.nan_to_num(bound, nan=0.0)
    held = np.where(found >= first, np.minimum(found, extended_days(float(enough[-1]), rule=rule)), 0.0)
    return held, held > enough[-1]


def assumed_words(plan: PlannedDesign, picture: Picture, parts: Sequence[Part], rule: Rule) -> tuple[str, ...]:
    """What was assumed, in sentences."""
    share = percent(rule.permitted_unacceptable_share)
    found = [f"{picture.title}: an assumption to plan with, not a finding about any adhesive."]
    for part in parts:
        if part.kind == READINGS and picture.readings_months is not None:
            found.append(
                f"{part.title}: starts at {percent(picture.start_share)} of the limit and grows with "
                f"{'the square root of ' if picture.time_scale == 'sqrt' else ''}dwell; {share} of coupons pass "
                f"the limit at {picture.readings_months:.3g} months; coupons scatter {picture.scatter:.2f} on the "
                f"logarithm, of which a day's pull shares {picture.day_scatter:.2f}."
            )
        elif part.kind == VERDICTS and picture.verdict_months is not None:
            found.append(
                f"{part.title}: {share} of coupons are unacceptable at {picture.verdict_months:.3g} months (Weibull "
                f"lives, shape {picture.verdict_shape:g})."
            )
        else:
            found.append(f"{part.title}: never unacceptable; judged by pass and fail, so it still holds the duration.")
    if not any(part.kind == READINGS for part in parts):
        found.append(
            f"Pulls share {percent(rule.day_share)} of the scatter, as the protocol says where no reading tells."
        )
    if plan.unlimited:
        found.append(f"{', '.join(plan.unlimited)}: far within the limit, so not limiting.")
    found.append("No coupon is lost, every pull falls on its day, and the pulls' day effects are the only drift.")
    return tuple(found)


def _interval(reached: int, studies: int) -> tuple[float, float]:
    return (
        share_lower(unacceptable=reached, read=studies, confidence=ERROR_CONFIDENCE),
        share_upper(unacceptable=reached, read=studies, confidence=ERROR_CONFIDENCE),
    )
