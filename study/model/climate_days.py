"""A climate record as it is kept: each measure day by day, so that any stretch of dwell is summed up at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from study.model.climate import MEASURES, Measure

BandsOf = dict[Measure, tuple[float, float]]
"""Lowest and highest wanted value by measure, both included."""


@dataclass(frozen=True)
class DayOf:
    """One measure on one day of the record's own clock."""

    hours: float
    """Covered by readings; 24 as a rule."""
    total: float
    """Sum of value times hours: degree-hours, percent-hours, lux-hours, (µW/lm)-hours."""
    lowest: float
    highest: float
    first_s: int
    last_s: int
    """First and last reading, seconds since 1970 in UTC."""
    below_hours: float = 0.0
    above_hours: float = 0.0
    heat_hours: float = 0.0
    """Of temperature: hours at 20 °C that would have done as much, at the usual activation energy."""


@dataclass(frozen=True)
class ClimateDays:
    """A whole record by measure and day."""

    days: dict[Measure, dict[date, DayOf]]
    bands: BandsOf = field(default_factory=dict)
    """What the hours below and above were counted against."""

    def to_json(self) -> dict[str, Any]:
        """As plain lists, a row a day."""
        return {
            "bands": {measure: list(band) for measure, band in self.bands.items()},
            "days": {
                measure: [[day.isoformat(), *_numbers(one)] for day, one in sorted(found.items())]
                for measure, found in self.days.items()
            },
        }

    @classmethod
    def from_json(cls, kept: dict[str, Any]) -> ClimateDays:
        """Back from plain lists."""
        return cls(
            {
                measure: {date.fromisoformat(row[0]): DayOf(*row[1:]) for row in kept["days"][measure]}
                for measure in MEASURES
                if measure in kept["days"]
            },
            {
                measure: (kept["bands"][measure][0], kept["bands"][measure][1])
                for measure in MEASURES
                if measure in kept["bands"]
            },
        )


def _numbers(one: DayOf) -> list[float]:
    sizes = [one.hours, one.total, one.lowest, one.highest]
    return [
        *(round(size, 5) for size in sizes), one.first_s, one.last_s,
        *(round(size, 5) for size in (one.below_hours, one.above_hours, one.heat_hours)),
    ]  # fmt: skip


@dataclass(frozen=True)
class FiledClimate:
    """One climate record on file, with who entered it, and who superseded it and why (None while in force)."""

    number: int
    environment: str
    sha256: str
    name: str
    zone: str
    from_at: str
    to_at: str
    """First and last reading in UTC, as 2026-03-31T10:00."""
    notes: tuple[str, ...]
    """How the file was understood."""
    doubts: tuple[str, ...]
    """Gaps, stuck sensors, values that are no readings."""
    asked: dict[str, Any]
    """How the file was read: zone, day_first, decimal."""
    days: ClimateDays
    instrument: str = ""
    by: str = ""
    at: str = ""
    superseded_by: str | None = None
    superseded_at: str | None = None
    why: str | None = None


@dataclass(frozen=True)
class StretchMeasure:
    """One measure over a stretch of days."""

    mean: float
    """Weighted by time."""
    lowest: float
    highest: float
    covered_hours: float
    share_covered: float
    """Of all hours of the stretch; 0 to 1."""
    below_hours: float | None
    above_hours: float | None
    """None where no band is declared."""

    @property
    def outside_hours(self) -> float | None:
        """Hours outside the band; None where no band is declared."""
        if self.below_hours is None or self.above_hours is None:
            return None
        return self.below_hours + self.above_hours


WHOLE = 0.95
"""A dwell covered to this share may stand in a line against dose [common-practice]."""
THROUGHOUT = 0.999
"""A dose over a stretch covered to less than this share is said to be "at least"."""


@dataclass(frozen=True)
class Stretch:
    """The climate over a stretch of dwell, by what was really logged; nothing is filled in."""

    from_on: date
    to_on: date
    """The first day that is not in it any more."""
    measures: dict[Measure, StretchMeasure]
    kinetic_c: float | None
    """Mean kinetic temperature over the covered time [°C]."""
    heat_days: float | None
    """Days at 20 °C that would have done as much, over the covered time."""
    lux_hours: float | None
    """Light dose over the covered time [lx h]."""
    overlaps: int = 0
    """Days on which two records said something of the same hours; the fuller one counts."""

    @property
    def days(self) -> int:
        """Its length [d]."""
        return (self.to_on - self.from_on).days

    def covered(self, measure: Measure) -> float:
        """Share of the stretch with readings of a measure; 1 for a stretch of no days."""
        if self.days == 0:
            return 1.0
        found = self.measures.get(measure)
        return found.share_covered if found else 0.0
