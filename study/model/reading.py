"""Readings: what was typed, what it is worth as an interval, and the coupon's history they belong to."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date

from study.model.details import NO_DETAILS, Details

READING_KINDS = (
    "removal_force", "failure_pattern", "residue_grade", "residue_second", "residue_cleaned",
    "colour_before", "colour_after", "colour_look", "hold_angle",
)  # fmt: skip
"""What one reading row can be; ΔE*00 is worked out from colour_before and a later colour of the same spot.

A colour_look is taken in place, through the glass or at the rim, and may be repeated on other days. Residue is graded
as released (residue_grade), by a second rater (residue_second; both are kept, the worse counts) and after the agreed
cleaning step (residue_cleaned)."""
REPEATED = ("colour_look",)
_CALLED = {
    "residue_second": "residue, second rater", "residue_cleaned": "residue after cleaning",
    "colour_look": "colour in place",
}  # fmt: skip


def kind_words(kind: str) -> str:
    """A kind of reading as it is said: removal force, residue after cleaning."""
    return _CALLED.get(kind, kind.replace("_", " "))


@dataclass(frozen=True)
class Reading:
    """One thing read on one coupon, as typed and as normalised.

    ``lower`` and ``upper`` bound the value on the normal unit (N per dot, N/m, grade, degree): equal for an exact
    value; ``upper`` infinite for "at least" (>50); ``lower`` minus infinity for "at most" (<0.05); apart for a
    residue grade typed "3-4". Failure patterns carry ``pattern`` and ``side``, colours carry L*, a*, b*.
    """

    code: str
    kind: str
    read_on: date
    typed: str
    unit: str = ""
    lower: float = math.nan
    upper: float = math.nan
    pattern: str = ""
    side: str = ""
    lab: tuple[float, float, float] | None = None
    details: Details = NO_DETAILS
    number: int = 0
    """The reading's number in the study file; 0 before it is saved."""

    @property
    def exact(self) -> bool:
        """Whether the value is known as one number."""
        return self.lower == self.upper

    def on_coupon(self, code: str, read_on: date) -> Reading:
        """The very same value on another coupon and day; of few values in a long table this is the quick way."""
        found = object.__new__(Reading)
        found.__dict__.update(self.__dict__, code=code, read_on=read_on)
        return found


@dataclass(frozen=True)
class CouponHistory:
    """One coupon as the analysis sees it: when it dwelt, how it left, and its readings in force."""

    code: str
    set_key: str
    role: str
    test: str
    lot: str
    pull_kind: str
    """One of model.pull.PULL_KINDS."""
    pull_group: str
    """The pull it was really part of (model.pull.pull_group); coupons of one set and group were read together."""
    planned_group: str
    """Label of the pull it was destined to; empty for a spare."""
    dwell_days: float
    """From placement to the pull, or to the day it was found released, lost or damaged."""
    last_seen_days: float = 0.0
    """For self-release: the last dwell at which it was seen holding."""
    readings: dict[str, Reading] = field(default_factory=dict)
    """By kind; at most one in force of each."""
    blank_drift: tuple[float, float, float] | None = None
    """Mean drift of L*, a*, b* of its substrate's blanks by the same pull; None where no blank was read."""
    looks: tuple[tuple[float, Reading], ...] = ()
    """Colours seen in place, each with its dwell [d], earliest first."""
    stop_lifted: bool = False
    """A recorded act by two people lifted the stop this coupon caused; it stays unacceptable."""
