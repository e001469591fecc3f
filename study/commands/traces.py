"""Traces: from a gauge's file to what it says of a removal, split or joined only where a person said so; a room."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from study.errors import DwellbookError, NotPossible
from study.intake.cells import CellFault, parse_number
from study.intake.trace_file import parse_trace
from study.model.trace import Trace
from study.model.trace_asked import PEELS, PULL_OFF, ShownTrace, TraceAsked

if TYPE_CHECKING:
    from study.analysis.trace import TraceResult, Window

USUAL_WINDOW = "25–75 mm"
"""Of a peel: the first 25 mm left out, then 50 mm [common-practice]."""
_LENGTHS = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:mm)?\s*(?:-|–|to)\s*(\d+(?:[.,]\d+)?)\s*(?:mm)?\s*")


@dataclass(frozen=True)
class GaugeFile:
    """A gauge's file as it is given."""

    name: str
    content: bytes

    @classmethod
    def of(cls, path: Path) -> GaugeFile:
        """A file on disk.

        Raises
        ------
        NotPossible
            If it cannot be read.
        """
        try:
            return cls(path.name, path.read_bytes())
        except OSError as fault:
            what = f"{path} cannot be read: {fault.strerror}."
            raise NotPossible(what, "Check the name and the folder.") from None


@dataclass(frozen=True)
class Reduced:
    """One removal, as its trace says it."""

    files: tuple[GaugeFile, ...]
    asked: TraceAsked
    trace: Trace
    result: TraceResult
    acts: tuple[str, ...]
    """What was cut or joined, in words."""

    @property
    def name(self) -> str:
        """The file or files it came from."""
        return " + ".join(file.name for file in self.files)

    def typed(self, force_per: str) -> str:
        """The removal force as a cell of a reading file, in the unit of the file: peak per dot, mean over the width."""
        per_dot = force_per == "dot"
        force_n = self.result.peak_n if per_dot else self.result.mean_n
        assert force_n is not None
        step = self.trace.step_n / self.trace.newton_per_unit
        digits = max(0, round(-_log10(step)) + (0 if per_dot else 1)) if step > 0 else 4
        value = f"{force_n / self.trace.newton_per_unit:.{digits}f}"
        unit = self.trace.force_unit if per_dot else f"{self.trace.force_unit}/{self.asked.width_mm:g} mm"
        return f"{'>' if self.result.lower_bound else ''}{value} {unit}"


def _log10(value: float) -> float:
    from math import log10

    return log10(value)


def trace_asked(**typed: Any) -> TraceAsked:
    """How a trace is to be read, from what was typed; numbers may come as text.

    Raises
    ------
    NotPossible
        If something is no number, out of its range, or does not go with another part.
    """
    from pydantic import ValidationError

    try:
        values = {name: _number(name, value) for name, value in typed.items()}
        return TraceAsked(**values)
    except ValidationError as fault:
        first = fault.errors()[0]
        place = ", ".join(_CALLED.get(str(part), str(part)) for part in first["loc"])
        what = _WRONG.get(first["type"], first["msg"].removeprefix("Value error, ")).format(**first.get("ctx", {}))
        raise NotPossible(f"{f'{place}: ' if place else ''}{what}.", "Say it anew.") from None


_CALLED = {
    "speed_mm_per_min": "speed", "width_mm": "width", "capacity_n": "end of the scale", "resolution_n": "smallest step",
    "rate_hz": "samples per second", "segment": "stretch", "split_at_s": "split", "pause_s": "pause",
}  # fmt: skip
"""Parts of how a trace is read that are numbers, as people call them."""
_WRONG = {
    "greater_than": "must be above {gt:g}", "greater_than_equal": "must be at least {ge:g}",
    "int_from_float": "must be a whole number", "int_parsing": "must be a whole number",
    "finite_number": "must be a number", "float_parsing": "must be a number", "literal_error": "must be {expected}",
}  # fmt: skip
"""What is wrong with a part, by pydantic's kind of fault."""


def _number(name: str, value: Any) -> Any:
    if name not in _CALLED or not isinstance(value, str):
        return value
    try:
        return parse_number(value)
    except CellFault as fault:
        raise NotPossible(f"{_CALLED[name]}: “{value}” {fault.what}", fault.do) from None


def reduced(files: Sequence[GaugeFile], asked: TraceAsked) -> Reduced:
    """One removal reduced from one file, or from two that are joined on demand.

    Raises
    ------
    FileRefused
        With everything wrong in a file.
    DwellbookError
        If a piece asked for is not there. What the trace itself lacks is in the result's flags and refusal.
    """
    from study.analysis.trace import trace_result
    from study.analysis.trace_pieces import join_traces, one_segment, split_trace

    if len(files) > 1 and asked.pause_s is None:
        raise NotPossible("Several files are one removal only if they are joined.", "Say the pause between them.")
    acts: list[str] = []
    traces = [
        parse_trace(
            file.content, name=file.name, force_unit=asked.force_unit, rate_hz=asked.rate_hz, decimal=asked.decimal
        )
        for file in files
    ]
    trace = traces[0]
    for later in traces[1:]:
        trace = join_traces(trace, later, pause_s=asked.pause_s or 0.0)
        acts.append(f"joined {files[0].name} and {later.file} after a pause of {asked.pause_s:g} s")
    if asked.segment:
        trace = one_segment(trace, asked.segment)
        acts.append(f"took segment {asked.segment}")
    if asked.split_at_s is not None:
        before, after = split_trace(trace, at_s=asked.split_at_s)
        trace = before if asked.part == "before" else after
        acts.append(f"split at {asked.split_at_s:g} s and took the part {asked.part}")
    result = trace_result(
        trace, speed_mm_per_min=asked.speed_mm_per_min, geometry=asked.geometry, width_mm=asked.width_mm,
        capacity_n=asked.capacity_n, resolution_n=asked.resolution_n, window_rule=window_of(asked),
        observed=asked.observed, sign=asked.sign,
    )  # fmt: skip
    return Reduced(tuple(files), asked, trace, result, tuple(acts))


def window_of(asked: TraceAsked) -> str | Window | None:
    """The window asked for; the usual one for a peel, none for a pull-off, whose peak counts.

    Raises
    ------
    DwellbookError
        If it is neither a rule nor two lengths.
    """
    from study.analysis.trace import RULES, Window

    text = asked.window.strip()
    if not text:
        return None if asked.geometry == PULL_OFF else USUAL_WINDOW
    if text in RULES[:3]:
        return text
    lengths = _LENGTHS.fullmatch(text)
    if lengths is None:
        raise DwellbookError(f"“{text}” is no window.", f"Use {'; '.join(RULES[:3])}; or two lengths as “20–60 mm”.")
    low, high = (float(part.replace(",", ".")) for part in lengths.groups())
    return Window(low, high)


def shown(found: Reduced, *, words: str = "") -> ShownTrace | None:
    """The trace as it is drawn; None where its clock restarts."""
    from study.analysis.trace_shown import trace_shown

    return trace_shown(found.trace, found.result, found.asked, words=words)


def result_lines(found: Reduced) -> list[str]:
    """What the trace says, in sentences: force, window, peaks, energy, sign turned, flags, or why there is no force."""
    result = found.result
    least = "at least " if result.lower_bound else ""
    lines = []
    if result.refused:
        lines.append(f"No removal force: {result.refused}")
    else:
        lines.append(f"Peak {least}{result.peak_n:.4g} N.")
    if result.window is not None:
        one = result.window
        per = f", {least}{result.mean_n_per_m:.4g} N/m" if result.mean_n_per_m is not None else ""
        lines.append(
            f"Mean {least}{one.mean_n:.4g} N{per} over {one.from_mm:g} to {one.to_mm:g} mm of {result.axis} "
            f"({one.rule}), {one.lowest_n:.4g} to {one.highest_n:.4g} N, {one.samples_per_mm:.3g} samples per mm."
        )
    if result.peaks is not None and result.geometry in PEELS:
        lines.append(f"Peaks: median {result.peaks.median_n:.4g} N of {result.peaks.used} ({result.peaks.rule}).")
    if result.energy_j is not None:
        lines.append(f"Work {least}{result.energy_j:.3g} J over {result.length:.4g} mm of {result.axis}.")
    lines += [f"{words[0].upper()}{words[1:]}." for words in (*result.notes, *found.acts)]
    if result.flags:
        lines.append(f"Flags: {', '.join(result.flags)}.")
    return lines
