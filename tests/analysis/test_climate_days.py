"""Climate day by day: days of the logger's own clock, what is covered, bands, heat, and two records of one day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis.climate import climate_summary, mean_kinetic_temperature
from study.analysis.climate_days import climate_days, climate_stretch, shared_days
from study.model.climate import ClimateRecord
from study.model.climate_days import ClimateDays, DayOf, Stretch

VIENNA = ZoneInfo("Europe/Vienna")
FIRST = datetime(2024, 1, 1, tzinfo=UTC)


def logged(
    temperature: np.ndarray, *, lux: np.ndarray | None = None, start: datetime = FIRST, step_s: int = 600
) -> ClimateRecord:
    """An invented record at even steps."""
    utc = int(start.timestamp()) + step_s * np.arange(temperature.size, dtype=np.int64)
    return ClimateRecord(
        "invented", "0" * 64, utc, temperature, None, lux, None, "UTC", float(step_s), (), (), (), (), ()
    )


def stretch(*records: ClimateDays, first: date = date(2024, 1, 1), last: date = date(2024, 1, 11)) -> Stretch:
    return climate_stretch(records, from_on=first, to_on=last)


def test_ten_even_days() -> None:
    """50 lx for eight hours of each of ten days are 4000 lx h; a constant 25 °C is its own kinetic temperature."""
    hour = np.arange(1440) // 6 % 24
    days = climate_days(logged(np.full(1440, 25.0), lux=np.where((hour >= 9) & (hour < 17), 50.0, 0.0)), clock=UTC)
    found = stretch(days)
    assert found.lux_hours == pytest.approx(4000, rel=1e-9)
    assert found.kinetic_c == pytest.approx(25.0, abs=1e-9)
    assert found.covered("lux") == pytest.approx(1.0)
    assert found.heat_days == pytest.approx(10 * np.exp(-10000 * (1 / 298.15 - 1 / 293.15)), rel=1e-9)
    assert stretch(days, last=date(2024, 1, 6)).lux_hours == pytest.approx(2000, rel=1e-9)


def test_what_is_not_covered_is_not_filled_in() -> None:
    """A dwell of forty days with ten logged: the dose is that of the ten, a quarter is covered."""
    found = stretch(
        climate_days(logged(np.full(1440, 20.0), lux=np.full(1440, 10.0)), clock=UTC), last=date(2024, 2, 10)
    )
    assert found.lux_hours == pytest.approx(2400, rel=1e-9)
    assert found.covered("lux") == pytest.approx(0.25)
    assert found.covered("humidity_percent") == 0.0
    assert stretch(last=date(2024, 2, 10)).measures == {}
    assert stretch(last=date(2024, 1, 1)).covered("lux") == 1.0, "nothing is missing of a dwell of no days"


def test_days_are_those_of_the_loggers_clock() -> None:
    """A day in Vienna begins at 23 h UTC in winter and has 23 hours when the clocks go forward."""
    start = datetime(2024, 3, 30, 23, tzinfo=UTC)
    days = climate_days(logged(np.full(6 * 23, 20.0), start=start), clock=VIENNA).days["temperature_c"]
    assert {day: round(one.hours, 6) for day, one in days.items()} == {date(2024, 3, 31): 23.0}


def test_hours_outside_a_band() -> None:
    """Ends of a band lie inside it."""
    values = np.repeat([17.9, 18.0, 22.0, 22.1], 36)
    found = stretch(
        climate_days(logged(values), clock=UTC, bands={"temperature_c": (18.0, 22.0)}), last=date(2024, 1, 2)
    )
    warm = found.measures["temperature_c"]
    assert (warm.below_hours, warm.above_hours, warm.outside_hours) == pytest.approx((6.0, 6.0, 12.0))
    assert stretch(climate_days(logged(values), clock=UTC)).measures["temperature_c"].outside_hours is None


def test_two_records_of_the_same_hours_count_once() -> None:
    """The fuller one counts for that day; records that follow each other within a day add up."""
    whole = climate_days(logged(np.full(144, 20.0), lux=np.full(144, 10.0)), clock=UTC)
    part = climate_days(logged(np.full(72, 20.0), lux=np.full(72, 30.0)), clock=UTC)
    later = climate_days(logged(np.full(72, 20.0), lux=np.full(72, 10.0), start=FIRST + timedelta(hours=12)), clock=UTC)
    one_day = {"last": date(2024, 1, 2)}
    both = stretch(part, whole, **one_day)
    assert (both.lux_hours, both.overlaps) == (pytest.approx(240), 1)
    joined = stretch(part, later, **one_day)
    assert (joined.lux_hours, joined.overlaps, joined.covered("lux")) == (pytest.approx(480), 0, pytest.approx(1.0))
    assert shared_days({7: part}, whole) == {7: [date(2024, 1, 1)]}
    assert shared_days({7: part}, later) == {}


def test_a_gap_is_not_covered() -> None:
    """Eleven days without a reading between two are missing."""
    record = logged(np.full(288, 20.0))
    utc = record.utc_s.copy()
    utc[144:] += 11 * 86400
    found = stretch(climate_days(replace(record, utc_s=utc), clock=UTC), last=date(2024, 1, 14))
    assert found.covered("temperature_c") == pytest.approx(2 / 13)


@settings(max_examples=30, deadline=None)
@given(st.integers(2, 500), st.sampled_from([60, 600, 3600, 7200]), st.integers(0, 2**32 - 1))
def test_days_add_up_to_the_whole_record(size: int, step_s: int, seed: int) -> None:
    """Mean, range, heat and dose over all days are those of the record at once, whatever the interval."""
    rng = np.random.default_rng(seed)
    record = logged(rng.normal(20, 4, size), lux=rng.uniform(0, 200, size), step_s=step_s)
    whole = climate_summary(record)
    found = stretch(climate_days(record, clock=VIENNA), first=date(2023, 12, 31), last=date(2025, 1, 1))
    warm = found.measures["temperature_c"]
    assert warm.mean == pytest.approx(whole.measures[0].mean, abs=1e-9)
    assert (warm.lowest, warm.highest) == (whole.measures[0].lowest, whole.measures[0].highest)
    assert found.lux_hours == pytest.approx(whole.light.lux_hours if whole.light else None, rel=1e-9)
    assert found.kinetic_c == pytest.approx(whole.kinetic.temperature_c if whole.kinetic else None, abs=1e-9)


def test_kept_and_read_back() -> None:
    """As lists in JSON and back, nothing is lost beyond the fifth decimal."""
    rng = np.random.default_rng(3)
    days = climate_days(logged(rng.normal(20, 4, 999)), clock=VIENNA, bands={"temperature_c": (18.0, 22.0)})
    again = ClimateDays.from_json(days.to_json())
    assert again.bands == days.bands
    for measure, found in days.days.items():
        for day, one in found.items():
            kept: DayOf = again.days[measure][day]
            assert (kept.first_s, kept.last_s) == (one.first_s, one.last_s)
            assert kept.total == pytest.approx(one.total, abs=1e-5)
            assert kept.below_hours == pytest.approx(one.below_hours, abs=1e-5)


def test_half_warm_half_cool() -> None:
    """Equal times at 20 and 30 °C: 26.26 °C, as the published case of the plain function says."""
    found = stretch(climate_days(logged(np.repeat([20.0, 30.0], 720)), clock=UTC))
    assert found.kinetic_c == pytest.approx(mean_kinetic_temperature(np.array([20.0, 30.0])), abs=1e-9)
    assert found.kinetic_c == pytest.approx(26.259887, abs=1e-6)
