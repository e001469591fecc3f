"""Register instruments: gauges and loggers, their calibrations, and where each stands on a day."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass
from datetime import date
from difflib import get_close_matches
from typing import Any

from study.errors import FileRefused, NotPossible, Problem, Unknown
from study.intake.cells import CellFault, parse_day, parse_force
from study.model.instrument import MEASURES, Calibration, CalibrationState, Instrument, calibration_state
from study.model.person import Signature
from study.store import instruments as on_file
from study.store.study_file import StudyFile

INSTRUMENT_COLUMNS = ("instrument", "name", "measures", "capacity")
CALIBRATION_COLUMNS = ("instrument", "calibrated_on", "valid_until", "certificate")
_PLACE = "command"


@dataclass(frozen=True)
class Stand:
    """An instrument, where it stands on a day, and all its calibrations with who entered or superseded them."""

    instrument: Instrument
    state: CalibrationState
    trail: tuple[tuple[Calibration, dict[str, Any]], ...]


@dataclass(frozen=True)
class Superseded:
    """A calibration that was wrong, what stands in its place, and the readings it had spoken for."""

    old: Calibration
    new: Calibration | None
    readings: int
    """Readings in force that name the instrument within the old calibration's days; their flags stay as entered."""


def register_instrument(study: StudyFile, cells: Mapping[str, str], *, signature: Signature) -> Instrument:
    """One instrument from typed cells: instrument (its key), name, measures, and capacity with its unit.

    Raises
    ------
    FileRefused
        With every problem, each with its column.
    """
    typed, problems = _typed(cells, INSTRUMENT_COLUMNS, needed=("instrument", "name", "measures"))
    measures = typed["measures"].lower()
    if measures and measures not in MEASURES:
        near = get_close_matches(measures, MEASURES, n=1, cutoff=0.5)
        do = f"Did you mean {near[0]}?" if near else f"Write one of {', '.join(MEASURES)}."
        problems.append(Problem(0, "measures", typed["measures"], "is not something an instrument measures here.", do))
    problems += _capacity_problems(typed["capacity"], measures)
    with study.writing():
        if typed["instrument"] in on_file.fetch_instruments(study):
            what, do = "is registered already.", "Give the new one another key."
            problems.append(Problem(0, "instrument", typed["instrument"], what, do))
        if problems:
            raise FileRefused(_PLACE, problems)
        new = Instrument(typed["instrument"], typed["name"], measures, typed["capacity"])
        with study.change(signature, act="register instrument", subject=new.key, after=asdict(new)) as change:
            on_file.save_instrument(study, new, change=change)
    return new


def record_calibration(study: StudyFile, cells: Mapping[str, str], *, signature: Signature) -> Calibration:
    """One calibration from typed cells: instrument, calibrated_on, valid_until, certificate.

    Raises
    ------
    FileRefused
        With every problem, each with its column.
    Unknown
        If there is no such instrument; near matches are offered.
    """
    with study.writing():
        new = _calibration(study, cells, today=signature.at.date())
        after = _said(new)
        with study.change(signature, act="record calibration", subject=new.instrument, after=after) as change:
            number = on_file.save_calibration(study, new, change=change)
    return Calibration(new.instrument, new.calibrated_on, new.valid_until, new.certificate, number)


def supersede_calibration(
    study: StudyFile, number: int, cells: Mapping[str, str], *, signature: Signature
) -> Superseded:
    """Supersede a wrong calibration, with a reason; cells left out stay as they were, none at all only takes it back.

    Raises
    ------
    Unknown
        If no calibration in force has this number.
    NotPossible
        Without a reason, or for another instrument.
    """
    with study.writing():
        old = on_file.fetch_calibration(study, number)
        if old is None:
            raise Unknown(
                f"There is no calibration {number} in force.", "Look at its number with: dwellbook register instruments"
            )
        signature.need_reason("Superseding a calibration")
        given = {name: text for name, text in cells.items() if text.strip()}
        new = None
        if given:
            if given.get("instrument", old.instrument).strip() != old.instrument:
                what = f"Calibration {number} is of {old.instrument}, not of {given['instrument']}."
                raise NotPossible(what, "Take it back without new values, then record the other.")
            new = _calibration(study, _said(old) | given, today=signature.at.date())
        after = _said(new) if new else None
        with study.change(
            signature, act="supersede calibration", subject=old.instrument, before=_said(old), after=after
        ) as change:
            on_file.supersede_calibration(study, number, change=change)
            if new:
                saved = on_file.save_calibration(study, new, change=change)
                new = Calibration(new.instrument, new.calibrated_on, new.valid_until, new.certificate, saved)
    readings = on_file.fetch_readings_by(study, old.instrument, since=old.calibrated_on, until=old.valid_until)
    return Superseded(old, new, readings)


def list_instruments(study: StudyFile, *, on: date) -> list[Stand]:
    """Every instrument with where it stands on a day: what is past first, then due, then the others."""
    with study.snapshot():
        stands = []
        for key, instrument in on_file.fetch_instruments(study).items():
            trail = tuple(on_file.fetch_calibration_trail(study, key))
            in_force = [calibration for calibration, who in trail if who["superseded_by"] is None]
            stands.append(Stand(instrument, calibration_state(in_force, on), trail))
    urgency = ("past", "never calibrated", "not yet", "due", "in calibration")
    return sorted(stands, key=lambda stand: urgency.index(stand.state.state))


def _calibration(study: StudyFile, cells: Mapping[str, str], *, today: date) -> Calibration:
    typed, problems = _typed(cells, CALIBRATION_COLUMNS, needed=("instrument", "calibrated_on", "valid_until"))
    days: dict[str, date] = {}
    for column in ("calibrated_on", "valid_until"):
        try:
            if typed[column]:
                days[column] = parse_day(typed[column])
        except CellFault as fault:
            problems.append(Problem(0, column, typed[column], fault.what, fault.do))
    made, until = days.get("calibrated_on"), days.get("valid_until")
    if made and made > today:
        problems.append(Problem(0, "calibrated_on", str(made), f"lies after {today}.", "Record it once it is done."))
    if made and until and until < made:
        what = f"lies before the calibration of {made}."
        problems.append(Problem(0, "valid_until", str(until), what, "Read both days again from the certificate."))
    if problems:
        raise FileRefused(_PLACE, problems)
    known = on_file.known_instrument(study, typed["instrument"])
    assert made is not None
    assert until is not None
    new = Calibration(known.key, made, until, typed["certificate"])
    for other in on_file.fetch_calibrations(study, known.key).get(known.key, []):
        same = (other.calibrated_on, other.valid_until, other.certificate)
        if same == (new.calibrated_on, new.valid_until, new.certificate):
            raise NotPossible(
                f"This calibration of {known.key} is on file already, as number {other.number}.", "Nothing is left."
            )
    return new


def _typed(
    cells: Mapping[str, str], columns: Collection[str], *, needed: Collection[str]
) -> tuple[dict[str, str], list[Problem]]:
    problems = []
    for name, text in cells.items():
        if name not in columns:
            near = get_close_matches(name, columns, n=1, cutoff=0.6)
            do = f"Did you mean {near[0]}?" if near else f"Known columns: {', '.join(columns)}."
            problems.append(Problem(0, name, text, "column is not known.", do))
    typed = {name: " ".join(cells.get(name, "").split()) for name in columns}
    problems += [Problem(0, name, "", "is blank.", "Fill it in.") for name in needed if not typed[name]]
    problems += [
        Problem(0, name, text[:40], "is longer than 300 characters.", "Say it shorter.")
        for name, text in typed.items()
        if len(text) > 300
    ]
    return typed, problems


def _capacity_problems(capacity: str, measures: str) -> list[Problem]:
    if not capacity:
        return []
    if measures != "force":
        number, _, unit = capacity.partition(" ")
        if not any(mark.isdigit() for mark in number) or not unit.strip():
            do = "Write the largest value and its unit with a space between, such as 3 kg."
            return [Problem(0, "capacity", capacity, "is not a value with its unit.", do)]
        return []
    for per in ("dot", "width"):
        try:
            parse_force(capacity, unit="", force_per=per)
            return []
        except CellFault as fault:
            if per == "width":
                return [Problem(0, "capacity", capacity, fault.what, "Write the largest force and its unit: 50 N.")]
    return []


def _said(calibration: Calibration) -> dict[str, str]:
    return {
        "instrument": calibration.instrument,
        "calibrated_on": calibration.calibrated_on.isoformat(),
        "valid_until": calibration.valid_until.isoformat(),
        "certificate": calibration.certificate,
    }
