"""Deciding: which bound of a criterion decides and how far it may reach; one rule for a study and for a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from study.analysis.calibration import LARGEST_DAY_SHARE
from study.model.estimate import DeclineFit, PullCount

AT_PLACEMENT = "unacceptable at placement"
READINGS = "readings"
SHORTER_READINGS = "readings, the shorter of two"
SHORTER_VERDICTS = "verdicts, the shorter of two"
VERDICTS = "verdicts"

NO_BOUND = "no bound"
NOTHING_SHOWN = "bound of 0"
BEFORE_FIRST = "before the first look"
TOO_FEW = "too few coupons at every pull"


@dataclass(frozen=True)
class Deciding:
    """The bound that decides, before the caps."""

    days: float | None
    by: str
    """Which bound it is: one of the first five words of this file."""

    @property
    def from_verdicts(self) -> bool:
        """Whether a bound from verdicts decides."""
        return self.days is not None and self.by in (SHORTER_VERDICTS, VERDICTS)


def deciding_bound(
    *, decline: DeclineFit | None, verdict_days: float | None, horizon_days: float, unacceptable_at_zero: bool
) -> Deciding:
    """The readings' bound where they carry one and their line fits, the shorter of both where it does not fit.

    Parameters
    ----------
    decline : DeclineFit or None
        Of the readings, on the declared scale of time.
    verdict_days : float or None [d]
        Bound from verdicts alone.
    horizon_days : float [d]
        What a decline bound not reached stands for: the furthest dwell looked at.
    unacceptable_at_zero : bool
        Whether a coupon was unacceptable on the day it was placed; nothing is shown then.

    Returns
    -------
    Deciding
        ``days`` is None where nothing can be computed, or where a line that does not fit has no second bound beside it.

    Source
    ------
    [common-practice]; never the longer of two where a line does not fit.
    """
    if unacceptable_at_zero:
        return Deciding(0.0, AT_PLACEMENT)
    if decline is None or decline.intercept is None:
        return Deciding(verdict_days, VERDICTS)
    reached = horizon_days if decline.not_reached else decline.lower_days
    if decline.adequate:
        return Deciding(reached, READINGS)
    if verdict_days is None or reached is None:
        return Deciding(None, SHORTER_VERDICTS)
    return Deciding(verdict_days, SHORTER_VERDICTS) if verdict_days < reached else Deciding(reached, SHORTER_READINGS)


def refused_because(days: float | None, *, first_days: float, cap_days: float | None) -> str | None:
    """Why a bound shows no duration, or None where it shows one.

    Parameters
    ----------
    days : float or None [d]
        The deciding bound.
    first_days : float [d]
        The first look: nothing is known before it.
    cap_days : float or None [d]
        The last dwell with enough coupons, None where there is none.
    """
    if days is None:
        return NO_BOUND
    if days <= 0:
        return NOTHING_SHOWN
    if days < first_days:
        return BEFORE_FIRST
    return TOO_FEW if cap_days is None else None


def last_with_enough(pulls: Sequence[PullCount], *, minimum: int) -> PullCount | None:
    """The last pull at which enough coupons were read; no bound reaches past it unless that is declared."""
    return next((pull for pull in reversed(pulls) if pull.read >= minimum), None)


def assumed_day_share(known: float | None, *, declared: float) -> float:
    """The share of scatter that a pull's coupons are taken to have in common, where verdicts decide.

    Parameters
    ----------
    known : float or None
        What readings on a scale leave open.
    declared : float
        Where there are none.
    """
    return min(declared if known is None else known, LARGEST_DAY_SHARE)
