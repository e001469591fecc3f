"""Climate records on file: the logger's bytes under their hash, each day in numbers, superseded and never altered."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from study.model.climate_days import ClimateDays, FiledClimate
from study.store.attachments import fetch_content, save_sheet
from study.store.study_file import StudyFile

_TRAIL = (
    "SELECT r.*, e.by AS by, e.at AS at, s.by AS superseded_by, s.at AS superseded_at, s.why AS why "
    "FROM climate_records r JOIN changes e ON e.number = r.entered_change "
    "LEFT JOIN changes s ON s.number = r.superseded_change "
)


def save_climate(study: StudyFile, record: FiledClimate, content: bytes, *, change: int) -> int:
    """A logger's bytes and its record, within the caller's change; its number."""
    save_sheet(study, content, change=change)
    summary = {
        "notes": record.notes,
        "doubts": record.doubts,
        "asked": record.asked,
        "instrument": record.instrument,
        **record.days.to_json(),
    }
    row = {
        "environment": record.environment, "sha256": record.sha256, "name": record.name, "zone": record.zone,
        "from_at": record.from_at, "to_at": record.to_at,
        "summary": json.dumps(summary, ensure_ascii=False, separators=(",", ":")), "entered_change": change,
    }  # fmt: skip
    number = study.db.table("climate_records").insert(row).last_pk
    assert isinstance(number, int)
    return number


def supersede_climate(study: StudyFile, number: int, *, change: int) -> None:
    """Mark one record as superseded; it and its bytes stay on file."""
    study.db.execute("UPDATE climate_records SET superseded_change = ? WHERE id = ?", [change, number])


def fetch_climates(study: StudyFile, environment: str = "", *, superseded: bool = False) -> list[FiledClimate]:
    """Records in force, of one environment or all, in order of their first reading; superseded ones too if asked."""
    rows = study.rows(
        _TRAIL + "WHERE (:environment = '' OR r.environment = :environment) "
        "AND (:all OR r.superseded_change IS NULL) ORDER BY r.environment, r.from_at, r.id",
        environment=environment,
        all=superseded,
    )
    return [_record(row) for row in rows]


def fetch_climate(study: StudyFile, number: int) -> FiledClimate | None:
    """One record by its number, superseded or not, or None."""
    rows = study.rows(_TRAIL + "WHERE r.id = :number", number=number)
    return _record(rows[0]) if rows else None


def fetch_logger_file(study: StudyFile, record: FiledClimate) -> bytes:
    """The bytes of a record's file."""
    found = fetch_content(study, record.sha256)
    return found[0] if found else b""


def _record(row: Mapping[str, Any]) -> FiledClimate:
    kept = json.loads(row["summary"])
    return FiledClimate(
        number=row["id"], environment=row["environment"], sha256=row["sha256"], name=row["name"], zone=row["zone"],
        from_at=row["from_at"], to_at=row["to_at"], notes=tuple(kept["notes"]), doubts=tuple(kept["doubts"]),
        asked=kept["asked"], days=ClimateDays.from_json(kept), instrument=kept["instrument"], by=row["by"],
        at=row["at"], superseded_by=row["superseded_by"], superseded_at=row["superseded_at"], why=row["why"],
    )  # fmt: skip
