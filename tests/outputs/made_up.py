"""Made-up estimates of every outcome, built by hand so that drawing is tested without any estimator."""

from __future__ import annotations

import math

from study.model.estimate import (
    DeclineFit,
    Duration,
    Estimate,
    LifetimeFit,
    Observation,
    PairingEstimate,
    PullCount,
    ShareCurve,
)

PULLS = (("1 week", 7), ("1 month", 30), ("3 months", 91), ("6 months", 183), ("12 months", 365), ("18 months", 548),
         ("24 months", 730), ("36 months", 1096))  # fmt: skip
LOWER_ALL_GOOD = {3: 0.3684, 5: 0.5493}
"""Exact one-sided 95 % lower limits of the acceptable share with none unacceptable (methods: 1 - upper limit)."""


def observation(code: str, label: str, days: float, *, value: float, limit: float, upper: float | None = None,
                pull_stop: bool = False) -> Observation:  # fmt: skip
    """One coupon judged against an upper limit."""
    top = value if upper is None else upper
    bad = None if math.isinf(top) and value <= limit else value > limit
    return Observation(
        code=code, set_key="S01", pull_group=label, dwell_days=days, lower=value, upper=top, unacceptable=bad,
        stop=pull_stop, after_days=0.0 if bad else days, by_days=days if bad else math.inf, why="invented",
    )  # fmt: skip


def force_estimate(*, slope: float = 0.035, pulls: int = 8, limit: float = 20.0) -> Estimate:
    """Removal force that grows with the square root of dwell; one value known only as "at least"."""
    seen = []
    for label, days in PULLS[:pulls]:
        for copy in range(5):
            value = 5.0 * math.exp(slope * math.sqrt(days)) * (1 + 0.08 * (copy - 2))
            upper = math.inf if (days == 730 and copy == 4) else None
            code = f"F{days}-{copy}"
            seen.append(observation(code, label, days, value=round(value, 2), limit=limit, upper=upper))
    days_drawn = tuple(float(10 * step) for step in range(int(PULLS[pulls - 1][1] / 10) + 1))
    mean = tuple(5.0 * math.exp(slope * math.sqrt(day)) for day in days_drawn)
    bound = tuple(value * (1.35 + 0.0003 * day) for value, day in zip(mean, days_drawn, strict=True))
    lower = next((day for day, top in zip(days_drawn, bound, strict=True) if top > limit), None)
    counts = tuple(_count(seen, label) for label, _ in PULLS[:pulls])
    decline = DeclineFit(
        time_scale="sqrt", value_scale="log", limit=limit, n=len(seen), pulls=pulls, intercept=1.6, slope=slope,
        residual_sd=0.1, day_share=0.3, lower_days=lower, lower_alike_days=None, adequate=True, adequacy_p=0.4,
        not_reached=lower is None, draw_days=days_drawn, draw_mean=mean, draw_bound=bound,
    )  # fmt: skip
    return Estimate(
        criterion="removal-force", title="Removal force", unit="N per dot", unacceptable="above", limit=limit,
        observations=tuple(seen), n=len(seen), n_unacceptable=sum(bool(o.unacceptable) for o in seen), dropped=1,
        dropped_why="1 lost", pulls=counts, curve=_curve(counts),
        lifetimes=(
            LifetimeFit(family="Weibull", draw_days=days_drawn,
                        draw_acceptable=tuple(math.exp(-((d / 1200) ** 2)) for d in days_drawn)),
            LifetimeFit(family="lognormal", draw_days=days_drawn,
                        draw_acceptable=tuple(math.exp(-((d / 1150) ** 2.2)) for d in days_drawn)),
        ),
        pass_fail=None, decline=decline, decline_other=None, bound_days=lower, basis="decline of the readings",
        provisional_why=None, hard_case=None, statement="Invented: the bound meets the limit.", stopped_by=(),
    )  # fmt: skip


def hold_estimate(*, pulls: int = 8) -> Estimate:
    """Hold angles that fall, on coupons of their own; unacceptable below 60 degrees."""
    seen = []
    for label, days in PULLS[:pulls]:
        for copy in range(5):
            value = 88 - 0.6 * math.sqrt(days) + 2 * (copy - 2)
            bad = value < 60
            seen.append(Observation(
                code=f"H{days}-{copy}", set_key="S01", pull_group=label, dwell_days=days, lower=round(value, 1),
                upper=round(value, 1), unacceptable=bad, stop=False, after_days=0.0 if bad else days,
                by_days=days if bad else math.inf, why="invented",
            ))  # fmt: skip
    days_drawn = tuple(float(10 * step) for step in range(int(PULLS[pulls - 1][1] / 10) + 1))
    mean = tuple(88 - 0.6 * math.sqrt(day) for day in days_drawn)
    bound = tuple(value - 7 - 0.004 * day for value, day in zip(mean, days_drawn, strict=True))
    lower = next((day for day, low in zip(days_drawn, bound, strict=True) if low < 60), None)
    counts = tuple(_count(seen, label) for label, _ in PULLS[:pulls])
    decline = DeclineFit(
        time_scale="sqrt", value_scale="as read", limit=60.0, n=len(seen), pulls=pulls, lower_days=lower,
        not_reached=lower is None, draw_days=days_drawn, draw_mean=mean, draw_bound=bound,
    )  # fmt: skip
    return Estimate(
        criterion="hold", title="Hold", unit="°", unacceptable="below", limit=60.0, observations=tuple(seen),
        n=len(seen), n_unacceptable=sum(bool(o.unacceptable) for o in seen), dropped=0, dropped_why="", pulls=counts,
        curve=_curve(counts), lifetimes=(), pass_fail=None, decline=decline, decline_other=None, bound_days=lower,
        basis="decline of the readings", provisional_why=None, hard_case=None, statement="Invented.", stopped_by=(),
    )  # fmt: skip


def residue_estimate(*, bad_from: float = math.inf, pulls: int = 8, stop: bool = False) -> Estimate:
    """Residue grades, acceptable until a dwell; one grade typed 2-3."""
    seen = []
    for label, days in PULLS[:pulls]:
        for copy in range(5):
            grade = 3.0 if days >= bad_from and copy < 1 + (days > bad_from) else float(copy % 3 > 0)
            upper = 2.0 if (days == 365 and copy == 2) else None
            seen.append(observation(f"F{days}-{copy}", label, days, value=grade, limit=2, upper=upper,
                                    pull_stop=stop and grade > 2))  # fmt: skip
    counts = tuple(_count(seen, label) for label, _ in PULLS[:pulls])
    return Estimate(
        criterion="residue", title="Residue", unit="grade", unacceptable="above", limit=2, observations=tuple(seen),
        n=len(seen), n_unacceptable=sum(bool(o.unacceptable) for o in seen), dropped=0, dropped_why="", pulls=counts,
        curve=_curve(counts), lifetimes=(), pass_fail=None, decline=None, decline_other=None, bound_days=None,
        basis="pass and fail at each pull", provisional_why="nothing unacceptable yet", hard_case=None,
        statement="Invented: none unacceptable.", stopped_by=("F91-0",) if stop else (),
    )  # fmt: skip


def pairing(outcome: str) -> PairingEstimate:
    """A pairing of the wanted outcome."""
    if outcome == "supported":
        return _pairing((force_estimate(), residue_estimate(bad_from=548), hold_estimate()), outcome, 561, "Residue", 8)
    if outcome == "provisional":
        return _pairing((force_estimate(slope=0.01), residue_estimate()), outcome, 417, "Residue", 8)
    if outcome == "not shown":
        return _pairing((residue_estimate(bad_from=30, pulls=4),), outcome, None, "Residue", 4)
    return _pairing((force_estimate(pulls=3), residue_estimate(bad_from=91, pulls=3, stop=True)), outcome, None,
                    "Harm to the surface", 3)  # fmt: skip


def _pairing(
    estimates: tuple[Estimate, ...], outcome: str, days: int | None, limiting: str, pulls: int
) -> PairingEstimate:
    return PairingEstimate(
        estimates=estimates,
        duration=Duration(
            outcome=outcome, days=days, bound_days=days, limiting=limiting, why="Invented for the drawing.",
            extend="8 more acceptable coupons at 6 months", coupons=5 * pulls, pulls=pulls,
            last_dwell_days=float(PULLS[pulls - 1][1]), confidence=0.95, permitted_unacceptable_share=0.10,
            steps=("Read the coupons.", "Bound each criterion.", "Take the shortest."),
        ),
        seed=1,
    )  # fmt: skip


def _count(seen: list[Observation], label: str) -> PullCount:
    group = [o for o in seen if o.pull_group == label and o.unacceptable is not None]
    bad = sum(bool(o.unacceptable) for o in group)
    lower = LOWER_ALL_GOOD.get(len(group), 0.5) if not bad else max(0.0, 0.55 - 0.2 * bad)
    return PullCount(label=label, dwell_days=group[0].dwell_days, read=len(group), unacceptable=bad,
                     acceptable_lower=lower, unacceptable_lower=0.01 * bad)  # fmt: skip


def _curve(counts: tuple[PullCount, ...]) -> ShareCurve:
    share, before, after, by, mass, left = 1.0, 0.0, [], [], [], []
    for count in counts:
        now = min(share, count.acceptable)
        if now < share:
            after.append(before)
            by.append(count.dwell_days)
            mass.append(share - now)
            left.append(now)
        share, before = now, count.dwell_days
    if share > 0:
        after.append(before)
        by.append(math.inf)
        mass.append(share)
        left.append(0.0)
    return ShareCurve(after_days=tuple(after), by_days=tuple(by), mass=tuple(mass), acceptable=tuple(left),
                      method="invented steps", certificate=0.0)  # fmt: skip
