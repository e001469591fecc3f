"""Instruments and their calibrations: what reads, how far, and whether its certificate covers a day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

MEASURES = ("force", "colour", "gloss", "angle", "mass", "length", "climate", "light", "time", "vibration", "other")
"""What an instrument measures; "climate" is temperature and relative humidity."""
DUE_WITHIN_DAYS = 30
"""A calibration that ends within this many days is said to be due [d]."""
CALIBRATION_STATES = ("in calibration", "due", "past", "not yet", "never calibrated")
"""On a day: covered; covered but ending soon; ended; first calibrated later; no calibration in force."""


@dataclass(frozen=True)
class Instrument:
    """One gauge, colour instrument, logger or balance."""

    key: str
    name: str
    measures: str
    """One of ``MEASURES``."""
    capacity: str = ""
    """Largest value with its unit, as typed, such as "50 N"; empty where it has none."""


@dataclass(frozen=True)
class Calibration:
    """One calibration of an instrument: from the day it was made up to and with the day it is valid until."""

    instrument: str
    calibrated_on: date
    valid_until: date
    certificate: str = ""
    number: int = 0
    """Its number in the study file; 0 before it is saved."""


@dataclass(frozen=True)
class CalibrationState:
    """Where an instrument stands on a day."""

    state: str
    """One of ``CALIBRATION_STATES``."""
    governing: Calibration | None
    """The newest calibration made by that day."""

    def words(self) -> str:
        """The state in a few words."""
        if self.governing is None:
            return "before its first calibration" if self.state == "not yet" else self.state
        until = self.governing.valid_until
        return {
            "in calibration": f"in calibration until {until}",
            "due": f"due: in calibration until {until}",
            "past": f"past calibration: valid until {until}",
        }[self.state]


def calibration_state(calibrations: Iterable[Calibration], on: date) -> CalibrationState:
    """Where an instrument stands on a day, by its calibrations in force.

    The newest calibration made by that day governs, even where an older one was valid for longer: a new calibration
    says what the instrument is from then on. Both end days count as covered.
    """
    all_of_it = list(calibrations)
    if not all_of_it:
        return CalibrationState("never calibrated", None)
    made = [one for one in all_of_it if one.calibrated_on <= on]
    if not made:
        return CalibrationState("not yet", None)
    governing = max(made, key=lambda one: (one.calibrated_on, one.number))
    if governing.valid_until < on:
        return CalibrationState("past", governing)
    soon = governing.valid_until - on <= timedelta(days=DUE_WITHIN_DAYS)
    return CalibrationState("due" if soon else "in calibration", governing)


def mark_words(instrument: str, state: CalibrationState) -> str:
    """The flag that stays on a reading taken in this state; empty where the calibration covered the day."""
    if state.state in ("in calibration", "due"):
        return ""
    return f"{instrument} was {state.words()}"
