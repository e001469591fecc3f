"""Decisions on file, each with the evidence it saw."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import datetime

from study.model.decision import Decision
from study.store.study_file import StudyFile

_COLUMNS = (
    "number", "pairing", "outcome", "days", "bound_days", "limiting", "reason", "interim", "protocol_digest", "rule",
    "evidence_digest", "change_seen", "seed", "versions", "evidence",
)  # fmt: skip


def save_decision(study: StudyFile, decision: Decision, *, change: int) -> Decision:
    """A new decision in force; the one before it for the same pairing is superseded by the same change."""
    study.db.execute(
        "UPDATE decisions SET superseded_change = ? WHERE pairing = ? AND superseded_change IS NULL",
        [change, decision.pairing],
    )
    row = {name: value for name, value in asdict(decision).items() if name in _COLUMNS and name != "number"}
    row |= {"interim": int(decision.interim), "entered_change": change}
    number = study.db.table("decisions").insert(row).last_pk
    assert isinstance(number, int)
    return replace(decision, number=number)


def supersede_decision(study: StudyFile, number: int, *, change: int) -> None:
    """A decision no longer in force, with none in its place; it stays on file."""
    study.db.execute("UPDATE decisions SET superseded_change = ? WHERE number = ?", [change, number])


def fetch_decisions(study: StudyFile) -> dict[str, Decision]:
    """The decision in force of every pairing that has one."""
    rows = study.rows(
        "SELECT d.*, g.by, g.at FROM decisions d JOIN changes g ON g.number = d.entered_change "
        "WHERE d.superseded_change IS NULL ORDER BY d.pairing"
    )
    return {
        row["pairing"]: Decision(
            **{name: row[name] for name in _COLUMNS if name != "interim"},
            interim=bool(row["interim"]),
            issued_by=row["by"],
            issued_at=datetime.fromisoformat(row["at"]),
        )
        for row in rows
    }
