"""A climate record: what a logger wrote of temperature, humidity and light, with its gaps and doubts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

import numpy as np

Measure = Literal["temperature_c", "humidity_percent", "lux", "uv_uw_per_lm"]
MEASURES: dict[Measure, str] = {
    "temperature_c": "temperature",
    "humidity_percent": "relative humidity",
    "lux": "illuminance",
    "uv_uw_per_lm": "ultraviolet",
}


@dataclass(frozen=True)
class Gap:
    """Time without a reading, from the last one before to the first one after."""

    from_utc: datetime
    to_utc: datetime

    @property
    def hours(self) -> float:
        """Its length [h]."""
        return (self.to_utc - self.from_utc).total_seconds() / 3600


@dataclass(frozen=True)
class Removed:
    """Values of one kind that are no readings: a sentinel, an impossible value, an error word."""

    measure: Measure
    typed: str
    count: int
    first_utc: datetime
    why: str


@dataclass(frozen=True)
class Stuck:
    """One value held so long without the last digit moving that the sensor is in doubt; nothing was removed."""

    measure: Measure
    value: float
    from_utc: datetime
    to_utc: datetime

    @property
    def hours(self) -> float:
        """How long [h]."""
        return (self.to_utc - self.from_utc).total_seconds() / 3600


@dataclass(frozen=True, eq=False)
class ClimateRecord:
    """Readings in order of time, each measure with NaN where it has none."""

    file: str
    digest: str
    """SHA-256 of the bytes."""
    utc_s: np.ndarray
    """(n,) int64 seconds since 1970-01-01T00:00Z, rising."""
    temperature_c: np.ndarray | None
    humidity_percent: np.ndarray | None
    lux: np.ndarray | None
    uv_uw_per_lm: np.ndarray | None
    zone: str
    """How the written times were understood."""
    interval_s: float
    """Usual time between readings: the median."""
    gaps: tuple[Gap, ...]
    removed: tuple[Removed, ...]
    stuck: tuple[Stuck, ...]
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]

    def values(self, measure: Measure) -> np.ndarray | None:
        """The readings of one measure, None where the file has none."""
        found: np.ndarray | None = getattr(self, measure)
        return found

    def moment(self, index: int) -> datetime:
        """The time of one reading, with its zone."""
        return moment(int(self.utc_s[index]))


def moment(utc_s: int) -> datetime:
    """A time in UTC from seconds since 1970."""
    return datetime.fromtimestamp(utc_s, tz=UTC)


LONGER_THAN_USUAL = 1.5
"""An interval longer than this many usual ones is a gap: at least one reading is missing."""
