"""Pulls on file: one in force for each coupon, superseded and never altered."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from study.model.pull import PullEvent
from study.store.study_file import StudyFile


def save_pulls(study: StudyFile, events: Iterable[PullEvent], *, change: int) -> None:
    """New pulls, within the caller's change."""
    study.db.table("pulls").insert_all(
        {
            "code": event.code,
            "kind": event.kind,
            "on_date": event.on.isoformat(),
            "last_seen_on": event.last_seen_on.isoformat() if event.last_seen_on else None,
            "note": event.note,
            "entered_change": change,
        }
        for event in events
    )


def supersede_pull(study: StudyFile, code: str, *, change: int) -> None:
    """Take the pull in force back; it stays on file."""
    study.db.execute(
        "UPDATE pulls SET superseded_change = ? WHERE code = ? AND superseded_change IS NULL", [change, code]
    )


def fetch_pulls(study: StudyFile) -> dict[str, PullEvent]:
    """The pull in force of every coupon that has one."""
    rows = study.rows("SELECT * FROM pulls WHERE superseded_change IS NULL")
    return {row["code"]: _event(row) for row in rows}


def _event(row: dict[str, Any]) -> PullEvent:
    return PullEvent(
        code=row["code"],
        kind=row["kind"],
        on=date.fromisoformat(row["on_date"]),
        last_seen_on=date.fromisoformat(row["last_seen_on"]) if row["last_seen_on"] else None,
        note=row["note"],
    )
