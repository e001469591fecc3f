"""Interruptions on file, and the days that each set's protocol leaves out of dwell for them, as known at any change."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from study.model.interruption import Interruption, Stops, merged_stops
from study.model.protocol import Protocol
from study.store.known import ALL_CHANGES, as_known
from study.store.register import fetch_sets
from study.store.study_file import StudyFile


def save_interruption(study: StudyFile, interruption: Interruption, *, change: int) -> int:
    """A new interruption, within the caller's change; its number in the study file."""
    row = {
        "environment": interruption.environment, "kind": interruption.kind, "note": interruption.note,
        "from_on": interruption.from_on.isoformat(), "to_on": interruption.to_on.isoformat(), "entered_change": change,
    }  # fmt: skip
    number = study.db.table("interruptions").insert(row).last_pk
    assert isinstance(number, int)
    return number


def supersede_interruption(study: StudyFile, number: int, *, change: int) -> None:
    """Take an interruption back; it stays on file."""
    study.db.execute(
        "UPDATE interruptions SET superseded_change = ? WHERE id = ? AND superseded_change IS NULL", [change, number]
    )


def fetch_interruptions(study: StudyFile, *, change: int = ALL_CHANGES) -> list[Interruption]:
    """Interruptions as known at a change, in order of their first day."""
    rows = study.rows(f"SELECT i.* FROM interruptions i WHERE {as_known('i')} ORDER BY i.from_on, i.id", change=change)
    return [
        Interruption(
            row["environment"], row["kind"], date.fromisoformat(row["from_on"]), date.fromisoformat(row["to_on"]),
            row["note"], row["id"],
        )
        for row in rows
    ]  # fmt: skip


def fetch_stops(study: StudyFile, protocols: Mapping[str, Protocol], *, change: int = ALL_CHANGES) -> dict[str, Stops]:
    """Days left out of dwell by set, as known at a change; sets whose clock never stopped are not in it."""
    interruptions = fetch_interruptions(study, change=change)
    if not interruptions:
        return {}
    found = {}
    for key, coupon_set in fetch_sets(study, change=change).items():
        here = [one for one in interruptions if one.environment == coupon_set.environment]
        stops = merged_stops(here, kinds=protocols[coupon_set.protocol_digest].clock_stops_for)
        if stops:
            found[key] = stops
    return found
