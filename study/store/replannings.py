"""Coupons replanned: a spare or a later coupon given the test and pull of one that is missing."""

from __future__ import annotations

import json
from dataclasses import dataclass

from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Replanning:
    """One coupon destined to another's test and pull."""

    code: str
    missing: str
    """The coupon whose place it takes."""
    test: str
    pull_label: str
    by: str
    at: str
    why: str


def save_replanning(study: StudyFile, code: str, *, test: str, pull_label: str, change: int) -> None:
    """A coupon's new destination; an earlier one is superseded."""
    supersede_replanning(study, code, change=change)
    row = {"code": code, "pull_label": pull_label, "test": test, "entered_change": change}
    study.db.table("replannings").insert(row)


def supersede_replanning(study: StudyFile, code: str, *, change: int) -> None:
    """A coupon goes back to what it was made for; the replanning stays on file."""
    study.db.execute(
        "UPDATE replannings SET superseded_change = ? WHERE code = ? AND superseded_change IS NULL", [change, code]
    )


def fetch_replannings(study: StudyFile) -> dict[str, Replanning]:
    """Replannings in force by the coupon that was chosen."""
    rows = study.rows(
        "SELECT n.code, n.pull_label, n.test, c.by, c.at, c.why, c.after FROM replannings n "
        "JOIN changes c ON c.number = n.entered_change WHERE n.superseded_change IS NULL ORDER BY n.id"
    )
    return {
        row["code"]: Replanning(
            row["code"], json.loads(row["after"] or "{}").get("missing", ""), row["test"], row["pull_label"],
            row["by"], row["at"], row["why"],
        )
        for row in rows
    }  # fmt: skip
