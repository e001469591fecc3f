"""Planning, parts: what of a protocol judges a planned pairing, and with how many coupons at each pull."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from study.errors import NotPossible, Unknown
from study.model.estimate import PairingEstimate
from study.model.plan import MONTH_DAYS, Picture, Plan, planned_groups, planned_protocol, pull_days
from study.model.protocol import Criterion, Protocol

READINGS, VERDICTS, NEVER_BAD = "readings", "verdicts", "none unacceptable"


@dataclass(frozen=True)
class Part:
    """One criterion, or several judged on the same coupons in the same way."""

    title: str
    kind: str
    """readings (declines as assumed), verdicts (lives as assumed), or none unacceptable."""
    coupons: tuple[int, ...]
    """At each pull."""
    time_zero: int
    time_scale: str = "sqrt"
    tests: tuple[str, ...] = ("",)
    """Destructive tests whose coupons are judged."""


@dataclass(frozen=True)
class PlannedDesign:
    """One pairing of a plan as its estimators will see it."""

    days: tuple[int, ...]
    """Dwell of each pull."""
    labels: tuple[str, ...]
    parts: tuple[Part, ...]
    per_test: tuple[tuple[str, tuple[int, ...]], ...]
    """Destructive tests, and the coupons of each at each pull."""
    unlimited: tuple[str, ...] = ()
    """Titles of criteria taken as far within their limit."""

    @property
    def coupons(self) -> int:
        """Coupons of all pulls and destructive tests, time zero and spares left out."""
        return sum(sum(counts) for _, counts in self.per_test)

    @property
    def most(self) -> int:
        """Coupons of one destructive test at one pull, the largest number."""
        return max(max(counts) for _, counts in self.per_test)

    def with_coupons(self, per_pull: int) -> PlannedDesign:
        """The same with so many coupons of each destructive test at every pull."""
        parts = tuple(replace(p, coupons=(per_pull * len(p.tests),) * len(self.days)) for p in self.parts)
        return replace(
            self, parts=parts, per_test=tuple((test, (per_pull,) * len(self.days)) for test, _ in self.per_test)
        )

    def with_pulls(self, pulls: Sequence[tuple[str, int]]) -> PlannedDesign:
        """The same largest number of coupons at each of other pulls, given as label and days."""
        parts = tuple(replace(p, coupons=(max(p.coupons),) * len(pulls)) for p in self.parts)
        return PlannedDesign(
            tuple(d for _, d in pulls), tuple(label for label, _ in pulls), parts,
            tuple((test, (max(counts),) * len(pulls)) for test, counts in self.per_test), self.unlimited,
        )  # fmt: skip

    def only(self, title: str) -> PlannedDesign:
        """One criterion by itself, the others taken as far within their limits.

        Raises
        ------
        Unknown
            If none of that title is judged.
        """
        kept = tuple(part for part in self.parts if title.strip().lower() in part.title.lower())
        if not kept or not title.strip():
            raise Unknown(
                f"“{title}” is not a criterion that this plan is judged by.",
                f"Known: {'; '.join(part.title for part in self.parts)}.",
            )
        left = tuple(part.title for part in self.parts if part not in kept)
        used = {test for part in kept for test in part.tests}
        per_test = tuple((test, counts) for test, counts in self.per_test if test in used)
        return replace(self, parts=kept, per_test=per_test, unlimited=self.unlimited + left)


def planned_design(plan: Plan, protocol: Protocol, *, cell: tuple[str, str, str] | None = None) -> PlannedDesign:
    """The pulls and coupons of one cell, criterion by criterion.

    The first criterion with readings on a scale declines as assumed, and so does the first that passes or fails. Other
    readings are taken as far within their limit, but a hold angle, which ends at 90°, as never released: it is then
    judged by pass and fail. Other verdicts are taken as never unacceptable; they hold the duration all the same.

    Parameters
    ----------
    plan : Plan
    protocol : Protocol
        The one the plan names.
    cell : tuple of adhesive, substrate, environment, optional
        The first cell with coupons if left out.

    Raises
    ------
    Unknown
        If the plan has no coupons there.
    """
    groups = planned_groups(plan)
    cells = list(dict.fromkeys((g.adhesive, g.substrate, g.environment) for g in groups if g.role == "test"))
    chosen = cell or cells[0]
    if chosen not in cells:
        raise Unknown(
            f"“{', '.join(chosen)}” is not a cell of the plan with coupons.",
            f"Known: {'; '.join(', '.join(known) for known in cells)}.",
        )
    here = [g for g in groups if (g.adhesive, g.substrate, g.environment) == chosen]
    protocol = planned_protocol(plan, protocol)
    used = [pull for pull in plan.schedule.pulls if any(g.pull == pull.label and g.role == "test" for g in here)]
    parts: list[Part] = []
    unlimited: list[str] = []
    for criterion in protocol.criteria:
        tests = [t for t in criterion.tests or [test.method for test in protocol.tests]
                 if criterion.quantity in protocol.quantities(t)]  # fmt: skip
        counts = tuple(sum(g.count for g in here if g.role == "test" and g.pull == p.label and g.test in tests)
                       for p in used)  # fmt: skip
        zero = sum(g.count for g in here if g.role == "time-zero" and g.test in tests)
        if not any(counts):
            continue
        kind = _kind(criterion, parts)
        if kind is None:
            unlimited.append(criterion.title)
            continue
        parts.append(Part(criterion.title, kind, counts, zero, criterion.time_scale, tuple(tests)))
    if not parts:
        raise NotPossible(
            "Nothing in the plan is judged by the protocol.", "Add coupons of a test the protocol judges."
        )
    made = dict.fromkeys(g.test for g in here if g.role == "test")
    per_test = tuple(
        (test, tuple(sum(g.count for g in here if (g.role, g.test, g.pull) == ("test", test, p.label)) for p in used))
        for test in made
    )
    days, labels = tuple(map(pull_days, used)), tuple(p.label for p in used)
    return PlannedDesign(days, labels, _joined(parts), per_test, tuple(unlimited))


def _kind(criterion: Criterion, parts: Sequence[Part]) -> str | None:
    taken = {part.kind for part in parts}
    if criterion.continuous and criterion.quantity != "hold_angle":
        return READINGS if READINGS not in taken else None
    return VERDICTS if VERDICTS not in taken and criterion.quantity != "hold_angle" else NEVER_BAD


def _joined(parts: Sequence[Part]) -> tuple[Part, ...]:
    """Parts without those that would only repeat another's bound."""
    kept = [part for part in parts if part.kind != NEVER_BAD]
    together: dict[tuple[int, ...], list[Part]] = {}
    for part in parts:
        if part.kind == NEVER_BAD:
            together.setdefault(part.coupons, []).append(part)
    return (*kept, *(replace(same[0], title=", ".join(p.title for p in same)) for same in together.values()))


def picture_of(estimate: PairingEstimate, *, key: str, permitted_share: float) -> Picture:
    """How a finished pairing declined, as something to plan the next study with.

    Parameters
    ----------
    estimate : PairingEstimate
    key : str
        The pairing's.
    permitted_share : float

    Raises
    ------
    NotPossible
        If its readings do not decline towards a limit, or none carries a line.

    Source
    ------
    The fitted line itself, not a bound: where the line and the scatter of one coupon put the permitted share at the
    limit; the day's part at the share that the readings cannot rule out. Lives by the Weibull fit of what has verdicts
    alone, where one could be made, else never unacceptable.
    """
    from scipy.special import ndtri

    found = []
    for one in estimate.estimates:
        fit = one.decline
        if fit is None or fit.intercept is None or fit.slope is None or not fit.residual_sd or fit.value_scale != "log":
            continue
        sign = 1 if one.unacceptable == "above" else -1
        room = sign * (math.log(fit.limit) - fit.intercept)
        reach = room - float(ndtri(1 - permitted_share)) * fit.residual_sd
        if sign * fit.slope <= 0 or reach <= 0.04:
            continue
        g = reach / (sign * fit.slope)
        days = g**2 if fit.time_scale == "sqrt" else g
        found.append((days, one.title, fit, math.exp(-room)))
    if not found:
        raise NotPossible(
            f"Nothing that was read of {key} moves towards its limit, so it says nothing about a decline.",
            "Plan with slow, middling or fast, or with a picture of your own.",
        )
    days, title, fit, start = min(found, key=lambda one: one[0])
    lives = [
        (life.t_permitted_days, life.shape)
        for one in estimate.estimates if one.decline is None for life in one.lifetimes
        if life.family == "weibull" and life.t_permitted_days and life.shape and not life.refused
    ]  # fmt: skip
    lived = min(lives, key=lambda life: life[0], default=None)
    share = min(fit.day_share or 0.0, 0.9)
    return Picture(
        key=_tidy(key), title=f"As {key} declined, by {title.lower()}", readings_months=min(days / MONTH_DAYS, 1200.0),
        verdict_months=min(lived[0] / MONTH_DAYS, 1200.0) if lived else None,
        verdict_shape=min(max(lived[1], 0.5), 12.0) if lived else 2.5,
        time_scale="sqrt" if fit.time_scale == "sqrt" else "linear", start_share=start,
        scatter=fit.residual_sd or 0.15, day_scatter=math.sqrt(share) * (fit.residual_sd or 0.15),
    )  # fmt: skip


def _tidy(key: str) -> str:
    return re.sub(r"[^a-z0-9.-]+", "-", key.lower()).strip("-")
