"""Duties on file: who is in charge of pulls, readings, decisions and the calendar; superseded at a hand-over."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from study.model.duty import Duty
from study.store.study_file import StudyFile


def save_duties(study: StudyFile, duties: Iterable[Duty], *, change: int) -> None:
    """Who is in charge from now on; whoever held the same duty is superseded."""
    for duty in duties:
        supersede_duty(study, duty.duty, change=change)
        row = {"duty": duty.duty, "person": duty.person, "from_on": duty.from_on.isoformat(), "note": duty.note}
        study.db.table("duties").insert({**row, "entered_change": change})


def supersede_duty(study: StudyFile, duty: str, *, change: int) -> None:
    """Nobody is in charge any more; the row stays on file."""
    study.db.execute(
        "UPDATE duties SET superseded_change = ? WHERE duty = ? AND superseded_change IS NULL", [change, duty]
    )


def fetch_duties(study: StudyFile) -> list[Duty]:
    """Duties in force, in order of their names."""
    rows = study.rows("SELECT duty, person, from_on, note FROM duties WHERE superseded_change IS NULL ORDER BY duty")
    return [Duty(row["duty"], row["person"], date.fromisoformat(row["from_on"]), row["note"]) for row in rows]
