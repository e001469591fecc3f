"""A force trace: what a gauge logged during a removal, in newton against seconds, and what was understood of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class TraceColumn:
    """One column of the file: its heading, its unit as written and what it was taken for."""

    heading: str
    unit: str
    taken_as: str
    """time, force, displacement, or empty where it was left alone."""


@dataclass(frozen=True)
class LeftOut:
    """A row that gave no sample, with its number as a spreadsheet counts and the reason."""

    row: int
    typed: str
    why: str


@dataclass(frozen=True, eq=False)
class Trace:
    """Samples in the order of the file; nothing is smoothed, sorted or turned round.

    ``time_s`` runs on the file's own clock and may start again: ``segments`` are the stretches [first, stop) in which
    it does not go back.
    """

    file: str
    digest: str
    """SHA-256 of the bytes."""
    time_s: np.ndarray
    """(n,) seconds."""
    force_n: np.ndarray
    """(n,) newton, with the gauge's own sign and zero; NaN where the gauge said only that it was overloaded."""
    over: np.ndarray
    """(n,) bool: the gauge said "more than this" in words or signs."""
    displacement_mm: np.ndarray | None
    """(n,) crosshead travel as logged, where the file has it."""
    segments: tuple[tuple[int, int], ...]
    columns: tuple[TraceColumn, ...]
    force_unit: str
    newton_per_unit: float
    step_n: float
    """Smallest step that the typed digits can show [N]; 0 where unknown."""
    preamble: tuple[tuple[str, str], ...]
    """Facts above and below the table, as written: name and value."""
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]
    """What was understood, in sentences."""

    @property
    def samples(self) -> int:
        """How many samples there are."""
        return int(self.time_s.size)
