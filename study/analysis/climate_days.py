"""Climate day by day, and summed over any stretch of dwell by what records really cover."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta, tzinfo

import numpy as np

from study.analysis.climate import ACTIVATION_KJ_PER_MOL, KINETIC_GAS_CONSTANT_KJ, ZERO_CELSIUS_K, time_weights
from study.model.climate import MEASURES, ClimateRecord, Measure
from study.model.climate_days import BandsOf, ClimateDays, DayOf, Stretch, StretchMeasure

REFERENCE_C = 20.0
"""Heat is counted as days at this temperature that would have done as much."""
_SLOPE = ACTIVATION_KJ_PER_MOL / KINETIC_GAS_CONSTANT_KJ
_ONE_DAY = timedelta(days=1)
_REFERENCE_K = REFERENCE_C + ZERO_CELSIUS_K


def climate_days(record: ClimateRecord, *, clock: tzinfo, bands: BandsOf | None = None) -> ClimateDays:
    """A record by measure and day; each reading stands for half the interval to its neighbours, never across a gap.

    Parameters
    ----------
    record : ClimateRecord
    clock : tzinfo
        Whose days they are: the zone the logger was read in.
    bands : dict of measure to (lowest, highest), optional
        In the unit of the measure; 16 to 25 °C and 40 to 60 % are usual [common-practice].

    Source
    ------
    Kinetic hours: hours times exp(-10 000 K (1/T - 1/293.15 K)) [haynes1971].
    """
    bands = bands or {}
    first = datetime.fromtimestamp(int(record.utc_s[0]), tz=clock).date()
    last = datetime.fromtimestamp(int(record.utc_s[-1]), tz=clock).date()
    dates = [first + _ONE_DAY * step for step in range((last - first).days + 1)]
    edges = np.array([_midnight(day, clock) for day in dates], dtype=np.int64)
    day_of = np.searchsorted(edges, record.utc_s, side="right") - 1
    found: dict[Measure, dict[date, DayOf]] = {}
    for measure in MEASURES:
        values = record.values(measure)
        if values is None or not np.any(np.isfinite(values)):
            continue
        hours = time_weights(record, measure)[0] / 3600
        read = np.flatnonzero(np.isfinite(values))
        found[measure] = _by_day(
            measure, values[read], hours[read], record.utc_s[read], day_of[read], dates, bands.get(measure)
        )
    return ClimateDays(found, {measure: band for measure, band in bands.items() if measure in found})


def _midnight(day: date, clock: tzinfo) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=clock).timestamp())


def _by_day(
    measure: Measure, values: np.ndarray, hours: np.ndarray, utc_s: np.ndarray, day_of: np.ndarray,
    dates: Sequence[date], band: tuple[float, float] | None,
) -> dict[date, DayOf]:  # fmt: skip
    starts = np.flatnonzero(np.concatenate([[True], np.diff(day_of) > 0]))
    stops = np.append(starts[1:], values.size) - 1
    none = np.zeros(values.size)
    below = np.where(values < band[0], hours, 0.0) if band else none
    above = np.where(values > band[1], hours, 0.0) if band else none
    heat = none
    if measure == "temperature_c":
        heat = hours * np.exp(-_SLOPE * (1 / (values + ZERO_CELSIUS_K) - 1 / _REFERENCE_K))
    sums = [np.add.reduceat(part, starts) for part in (hours, values * hours, below, above, heat)]
    lowest, highest = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
    return {
        dates[int(day_of[a])]: DayOf(
            float(sums[0][i]), float(sums[1][i]), float(lowest[i]), float(highest[i]), int(utc_s[a]), int(utc_s[b]),
            float(sums[2][i]), float(sums[3][i]), float(sums[4][i]),
        )
        for i, (a, b) in enumerate(zip(starts.tolist(), stops.tolist(), strict=True))
    }  # fmt: skip


def climate_stretch(records: Sequence[ClimateDays], *, from_on: date, to_on: date) -> Stretch:
    """The climate from one day up to another, by what the records cover; what they do not cover is not filled in.

    Parameters
    ----------
    records : sequence of ClimateDays
        Of one environment. Where two have read the same hours of a day, the one with more hours counts for that day.
    from_on, to_on : date
        The day of placement and the day of the pull, which is not counted any more.
    """
    days = max(0, (to_on - from_on).days)
    measures: dict[Measure, StretchMeasure] = {}
    heat, overlaps = 0.0, 0
    light: float | None = None
    for measure in MEASURES:
        chosen, twice = _chosen(records, measure, from_on, to_on)
        overlaps = max(overlaps, twice)
        hours = math.fsum(one.hours for one in chosen)
        if hours <= 0:
            continue
        banded = all(measure in record.bands for record in records if measure in record.days)
        measures[measure] = StretchMeasure(
            mean=math.fsum(one.total for one in chosen) / hours,
            lowest=min(one.lowest for one in chosen),
            highest=max(one.highest for one in chosen),
            covered_hours=hours,
            share_covered=min(1.0, hours / (24 * days)),
            below_hours=math.fsum(one.below_hours for one in chosen) if banded else None,
            above_hours=math.fsum(one.above_hours for one in chosen) if banded else None,
        )
        if measure == "temperature_c":
            heat = math.fsum(one.heat_hours for one in chosen)
        if measure == "lux":
            light = math.fsum(one.total for one in chosen)
    warm = measures.get("temperature_c")
    kinetic = _kinetic_c(heat / warm.covered_hours) if warm else None
    return Stretch(from_on, to_on, measures, kinetic, heat / 24 if warm else None, light, overlaps)


def _chosen(
    records: Sequence[ClimateDays], measure: Measure, from_on: date, to_on: date
) -> tuple[list[DayOf], int]:  # fmt: skip
    """Days of a measure that count, and on how many of them a record was passed over."""
    found: dict[date, list[DayOf]] = {}
    for record in records:
        for day, one in record.days.get(measure, {}).items():
            if from_on <= day < to_on:
                found.setdefault(day, []).append(one)
    kept: list[DayOf] = []
    twice = 0
    for said in found.values():
        taken: list[DayOf] = []
        for one in sorted(said, key=lambda one: -one.hours):
            if all(one.first_s > other.last_s or one.last_s < other.first_s for other in taken):
                taken.append(one)
        twice += len(taken) < len(said)
        kept += taken
    return kept, twice


def _kinetic_c(rate: float) -> float:
    """The constant temperature [°C] at which a reaction runs this many times as fast as at 20 °C."""
    return 1 / (1 / _REFERENCE_K - math.log(rate) / _SLOPE) - ZERO_CELSIUS_K


def shared_days(records: Mapping[int, ClimateDays], new: ClimateDays) -> dict[int, list[date]]:
    """Days on which a new record says something of the same hours as earlier ones, by their numbers."""
    found: dict[int, list[date]] = {}
    for number, record in records.items():
        both = {
            day
            for measure, days in new.days.items()
            for day, one in days.items()
            if (other := record.days.get(measure, {}).get(day))
            and one.first_s <= other.last_s
            and one.last_s >= other.first_s
        }
        if both:
            found[number] = sorted(both)
    return found
