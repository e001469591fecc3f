"""Size of a plan: coupons, bench hours and shelf length at once, before anything is made."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

from study.model.plan import SPARES_USUAL, Group, Plan, planned_groups
from study.model.pull import TIME_ZERO
from study.model.units import percent

LONG_DAY_HOURS = 40.0
"""A pull that takes one person longer than a working week is said [common-practice]."""


@dataclass(frozen=True)
class PullSize:
    """One pull over all environments."""

    label: str
    coupons: int
    hours: float


@dataclass(frozen=True)
class RoomSize:
    """What one environment must hold once everything is placed."""

    environment: str
    coupons: int
    shelves: int
    metres: float
    """Running metres of shelf, coupons standing as many behind each other as fit."""


@dataclass(frozen=True)
class PlanSize:
    """A plan in numbers; every count is a sum over the same groups."""

    coupons: int
    cells: int
    by_role: dict[str, int]
    by_test: dict[str, int]
    """Test coupons by destructive test."""
    pulls: tuple[PullSize, ...]
    """Time zero first where there is a set for it. Spares belong to none."""
    rooms: tuple[RoomSize, ...]
    making_hours: float
    reading_hours: float
    """Pulling, setting up and reading; spares are made and not counted here."""
    formula: str
    """How the number of test coupons comes about, in one line."""
    warnings: tuple[str, ...]

    @property
    def hours(self) -> float:
        """Making and reading."""
        return self.making_hours + self.reading_hours

    @property
    def metres(self) -> float:
        """Running metres of shelf in all environments."""
        return sum(room.metres for room in self.rooms)


def plan_size(plan: Plan) -> PlanSize:
    """Coupons, hours of one person's bench work and metres of shelf.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    PlanSize
        Hours rest on the plan's own minutes, which are common practice until you put your own.

    Source
    ------
    [common-practice]
    """
    groups = planned_groups(plan)
    tested = [group for group in groups if group.role == "test"]
    by_role = Counter[str]()
    for group in groups:
        by_role[group.role] += group.count
    by_test = Counter[str]()
    for group in tested:
        by_test[group.test] += group.count
    pulls = tuple(_pull(plan, groups, label) for label in ("", *plan.pulls))
    pulls = tuple(pull for pull in pulls if pull.coupons)
    rooms = tuple(_room(plan, groups, environment) for environment in plan.environments)
    rooms = tuple(room for room in rooms if room.coupons)
    total = sum(by_role.values())
    placed = sum(room.coupons for room in rooms)
    return PlanSize(
        coupons=total,
        cells=len({group.pool for group in tested}),
        by_role=dict(by_role),
        by_test=dict(by_test),
        pulls=pulls,
        rooms=rooms,
        making_hours=(total * plan.bench.making + placed * plan.bench.placing) / 60,
        reading_hours=sum(pull.hours for pull in pulls),
        formula=_formula(plan, tested),
        warnings=(*_warnings(plan, pulls, by_role), *_untested(plan, tested)),
    )


def _minutes(plan: Plan, group: Group) -> float:
    """Reading one coupon of a group."""
    test = next(test for test in plan.tests if test.method == group.test)
    methods = plan.blank_reads if group.role == "blank" else (test.method, *test.then_read)
    return sum(plan.bench.minutes.get(method, plan.bench.other_method) for method in methods)


def _pull(plan: Plan, groups: tuple[Group, ...], label: str) -> PullSize:
    here = [group for group in groups if group.pull == label and group.role != "spare"]
    minutes = sum(group.count * (_minutes(plan, group) + (plan.bench.pulling if label else 0)) for group in here)
    rooms = len({group.environment for group in here}) if label else min(len(here), 1)
    return PullSize(label or TIME_ZERO, sum(g.count for g in here), (minutes + rooms * plan.bench.setup_per_pull) / 60)


def _room(plan: Plan, groups: tuple[Group, ...], environment: str) -> RoomSize:
    count = sum(g.count for g in groups if g.environment == environment and g.role != "time-zero")
    shelf = plan.shelf
    columns = math.ceil(count / shelf.rows)
    metres = max(0.0, columns * (shelf.width_mm + shelf.gap_mm) - shelf.gap_mm) / 1000
    return RoomSize(environment, count, math.ceil(count / shelf.places), metres)


def _formula(plan: Plan, tested: list[Group]) -> str:
    sizes = (
        f"{_of(len(plan.adhesives), 'adhesive')} × {_of(len(plan.substrates), 'substrate')} × "
        f"{_of(len(plan.environments), 'environment')} × {_of(len(plan.pulls), 'pull')}"
    )
    total = sum(group.count for group in tested)
    per_test = " + ".join(f"{test.per_pull} {test.method}" for test in plan.tests)
    many = len(plan.tests) > 1
    line = f"{sizes} × {f'({per_test})' if many else per_test} = "
    balanced = len(plan.adhesives) * len(plan.substrates) * len(plan.environments) * len(plan.pulls)
    balanced *= sum(test.per_pull for test in plan.tests)
    if balanced == total:
        return f"{line}{total} test coupons"
    return f"{line}{balanced}; with the changes {total} test coupons"


def _of(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _warnings(plan: Plan, pulls: tuple[PullSize, ...], by_role: Counter[str]) -> tuple[str, ...]:
    found = []
    low, high = SPARES_USUAL
    share, usual = plan.controls.spare_share, f"{100 * low:g} to {percent(high)}"
    if share < low:
        found.append(f"Spares are {percent(share)} of the test coupons; {usual} is usual, since coupons get lost.")
    elif share > high:
        found.append(f"Spares are {percent(share)} of the test coupons; {usual} is usual.")
    if not by_role["blank"]:
        found.append("No blanks: a substrate that changes colour by itself cannot be told from a stain.")
    if not by_role["time-zero"]:
        found.append("No time-zero set: nothing says where the readings start, nor how much they scatter.")
    if not by_role["control"]:
        found.append("No control on inert glass: ageing of the adhesive cannot be told from the surface's part.")
    most = max(pulls, key=lambda pull: pull.hours)
    if most.hours > LONG_DAY_HOURS:
        found.append(
            f"The pull at {most.label} takes {most.hours:.0f} h for one person: longer than a working week, and "
            "coupons of one pull should be read together."
        )
    unknown = [m for t in plan.tests for m in (t.method, *t.then_read) if m not in plan.bench.minutes]
    if unknown:
        found.append(
            f"No minutes are given for {', '.join(dict.fromkeys(unknown))}; {plan.bench.other_method:g} min was taken."
        )
    return tuple(found)


def _untested(plan: Plan, tested: list[Group]) -> list[str]:
    """Adhesives, substrates and environments that a plan names and its changes leave without a test coupon."""
    kinds = (
        ("adhesive", plan.adhesives, {group.adhesive for group in tested}),
        ("substrate", plan.substrates, {group.substrate for group in tested}),
        ("environment", plan.environments, {group.environment for group in tested}),
    )
    return [
        f"No test coupon for the {kind} {name}: nothing will be known of it. Give it coupons or leave it out."
        for kind, names, found in kinds
        for name in names
        if name not in found
    ]
