"""Climate in words and tables: what a logger's file says, what is on file, what each set lived through."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from study.model.climate import MEASURES, Measure
from study.model.climate_days import THROUGHOUT, WHOLE, FiledClimate, Stretch
from study.model.units import percent

HEAT_CAUTION = (
    "Mean kinetic temperature takes one activation energy, 83.144 kJ/mol, for a process nobody has measured in soft "
    "display adhesives: it is supporting evidence only, and a duration that rested on heat alone would be at most "
    "provisional."
)
RECORD_HEADS = {
    "number": "no.", "environment": "environment", "name": "file", "from": "from [UTC]", "to": "to [UTC]",
    "measures": "read", "by": "by", "state": "state",
}  # fmt: skip
SET_HEADS = {
    "set": "set", "pull": "pull", "days": "dwell [d]", "temperature": "temperature [°C]", "kinetic": "kinetic [°C]",
    "humidity": "RH [%]", "dose": "light dose [Mlx h]", "outside": "outside band [h]", "covered": "covered [%]",
}  # fmt: skip
SHORT: dict[Measure, str] = {"temperature_c": "T", "humidity_percent": "RH", "lux": "light", "uv_uw_per_lm": "UV"}


class Said(Protocol):
    """One set's stretch, as the read job hands it out."""

    @property
    def set_key(self) -> str: ...
    @property
    def pull(self) -> str: ...
    @property
    def stretch(self) -> Stretch: ...


def tabulate_records(records: Sequence[FiledClimate]) -> list[dict[str, str]]:
    """Records on file, superseded ones said to be so."""
    return [
        {
            "number": str(one.number), "environment": one.environment, "name": one.name,
            "from": one.from_at.replace("T", " "), "to": one.to_at.replace("T", " "),
            "measures": ", ".join(SHORT[measure] for measure in one.days.days), "by": f"{one.by}, {one.at[:10]}",
            "state": "in force"
            if one.superseded_by is None
            else f"superseded by {one.superseded_by} on {(one.superseded_at or '')[:10]}: {one.why}",
        }
        for one in records
    ]  # fmt: skip


def tabulate_stretches(found: Sequence[Said]) -> list[dict[str, str]]:
    """What each pull of each set lived through; a dash where nothing was logged."""
    return [
        {
            "set": one.set_key, "pull": one.pull, "days": str(one.stretch.days),
            "temperature": _range(one.stretch, "temperature_c", 1), "kinetic": kinetic_words(one.stretch),
            "humidity": _range(one.stretch, "humidity_percent", 0), "dose": dose_words(one.stretch),
            "outside": outside_words(one.stretch), "covered": covered_words(one.stretch),
        }
        for one in found
    ]  # fmt: skip


def _range(stretch: Stretch, measure: Measure, digits: int) -> str:
    found = stretch.measures.get(measure)
    if found is None:
        return "–"
    return f"{found.mean:.{digits}f} ({found.lowest:.{digits}f} to {found.highest:.{digits}f})"


def kinetic_words(stretch: Stretch) -> str:
    """Mean kinetic temperature, or a dash."""
    return "–" if stretch.kinetic_c is None else f"{stretch.kinetic_c:.2f}"


def dose_words(stretch: Stretch) -> str:
    """The light dose in Mlx h, "at least" where it was not logged all the time; a dash where it never was."""
    if stretch.lux_hours is None:
        return "–"
    dose = f"{stretch.lux_hours / 1e6:.4g}"
    return dose if stretch.covered("lux") >= THROUGHOUT else f"at least {dose}"


def outside_words(stretch: Stretch) -> str:
    """Hours outside the band by measure; a dash where there is no band or nothing was logged."""
    told = [
        f"{SHORT[measure]} {found.outside_hours:.0f}"
        for measure, found in stretch.measures.items()
        if found.outside_hours is not None
    ]
    return ", ".join(told) or "–"


def covered_words(stretch: Stretch) -> str:
    """Share of the dwell that readings cover, by measure; one number where all of them are alike."""
    shares = {f"{100 * stretch.covered(measure):.0f}" for measure in stretch.measures}
    if len(shares) == 1:
        return shares.pop()
    told = [f"{SHORT[measure]} {100 * stretch.covered(measure):.0f}" for measure in stretch.measures]
    return ", ".join(told) or "nothing logged"


def not_covered(found: Sequence[Said]) -> list[str]:
    """What was not logged well, a sentence a set; what was not logged is not filled in."""
    lacking: dict[str, list[str]] = {}
    for one in found:
        if not one.stretch.measures:
            lacking.setdefault(one.set_key, []).append(f"{one.pull}: nothing")
        elif any(one.stretch.covered(measure) < WHOLE for measure in one.stretch.measures):
            said = ", ".join(
                f"{SHORT[measure]} {percent(one.stretch.covered(measure))}" for measure in one.stretch.measures
            )
            lacking.setdefault(one.set_key, []).append(f"{one.pull}: {said}")
    told = [f"{key}, logged of the dwell: {'; '.join(parts)}." for key, parts in lacking.items()]
    if told:
        told.append("What was not logged is not filled in: means speak of the logged time, and a dose is “at least”.")
    return told


class MeasureSaid(Protocol):
    """One measure of a record, as the analysis sums it up."""

    @property
    def measure(self) -> Measure: ...
    @property
    def mean(self) -> float: ...
    @property
    def lowest(self) -> float: ...
    @property
    def highest(self) -> float: ...
    @property
    def covered_hours(self) -> float: ...
    @property
    def missing_hours(self) -> float: ...
    @property
    def outside_hours(self) -> float | None: ...


UNITS: dict[Measure, str] = {
    "temperature_c": "°C", "humidity_percent": "%", "lux": "lx", "uv_uw_per_lm": "µW/lm",
}  # fmt: skip


def measure_lines(measures: Sequence[MeasureSaid]) -> list[str]:
    """Mean, range, coverage and hours outside of each measure of a record."""
    lines = []
    for one in measures:
        outside = "" if one.outside_hours is None else f", {one.outside_hours:.0f} h outside the band"
        missing = f", {one.missing_hours:.0f} h missing" if one.missing_hours >= 1 else ""
        lines.append(
            f"{MEASURES[one.measure]} {one.mean:.4g} {UNITS[one.measure]} ({one.lowest:.4g} to {one.highest:.4g}) "
            f"over {one.covered_hours:.0f} h{missing}{outside}"
        )
    return lines


class KineticSaid(Protocol):
    """A mean kinetic temperature, as the analysis gives it."""

    @property
    def temperature_c(self) -> float: ...
    @property
    def notice(self) -> str: ...


class DoseSaid(Protocol):
    """A light dose, as the analysis gives it."""

    @property
    def mega_lux_hours(self) -> float: ...
    @property
    def notice(self) -> str: ...


def preview_lines(
    kinetic: KineticSaid | None, light: DoseSaid | None, ultraviolet_uw_per_lm: float | None = None
) -> list[str]:
    """Mean kinetic temperature, light dose and ultraviolet of a record, each with what its gaps mean."""
    lines = []
    if kinetic is not None:
        lines.append(f"mean kinetic temperature {kinetic.temperature_c:.2f} °C{_then(kinetic.notice)}")
    if light is not None:
        least = "at least " if light.notice else ""
        lines.append(f"light dose {least}{light.mega_lux_hours:.4g} Mlx h{_then(light.notice)}")
    if ultraviolet_uw_per_lm is not None:
        how = "weighted by the light" if light is not None else "over time"
        lines.append(f"ultraviolet {ultraviolet_uw_per_lm:.3g} µW/lm {how}")
    return lines


def _then(notice: str) -> str:
    return f". {notice}" if notice else ""
