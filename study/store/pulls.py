"""Pulls on file: one in force for each coupon, superseded and never altered."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from functools import lru_cache
from typing import Any

from study.model.pull import PullEvent
from study.store.study_file import StudyFile, among

_day = lru_cache(maxsize=4096)(date.fromisoformat)


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


def fetch_pulls(study: StudyFile, codes: Iterable[str] | None = None) -> dict[str, PullEvent]:
    """The pull in force of every coupon that has one, or of those of these codes."""
    only, values = among(codes)
    in_force = "AND superseded_change IS NULL" if only else " WHERE superseded_change IS NULL"
    rows = study.rows(f"SELECT * FROM pulls{only} {in_force}", **values)
    return {row["code"]: _event(row) for row in rows}


def fetch_pull_trail(study: StudyFile, *, newest: int = 10_000) -> list[tuple[PullEvent, dict[str, Any]]]:
    """Pulls in force, newest entry first, each with who entered it and when."""
    rows = study.rows(
        "SELECT p.*, c.by, c.at FROM pulls p JOIN changes c ON c.number = p.entered_change "
        "WHERE p.superseded_change IS NULL ORDER BY p.id DESC LIMIT :newest",
        newest=newest,
    )
    return [(_event(row), {"by": row["by"], "at": row["at"]}) for row in rows]


def _event(row: dict[str, Any]) -> PullEvent:
    return PullEvent(
        code=row["code"],
        kind=row["kind"],
        on=_day(row["on_date"]),
        last_seen_on=_day(row["last_seen_on"]) if row["last_seen_on"] else None,
        note=row["note"],
    )
