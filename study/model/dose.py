"""Readings against what coupons lived through instead of days: a picture, which never decides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Against = Literal["dose", "heat"]
AGAINST: dict[Against, tuple[str, str]] = {"dose": ("light dose", "Mlx h"), "heat": ("heat", "days at 20 °C")}
"""What the horizontal axis is called, and its unit."""


@dataclass(frozen=True)
class DosePoint:
    """One coupon's reading at what it had lived through when it left its placement."""

    code: str
    pull: str
    dwell_days: float
    dose: float
    """In the unit of the picture; of what was logged."""
    covered: float
    """Share of its dwell that was logged; 0 to 1."""
    whole: bool
    """Covered well enough to stand in the line; else the dose is "at least"."""
    lower: float
    upper: float
    """Bounds of the reading, equal for an exact value."""
    unacceptable: bool | None


@dataclass(frozen=True)
class DosePicture:
    """The readings of one criterion against dose or heat, with the line and bound of the decline where they exist."""

    criterion: str
    title: str
    unit: str
    against: Against
    limit: float | None
    points: tuple[DosePoint, ...]
    left_out: int
    """Coupons of whose dwell nothing was logged."""
    value_scale: str
    n: int = 0
    """Readings in the line."""
    draw_dose: tuple[float, ...] = ()
    draw_mean: tuple[float, ...] = ()
    draw_bound: tuple[float, ...] = ()
    why: str = ""
    """Why there is no line; empty where there is one."""
