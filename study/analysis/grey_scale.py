"""Grey-scale grade: how a change of colour would rank against the grey pairs of the textile trade, by instrument."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

GRADES: tuple[tuple[float, str], ...] = (
    (0.40, "5"), (1.25, "4-5"), (2.10, "4"), (2.95, "3-4"), (4.10, "3"), (5.80, "2-3"), (8.20, "2"), (11.60, "1-2"),
    (math.inf, "1"),
)  # fmt: skip
"""ΔE_F below which each grade is given [iso-105-a05, clause 8]."""
GREY_PAIRS: tuple[tuple[str, float, float], ...] = (
    ("5", 0.0, 0.0), ("4-5", 0.8, 0.2), ("4", 1.7, 0.3), ("3-4", 2.5, 0.35), ("3", 3.4, 0.4), ("2-3", 4.8, 0.5),
    ("2", 6.8, 0.6), ("1-2", 9.6, 0.7), ("1", 13.6, 1.0),
)  # fmt: skip
"""The scale looked at by eye: grade, ΔE*ab of its grey pair, and what a made scale may be off [iso-105-a02]."""
_HUE_ROUNDING = 10
"""Decimals of a degree to which hue differences are rounded before they are compared with 180°."""


class GreyScale(NamedTuple):
    """A change of colour on the grey scale; 5 is none, 1 is the largest."""

    difference: float
    """ΔE_F, the colour difference of this scale."""
    decimal: float
    """Grade by formula (GSc), 1.0 to 5.0: for trends and for comparing two changes."""
    grade: str
    """Grade by table, "5", "4-5", … "1": the one that is reported."""


def grey_scale_grade(*, before: Sequence[float] | np.ndarray, after: Sequence[float] | np.ndarray) -> GreyScale:
    """The grey-scale grade of a change of colour, by instrument.

    The **table** of ΔE_F gives the grade that is reported; the **formula** gives a decimal for trends and comparisons.
    They do not agree everywhere: the formula's own half-way points are 0.425, 1.275, 2.125, 2.975, 4.043, 5.718, 8.087
    and 11.436, the table's limits 0.40, 1.25, 2.10, 2.95, 4.10, 5.80, 8.20 and 11.60. The decimal is therefore never
    rounded into a grade.

    Parameters
    ----------
    before, after : (3,) float
        L*, a*, b* of one spot, the reference first: the scale is not the same in both directions. L* 0 to 100, a* and
        b* about -100 to 100.

    Returns
    -------
    GreyScale
        ΔE_F, decimal grade and grade by table. Grade 4 is a change that is just noticeable side by side.

    Raises
    ------
    ValueError
        If a colour is not three finite numbers.

    Notes
    -----
    A grey without chroma has no hue; the mean hue is then the other colour's, as in ΔE*00. This moves a grade only
    between strong blues and grey. Hue differences are rounded to 1e-10 degrees before the 180° rule.

    Source
    ------
    [iso-105-a05], clauses 7.2 and 8, as reported by two independent public implementations.
    """
    first, second = np.asarray(before, float), np.asarray(after, float)
    if first.shape != (3,) or second.shape != (3,) or not (np.isfinite(first).all() and np.isfinite(second).all()):
        raise ValueError("a colour is three finite numbers: L*, a*, b*")
    difference = round(_difference(first, second), 10)  # 50.4 less 50 is 0.4, and on a limit, not a hair below it
    return GreyScale(difference, _decimal(difference), next(grade for limit, grade in GRADES if difference < limit))


def _difference(first: np.ndarray, second: np.ndarray) -> float:
    (l1, a1, b1), (l2, a2, b2) = first.tolist(), second.tolist()
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    # The angle from first to second carries the sign of a1 b2 - a2 b1; adding 0 takes the sign off a zero.
    turn = math.atan2(a1 * b2 - a2 * b1 + 0.0, a1 * a2 + b1 * b2) if c1 and c2 else 0.0
    chroma, hue = c2 - c1, 2 * math.sqrt(c1 * c2) * math.sin(turn / 2)
    mean_chroma, mean_hue = (c1 + c2) / 2, _mean_hue((a1, b1, c1), (a2, b2, c2))
    off_blue = abs(mean_hue - 280)
    x = (min(off_blue, 360 - off_blue) / 30) ** 2
    d = chroma * mean_chroma * math.exp(-x) / 100
    chroma_f = (chroma - d) / (1 + (20 * mean_chroma / 1000) ** 2)
    hue_f = (hue - d) / (1 + (10 * mean_chroma / 1000) ** 2)
    return math.sqrt((l2 - l1) ** 2 + chroma_f**2 + hue_f**2)


def _mean_hue(first: tuple[float, float, float], second: tuple[float, float, float]) -> float:
    """Mean hue angle [°] on the shorter way round; of a grey and a colour, the colour's."""
    hues = [math.degrees(math.atan2(b, a)) % 360 for a, b, chroma in (first, second) if chroma]
    if len(hues) < 2:
        return hues[0] if hues else 0.0
    total = sum(hues)
    if round(abs(hues[0] - hues[1]), _HUE_ROUNDING) <= 180:
        return total / 2
    return total / 2 + 180 if total < 360 else total / 2 - 180


def _decimal(difference: float) -> float:
    graded = 5 - difference / 1.7 if difference <= 3.4 else 5 - math.log2(difference / 0.85)
    return min(5.0, max(1.0, graded))
