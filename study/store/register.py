"""The register on file: adhesives, lots, substrates, environments, pairings and notes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date
from typing import Any

from study.model.coupon import CouponSet
from study.model.pairing import Adhesive, Environment, Lot, Pairing, Substrate
from study.store.amendments import fetch_amended
from study.store.known import ALL_CHANGES
from study.store.placings import fetch_placed
from study.store.study_file import StudyFile

Noun = Adhesive | Lot | Substrate | Environment
TABLES: dict[type, str] = {
    Adhesive: "adhesives",
    Lot: "lots",
    Substrate: "substrates",
    Environment: "environments",
}


def save_nouns(study: StudyFile, nouns: Iterable[Noun], *, change: int) -> None:
    """New rows of the register, within the caller's change."""
    for noun in nouns:
        row = {name: _cell(value) for name, value in asdict(noun).items()}
        if isinstance(noun, Adhesive):
            row["successor_of"] = noun.successor_of or None  # a foreign key is absent, not empty
        study.db.table(TABLES[type(noun)]).insert({**row, "entered_change": change})


def save_adhesive_status(study: StudyFile, key: str, *, status: str, on: date) -> None:
    """An adhesive's new status; the change log holds what it was before."""
    study.db.table("adhesives").update(key, {"status": status, "status_on": on.isoformat()})


def fetch_adhesives(study: StudyFile) -> dict[str, Adhesive]:
    """Every adhesive by key, in order of registration."""
    return {row["key"]: _adhesive(row) for row in study.rows("SELECT * FROM adhesives ORDER BY rowid")}


def fetch_lots(study: StudyFile) -> dict[str, Lot]:
    """Every lot by key."""
    return {
        row["key"]: Lot(
            key=row["key"], adhesive=row["adhesive"], supplied_on=_day(row["supplied_on"]),
            mix_parts_by_mass=row["mix_parts_by_mass"], cure_hours=row["cure_hours"],
        )
        for row in study.rows("SELECT * FROM lots ORDER BY rowid")
    }  # fmt: skip


def fetch_substrates(study: StudyFile) -> dict[str, Substrate]:
    """Every substrate by key."""
    return {
        row["key"]: Substrate(
            key=row["key"], name=row["name"], finish=row["finish"], preparation=row["preparation"],
            stands_for=row["stands_for"], friable=bool(row["friable"]),
        )
        for row in study.rows("SELECT * FROM substrates ORDER BY rowid")
    }  # fmt: skip


def fetch_environments(study: StudyFile) -> dict[str, Environment]:
    """Every environment by key."""
    fields = ("key", "name", "temperature_c", "humidity_percent", "light")
    rows = study.rows("SELECT * FROM environments ORDER BY rowid")
    return {row["key"]: Environment(**{field: row[field] for field in fields}) for row in rows}


def fetch_pairings(study: StudyFile) -> dict[str, Pairing]:
    """Every pairing by key, in order of registration."""
    adhesives, substrates, environments = fetch_adhesives(study), fetch_substrates(study), fetch_environments(study)
    return {
        row["key"]: Pairing(
            key=row["key"], adhesive=adhesives[row["adhesive"]], substrate=substrates[row["substrate"]],
            environment=environments[row["environment"]], dot_diameter_mm=row["dot_diameter_mm"],
            dots=row["dots"], dwell_load_n=row["dwell_load_n"],
        )
        for row in study.rows("SELECT * FROM pairings ORDER BY key")
    }  # fmt: skip


def pairing_key(study: StudyFile, parts: Mapping[str, Any], *, change: int) -> str:
    """Key of the pairing with exactly these parts, registered now if it is new."""
    condition = " AND ".join(f"{name} = :{name}" for name in parts)
    found = study.rows(f"SELECT key FROM pairings WHERE {condition}", **parts)
    if found:
        return str(found[0]["key"])
    key = f"P{study.db.table('pairings').count + 1:02d}"
    study.db.table("pairings").insert({"key": key, **parts, "entered_change": change})
    return key


def save_sets(study: StudyFile, sets: Iterable[CouponSet], *, change: int) -> None:
    """New coupon sets, within the caller's change."""
    for noun in sets:
        row = {name: _cell(value) for name, value in asdict(noun).items()}
        row |= {"pairing": noun.pairing or None, "lot": noun.lot or None, "entered_change": change}
        study.db.table("coupon_sets").insert(row)


def fetch_sets(study: StudyFile, *, change: int = ALL_CHANGES, as_registered: bool = False) -> dict[str, CouponSet]:
    """Every coupon set by key, placed when it is known to have been at a change.

    With its protocol's version in force then, or as it was registered.
    """
    amended = {} if as_registered else fetch_amended(study, change=change)
    placed = fetch_placed(study, change=change)
    return {
        row["key"]: CouponSet(
            key=row["key"], pairing=row["pairing"] or "", lot=row["lot"] or "", substrate=row["substrate"],
            environment=row["environment"],
            protocol_digest=amended.get((row["pairing"] or row["key"], row["protocol_digest"]), row["protocol_digest"]),
            placed_on=placed.get(row["key"]) or date.fromisoformat(row["placed_on"]), role=row["role"],
        )
        for row in study.rows("SELECT * FROM coupon_sets ORDER BY rowid")
    }  # fmt: skip


def save_pooling(study: StudyFile, pairing: str, *, change: int) -> None:
    """The recorded act that lots of a pairing count as one body of evidence."""
    study.db.table("lot_poolings").insert({"pairing": pairing, "entered_change": change})


def fetch_poolings(study: StudyFile, *, change: int = ALL_CHANGES) -> set[str]:
    """Pairings whose lots are pooled, as known at a change."""
    rows = study.rows("SELECT pairing FROM lot_poolings WHERE entered_change <= :change", change=change)
    return {row["pairing"] for row in rows}


def save_note(study: StudyFile, *, on: date, about: str, subject: str, text: str, change: int) -> None:
    """A dated note on a lot, environment, set, coupon or adhesive."""
    study.db.table("notes").insert(
        {"on_date": on.isoformat(), "about": about, "subject": subject, "text": text, "entered_change": change}
    )


def fetch_notes(study: StudyFile) -> list[dict[str, Any]]:
    """Every note, oldest first."""
    return study.rows("SELECT on_date, about, subject, text FROM notes ORDER BY on_date, id")


def _adhesive(row: Mapping[str, Any]) -> Adhesive:
    return Adhesive(
        key=row["key"], name=row["name"], composition_class=row["composition_class"],
        formulation_version=row["formulation_version"], status=row["status"], status_on=_day(row["status_on"]),
        successor_of=row["successor_of"] or "",
    )  # fmt: skip


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return int(value)
    return value.isoformat() if isinstance(value, date) else value
