"""Climate of a shelf or a room: means weighted by time, hours outside a band, mean kinetic temperature, light dose."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from study.errors import DwellbookError
from study.model.climate import LONGER_THAN_USUAL, MEASURES, ClimateRecord, Measure

GAS_CONSTANT_KJ = 8.314462618e-3
"""kJ/(mol K), exact by definition to the digits given."""
ACTIVATION_KJ_PER_MOL = 83.144
KINETIC_GAS_CONSTANT_KJ = 8.3144e-3
"""Energy usual for mean kinetic temperature and the rounded constant that goes with it: their ratio is 10 000 K."""
ZERO_CELSIUS_K = 273.15


@dataclass(frozen=True)
class Band:
    """A declared range [unit of the measure], its ends included."""

    low: float
    high: float


@dataclass(frozen=True)
class MeasureSummary:
    """One measure over the time that its readings cover."""

    measure: Measure
    mean: float
    """Weighted by time."""
    lowest: float
    highest: float
    covered_hours: float
    missing_hours: float
    """Between the first and last row of the file without a reading of this measure."""
    gaps: int
    band: Band | None = None
    below_hours: float | None = None
    above_hours: float | None = None

    @property
    def outside_hours(self) -> float | None:
        """Hours outside the band; None where no band is declared."""
        if self.below_hours is None or self.above_hours is None:
            return None
        return self.below_hours + self.above_hours


@dataclass(frozen=True)
class KineticTemperature:
    """The constant temperature that would have done as much, at the activation energy it states."""

    temperature_c: float
    activation_kj_per_mol: float
    covered_hours: float
    missing_hours: float
    notice: str
    """What the gaps mean for it; empty without gaps."""


@dataclass(frozen=True)
class LightDose:
    """Illuminance over time."""

    lux_hours: float
    covered_hours: float
    missing_hours: float
    notice: str
    """With gaps the dose is a lower bound, and this says so."""

    @property
    def mega_lux_hours(self) -> float:
        """The dose in Mlx h."""
        return self.lux_hours / 1e6


@dataclass(frozen=True)
class ClimateSummary:
    """What a record says, each measure by itself."""

    measures: tuple[MeasureSummary, ...]
    kinetic: KineticTemperature | None
    light: LightDose | None
    ultraviolet_uw_per_lm: float | None
    """Mean ultraviolet weighted by illuminance where both are read, else by time [µW/lm]."""
    notes: tuple[str, ...]


def climate_summary(
    record: ClimateRecord, *, bands: Mapping[Measure, Band] | None = None,
    activation_kj_per_mol: float = ACTIVATION_KJ_PER_MOL,
) -> ClimateSummary:  # fmt: skip
    """The record in numbers, over the time its readings cover.

    Parameters
    ----------
    record : ClimateRecord
    bands : mapping of measure to Band
        Ranges to count hours outside of; a room of 16 to 25 °C and 40 to 60 % is usual [common-practice].
    activation_kj_per_mol : float [kJ/mol]
        For the mean kinetic temperature; 60 to 120 is usual.

    Source
    ------
    Trapezoid of the readings: each stands for half the interval to its neighbours, never across a gap.
    """
    measures, notes = [], []
    kinetic, light, ultraviolet = None, None, None
    for measure, words in MEASURES.items():
        values = record.values(measure)
        if values is None:
            continue
        if not np.any(np.isfinite(values)):
            notes.append(f"no reading of {words} is left")
            continue
        weights, gaps, missing = time_weights(record, measure)
        measures.append(_summary(measure, values, weights, gaps, missing, (bands or {}).get(measure)))
        covered = float(weights.sum()) / 3600
        if measure == "temperature_c":
            read = np.isfinite(values)
            found = mean_kinetic_temperature(
                values[read],
                weights=weights[read] if covered > 0 else None,
                activation_kj_per_mol=activation_kj_per_mol,
            )
            notice = _notice(gaps, missing, "leaves out") + " what happened then is not in it." if gaps else ""
            kinetic = KineticTemperature(found, activation_kj_per_mol, covered, missing, notice)
        if measure == "lux":
            dose = float(np.nansum(values * weights)) / 3600
            notice = _notice(gaps, missing, "misses") + " the dose is at least this." if gaps else ""
            light = LightDose(dose, covered, missing, notice)
        if measure == "uv_uw_per_lm":
            ultraviolet = _ultraviolet(values, record.lux, weights)
    return ClimateSummary(tuple(measures), kinetic, light, ultraviolet, tuple(notes))


def _notice(gaps: int, missing: float, verb: str) -> str:
    return f"It {verb} {missing:.4g} h in {gaps} {'gap' if gaps == 1 else 'gaps'}:"


def time_weights(record: ClimateRecord, measure: Measure) -> tuple[np.ndarray, int, float]:
    """How long each reading stands for [s], the number of gaps, and the hours missing between first and last row.

    A reading stands for half the time to its neighbours; beside a gap, and at either end, for half a usual interval, so
    that equally spaced readings count alike.
    """
    values = record.values(measure)
    weights = np.zeros(record.utc_s.size)
    if values is None:
        return weights, 0, 0.0
    read = np.flatnonzero(np.isfinite(values))
    if read.size == 0:
        return weights, 0, 0.0
    usual = record.interval_s
    steps = np.diff(record.utc_s[read]).astype(float)
    is_gap = steps > LONGER_THAN_USUAL * usual
    half = np.where(is_gap, usual, steps) / 2
    own = np.full(read.size, usual / 2 * (usual > 0))
    own[1:] = half
    after = np.full(read.size, usual / 2 * (usual > 0))
    after[:-1] = half
    weights[read] = own + after
    before, behind = record.utc_s[read[0]] - record.utc_s[0], record.utc_s[-1] - record.utc_s[read[-1]]
    missing = float(np.sum(steps[is_gap] - usual) + before + behind) / 3600
    gaps = int(is_gap.sum()) + int(before > 0) + int(behind > 0)
    return weights, gaps, missing


def _summary(
    measure: Measure, values: np.ndarray, weights: np.ndarray, gaps: int, missing: float, band: Band | None
) -> MeasureSummary:
    read = np.isfinite(values)
    total = float(weights.sum())
    mean = float(np.sum(values[read] * weights[read]) / total) if total > 0 else float(np.mean(values[read]))
    below = above = None
    if band is not None:
        if not band.low <= band.high:
            raise DwellbookError(f"A band from {band.low:g} to {band.high:g} is none.", "Give the lower end first.")
        below = float(weights[read][values[read] < band.low].sum()) / 3600
        above = float(weights[read][values[read] > band.high].sum()) / 3600
    return MeasureSummary(
        measure, mean, float(values[read].min()), float(values[read].max()), total / 3600, missing, gaps, band, below,
        above,
    )  # fmt: skip


def _ultraviolet(values: np.ndarray, lux: np.ndarray | None, weights: np.ndarray) -> float | None:
    share = weights if lux is None else weights * np.nan_to_num(lux)
    read = np.isfinite(values)
    total = float(share[read].sum())
    return float(np.sum(values[read] * share[read]) / total) if total > 0 else None


def mean_kinetic_temperature(
    temperature_c: np.ndarray, *, weights: np.ndarray | None = None,
    activation_kj_per_mol: float = ACTIVATION_KJ_PER_MOL,
) -> float:  # fmt: skip
    """The constant temperature [°C] at which a reaction of that activation energy would have gone as far.

    Parameters
    ----------
    temperature_c : (n,) float array [°C]
        Readings without missing ones; −30 to 80 is usual.
    weights : (n,) float array or None
        Time that each stands for, in any unit; None where all count alike.
    activation_kj_per_mol : float [kJ/mol]

    Raises
    ------
    DwellbookError
        If there is no reading, one is missing or below absolute zero, the weights sum to nothing, or the energy is not
        above 0.

    Source
    ------
    [haynes1971]
    """
    temperature = np.asarray(temperature_c, dtype=float)
    share = np.ones(temperature.size) if weights is None else np.asarray(weights, dtype=float)
    kelvin = temperature + ZERO_CELSIUS_K
    if temperature.size == 0 or not np.all(np.isfinite(kelvin) & (kelvin > 0)):
        raise DwellbookError("A mean kinetic temperature needs real temperatures.", "Leave missing readings out.")
    if share.shape != temperature.shape or np.any(~(share >= 0)) or not 0 < float(share.sum()) < math.inf:
        raise DwellbookError("The readings stand for no time.", "Give the time that each one stands for.")
    if not 0 < activation_kj_per_mol < math.inf:
        raise DwellbookError(
            f"An activation energy of {activation_kj_per_mol:g} kJ/mol is not possible.", "Use 60 to 120 as a rule."
        )
    slope = activation_kj_per_mol / KINETIC_GAS_CONSTANT_KJ
    # Shifted by the warmest reading, so that no energy is too large for the machine.
    warmest = float(kelvin.max())
    rate = np.sum(share * np.exp(-slope * (1 / kelvin - 1 / warmest))) / share.sum()
    return float(1 / (1 / warmest - math.log(rate) / slope)) - ZERO_CELSIUS_K
