"""A reduced trace as points to draw: on its own axis, zeroed, thinned without losing a peak."""

from __future__ import annotations

import numpy as np

from study.analysis.trace import LENGTH_PER_TRAVEL, TraceResult
from study.analysis.trace_event import Event, trace_event
from study.model.trace import Trace
from study.model.trace_asked import ShownTrace, TraceAsked

MOST_POINTS = 3000


def trace_shown(trace: Trace, result: TraceResult, asked: TraceAsked, *, words: str = "") -> ShownTrace | None:
    """The trace from its zero to its end, with the window and peaks of its result; None where the clock restarts.

    Parameters
    ----------
    trace : Trace
        As it was reduced.
    result : TraceResult
    asked : TraceAsked
        The same as the result was worked out with.
    """
    if len(trace.segments) > 1:
        return None
    event = trace_event(trace, capacity_n=asked.capacity_n, resolution_n=asked.resolution_n, sign=asked.sign)
    at, axis = _axis(trace, event, result, asked)
    chosen = thinned(at, event.force_n)
    window = (result.window.from_mm, result.window.to_mm) if result.window else None
    found = list(zip(result.peaks.at, result.peaks.height_n, strict=True)) if result.peaks else []
    return ShownTrace(
        title=trace.file, axis=axis, at=tuple(at[chosen].tolist()), force_n=tuple(event.force_n[chosen].tolist()),
        window=window, mean_n=result.mean_n, peak_n=float(np.max(event.force_n)), peaks=tuple(found),
        at_least=result.lower_bound, flags=result.flags, words=words,
    )  # fmt: skip


def _axis(trace: Trace, event: Event, result: TraceResult, asked: TraceAsked) -> tuple[np.ndarray, str]:
    start = result.start_s if np.isfinite(result.start_s) else float(trace.time_s[0])
    elapsed = trace.time_s - start
    if result.axis_from == "speed" and asked.speed_mm_per_min:
        factor = LENGTH_PER_TRAVEL[result.geometry][0]
        return factor * asked.speed_mm_per_min * elapsed / 60, f"{result.axis} [mm]"
    if result.axis_from == "logged displacement" and trace.displacement_mm is not None:
        factor = LENGTH_PER_TRAVEL[result.geometry][0]
        moved = trace.displacement_mm - np.interp(start, trace.time_s, trace.displacement_mm)
        last = event.removals[0][1]
        return factor * (-moved if moved[last] < 0 else moved), f"{result.axis} [mm]"
    return elapsed, "time from the start of the removal [s]"


def thinned(at: np.ndarray, force_n: np.ndarray) -> np.ndarray:
    """Places to draw, in order: the lowest and highest of each stretch, so that no peak is lost."""
    if at.size <= MOST_POINTS:
        return np.arange(at.size)
    edges = np.linspace(0, at.size, MOST_POINTS // 2 + 1).astype(int)
    kept = {0, at.size - 1}
    for first, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        kept |= {first + int(np.argmin(force_n[first:stop])), first + int(np.argmax(force_n[first:stop]))}
    return np.array(sorted(kept))
