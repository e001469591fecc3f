"""Days of placing that were corrected: what was registered stays on file, the newest correction is in force."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date

from study.store.known import ALL_CHANGES, as_known
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class CorrectedPlacing:
    """One correction of the day a set was placed."""

    set_key: str
    pairing: str
    """Empty for a blank."""
    before: date
    after: date
    readings_seen: int
    """Readings of the set that had been entered by then."""
    by: str
    at: str
    why: str


def save_placing(study: StudyFile, set_key: str, placed_on: date, *, change: int) -> None:
    """The day a set was really placed; an earlier correction is superseded."""
    study.db.execute(
        "UPDATE placings SET superseded_change = ? WHERE set_key = ? AND superseded_change IS NULL", [change, set_key]
    )
    row = {"set_key": set_key, "placed_on": placed_on.isoformat(), "entered_change": change}
    study.db.table("placings").insert(row)


def fetch_placed(study: StudyFile, *, change: int = ALL_CHANGES) -> dict[str, date]:
    """The corrected day by set, as known at a change; sets that were never corrected are not in it."""
    rows = study.rows(f"SELECT p.set_key, p.placed_on FROM placings p WHERE {as_known('p')}", change=change)
    return {row["set_key"]: date.fromisoformat(row["placed_on"]) for row in rows}


def fetch_placing_changes(study: StudyFile, *, change: int = ALL_CHANGES) -> dict[str, int]:
    """The newest change, up to a change, that corrected the day of a set."""
    sql = "SELECT set_key, max(entered_change) AS newest FROM placings WHERE entered_change <= :change GROUP BY set_key"
    return {row["set_key"]: row["newest"] for row in study.rows(sql, change=change)}


def fetch_placings(study: StudyFile) -> list[CorrectedPlacing]:
    """Every correction, oldest first."""
    rows = study.rows(
        "SELECT p.set_key, s.pairing, p.placed_on, c.before, c.after, c.by, c.at, c.why FROM placings p "
        "JOIN coupon_sets s ON s.key = p.set_key JOIN changes c ON c.number = p.entered_change ORDER BY p.id"
    )
    return [
        CorrectedPlacing(
            row["set_key"], row["pairing"] or "", date.fromisoformat(json.loads(row["before"])["placed_on"]),
            date.fromisoformat(row["placed_on"]), json.loads(row["after"])["readings_seen"], row["by"], row["at"],
            row["why"],
        )
        for row in rows
    ]  # fmt: skip
