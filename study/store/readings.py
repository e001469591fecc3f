"""Readings on file: entered by one change, superseded by another, as known at any change."""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Iterable, Mapping
from datetime import date
from typing import Any

from study.model.coupon import Coupon
from study.model.details import NO_DETAILS, Details
from study.model.reading import REPEATED, Reading
from study.store.study_file import StudyFile, among

_COLUMNS = ("code", "kind", "read_on", "typed", "unit", "lower", "upper", "pattern", "side",
            "l_star", "a_star", "b_star", "details", "entered_change")  # fmt: skip
_NUMBERED = ("removal_force", "residue_grade", "residue_second", "residue_cleaned", "hold_angle")


def save_readings(study: StudyFile, readings: Iterable[Reading], *, change: int) -> None:
    """New readings, within the caller's change. Unbounded sides are kept as NULL."""
    said: dict[int, tuple[Details, str]] = {}  # rows that were read alike share their details

    def text(details: Details) -> str:
        kept = said.get(id(details))
        if kept is None:
            kept = said[id(details)] = (details, details.text())
        return kept[1]

    days: dict[date, str] = {}

    def day(on: date) -> str:
        return days.get(on) or days.setdefault(on, on.isoformat())

    # One statement for all of them: an import may bring half a million.
    study.db.conn.executemany(
        f"INSERT INTO readings ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))})",
        (
            (
                reading.code, reading.kind, day(reading.read_on), reading.typed, reading.unit,
                _finite(reading.lower), _finite(reading.upper), reading.pattern, reading.side,
                *(reading.lab or (None, None, None)),
                text(reading.details) if reading.details is not NO_DETAILS else "{}", change,
            )
            for reading in readings
        ),
    )  # fmt: skip


def supersede_reading(study: StudyFile, number: int, *, change: int) -> None:
    """Mark one reading as superseded; it stays on file."""
    study.db.execute("UPDATE readings SET superseded_change = ? WHERE id = ?", [change, number])


def fetch_readings(study: StudyFile, code: str) -> list[tuple[Reading, dict[str, Any]]]:
    """Every reading of one coupon, superseded ones too, each with who entered and who superseded it, and why."""
    rows = study.rows(
        "SELECT r.*, e.by AS entered_by, e.at AS entered_at, "
        "s.by AS superseded_by, s.at AS superseded_at, s.why AS why "
        "FROM readings r JOIN changes e ON e.number = r.entered_change "
        "LEFT JOIN changes s ON s.number = r.superseded_change WHERE r.code = :code ORDER BY r.id",
        code=code,
    )
    trail = ("entered_by", "entered_at", "superseded_by", "superseded_at", "why")
    return [(reading_of(row), {name: row[name] for name in trail}) for row in rows]


def fetch_corrected(study: StudyFile, change: int) -> tuple[Reading, Reading]:
    """The reading that a change superseded and the one it put in its place; twice the same where it put none."""
    rows = study.rows(
        "SELECT * FROM readings WHERE superseded_change = :change OR entered_change = :change "
        "ORDER BY superseded_change IS :change DESC",
        change=change,
    )
    return reading_of(rows[0]), reading_of(rows[-1])


def fetch_in_force(study: StudyFile, code: str) -> dict[str, Reading]:
    """The readings in force of one coupon, by kind; looks in place by kind and day."""
    rows = study.rows("SELECT * FROM readings WHERE code = :code AND superseded_change IS NULL ORDER BY id", code=code)
    return {_key(row): reading_of(row) for row in rows}


def fetch_all_in_force(
    study: StudyFile, codes: Iterable[str], *, kinds: Collection[str] = ()
) -> dict[str, dict[str, Reading]]:
    """The readings in force of these coupons, of these kinds or all, by code and kind."""
    found: dict[str, dict[str, Reading]] = {}
    only, values = among(codes)
    for row in study.rows(f"SELECT * FROM readings{only} AND superseded_change IS NULL ORDER BY id", **values):
        if not kinds or row["kind"] in kinds:
            found.setdefault(row["code"], {})[_key(row)] = reading_of(row)
    return found


def _key(row: Mapping[str, Any]) -> str:
    return f"{row['kind']} {row['read_on']}" if row["kind"] in REPEATED else str(row["kind"])


def fetch_kinds_read(study: StudyFile, codes: Iterable[str] | None = None) -> dict[str, set[str]]:
    """Which kinds are in force for each coupon that has any, or for these; looks in place by kind and day."""
    found: dict[str, set[str]] = {}
    only, values = among(codes)
    in_force = "AND superseded_change IS NULL" if only else " WHERE superseded_change IS NULL"
    for row in study.rows(f"SELECT code, kind, read_on FROM readings{only} {in_force}", **values):
        found.setdefault(row["code"], set()).add(_key(row))
    return found


def fetch_entry(study: StudyFile, code: str, key: str) -> dict[str, Any] | None:
    """What is in force at one place, by whom and when: typed, unit, by, at; ``key`` as in ``fetch_kinds_read``."""
    kind, _, day = key.partition(" ")
    rows = study.rows(
        "SELECT r.typed, r.unit, c.by, c.at FROM readings r JOIN changes c ON c.number = r.entered_change "
        "WHERE r.code = :code AND r.kind = :kind AND r.superseded_change IS NULL AND :day IN ('', r.read_on)",
        code=code,
        kind=kind,
        day=day,
    )
    return rows[0] if rows else None


def fetch_forces(study: StudyFile, set_keys: Iterable[str]) -> dict[tuple[str, str], tuple[float, ...]]:
    """Exact forces above 0 in force, in normal units, by (set, test) of these sets."""
    found: dict[tuple[str, str], list[float]] = {}
    rows = study.rows(
        "SELECT c.set_key, c.test, r.lower FROM readings r JOIN coupons c ON c.code = r.code "
        "WHERE r.kind = 'removal_force' AND r.superseded_change IS NULL AND r.lower = r.upper AND r.lower > 0 "
        "AND c.set_key IN (SELECT value FROM json_each(:sets))",
        sets=json.dumps(sorted(set_keys)),
    )
    for row in rows:
        found.setdefault((row["set_key"], row["test"]), []).append(row["lower"])
    return {key: tuple(forces) for key, forces in found.items()}


def reading_of(row: Mapping[str, Any]) -> Reading:
    """A reading from its row."""
    numbered = row["kind"] in _NUMBERED
    lower, upper = row["lower"], row["upper"]
    return Reading(
        code=row["code"],
        kind=row["kind"],
        read_on=date.fromisoformat(row["read_on"]),
        typed=row["typed"],
        unit=row["unit"],
        lower=(-math.inf if lower is None else lower) if numbered else math.nan,
        upper=(math.inf if upper is None else upper) if numbered else math.nan,
        pattern=row["pattern"],
        side=row["side"],
        lab=None if row["l_star"] is None else (row["l_star"], row["a_star"], row["b_star"]),
        details=NO_DETAILS if row["details"] == "{}" else Details.model_validate_json(row["details"]),
        number=row["id"],
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def fetch_last_typed(study: StudyFile, coupon: Coupon) -> dict[str, tuple[str, str]]:
    """What was typed last and in which unit, by kind, for another coupon of the same set and test."""
    rows = study.rows(
        "SELECT r.kind, r.typed, r.unit, max(r.id) FROM readings r JOIN coupons c ON c.code = r.code "
        "WHERE c.set_key = :set_key AND c.test = :test AND c.code <> :code AND r.superseded_change IS NULL "
        "GROUP BY r.kind",
        set_key=coupon.set_key,
        test=coupon.test,
        code=coupon.code,
    )
    return {row["kind"]: (row["typed"], row["unit"]) for row in rows}
