"""Force trace to removal force: mean over a named window of peeled length, peaks, energy, and every flag."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from study.analysis.trace_event import QUIET_S, SIGNS, Event, trace_event
from study.analysis.trace_peaks import STICK_SLIP_RATIO, Peaks, StickSlip, stick_slip, trace_peaks
from study.errors import DwellbookError
from study.model.trace import Trace

LENGTH_PER_TRAVEL: dict[str, tuple[float, str]] = {
    "180°": (0.5, "peeled length"),
    "T": (0.5, "peeled length"),
    "90°, sliding stage": (1.0, "peeled length"),
    "90°, fixed stage": (1.0, "peeled length, about"),
    "straight pull-off": (1.0, "crosshead travel"),
}
"""Peeled length per crosshead travel, and what the axis is called, by geometry."""
OBSERVED = ("backing broke", "strip tore", "slip in the grip", "angle drift")
"""Flags that only a person can raise."""
LARGEST_SPACING_MM = 1.0
AIMED_SAMPLES_PER_MM = 10
RULES = ("25–75 mm", "25 mm to end−10 mm", "central 80 %", "user")
LEAST_MM = {"25 mm to end−10 mm": 100.0}
"""Least length of a window that depends on the length of the trace."""


@dataclass(frozen=True)
class Window:
    """A stretch of the axis [mm] chosen by a person."""

    from_mm: float
    to_mm: float
    rule: str = "user"


@dataclass(frozen=True)
class WindowMean:
    """The force over the window, weighted by length."""

    rule: str
    from_mm: float
    to_mm: float
    mean_n: float
    lowest_n: float
    highest_n: float
    sd_n: float
    """Square root of the length-weighted mean square about the mean [N]."""
    samples: int
    samples_per_mm: float
    plain_mean_n: float
    """Mean of the samples as if they were evenly spaced; beside the other, never instead."""


@dataclass(frozen=True)
class TraceResult:
    """What one removal says. Where ``refused`` is not empty there is no mean, and it says why."""

    geometry: str
    axis: str
    """peeled length; peeled length, about; crosshead travel; or time where no length is known."""
    axis_from: str
    """speed, logged displacement, or empty."""
    start_s: float
    end_s: float
    length: float
    """Of the removal on its axis [mm, or s]."""
    peak_n: float
    window: WindowMean | None
    mean_n_per_m: float | None
    peaks: Peaks | None
    stick_slip: StickSlip | None
    energy_j: float | None
    """Work of the crosshead over the whole removal."""
    lower_bound: bool
    """The gauge was at its end: mean, peak and energy are at least what they say."""
    tare_n: float
    noise_n: float
    flipped: bool
    flags: tuple[str, ...]
    notes: tuple[str, ...]
    refused: str = ""

    @property
    def mean_n(self) -> float | None:
        """Mean force over the window [N]."""
        return self.window.mean_n if self.window else None


def trace_result(
    trace: Trace, *, speed_mm_per_min: float | None, geometry: str, width_mm: float | None = None,
    capacity_n: float | None = None, resolution_n: float | None = None, window_rule: str | Window | None = None,
    observed: Collection[str] = (), sign: str = "found", quiet_s: float = QUIET_S,
) -> TraceResult:  # fmt: skip
    """The removal force of one trace.

    Parameters
    ----------
    trace : Trace
        One removal, as the gauge logged it; ``one_segment`` and ``split_trace`` cut a longer one.
    speed_mm_per_min : float or None [mm/min]
        Crosshead speed; 5 to 500 is usual. A logged displacement goes before it.
    geometry : str
        One of ``LENGTH_PER_TRAVEL``.
    width_mm : float or None [mm]
        Actual mean width of the strip; 10 to 50 is usual. None for dots.
    capacity_n, resolution_n : float or None [N]
        End of scale and smallest step of the gauge.
    window_rule : str, Window or None
        One of ``RULES``, a window chosen by hand, or None where the peak alone is wanted (dots).
    observed : collection of str
        What a person saw; of ``OBSERVED``.
    sign, quiet_s
        As in ``trace_event``.

    Raises
    ------
    DwellbookError
        If the geometry, the rule, an observation or a number asked with is none. What the trace itself lacks is never
        raised: it is in ``flags`` and ``refused``.

    Source
    ------
    [iso-29862] for a reading per millimetre; windows and flags as the trade keeps them [common-practice].
    """
    if sign not in SIGNS:
        raise DwellbookError(f"“{sign}” is no way to take the sign.", f"Use one of {', '.join(SIGNS)}.")
    _check(speed_mm_per_min, geometry, width_mm, capacity_n, resolution_n, window_rule, observed)
    if len(trace.segments) > 1:
        why = f"The clock starts again: {len(trace.segments)} segments. Take one of them, or join them."
        return _nothing(geometry, trace, None, why, ("clock restarted",))
    event = trace_event(trace, capacity_n=capacity_n, resolution_n=resolution_n, sign=sign, quiet_s=quiet_s)
    flags = [] if event.has_baseline else ["no baseline"]
    if len(event.removals) != 1:
        count = len(event.removals)
        at = ", ".join(f"{trace.time_s[first]:.4g}" for first, _ in event.removals)
        why = (
            f"{count} removals, beginning at {at} s. Split the trace between them."
            if count
            else f"No force above {event.threshold_n:.3g} N lasted 0.1 s: nothing was removed."
        )
        flags += [f"{count} removals" if count else "no removal"]
        return _nothing(geometry, trace, event, why, tuple(flags))
    return _reduced(trace, event, geometry, speed_mm_per_min, width_mm, window_rule, [*flags, *observed])


def _reduced(
    trace: Trace, event: Event, geometry: str, speed: float | None, width_mm: float | None,
    window_rule: str | Window | None, flags: list[str],
) -> TraceResult:  # fmt: skip
    first, last = event.removals[0]
    part = slice(first, last + 1)
    force, notes = event.force_n[part], list(event.notes)
    saturated = bool(np.any(event.saturated[part]))
    if saturated:
        flags.append("saturated")
    if float(np.min(event.force_n)) < -0.2 * float(np.max(event.force_n)):
        flags.append("force in both directions")
    if geometry == "straight pull-off" and last == event.force_n.size - 1 and force[-1] > 0.5 * float(np.max(force)):
        # A peel may stop at any force; a dot that is off leaves the gauge empty.
        flags.append("ends under load")
        notes.append("the trace ends under load: the rest of the removal may lie in another file")
    at, travel, axis, axis_from = _axis(trace, part, event.starts_s[0], geometry, speed, flags, notes)
    window, refused = None, ""
    if window_rule is not None:
        if travel is None:
            refused = "No speed and no displacement: the window has no length."
        else:
            window, refused = _window(at, force, window_rule, flags, notes)
    inside = _inside(at, window.from_mm, window.to_mm) if window else np.ones(at.size, dtype=bool)
    level = float(np.median(force[inside])) if np.any(inside) else float(np.median(force))
    peaks = trace_peaks(at=at, force_n=force, noise_n=event.noise_n, level_n=level)
    mean = window.mean_n if window else float(np.mean(force))
    slips = stick_slip(force_n=force[inside], prominence_n=peaks.prominence_n, mean_n=mean)
    if slips and slips.ratio > STICK_SLIP_RATIO:
        flags.append("stick-slip")
    per_metre = None
    if window and width_mm:
        per_metre = window.mean_n / width_mm * 1000
    elif window and geometry != "straight pull-off":
        flags.append("width unknown")
    energy = None if travel is None else float(np.trapezoid(force, travel)) / 1000
    return TraceResult(
        geometry, axis, axis_from, event.starts_s[0], float(trace.time_s[last]), float(at[-1]),
        float(np.max(force)), window, per_metre, peaks, slips, energy, saturated, event.tare_n, event.noise_n,
        event.flipped, tuple(dict.fromkeys(flags)), tuple(notes), refused,
    )  # fmt: skip


def _axis(
    trace: Trace, part: slice, start_s: float, geometry: str, speed: float | None, flags: list[str], notes: list[str]
) -> tuple[np.ndarray, np.ndarray | None, str, str]:
    """Position on the axis, crosshead travel [mm] where known, and what the axis is and comes from."""
    factor, axis = LENGTH_PER_TRAVEL[geometry]
    if geometry == "90°, fixed stage":
        flags.append("angle drift")
    elapsed = trace.time_s[part] - start_s
    if trace.displacement_mm is not None:
        near = slice(max(part.start - 1, 0), part.start + 1)
        moved = trace.displacement_mm[part] - np.interp(start_s, trace.time_s[near], trace.displacement_mm[near])
        moved = -moved if moved[-1] < 0 else moved
        travel = np.maximum.accumulate(moved)
        if float(np.max(travel - moved)) > 0.01 * max(float(travel[-1]), 1e-9):
            flags.append("displacement goes back")
        if travel[-1] <= 0:
            notes.append("the logged displacement does not move and was not used")
        else:
            expected = speed * elapsed[-1] / 60 if speed else float(travel[-1])
            if abs(expected - travel[-1]) > 0.1 * travel[-1]:
                flags.append("speed and displacement disagree")
            return factor * travel, travel, axis, "logged displacement"
    if speed is None:
        flags.append("speed unknown")
        return elapsed, None, "time", ""
    travel = speed * elapsed / 60
    return factor * travel, travel, axis, "speed"


def _window(
    at: np.ndarray, force: np.ndarray, rule: str | Window, flags: list[str], notes: list[str]
) -> tuple[WindowMean | None, str]:
    end = float(at[-1])
    name = rule.rule if isinstance(rule, Window) else rule
    if isinstance(rule, Window):
        low, high = rule.from_mm, rule.to_mm
    elif rule == "25–75 mm":
        low, high = 25.0, 75.0
    elif rule == "25 mm to end−10 mm":
        low, high = 25.0, end - 10.0
    else:
        low, high = 0.1 * end, 0.9 * end
    least = LEAST_MM.get(name, 0.0)
    # A trace of exactly the length asked for is long enough whatever the last digit of the machine.
    slack = 1e-9 * max(end, 1.0)
    if high > end + slack or high - low < least - slack or high <= low:
        flags.append("window too short")
        needed = f"a window of at least {least:g} mm" if least else f"{high:g} mm"
        return None, f"The trace is {end:.4g} mm long; “{name}” needs {needed}. Choose another rule by hand."
    high = min(high, end)
    position, value = _merged(at, force)
    inner = (position > low) & (position < high)
    x = np.concatenate([[low], position[inner], [high]])
    y = np.concatenate([[np.interp(low, position, value)], value[inner], [np.interp(high, position, value)]])
    mean = float(np.trapezoid(y, x)) / (high - low)
    square = float(np.trapezoid((y - mean) ** 2, x)) / (high - low)
    inside = _inside(at, low, high)
    samples = int(inside.sum())
    per_mm = samples / (high - low)
    if float(np.max(np.diff(x))) > LARGEST_SPACING_MM + 1e-9:
        flags.append("too few samples")
    elif per_mm < AIMED_SAMPLES_PER_MM:
        notes.append(f"{per_mm:.3g} samples per mm; ten or more show the peaks")
    chosen = force[inside] if samples else y
    return WindowMean(
        name, low, high, mean, float(np.min(chosen)), float(np.max(chosen)), math.sqrt(square), samples, per_mm,
        float(np.mean(chosen)),
    ), ""  # fmt: skip


def _inside(at: np.ndarray, low: float, high: float) -> np.ndarray:
    """Samples in the window; one on its very end belongs to what follows, so that windows side by side share none."""
    slack = 1e-9 * max(high, 1.0)
    inside: np.ndarray = (at >= low - slack) & (at < high - slack)
    return inside


def _merged(at: np.ndarray, force: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Samples at one place count once, at their mean: a repeated time has no length of its own."""
    if np.all(np.diff(at) > 0):
        return at, force
    places, inverse, counts = np.unique(at, return_inverse=True, return_counts=True)
    return places, np.bincount(inverse, weights=force) / counts


def _nothing(
    geometry: str, trace: Trace, event: Event | None, why: str, flags: tuple[str, ...]
) -> TraceResult:  # fmt: skip
    top = float(np.max(event.force_n)) if event else float("nan")
    return TraceResult(
        geometry, LENGTH_PER_TRAVEL[geometry][1], "", float("nan"), float("nan"), 0.0, top,
        None, None, None, None, None, bool(event and np.any(event.saturated)), event.tare_n if event else 0.0,
        event.noise_n if event else 0.0, bool(event and event.flipped), flags, event.notes if event else (), why,
    )  # fmt: skip


def peel_energy(*, force_n: float, width_mm: float, angle_deg: float) -> float:
    """Energy to peel a unit of area [J/m²]: F/b (1 − cos θ), for a backing that does not stretch; losses in it ignored.

    Parameters
    ----------
    force_n : float [N]
        Mean peel force; 0.5 to 50 is usual.
    width_mm : float [mm]
    angle_deg : float [°]
        Angle between strip and surface, 90 or 180 as a rule.

    Source
    ------
    [worked-cases]
    """
    return force_n / (width_mm / 1000) * (1 - math.cos(math.radians(angle_deg)))


def _check(
    speed: float | None, geometry: str, width: float | None, capacity: float | None, resolution: float | None,
    rule: str | Window | None, observed: Collection[str],
) -> None:  # fmt: skip
    if geometry not in LENGTH_PER_TRAVEL:
        raise DwellbookError(f"“{geometry}” is no geometry.", f"Use one of {'; '.join(LENGTH_PER_TRAVEL)}.")
    if isinstance(rule, str) and (rule not in RULES or rule == "user"):
        raise DwellbookError(
            f"“{rule}” is no window rule.", f"Use one of {'; '.join(RULES[:3])}, or two lengths in mm."
        )
    if isinstance(rule, Window) and not 0 <= rule.from_mm < rule.to_mm < math.inf:
        raise DwellbookError(
            f"A window from {rule.from_mm:g} to {rule.to_mm:g} mm is none.", "Give two lengths, the smaller first."
        )
    for name, value in (("speed", speed), ("width", width), ("capacity", capacity), ("resolution", resolution)):
        if value is not None and not 0 < value < math.inf:
            raise DwellbookError(f"A {name} of {value:g} is not possible.", "Give a number above 0, or leave it out.")
    for seen in observed:
        if seen not in OBSERVED:
            raise DwellbookError(f"“{seen}” is not something to observe.", f"Use one of {', '.join(OBSERVED)}.")
