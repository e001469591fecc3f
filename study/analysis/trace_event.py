"""One removal in a trace: sign, zero, start, end and overload, before anything is averaged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from study.model.trace import Trace

SIGNS = ("found", "as logged", "flipped")
HELD_S = 0.1
"""Force must stay above the threshold so long to count as a start [s]."""
QUIET_S = 1.0
"""So long below the threshold, and what follows is another removal [s] [common-practice]."""
BASELINE_S = 0.5
BASELINE_SAMPLES = 10
JITTER_SAMPLES = 25
THRESHOLD_SHARE = 0.005
"""Of the gauge's capacity."""
NORMAL_MAD = 1.4826
"""Median absolute deviation to standard deviation for normal scatter."""
FLAT_SAMPLES = 3


@dataclass(frozen=True, eq=False)
class Event:
    """The loaded part of a trace."""

    force_n: np.ndarray
    """(n,) all samples of the trace, turned to positive tension where needed and zeroed [N]."""
    tare_n: float
    """The zero taken off, in the gauge's own sign [N]."""
    noise_n: float
    """Scatter of the unloaded gauge [N]; 0 where there is no baseline."""
    threshold_n: float
    flipped: bool
    has_baseline: bool
    removals: tuple[tuple[int, int], ...]
    """First and last sample of each removal; empty where nothing stayed loaded for 0.1 s."""
    starts_s: tuple[float, ...]
    """When the force of each rose through the threshold [s]."""
    saturated: np.ndarray
    """(n,) bool: at the gauge's end, on a flat top, or said to be overloaded."""
    notes: tuple[str, ...]


def trace_event(
    trace: Trace, *, capacity_n: float | None = None, resolution_n: float | None = None, sign: str = "found",
    quiet_s: float = QUIET_S,
) -> Event:  # fmt: skip
    """Where the removal begins and ends.

    Parameters
    ----------
    trace : Trace
        One segment.
    capacity_n : float or None [N]
        The gauge's end of scale; 5 to 500 is usual.
    resolution_n : float or None [N]
        Its smallest step; the typed digits serve where it is not known.
    sign : str
        "found", or "as logged" or "flipped" to decide it by hand.
    quiet_s : float [s]
        How long the force stays below the threshold between two removals.
    """
    notes = []
    step = trace.step_n if resolution_n is None else resolution_n
    raw = trace.force_n.copy()
    if np.any(np.isnan(raw)):  # only an overloaded sample has no number
        top = capacity_n if capacity_n is not None else float(np.nanmax(np.abs(raw)))
        raw[np.isnan(raw)] = -top if _negative(raw[np.isfinite(raw)]) else top
    flipped = sign == "flipped" or (sign == "found" and _negative(raw))
    force = -raw if flipped else raw
    if flipped:
        notes.append("the gauge logged tension as negative: every force was multiplied by −1")
    saturated = _saturated(force, capacity_n, step) | trace.over
    before = _before_contact(trace.time_s, force, step, capacity_n)
    if before and _begins_under_load(force):
        notes.append("the trace begins under load and ends without: no zero could be taken off")
        before = 0
    long_enough = before >= BASELINE_SAMPLES or (
        before >= FLAT_SAMPLES and trace.time_s[before - 1] - trace.time_s[0] >= BASELINE_S
    )
    tare, noise = 0.0, 0.0
    if long_enough:
        tare = float(np.median(force[:before]))
        noise = NORMAL_MAD * float(np.median(np.abs(force[:before] - tare)))
    force = force - tare
    threshold = max(5 * noise, THRESHOLD_SHARE * (capacity_n or 0.0), step)
    removals = _removals(trace.time_s, force > threshold, quiet_s, notes)
    return Event(
        force, -tare if flipped else tare, noise, threshold, flipped, bool(long_enough), removals,
        tuple(_start(trace.time_s, force, first, threshold) for first, _ in removals), saturated, tuple(notes),
    )  # fmt: skip


def _negative(force: np.ndarray) -> bool:
    """Whether tension was logged as minus: the loaded part lies below zero and reaches further than any plus."""
    largest = float(np.max(np.abs(force)))
    loaded = force[np.abs(force) > 0.1 * largest]
    return bool(loaded.size and abs(float(np.min(force))) > abs(float(np.max(force))) and np.median(loaded) < 0)


def _before_contact(time: np.ndarray, force: np.ndarray, step: float, capacity_n: float | None) -> int:
    """How many samples lie before the force leaves its first level, told from their own jitter, not from their spread.

    A trace that begins under load climbs from its first sample; the jitter of its steps stays small, so that no
    stretch of the climb is taken for a baseline.
    """
    jumps = np.diff(force[:JITTER_SAMPLES])
    jitter = NORMAL_MAD * float(np.median(np.abs(jumps - np.median(jumps)))) / 2**0.5 if jumps.size else 0.0
    level = float(np.median(force[:5]))
    reach = float(np.max(force)) - level
    band = max(5 * jitter, 2 * step, THRESHOLD_SHARE * (capacity_n or 0.0), 0.01 * max(reach, 0.0))
    away = np.abs(force - level) > band
    for first, last in _runs(away):
        if time[last] - time[first] >= HELD_S - 1e-9:
            return 0 if _climbs(time[:first], force[:first], 3 * jitter + step) else first
    # It never leaves its first level: unloaded throughout if that is about zero, loaded throughout if not.
    return int(force.size) if abs(level) <= band else 0


def _begins_under_load(force: np.ndarray) -> bool:
    """Whether the first level lies well above the last: a whole removal begins and ends with an unloaded gauge."""
    first, last = (float(np.median(part)) for part in (force[:BASELINE_SAMPLES], force[-BASELINE_SAMPLES:]))
    return first - last > 0.2 * float(np.ptp(force))


def _climbs(time: np.ndarray, force: np.ndarray, more_than: float) -> bool:
    """Whether a short stretch is itself the beginning of the load."""
    half = force.size // 2
    if half < FLAT_SAMPLES or time[-1] - time[0] >= BASELINE_S:
        return False
    return abs(float(np.median(force[half:]) - np.median(force[:half]))) > more_than


def _runs(mark: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of each unbroken run of True."""
    edges = np.diff(np.concatenate([[0], mark.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(edges == 1).tolist(), (np.flatnonzero(edges == -1) - 1).tolist(), strict=True))


def _removals(time: np.ndarray, above: np.ndarray, quiet_s: float, notes: list[str]) -> tuple[tuple[int, int], ...]:
    groups: list[list[tuple[int, int]]] = []
    for run in _runs(above):
        if groups and time[run[0]] - time[groups[-1][-1][1]] < quiet_s:
            groups[-1].append(run)
        else:
            groups.append([run])
    found = []
    for group in groups:
        held = [run for run in group if time[run[1]] - time[run[0]] >= HELD_S - 1e-9]
        if held:
            found.append((held[0][0], group[-1][1]))
        else:
            notes.append(f"a jolt at {time[group[0][0]]:.4g} s did not last {HELD_S:g} s and was passed over")
    return tuple(found)


def _start(time: np.ndarray, force: np.ndarray, first: int, threshold: float) -> float:
    """When the force passed the threshold, between two samples; at the later one where they lie far apart."""
    if first == 0 or time[first] - time[first - 1] > HELD_S or force[first] <= force[first - 1]:
        return float(time[first])
    part = (threshold - force[first - 1]) / (force[first] - force[first - 1])
    return float(time[first - 1] + part * (time[first] - time[first - 1]))


def _saturated(force: np.ndarray, capacity_n: float | None, step: float) -> np.ndarray:
    marked = np.zeros(force.size, dtype=bool)
    if capacity_n is not None:
        for first, last in _runs(force >= capacity_n - step - 1e-12):
            if last - first + 1 >= FLAT_SAMPLES:
                marked[first : last + 1] = True
    # A flat top is entered and left with a jump; a rounded peak or a level trace steps by one digit at a time.
    near = max(step, 1e-9 * float(np.max(np.abs(force))))
    for first, last in _runs(force >= np.max(force) - near / 2):
        inside = last - first + 1 >= FLAT_SAMPLES and first > 0 and last < force.size - 1
        if inside and min(force[first] - force[first - 1], force[last] - force[last + 1]) > 2 * near:
            marked[first : last + 1] = True
    return marked
