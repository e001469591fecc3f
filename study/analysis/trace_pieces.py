"""Cutting and joining traces, always by an explicit act whose words go along with the piece."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np

from study.errors import DwellbookError
from study.model.trace import Trace


def one_segment(trace: Trace, number: int) -> Trace:
    """The stretch number 1, 2, … between two restarts of the clock, as a trace of its own.

    Raises
    ------
    DwellbookError
        If there is no such segment.
    """
    count = len(trace.segments)
    if not 1 <= number <= count:
        raise DwellbookError(f"There is no segment {number}.", f"The trace has {count}; the first is 1.")
    first, stop = trace.segments[number - 1]
    return _part(trace, first, stop, f"segment {number} of {count} taken")


def split_trace(trace: Trace, *, at_s: float) -> tuple[Trace, Trace]:
    """One segment cut in two: samples before ``at_s`` [s], and those from there on.

    Raises
    ------
    DwellbookError
        If the clock restarts within it, or one piece would have fewer than two samples.
    """
    if len(trace.segments) > 1:
        raise DwellbookError("The clock starts again within this trace.", "Take one segment first.")
    cut = int(np.searchsorted(trace.time_s, at_s, side="left"))
    if not 2 <= cut <= trace.samples - 2:
        first, last = trace.time_s[0], trace.time_s[-1]
        raise DwellbookError(f"Nothing is cut off at {at_s:g} s.", f"The trace runs from {first:g} to {last:g} s.")
    words = f"split at {at_s:g} s"
    return (
        _part(trace, 0, cut, f"{words}: the part before"),
        _part(trace, cut, trace.samples, f"{words}: the part after"),
    )  # fmt: skip


def join_traces(first: Trace, second: Trace, *, pause_s: float) -> Trace:
    """One removal that was logged in two files, or in two segments of one, made whole.

    Parameters
    ----------
    first, second : Trace
        One segment each, in the order they happened.
    pause_s : float [s]
        Time between the last sample of the first and the first of the second; at least 0.

    Raises
    ------
    DwellbookError
        If one of them has several segments, the pause is negative, or only one has a displacement.
    """
    if len(first.segments) > 1 or len(second.segments) > 1:
        raise DwellbookError("The clock starts again within one of the two.", "Take one segment of each first.")
    if not 0 <= pause_s < float("inf"):
        raise DwellbookError(f"A pause of {pause_s:g} s is not possible.", "Give 0 or more seconds.")
    travel = None
    if (first.displacement_mm is None) != (second.displacement_mm is None):
        raise DwellbookError("Only one of the two has a displacement.", "Export both alike.")
    if first.displacement_mm is not None and second.displacement_mm is not None:
        shift = first.displacement_mm[-1] - second.displacement_mm[0]
        travel = np.concatenate([first.displacement_mm, second.displacement_mm + shift])
    time = np.concatenate([first.time_s, second.time_s - second.time_s[0] + first.time_s[-1] + pause_s])
    words = f"joined: {first.file}, then {second.file} after a pause of {pause_s:g} s"
    digest = hashlib.sha256(f"{first.digest}\n{second.digest}".encode()).hexdigest()
    return replace(
        first, file=f"{first.file} + {second.file}", digest=digest, time_s=time, displacement_mm=travel,
        force_n=np.concatenate([first.force_n, second.force_n]), over=np.concatenate([first.over, second.over]),
        segments=((0, int(time.size)),), step_n=max(first.step_n, second.step_n),
        left_out=(*first.left_out, *second.left_out), preamble=(*first.preamble, *second.preamble),
        notes=(*first.notes, *second.notes, f"{words}; their SHA-256 are {first.digest} and {second.digest}"),
    )  # fmt: skip


def _part(trace: Trace, first: int, stop: int, words: str) -> Trace:
    piece = slice(first, stop)
    return replace(
        trace, time_s=trace.time_s[piece], force_n=trace.force_n[piece], over=trace.over[piece],
        displacement_mm=None if trace.displacement_mm is None else trace.displacement_mm[piece],
        segments=((0, stop - first),), notes=(*trace.notes, words),
    )  # fmt: skip
