"""Instruments on file: entered once, each calibration superseded when it was wrong, and the flag a reading gets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from difflib import get_close_matches
from typing import Any

from study.errors import Unknown
from study.model.instrument import Calibration, Instrument, calibration_state, mark_words
from study.store.study_file import StudyFile


def save_instrument(study: StudyFile, instrument: Instrument, *, change: int) -> None:
    """A new instrument, within the caller's change."""
    study.db.table("instruments").insert({**asdict(instrument), "entered_change": change})


def save_calibration(study: StudyFile, calibration: Calibration, *, change: int) -> int:
    """A new calibration, within the caller's change; its number."""
    row = {
        "instrument": calibration.instrument,
        "calibrated_on": calibration.calibrated_on.isoformat(),
        "valid_until": calibration.valid_until.isoformat(),
        "certificate": calibration.certificate,
        "entered_change": change,
    }
    number = study.db.table("calibrations").insert(row).last_pk
    assert isinstance(number, int)
    return number


def supersede_calibration(study: StudyFile, number: int, *, change: int) -> None:
    """Mark one calibration as superseded; it stays on file."""
    study.db.execute("UPDATE calibrations SET superseded_change = ? WHERE id = ?", [change, number])


def fetch_instruments(study: StudyFile) -> dict[str, Instrument]:
    """Every instrument by key, in order of registration."""
    rows = study.rows("SELECT key, name, measures, capacity FROM instruments ORDER BY rowid")
    return {row["key"]: Instrument(**row) for row in rows}


def fetch_calibrations(study: StudyFile, instrument: str = "") -> dict[str, list[Calibration]]:
    """Calibrations in force by instrument, oldest first; of one instrument alone where it is named."""
    found: dict[str, list[Calibration]] = {}
    for row in study.rows(
        "SELECT * FROM calibrations WHERE superseded_change IS NULL AND (:only = '' OR instrument = :only) "
        "ORDER BY calibrated_on, id",
        only=instrument,
    ):
        found.setdefault(row["instrument"], []).append(_calibration(row))
    return found


def fetch_calibration_trail(study: StudyFile, instrument: str) -> list[tuple[Calibration, dict[str, Any]]]:
    """Every calibration of an instrument, superseded ones too, each with who entered and superseded it, and why."""
    rows = study.rows(
        "SELECT c.*, e.by AS entered_by, e.at AS entered_at, s.by AS superseded_by, s.at AS superseded_at, "
        "s.why AS why FROM calibrations c JOIN changes e ON e.number = c.entered_change "
        "LEFT JOIN changes s ON s.number = c.superseded_change WHERE c.instrument = :key "
        "ORDER BY c.calibrated_on, c.id",
        key=instrument,
    )
    trail = ("entered_by", "entered_at", "superseded_by", "superseded_at", "why")
    return [(_calibration(row), {name: row[name] for name in trail}) for row in rows]


def fetch_calibration(study: StudyFile, number: int) -> Calibration | None:
    """One calibration in force by its number, or None."""
    rows = study.rows("SELECT * FROM calibrations WHERE id = :number AND superseded_change IS NULL", number=number)
    return _calibration(rows[0]) if rows else None


def fetch_readings_by(study: StudyFile, instrument: str, *, since: date, until: date) -> int:
    """How many readings in force, taken from one day to another, name this instrument."""
    rows = study.rows(
        "SELECT count(*) AS n FROM readings WHERE superseded_change IS NULL AND read_on BETWEEN :since AND :until "
        "AND details <> '{}' AND json_extract(details, '$.instrument') = :key",
        key=instrument,
        since=since.isoformat(),
        until=until.isoformat(),
    )
    return int(rows[0]["n"])


def known_instrument(study: StudyFile, typed: str) -> Instrument:
    """The instrument with this key.

    Raises
    ------
    Unknown
        If there is none; near matches are offered, never taken.
    """
    instruments = fetch_instruments(study)
    key = typed.strip()
    if key in instruments:
        return instruments[key]
    if not instruments:
        do = "None is registered yet: dwellbook register instrument."
    else:
        near = get_close_matches(key, list(instruments), n=3, cutoff=0.6)
        do = f"Did you mean {' or '.join(near)}?" if near else f"Known: {', '.join(instruments)}."
    raise Unknown(f"“{typed}” is not a registered instrument.", do)


def calibration_mark(study: StudyFile, instrument: str, read_on: date) -> str:
    """The flag that stays on a reading taken with an instrument on a day.

    Returns
    -------
    str
        Empty where a calibration covered the day; else words such as "gauge-1 was past calibration: valid until
        2026-01-31", "gauge-1 was never calibrated" or "gauge-1 was before its first calibration".

    Raises
    ------
    Unknown
        If the study has no such instrument; near matches are offered.
    """
    known = known_instrument(study, instrument)
    in_force = fetch_calibrations(study, known.key).get(known.key, [])
    return mark_words(known.key, calibration_state(in_force, read_on))


def _calibration(row: Mapping[str, Any]) -> Calibration:
    return Calibration(
        instrument=row["instrument"],
        calibrated_on=date.fromisoformat(row["calibrated_on"]),
        valid_until=date.fromisoformat(row["valid_until"]),
        certificate=row["certificate"],
        number=row["id"],
    )
