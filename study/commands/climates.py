"""Climates: what loggers covered of an environment, with the band in force; a room of the read and analyse jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, timedelta, timezone, tzinfo
from functools import lru_cache

from study.intake.climate_band import parse_band
from study.intake.logger_times import named_zone, offset_seconds
from study.model.climate import MEASURES, ClimateRecord, Measure
from study.model.climate_days import BandsOf, ClimateDays, FiledClimate, Stretch
from study.model.pairing import Environment
from study.model.protocol import Protocol
from study.store.climate import fetch_climates, fetch_logger_file
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Bands:
    """The bands hours are counted against, and where each comes from, in words."""

    bands: BandsOf
    said_by: Mapping[Measure, str]

    def words(self) -> str:
        """Each band with its source, or that there is none."""
        units: dict[Measure, str] = {"temperature_c": "°C", "humidity_percent": "% RH", "lux": "lx"}
        told = [
            f"{low:g} to {high:g} {units.get(measure, '')}, {self.said_by[measure]}"
            for measure, (low, high) in self.bands.items()
        ]
        if told:
            return f"Band: {'; '.join(told)}."
        return "No band is declared: write one with the environment (18 to 22), or say it with --temperature."


def bands_of(environment: Environment, protocol: Protocol | None, asked: BandsOf) -> Bands:
    """The band asked for; else the environment's declared text where it is a band; else the protocol's reading room."""
    declared: list[tuple[Measure, str]] = [
        ("temperature_c", environment.temperature_c),
        ("humidity_percent", environment.humidity_percent),
    ]
    bands: BandsOf = dict(asked)
    said_by: dict[Measure, str] = dict.fromkeys(asked, "as asked for")
    for measure, text in declared:
        found = parse_band(text)
        if measure not in bands and found is not None:
            bands[measure], said_by[measure] = found, f"declared for {environment.key}"
    room = protocol.reading_climate if protocol is not None else None
    if room is not None:
        ranges: dict[Measure, tuple[float, float]] = {
            "temperature_c": (room.temperature_from_c, room.temperature_to_c),
            "humidity_percent": (room.humidity_from_percent, room.humidity_to_percent),
        }
        for measure, band in ranges.items():
            if measure not in bands:
                bands[measure], said_by[measure] = band, "of the protocol's reading room"
    return Bands(bands, said_by)


def clock_of(zone: str) -> tzinfo:
    """The clock whose days a record is kept in: its zone, or UTC where each row says its own."""
    offset = offset_seconds(zone)
    if offset is not None:
        return timezone(timedelta(seconds=offset))
    return named_zone(zone) or UTC


def days_with(study: StudyFile, record: FiledClimate, bands: BandsOf) -> ClimateDays:
    """A record's days against these bands; the file is read again where it was kept against others."""
    wanted = {measure: band for measure, band in bands.items() if measure in record.days.days}
    if record.days.bands == wanted:
        return record.days
    asked = record.asked
    return _again(
        fetch_logger_file(study, record), record.name, asked.get("zone", ""), asked.get("day_first"),
        asked.get("decimal", ""), record.zone, tuple(sorted(wanted.items())),
    )  # fmt: skip


@lru_cache(maxsize=16)
def _again(
    content: bytes, name: str, zone: str, day_first: bool | None, decimal: str, clock: str,
    bands: tuple[tuple[Measure, tuple[float, float]], ...],
) -> ClimateDays:  # fmt: skip
    from study.analysis.climate_days import climate_days
    from study.intake.climate_file import parse_climate

    record = parse_climate(content, zone=zone, name=name, day_first=day_first, decimal=decimal)
    return climate_days(record, clock=clock_of(clock), bands=dict(bands))


def days_by_environment(study: StudyFile) -> dict[str, list[FiledClimate]]:
    """Records in force by environment."""
    found: dict[str, list[FiledClimate]] = {}
    for record in fetch_climates(study):
        found.setdefault(record.environment, []).append(record)
    return found


def stretch_of(records: Sequence[ClimateDays], *, from_on: date, to_on: date) -> Stretch:
    """The climate from placement to a pull, by what the records cover."""
    from study.analysis.climate_days import climate_stretch

    return climate_stretch(records, from_on=from_on, to_on=to_on)


MOST_GAPS = 6
"""Gaps told one by one, the longest first."""


def doubts_of(record: ClimateRecord) -> tuple[str, ...]:
    """Gaps, stuck sensors and values that are no readings, each in a sentence."""
    longest = sorted(record.gaps, key=lambda gap: -gap.hours)
    told = [
        f"gap of {_long(gap.hours)} from {gap.from_utc:%Y-%m-%d %H:%M} to {gap.to_utc:%Y-%m-%d %H:%M} UTC"
        for gap in longest[:MOST_GAPS]
    ]
    if len(longest) > MOST_GAPS:
        told.append(f"{len(longest) - MOST_GAPS} more gaps, none longer")
    told += [
        f"{MEASURES[one.measure]} stands at {one.value:g} for {_long(one.hours)} from "
        f"{one.from_utc:%Y-%m-%d %H:%M} UTC: is the sensor stuck? Nothing was removed"
        for one in record.stuck
    ]
    told += [
        f"{MEASURES[one.measure]} “{one.typed}” {'once, at' if one.count == 1 else f'{one.count} times from'} "
        f"{one.first_utc:%Y-%m-%d %H:%M} UTC: {one.why}, counted as missing"
        for one in record.removed
    ]
    return tuple(told)


def _long(hours: float) -> str:
    return f"{hours / 24:.3g} d" if hours >= 48 else f"{hours:.3g} h"
