"""Peaks of a many-peak trace: their median and range, and how far the trace sticks and slips."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FEW = 5
"""Fewer peaks than this are all used."""
CENTRAL = 0.8
STICK_SLIP_RATIO = 0.3
"""(mean maximum − mean minimum) / mean above which a trace is called stick-slip [common-practice]."""


@dataclass(frozen=True)
class Peaks:
    """What the peaks say."""

    rule: str
    """few peaks; peaks, central 80 %; or level, where no peak stands out."""
    found: int
    """Peaks of the complete trace."""
    used: int
    median_n: float
    """Median of the peaks used; of the samples of the central part where the rule is level [N]."""
    range_n: float
    """Largest minus smallest of the same [N]."""
    prominence_n: float
    """How far a peak must stand out to be one [N]."""
    at: tuple[float, ...]
    """Where the peaks lie on the axis of the trace [mm, or s where no length is known]."""
    height_n: tuple[float, ...]


@dataclass(frozen=True)
class StickSlip:
    """Mean of the maxima and of the minima in the window [N], and their difference over the mean."""

    maxima_n: float
    minima_n: float
    ratio: float


def trace_peaks(*, at: np.ndarray, force_n: np.ndarray, noise_n: float, level_n: float) -> Peaks:
    """Median and range of the peaks of one removal.

    Parameters
    ----------
    at : (n,) float array
        Peeled length or travel [mm], never falling.
    force_n : (n,) float array [N]
        From the start of the removal to its end, zero taken off.
    noise_n : float [N]
        Standard deviation of the unloaded gauge; 0 where unknown.
    level_n : float [N]
        Median force in the window, from which the least prominence is taken.

    Returns
    -------
    Peaks
        Fewer than five peaks: all of them. Else those in the central 80 % of the stretch from first peak to end.
        No peak: the median of the samples in the central 80 % of the whole stretch.

    Source
    ------
    [iso-6133] for median and range of peaks, and for the limit of five; the prominence is [common-practice].
    """
    from scipy.signal import find_peaks

    prominence = max(3 * noise_n, 0.05 * abs(level_n), 1e-12)
    places, _ = find_peaks(force_n, prominence=prominence)
    where, height = at[places], force_n[places]
    found = int(places.size)
    if found == 0:
        inside = _central(at, at[0], at[-1])
        used = force_n[inside]
        rule = "level"
    elif found < FEW:
        used, rule = height, "few peaks"
    else:
        used, rule = height[_central(where, where[0], at[-1])], "peaks, central 80 %"
    middle = float(np.median(used)) if used.size else float("nan")
    spread = float(np.ptp(used)) if used.size else float("nan")
    return Peaks(
        rule, found, int(used.size), middle, spread, prominence, tuple(where.tolist()), tuple(height.tolist())
    )  # fmt: skip


def _central(at: np.ndarray, first: float, last: float) -> np.ndarray:
    margin = (1 - CENTRAL) / 2 * (last - first)
    inside: np.ndarray = (at >= first + margin) & (at <= last - margin)
    return inside


def stick_slip(*, force_n: np.ndarray, prominence_n: float, mean_n: float) -> StickSlip | None:
    """How far the force swings in the window; None where it does not go up and down at least twice.

    Parameters
    ----------
    force_n : (n,) float array [N]
    prominence_n : float [N]
    mean_n : float [N]
        Mean force in the window.
    """
    from scipy.signal import find_peaks

    highs, _ = find_peaks(force_n, prominence=prominence_n)
    lows, _ = find_peaks(-force_n, prominence=prominence_n)
    if highs.size < 2 or lows.size < 2 or mean_n <= 0:
        return None
    maxima, minima = float(np.mean(force_n[highs])), float(np.mean(force_n[lows]))
    return StickSlip(maxima, minima, (maxima - minima) / mean_n)
