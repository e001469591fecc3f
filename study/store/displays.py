"""Displays on file: objects on show, what was found at removal, rechecks, and what has been acknowledged."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date
from typing import Any

from study.model.display import Display, Removal
from study.store.study_file import StudyFile

_FIELDS = (
    "number", "object_number", "location", "lot", "object_pairing", "support_pairing", "environment", "dots",
    "dot_diameter_mm", "load_n", "placed_by", "follows",
)  # fmt: skip


def save_displays(study: StudyFile, displays: Iterable[Display], *, change: int) -> list[int]:
    """New displays, within the caller's change; their numbers."""
    numbers = []
    for display in displays:
        row = {**asdict(display), "placed_on": display.placed_on.isoformat(), "entered_change": change}
        row.pop("number")
        number = study.db.table("displays").insert(row).last_pk
        assert isinstance(number, int)
        numbers.append(number)
    return numbers


def supersede_display(study: StudyFile, number: int, *, change: int) -> None:
    """Take back an entry that was a mistake; it stays on file."""
    study.db.execute("UPDATE displays SET superseded_change = ? WHERE number = ?", [change, number])


def fetch_displays(study: StudyFile) -> list[Display]:
    """Every display entered and not taken back, oldest first."""
    rows = study.rows("SELECT * FROM displays WHERE superseded_change IS NULL ORDER BY number")
    return [
        Display(placed_on=date.fromisoformat(row["placed_on"]), **{name: row[name] for name in _FIELDS}) for row in rows
    ]


def save_removal(study: StudyFile, removal: Removal, *, change: int) -> None:
    """What was found when an object came off."""
    row = {**asdict(removal), "removed_on": removal.removed_on.isoformat(), "harm": int(removal.harm)}
    study.db.table("removals").insert({**row, "entered_change": change})


def fetch_removals(study: StudyFile) -> dict[int, Removal]:
    """The removal in force of every display that has one."""
    names = ("display", "removed_by", "residue_grade", "pattern", "side", "force", "tool", "note")
    rows = study.rows("SELECT * FROM removals WHERE superseded_change IS NULL")
    return {
        row["display"]: Removal(
            removed_on=date.fromisoformat(row["removed_on"]),
            harm=bool(row["harm"]),
            **{name: row[name] for name in names},
        )
        for row in rows
    }


def save_acknowledged(study: StudyFile, bases: Iterable[tuple[int, str]], *, change: int) -> None:
    """What somebody has seen of each display: its remove-by date, or why there is none."""
    study.db.table("acknowledgements").insert_all(
        {"display": number, "basis": basis, "entered_change": change} for number, basis in bases
    )


def fetch_acknowledged(study: StudyFile) -> dict[int, str]:
    """What was last acknowledged of each display."""
    rows = study.rows("SELECT display, basis, max(id) FROM acknowledgements GROUP BY display")
    return {row["display"]: row["basis"] for row in rows}


def save_rechecks(study: StudyFile, rows: Iterable[dict[str, Any]], *, change: int) -> None:
    """What was found at each display when it was looked at after a tremor, a move or a cleaning."""
    study.db.table("rechecks").insert_all({**row, "entered_change": change} for row in rows)


def fetch_rechecks(study: StudyFile) -> list[dict[str, Any]]:
    """Every recheck, newest first."""
    return study.rows(
        "SELECT r.display, r.on_date, r.after, r.found, r.note, c.by FROM rechecks r "
        "JOIN changes c ON c.number = r.entered_change ORDER BY r.on_date DESC, r.id DESC"
    )
