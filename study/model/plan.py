"""Plans: what a study would be made of, counted cell by cell before anything is made."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from study.model.pairing import KEY_LENGTH, REGISTER_KEY
from study.model.protocol import Key, Plain, Protocol, Schedule, ScheduledPull
from study.model.units import plain

MONTH_DAYS = 30.4375
"""Mean length of a calendar month, for planning; a study counts its own calendar."""
SPARES_USUAL = (0.10, 0.20)
"""Usual share of spare coupons [common-practice]."""
MOST_PER_PULL = 100
Count = Annotated[int, Field(ge=0, le=MOST_PER_PULL)]
Registered = Annotated[str, Field(pattern=REGISTER_KEY, max_length=KEY_LENGTH)]
Names = Annotated[tuple[Registered, ...], Field(min_length=1, max_length=100)]


class PlannedTest(Plain):
    """One destructive test and its coupons; a coupon serves one destructive test alone."""

    method: Key
    per_pull: Count
    """Coupons of each cell at each pull."""
    then_read: tuple[Key, ...] = ()
    """What is read on the same coupon afterwards."""


class CellChange(Plain):
    """Another number of coupons for some cells; 0 leaves them out. Blank means any, and the last that fits counts."""

    adhesive: str = ""
    substrate: str = ""
    environment: str = ""
    test: str = ""
    pull: str = ""
    per_pull: Count


class Controls(Plain):
    """Coupons beside the test coupons."""

    blanks_per_pull: Count = 0
    """Bare substrate of each substrate and environment, at each pull."""
    time_zero: Count = 0
    """Of each cell and destructive test, read on the day of placing."""
    glass: str = ""
    """Substrate of the inert-glass control, which tells ageing of the adhesive from effects of the surface."""
    glass_per_pull: Count = 0
    """Of each adhesive, environment and destructive test, at each pull."""
    spare_share: float = Field(default=0.0, ge=0, le=1)
    """Spares of each cell and destructive test, as a share of its test coupons, rounded up."""


class Bench(Plain):
    """Minutes of one person's work."""

    making: float = Field(default=8.0, ge=0, le=600)
    placing: float = Field(default=1.0, ge=0, le=600)
    pulling: float = Field(default=2.0, ge=0, le=600)
    setup_per_pull: float = Field(default=30.0, ge=0, le=6000)
    """For each pull of each environment, whatever the number of coupons."""
    other_method: float = Field(default=5.0, ge=0, le=600)
    """For a method without minutes of its own."""
    minutes: dict[str, float] = Field(default_factory=dict)
    """For one coupon, by test method."""


class Shelf(Plain):
    """Room one coupon takes and room there is."""

    width_mm: float = Field(default=100.0, gt=0, le=2000)
    depth_mm: float = Field(default=50.0, gt=0, le=2000)
    gap_mm: float = Field(default=10.0, ge=0, le=500)
    shelf_length_mm: float = Field(default=1000.0, gt=0, le=20000)
    shelf_depth_mm: float = Field(default=300.0, gt=0, le=5000)

    @model_validator(mode="after")
    def _a_coupon_fits(self) -> Self:
        if self.width_mm > self.shelf_length_mm or self.depth_mm > self.shelf_depth_mm:
            raise ValueError("a coupon is larger than the shelf")
        return self

    @property
    def rows(self) -> int:
        """Coupons one behind the other."""
        return math.floor((self.shelf_depth_mm + self.gap_mm) / (self.depth_mm + self.gap_mm) + 1e-9)

    @property
    def places(self) -> int:
        """Coupons on one shelf."""
        return self.rows * math.floor((self.shelf_length_mm + self.gap_mm) / (self.width_mm + self.gap_mm) + 1e-9)


class Picture(Plain):
    """How a pairing is assumed to decline: something to plan with, no finding."""

    key: Key
    title: str
    readings_months: float | None = Field(default=None, gt=0, le=1200)
    """Dwell at which the permitted share of coupons passes the limit by the readings on a scale."""
    verdict_months: float | None = Field(default=None, gt=0, le=1200)
    """The same by pass and fail; None: never."""
    time_scale: Literal["sqrt", "linear"] = "sqrt"
    start_share: float = Field(default=0.5, gt=0, lt=1)
    """Reading at time zero as a share of the limit."""
    scatter: float = Field(default=0.15, gt=0, le=1)
    """Standard deviation of the logarithm of one coupon's reading, day effect included."""
    day_scatter: float = Field(default=0.05, ge=0)
    """Part of it that the coupons of one pull share."""
    verdict_shape: float = Field(default=2.5, ge=0.5, le=12)
    """Weibull shape of the lives behind pass and fail."""
    sources: tuple[Key, ...] = ("common-practice",)

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        if self.day_scatter >= self.scatter:
            raise ValueError("day_scatter is a part of scatter and must be below it")
        # Nine coupons in ten must be below the limit on the first day, with some room to decline.
        if self.start_share * math.exp(1.2816 * self.scatter) > 0.97:
            raise ValueError("the reading starts so near the limit that there is nothing left to decline")
        return self


class Plan(Plain):
    """A study before it is made: every cell of adhesive × substrate × environment at every pull."""

    name: Key
    title: str = ""
    protocol: str = "display-dots"
    """A protocol that comes with Dwellbook, by key, or a file beside the plan."""
    adhesives: Names
    substrates: Names
    environments: Names
    lots: dict[str, str] = Field(default_factory=dict)
    """Lot of each adhesive; needed where more than one is registered."""
    dot_diameter_mm: float = Field(default=8.0, gt=0, le=200)
    dots: int = Field(default=3, ge=1, le=100)
    dwell_load_n: float = Field(default=0.0, ge=0, le=1000)
    tests: tuple[PlannedTest, ...] = Field(min_length=1)
    schedule: Schedule
    changes: tuple[CellChange, ...] = ()
    controls: Controls = Controls()
    blank_reads: tuple[Key, ...] = ()
    """What is read on a blank; it carries no adhesive."""
    bench: Bench = Bench()
    shelf: Shelf = Shelf()
    pictures: tuple[Picture, ...] = ()

    @model_validator(mode="after")
    def _names_agree(self) -> Self:
        lists = {
            "adhesive": self.adhesives, "substrate": self.substrates, "environment": self.environments,
            "test": tuple(test.method for test in self.tests), "pull": self.pulls,
        }  # fmt: skip
        for what, names in lists.items():
            twice = [name for name in dict.fromkeys(names) if names.count(name) > 1]
            if twice:
                raise ValueError(f"{what} {twice[0]} stands twice")
        for place, change in enumerate(self.changes, start=1):
            for what, names in lists.items():
                named = getattr(change, what)
                if named and named not in names:
                    raise ValueError(f"change {place}: {what} {named} is not in the plan; known: {', '.join(names)}")
        strangers = [name for name in self.lots if name not in self.adhesives]
        if strangers:
            raise ValueError(f"lots: adhesive {strangers[0]} is not in the plan; known: {', '.join(self.adhesives)}")
        if bool(self.controls.glass) != bool(self.controls.glass_per_pull):
            raise ValueError("give glass and glass_per_pull together, or neither")
        if self.controls.glass in self.substrates:
            raise ValueError(f"{self.controls.glass} is a substrate of the plan already: leave glass out")
        if not any(group.role == "test" for group in planned_groups(self)):
            raise ValueError("the plan has no test coupon: every cell is left out, or per_pull is 0")
        return self

    @property
    def pulls(self) -> tuple[str, ...]:
        """Labels of the scheduled pulls."""
        return tuple(pull.label for pull in self.schedule.pulls)

    def per_pull(self, adhesive: str, substrate: str, environment: str, test: PlannedTest, pull: str) -> int:
        """Test coupons of one cell for one test at one pull, changes applied."""
        found = test.per_pull
        here = (adhesive, substrate, environment, test.method, pull)
        for change in self.changes:
            asked = (change.adhesive, change.substrate, change.environment, change.test, change.pull)
            if all(not a or a == b for a, b in zip(asked, here, strict=True)):
                found = change.per_pull
        return found

    def picture(self, key: str) -> Picture:
        """One picture of decline by key; KeyError if the plan has none of that name."""
        return {picture.key: picture for picture in self.pictures}[key]

    def text(self) -> str:
        """The whole plan as JSON, the same for the same plan."""
        return self.model_dump_json(indent=1)


def plan_name(typed: str) -> str:
    """A plan's name as typed, in its one spelling: small letters, dashes for spaces."""
    return re.sub(r"[\s_]+", "-", plain(typed)).lower()


def pull_days(pull: ScheduledPull) -> int:
    """Dwell of a scheduled pull in whole days, a month taken as 30.44 d; a study counts its own calendar."""
    return 7 * pull.weeks + round(MONTH_DAYS * pull.months)


@dataclass(frozen=True)
class Group:
    """Coupons of one kind: the smallest part of a plan."""

    role: str
    """test, time-zero, spare, control or blank."""
    adhesive: str
    substrate: str
    environment: str
    test: str
    pull: str
    """Empty for time zero and spares."""
    count: int

    @property
    def pool(self) -> tuple[str, str, str, str]:
        """Coupons of one pool are made alike, so that any of them can be destined to any of its groups."""
        kind = "cell" if self.role in ("test", "time-zero", "spare") else self.role
        return (kind, self.adhesive, self.substrate, self.environment)

    @property
    def set_parts(self) -> tuple[str, str, str, str]:
        """Role, adhesive, substrate and environment: coupons that share them are one coupon set."""
        return (self.role, self.adhesive, self.substrate, self.environment)


def planned_groups(plan: Plan) -> tuple[Group, ...]:
    """Every group of coupons of a plan, none empty; every count of the plan is a sum over these.

    Cells first, adhesive by adhesive, each with its test, time-zero and spare coupons; glass controls; then blanks.
    """
    return tuple(_groups(plan))


def planned_pools(plan: Plan) -> dict[tuple[str, str, str, str], tuple[Group, ...]]:
    """Groups of each pool, in order of making: codes are dealt to pool after pool, and by chance inside each."""
    found: dict[tuple[str, str, str, str], tuple[Group, ...]] = {}
    for group in planned_groups(plan):
        found[group.pool] = (*found.get(group.pool, ()), group)
    return found


def _groups(plan: Plan) -> Iterator[Group]:
    controls = plan.controls
    kept = [
        group
        for adhesive in plan.adhesives
        for substrate in plan.substrates
        for environment in plan.environments
        for group in _cell_groups(plan, adhesive, substrate, environment)
    ]
    yield from kept
    tested = [group for group in kept if group.role == "test"]
    if controls.glass_per_pull:
        there = dict.fromkeys((g.adhesive, g.environment, g.test, g.pull) for g in tested)
        for adhesive, environment, test, pull in there:
            yield Group("control", adhesive, controls.glass, environment, test, pull, controls.glass_per_pull)
    if controls.blanks_per_pull:
        first = plan.tests[0].method  # a blank is read for colour alone; the first test stands for all of it
        bare = dict.fromkeys((g.substrate, g.environment, g.pull) for g in tested)
        for substrate, environment, pull in bare:
            yield Group("blank", "", substrate, environment, first, pull, controls.blanks_per_pull)


def _cell_groups(plan: Plan, adhesive: str, substrate: str, environment: str) -> Iterator[Group]:
    cell = (adhesive, substrate, environment)
    for test in plan.tests:
        counts = {pull: plan.per_pull(*cell, test, pull) for pull in plan.pulls}
        total = sum(counts.values())
        for pull, count in counts.items():
            if count:
                yield Group("test", *cell, test.method, pull, count)
        if total and plan.controls.time_zero:
            yield Group("time-zero", *cell, test.method, "", plan.controls.time_zero)
        spares = math.ceil(plan.controls.spare_share * total - 1e-9)
        if spares:
            yield Group("spare", *cell, test.method, "", spares)


def planned_protocol(plan: Plan, protocol: Protocol) -> Protocol:
    """The protocol as this plan follows it: with the plan's pulls, and without tests the plan makes no coupons for.

    Criteria judged by those tests alone go with them. The version says which plan it is for where anything differs.
    """
    used = {group.test for group in planned_groups(plan) if group.role == "test"}
    tests = tuple(test for test in protocol.tests if test.method in used)
    criteria = []
    for criterion in protocol.criteria:
        judging = criterion.tests or tuple(t.method for t in protocol.tests)
        left = tuple(test for test in judging if test in used)
        reads = {q for test in left for q in protocol.quantities(test)}
        if left and criterion.quantity in reads:
            criteria.append(criterion.model_copy(update={"tests": left if criterion.tests else ()}))
    # Where the pulls came from makes them no other pulls: sets of one schedule count together.
    same = _pulled_alike(plan.schedule, protocol.schedule)
    schedule = protocol.schedule if same else plan.schedule
    changed = {"schedule": schedule, "tests": tests, "criteria": tuple(criteria)}
    if all(getattr(protocol, name) == value for name, value in changed.items()):
        return protocol
    version = f"{protocol.version}, plan {plan.name}"
    return Protocol.model_validate(protocol.model_dump() | {**changed, "version": version})


def _pulled_alike(one: Schedule, other: Schedule) -> bool:
    return one.model_copy(update={"sources": other.sources}) == other
