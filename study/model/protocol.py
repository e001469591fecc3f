"""Protocols: test methods, criteria, the pull schedule and the decision rule, fixed before the data."""

from __future__ import annotations

import hashlib
import json
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from study.model.interruption import InterruptionKind

Quantity = Literal[
    "removal_force", "failure_pattern", "residue_grade", "residue_cleaned", "discoloration", "hold_angle"
]
CONTINUOUS: tuple[Quantity, ...] = ("removal_force", "discoloration", "hold_angle")
PATTERNS = ("AF", "CF", "SCF", "SF", "CSF", "DF", "ACFP")
"""Failure patterns by ISO 10365 letters: adhesive, cohesive, thin-layer cohesive, substrate, cohesive in the
substrate, delamination of the substrate, mixed with peel."""
PATTERN_WORDS = {
    "AF": "let go at a face",
    "CF": "split inside the adhesive",
    "SCF": "split near a face, thin film left",
    "SF": "substrate broke",
    "CSF": "substrate split inside, near the bond",
    "DF": "layers of the substrate came apart",
    "ACFP": "mixed, with peel",
}
"""What each letter means, in own words [iso-10365]."""
SIDES = ("object", "mount", "both", "unknown")
RESIDUE_GRADES = (0, 5)

Key = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9.-]*$")]


class Plain(BaseModel):
    """Frozen, and strict about words it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class TestMethod(Plain):
    """How one thing is measured on a coupon."""

    __test__ = False

    key: Key
    title: str
    reads: tuple[Quantity, ...] = Field(min_length=1)
    destructive: bool
    force_per: Literal["dot", "width"] | None = None
    """Whether a removal force is per dot [N] or per strip width [N/m]; needed where a force is read."""
    how: str
    """What the bench must keep constant, in one or two sentences."""
    cautions: tuple[str, ...] = ()
    bring: tuple[str, ...] = Field(default=(), exclude_if=lambda value: value == ())
    """What has to be at hand for it."""
    sources: tuple[Key, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _force_has_a_base(self) -> Self:
        if ("removal_force" in self.reads) != (self.force_per is not None):
            raise ValueError('force_per must stand exactly where removal_force is read; write "dot" or "width"')
        return self


class CouponTest(Plain):
    """One destructive test that coupons are destined to, and what is read on the same coupon afterwards."""

    method: Key
    then_read: tuple[Key, ...] = ()


class Criterion(Plain):
    """When one coupon counts as unacceptable, and when it stops its pairing."""

    key: Key
    title: str
    quantity: Quantity
    tests: tuple[Key, ...] = ()
    """Test methods whose coupons are judged; empty means every coupon that carries the quantity."""
    unacceptable: Literal["above", "below", "any of"]
    limit: float | None = None
    """In ``unit``; equal to the limit is acceptable."""
    of_time_zero: bool = False
    """The limit is a share of the time-zero geometric mean instead of a value."""
    unit: str = ""
    patterns: tuple[str, ...] = ()
    """For failure patterns: the letters that are unacceptable when not on the mount side alone."""
    stop: float | None = None
    """One coupon beyond this value stops the pairing whatever the statistics say."""
    stop_patterns: tuple[str, ...] = ()
    """One coupon with one of these stops a pairing whose substrate stands for an object."""
    looks: Literal["one look", "in place"] = "one look"
    value_scale: Literal["log", "as read"] = "log"
    time_scale: Literal["sqrt", "linear"] = "sqrt"
    net_of_blank: bool = Field(default=False, exclude_if=lambda value: value is False)
    """The mean drift of the blanks at the same pull is taken off a colour before its difference is judged."""
    release_counts: bool = False
    """A coupon that released by itself counts as unacceptable here."""
    reason: str
    sources: tuple[Key, ...] = Field(min_length=1)

    @property
    def continuous(self) -> bool:
        """Whether the readings themselves can carry a decline bound."""
        return self.quantity in CONTINUOUS

    @model_validator(mode="after")
    def _limit_fits(self) -> Self:
        if self.quantity == "failure_pattern":
            if self.unacceptable != "any of" or not self.patterns or self.limit is not None or self.stop is not None:
                raise ValueError('a failure pattern is judged by unacceptable = "any of" and patterns, with no limit')
            unknown = [p for p in (*self.patterns, *self.stop_patterns) if p not in PATTERNS]
            if unknown:
                raise ValueError(f"{', '.join(unknown)} is not one of {', '.join(PATTERNS)}")
            return self
        if self.unacceptable == "any of" or self.patterns or self.stop_patterns:
            raise ValueError('patterns belong to failure_pattern alone; write "above" or "below" and a limit')
        if self.limit is None:
            raise ValueError("a limit is needed")
        if self.stop is not None and (self.stop - self.limit) * (1 if self.unacceptable == "above" else -1) < 0:
            raise ValueError("stop must lie at or beyond limit, on the unacceptable side")
        if self.net_of_blank and self.quantity != "discoloration":
            raise ValueError("net_of_blank belongs to discoloration alone")
        if self.continuous and self.value_scale == "log" and self.limit <= 0:
            raise ValueError("a limit judged on the log scale must be above 0")
        return self


class ScheduledPull(Plain):
    """One pull of the schedule: calendar months or weeks after placement, and the window around it."""

    label: str
    weeks: int = Field(default=0, ge=0)
    months: int = Field(default=0, ge=0)
    window_days: int = Field(ge=0)

    @model_validator(mode="after")
    def _one_clock(self) -> Self:
        if bool(self.weeks) == bool(self.months):
            raise ValueError("give either weeks or months")
        return self


class Schedule(Plain):
    """The pulls of a set, and at which of them a decision is planned."""

    pulls: tuple[ScheduledPull, ...] = Field(min_length=1)
    decision_pulls: tuple[str, ...] = Field(min_length=1)
    sources: tuple[Key, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _labels_agree(self) -> Self:
        labels = [pull.label for pull in self.pulls]
        if len(set(labels)) != len(labels):
            raise ValueError("two pulls carry the same label")
        days = [pull.weeks * 7 + pull.months * 30.4 for pull in self.pulls]
        if days != sorted(days):
            raise ValueError("pulls must stand in order of time")
        missing = [label for label in self.decision_pulls if label not in labels]
        if missing:
            raise ValueError(f"decision pull {', '.join(missing)} is not among the pulls")
        return self


class ReadingClimate(Plain):
    """The room a coupon is conditioned and read in; a reading outside is taken and marked."""

    temperature_from_c: float = Field(ge=-50, le=80)
    temperature_to_c: float = Field(ge=-50, le=80)
    humidity_from_percent: float = Field(ge=0, le=100)
    humidity_to_percent: float = Field(ge=0, le=100)

    @model_validator(mode="after")
    def _ranges(self) -> Self:
        if self.temperature_from_c > self.temperature_to_c or self.humidity_from_percent > self.humidity_to_percent:
            raise ValueError("a range runs from the lower to the higher value")
        return self

    def outside(self, temperature_c: float | None, humidity_percent: float | None) -> tuple[str, ...]:
        """What lies outside the band, in words."""
        found = []
        if temperature_c is not None and not self.temperature_from_c <= temperature_c <= self.temperature_to_c:
            band = f"{self.temperature_from_c:g} to {self.temperature_to_c:g} °C"
            found.append(f"read at {temperature_c:g} °C, outside {band}")
        if (
            humidity_percent is not None
            and not self.humidity_from_percent <= humidity_percent <= self.humidity_to_percent
        ):
            band = f"{self.humidity_from_percent:g} to {self.humidity_to_percent:g} %"
            found.append(f"read at {humidity_percent:g} % RH, outside {band}")
        return tuple(found)


class Rule(Plain):
    """How estimates become a maximum display duration."""

    permitted_unacceptable_share: float = Field(default=0.10, gt=0, lt=0.5)
    confidence: float = Field(default=0.95, ge=0.5, lt=1)
    minimum_coupons: int = Field(default=3, ge=1)
    extrapolation: bool = False
    extrapolation_factor: float = Field(default=1.5, ge=1, le=1.5)
    extrapolation_days: float = Field(default=183.0, ge=0, le=184)
    shape_from: float = Field(default=1.0, gt=0)
    shape_to: float = Field(default=12.0, le=50)
    day_share: float = Field(default=1 / 3, ge=0, le=0.6)
    """Share of the variance that the coupons of one pull have in common, where no reading tells it."""
    seed: int = Field(default=1, ge=0)
    display_lead_days: int = Field(default=30, ge=0, le=365)
    """How long before its remove-by date an object on show counts as due."""
    sources: tuple[Key, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _shape_is_a_range(self) -> Self:
        if self.shape_from >= self.shape_to:
            raise ValueError("shape_from must be below shape_to")
        return self


class Protocol(Plain):
    """Everything that is fixed before the first reading."""

    key: Key
    version: str
    title: str
    clock_start: Literal["placement"]
    """Dwell runs from the moment adhesive and surface are pressed together."""
    clock_stops_for: tuple[InterruptionKind, ...] = Field(default=(), exclude_if=lambda value: not value)
    """Interruptions of the environment whose days are left out of dwell; for others the clock runs on."""
    methods: tuple[TestMethod, ...]
    tests: tuple[CouponTest, ...] = Field(min_length=1)
    criteria: tuple[Criterion, ...] = Field(min_length=1)
    schedule: Schedule
    rule: Rule
    reading_climate: ReadingClimate | None = Field(default=None, exclude_if=lambda value: value is None)
    sources: tuple[Key, ...] = ()

    @model_validator(mode="after")
    def _words_agree(self) -> Self:
        known = {method.key: method for method in self.methods}
        for test in self.tests:
            for key in (test.method, *test.then_read):
                if key not in known:
                    raise ValueError(f"test method {key} is not described; known are {', '.join(known)}")
            if not known[test.method].destructive:
                raise ValueError(f"{test.method} is not destructive: name it under then_read of the test it follows")
        keys = [criterion.key for criterion in self.criteria]
        if len(set(keys)) != len(keys):
            raise ValueError("two criteria carry the same key")
        for criterion in self.criteria:
            missing = [key for key in criterion.tests if key not in [test.method for test in self.tests]]
            if missing:
                raise ValueError(
                    f"criterion {criterion.key} judges coupons of {missing[0]}, which is not among the tests"
                )
            judged = criterion.tests or tuple(test.method for test in self.tests)
            if criterion.quantity == "removal_force" and len({known[key].force_per for key in judged} - {None}) > 1:
                raise ValueError(f"criterion {criterion.key} mixes forces per dot and per width: name its tests")
        titles = [criterion.title for criterion in self.criteria]
        if len(set(titles)) != len(titles):
            raise ValueError("two criteria carry the same title")
        return self

    def method(self, key: str) -> TestMethod:
        """The test method of that key."""
        return next(method for method in self.methods if method.key == key)

    def quantities(self, test: str, *, blank: bool = False) -> tuple[Quantity, ...]:
        """What is read on a coupon destined to ``test``, in order; on a blank, without adhesive, its colour."""
        if blank:
            return ("discoloration",)
        found = next(entry for entry in self.tests if entry.method == test)
        return tuple(quantity for key in (found.method, *found.then_read) for quantity in self.method(key).reads)

    @property
    def seen_in_place(self) -> bool:
        """Whether a colour may be read while the coupon stays in its placement."""
        return any(c.quantity == "discoloration" and c.looks == "in place" for c in self.criteria)

    def text(self) -> str:
        """The whole protocol as indented JSON with keys in order: what a study freezes."""
        return json.dumps(self.model_dump(mode="json"), indent=1, sort_keys=True, ensure_ascii=False)

    def digest(self) -> str:
        """SHA-256 of the text, the protocol's identity."""
        return hashlib.sha256(self.text().encode()).hexdigest()


def criteria_changed(before: Protocol, after: Protocol) -> list[str]:
    """What another version of a protocol judges differently, in sentences."""
    old = {criterion.key: criterion for criterion in before.criteria}
    new = {criterion.key: criterion for criterion in after.criteria}
    found = [f"{old[key].title.lower()} is no longer judged" for key in old if key not in new]
    found += [f"{new[key].title.lower()} is judged too" for key in new if key not in old]
    for key in old:
        if key in new and old[key] != new[key]:
            was, now = old[key].model_dump(), new[key].model_dump()
            names = list(dict.fromkeys([*was, *now]))
            changed = [f"{n} {_said(was.get(n))} → {_said(now.get(n))}" for n in names if was.get(n) != now.get(n)]
            found.append(f"{new[key].title.lower()}: {', '.join(changed)}")
    if before.clock_stops_for != after.clock_stops_for:
        kinds = [", ".join(version.clock_stops_for) or "nothing" for version in (before, after)]
        found.append(f"the clock stops for {kinds[0]} → {kinds[1]}")
    if before.rule != after.rule:
        was, now = before.rule.model_dump(), after.rule.model_dump()
        found.append(
            "rule: "
            + ", ".join(f"{name} {_said(was[name])} → {_said(now[name])}" for name in was if was[name] != now[name])
        )
    return found


def _said(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
