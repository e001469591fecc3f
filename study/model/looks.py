"""Looks: rows of a table somebody already has, and what they say, in the table's own unit of time."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

import numpy as np

from study.model.estimate import DeclineFit, LifetimeFit, PassFailBound, PullCount, ShareCurve


@dataclass(frozen=True)
class LookRule:
    """What is permitted, how sure one wants to be, and what is assumed; as given with the table."""

    permitted: float = 0.10
    confidence: float = 0.95
    shape_from: float = 1.0
    shape_to: float = 12.0
    day_share: float | None = None
    """None: from the readings where there are any, else a third."""
    seed: int = 1
    limit: float | None = None
    unacceptable: str = "above"
    value_scale: str = "log"
    judged_by: str = ""
    """Name of the column that decides what is unacceptable."""
    harmed_by: str = ""
    """Name of the column that tells of harm."""


@dataclass(frozen=True)
class LookRows:
    """Rows of one group as columns of equal length.

    For one look a row: ``dwell``, and ``unacceptable`` 1, 0 or -1 (the cell does not decide it), with the value's
    bounds where there is one. For intervals: ``after`` and ``by`` (infinite: never seen unacceptable).
    """

    group: str
    count: np.ndarray
    """(n,) whole coupons a row stands for."""
    harm: np.ndarray
    """(n,) whether the row is a harm, which stops."""
    after: np.ndarray
    """(n,) float; last time seen acceptable."""
    by: np.ndarray
    """(n,) float; first time seen unacceptable."""
    dwell: np.ndarray | None = None
    unacceptable: np.ndarray | None = None
    lower: np.ndarray | None = None
    upper: np.ndarray | None = None
    not_measured: int = 0
    """Coupons whose cell was blank."""


@dataclass(frozen=True)
class LookDuration:
    """The maximum duration one group supports, in the table's unit."""

    outcome: str
    dwell: float | None
    limiting: str
    why: str


@dataclass(frozen=True)
class LookEstimate:
    """What one group of rows says."""

    group: str
    n: int
    """Coupons that tell something after dwell 0."""
    unacceptable: int
    dropped: int
    dropped_why: str
    curve: ShareCurve | None
    pulls: tuple[PullCount, ...]
    lifetimes: tuple[LifetimeFit, ...]
    bound: PassFailBound
    declines: tuple[DeclineFit, ...]
    decline_used: str
    """Time scale of the decline that decides, or empty."""
    duration: LookDuration


def time_down(time: float) -> str:
    """A time as people read it, never longer than it is: four digits, whole above a thousand."""
    exact = Decimal(repr(time))
    place = min(0, exact.adjusted() - 3)
    return f"{exact.quantize(Decimal(1).scaleb(place), rounding=ROUND_FLOOR).normalize() + 0:f}"
