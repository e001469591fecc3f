"""Climate in numbers: means weighted by time, bands, mean kinetic temperature, light dose, heat factors."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis.climate import Band, climate_summary, mean_kinetic_temperature, time_weights
from study.analysis.heat import KJ_PER_MOL_PER_EV, arrhenius_factor, humid_heat_factor, q10_factor
from study.errors import DwellbookError
from study.model.climate import MEASURES, ClimateRecord, Measure

ROOT = Path(__file__).parent.parent
SOURCES = tomllib.loads((ROOT.parent / "protocols" / "sources.toml").read_text(encoding="utf-8"))
KINDS = ("published", "hand-worked", "other-program", "common-practice", "from-memory")


def logged(utc_s: Any, **values: Any) -> ClimateRecord:
    """An invented record."""
    at = np.array(utc_s, dtype=np.int64)
    read: dict[str, Any] = dict.fromkeys(MEASURES)
    read.update({name: np.array(column, dtype=float) for name, column in values.items()})
    interval = float(np.median(np.diff(at))) if at.size > 1 else 0.0
    return ClimateRecord(
        "invented", "0" * 64, at, **read, zone="UTC", interval_s=interval, gaps=(), removed=(), stuck=(), facts=(),
        notes=(),
    )  # fmt: skip


def hours(count: int) -> np.ndarray:
    return np.arange(count) * 3600


@pytest.mark.published("climate.toml", "kinetic")
def test_mean_kinetic_temperature(row: dict[str, Any]) -> None:
    """Known temperatures give a known mean kinetic temperature, weighted by duration."""
    found = mean_kinetic_temperature(
        np.array(row["inputs"]["temperature_c"]), weights=np.array(row["inputs"]["weights"])
    )
    assert found == pytest.approx(row["expected"]["kinetic_c"], abs=row["tolerance"])


@pytest.mark.published("climate.toml", "light")
def test_light_dose(row: dict[str, Any]) -> None:
    """A year of gallery hours gives the dose of the tables, through an hourly record."""
    asked = row["inputs"]
    day = [asked["lux"] if 9 <= hour < 9 + asked["hours_a_day"] else 0.0 for hour in range(24)]
    light = climate_summary(logged(hours(24 * asked["days"]), lux=day * asked["days"])).light
    assert light is not None
    found = {"lux_hours": light.lux_hours, "mega_lux_hours": light.mega_lux_hours}
    assert found == pytest.approx(row["expected"], abs=row["tolerance"])
    assert light.notice == ""


@pytest.mark.published("climate.toml", "arrhenius")
def test_arrhenius(row: dict[str, Any]) -> None:
    """The factor at an energy in electronvolt."""
    asked = row["inputs"]
    energy = asked["activation_ev"] * KJ_PER_MOL_PER_EV
    found = arrhenius_factor(from_c=asked["from_c"], to_c=asked["to_c"], activation_kj_per_mol=energy)
    assert found == pytest.approx(row["expected"]["factor"], abs=row["tolerance"])


@pytest.mark.published("climate.toml", "arrhenius table")
def test_arrhenius_table(row: dict[str, Any]) -> None:
    """Rows of the table of factors."""
    asked = row["inputs"]
    found = [
        arrhenius_factor(from_c=asked["from_c"], to_c=to, activation_kj_per_mol=asked["activation_kj_per_mol"])
        for to in asked["to_c"]
    ]
    assert found == pytest.approx(row["expected"]["factor"], abs=row["tolerance"])


@pytest.mark.published("climate.toml", "q10")
def test_q10(row: dict[str, Any]) -> None:
    """A factor for every ten kelvin."""
    assert q10_factor(**row["inputs"]) == pytest.approx(row["expected"]["factor"], abs=row["tolerance"])


@pytest.mark.published("climate.toml", "humid heat")
def test_humid_heat(row: dict[str, Any]) -> None:
    """Heat and humidity together."""
    asked = dict(row["inputs"])
    energy = asked.pop("activation_ev") * KJ_PER_MOL_PER_EV
    found = humid_heat_factor(**asked, activation_kj_per_mol=energy)
    assert found == pytest.approx(row["expected"]["factor"], abs=row["tolerance"])


@pytest.mark.published("climate.toml", "lifetime")
def test_lifetime_multiplier(row: dict[str, Any]) -> None:
    """One over the factor from 20 °C and 50 % with the exponent 1.3 is the lifetime multiplier of conservators."""
    factor = humid_heat_factor(from_c=20.0, from_percent=50.0, exponent=1.3, **row["inputs"])
    assert 1 / factor == pytest.approx(row["expected"]["multiplier"], abs=row["tolerance"])


@pytest.mark.published("climate.toml", "footcandle")
def test_footcandle(row: dict[str, Any]) -> None:
    """A square foot has so many to the square metre."""
    found = row["inputs"]["footcandles"] / 0.3048**2
    from study.intake.climate_units import LUX_PER_FOOTCANDLE

    assert pytest.approx(found) == LUX_PER_FOOTCANDLE
    assert pytest.approx(row["expected"]["lux"], abs=row["tolerance"]) == LUX_PER_FOOTCANDLE


def test_rows_say_where_they_come_from() -> None:
    """A check value without a source is only a claim."""
    for row in tomllib.loads((ROOT / "published" / "climate.toml").read_text(encoding="utf-8"))["case"]:
        assert row["source"] in SOURCES, row["name"]
        assert row["kind"] in KINDS, row["name"]
        assert row["where"], row["name"]
        assert row["because"], row["name"]
        assert row["tolerance"] >= 0, row["name"]


def test_mean_is_weighted_by_time() -> None:
    """Readings ten times as dense at 30 °C do not make the shelf warmer."""
    at = np.concatenate([np.arange(0, 50) * 600, 30_000 + np.arange(0, 500) * 60])
    values = np.concatenate([np.full(50, 20.0), np.full(500, 30.0)])
    record = logged(at, temperature_c=values)
    assert record.interval_s == 60
    dense = climate_summary(ClimateRecord(**{**record.__dict__, "interval_s": 600.0})).measures[0]
    assert dense.mean == pytest.approx(25.0, abs=0.1)
    assert dense.gaps == 0


def test_gaps_are_left_out_and_said() -> None:
    """A mean kinetic temperature over a gap says how much it leaves out, and the gap counts for neither side."""
    at = np.concatenate([hours(48), hours(48) + 30 * 86400])
    record = logged(at, temperature_c=[18.0] * 48 + [28.0] * 48, lux=[50.0] * 96)
    summary = climate_summary(record)
    assert summary.kinetic is not None
    assert summary.light is not None
    assert summary.kinetic.temperature_c == pytest.approx(24.28, abs=0.005)
    assert summary.kinetic.missing_hours == pytest.approx(28 * 24)
    assert summary.kinetic.covered_hours == pytest.approx(96)
    assert "672 h in 1 gap" in summary.kinetic.notice
    assert summary.light.lux_hours == pytest.approx(96 * 50)
    assert "at least" in summary.light.notice


def test_missing_readings_of_one_measure_are_its_own_gap() -> None:
    """A sensor that failed for a day leaves the other one whole; a missing start and end count as well."""
    temperature = np.full(96, 20.0)
    temperature[24:48] = np.nan
    temperature[-5:] = np.nan
    summary = climate_summary(logged(hours(96), temperature_c=temperature, humidity_percent=[50.0] * 96))
    by_measure = {one.measure: one for one in summary.measures}
    assert (by_measure["temperature_c"].gaps, by_measure["temperature_c"].missing_hours) == (2, 29.0)
    assert by_measure["humidity_percent"].gaps == 0
    assert summary.kinetic is not None
    assert summary.kinetic.notice


def test_hours_outside_a_band() -> None:
    """Ends belong to the band; hours below and above are counted apart."""
    record = logged(hours(100), humidity_percent=[35.0] * 10 + [40.0] * 30 + [60.0] * 40 + [65.0] * 20)
    (one,) = climate_summary(record, bands={"humidity_percent": Band(40, 60)}).measures
    assert (one.below_hours, one.above_hours, one.outside_hours) == (10, 20, 30)
    assert climate_summary(record).measures[0].outside_hours is None
    with pytest.raises(DwellbookError, match="none"):
        climate_summary(record, bands={"humidity_percent": Band(60, 40)})


def test_a_measure_without_any_reading_is_said() -> None:
    """A column of sentinels leaves no mean of nothing."""
    summary = climate_summary(logged(hours(4), temperature_c=[np.nan] * 4))
    assert summary.measures == ()
    assert summary.kinetic is None
    assert "no reading of temperature is left" in summary.notes


def test_a_single_reading_is_its_own_mean() -> None:
    """One reading stands for no time and still has a value."""
    summary = climate_summary(logged([0], temperature_c=[21.0], lux=[50.0]))
    assert summary.measures[0].mean == 21.0
    assert summary.kinetic is not None
    assert summary.kinetic.temperature_c == pytest.approx(21.0)
    assert summary.kinetic.covered_hours == 0
    assert summary.light is not None
    assert summary.light.lux_hours == 0


def test_ultraviolet_is_weighted_by_light() -> None:
    """Ultraviolet per lumen in the dark has no weight."""
    summary = climate_summary(logged(hours(4), lux=[0.0, 50.0, 150.0, 0.0], uv_uw_per_lm=[500.0, 20.0, 40.0, 500.0]))
    assert summary.ultraviolet_uw_per_lm == pytest.approx(35.0)
    assert climate_summary(logged(hours(2), uv_uw_per_lm=[10.0, 30.0])).ultraviolet_uw_per_lm == pytest.approx(20.0)


@given(st.lists(st.floats(-30, 80), min_size=1, max_size=50), st.floats(20, 200))
@settings(max_examples=100, deadline=None)
def test_kinetic_temperature_lies_between_mean_and_maximum(values: list[float], energy: float) -> None:
    """It is never below the mean nor above the warmest reading, and rises with the energy."""
    found = mean_kinetic_temperature(np.array(values), activation_kj_per_mol=energy)
    assert np.mean(values) - 1e-6 <= found <= max(values) + 1e-6
    assert found <= mean_kinetic_temperature(np.array(values), activation_kj_per_mol=energy + 20) + 1e-6


@given(st.lists(st.tuples(st.integers(1, 5000), st.one_of(st.none(), st.floats(0, 40))), min_size=1, max_size=40))
@settings(max_examples=100, deadline=None)
def test_covered_and_missing_time_never_exceed_the_record(rows: list[tuple[int, float | None]]) -> None:
    """Weights are never negative, and what is covered and what is missing make the record, give or take an interval."""
    at = np.cumsum([step for step, _ in rows])
    record = logged(at, temperature_c=[np.nan if value is None else value for _, value in rows])
    measure: Measure = "temperature_c"
    weights, _, missing = time_weights(record, measure)
    assert np.all(weights >= 0)
    if weights.any():
        whole = float(at[-1] - at[0]) + record.interval_s
        assert weights.sum() + missing * 3600 == pytest.approx(whole)


@pytest.mark.parametrize(
    ("temperature", "asked"),
    [
        ([], {}),
        ([np.nan], {}),
        ([-300.0], {}),
        ([20.0], {"weights": np.array([0.0])}),
        ([20.0], {"activation_kj_per_mol": 0}),
    ],
)
def test_impossible_questions_are_refused(temperature: list[float], asked: dict[str, Any]) -> None:
    """No temperature, no time and no energy give no mean."""
    with pytest.raises(DwellbookError):
        mean_kinetic_temperature(np.array(temperature), **asked)


def test_impossible_factors_are_refused() -> None:
    """Cold below zero, air without water and a factor of nothing."""
    with pytest.raises(DwellbookError):
        arrhenius_factor(from_c=-300, to_c=20, activation_kj_per_mol=100)
    with pytest.raises(DwellbookError):
        q10_factor(from_c=20, to_c=30, q10=0)
    with pytest.raises(DwellbookError):
        humid_heat_factor(
            from_c=20, to_c=30, from_percent=0, to_percent=50, activation_kj_per_mol=100, exponent=1.3
        )  # fmt: skip
