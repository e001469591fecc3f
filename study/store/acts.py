"""Acts with a second look: stops that were lifted, results carried to another formulation, lots withdrawn."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date
from typing import Any

from study.store.known import ALL_CHANGES
from study.store.study_file import StudyFile


def save_stop_lift(
    study: StudyFile, pairing: str, *, second_person: str, coupons: Iterable[str], removals: Iterable[int], change: int
) -> None:
    """A stop is lifted for these coupons and removals; others that come later stop again."""
    row = {"pairing": pairing, "second_person": second_person, "entered_change": change}
    row |= {"coupons": json.dumps(sorted(coupons)), "removals": json.dumps(sorted(removals))}
    study.db.table("stop_lifts").insert(row)


def fetch_lifted_coupons(study: StudyFile, *, change: int = ALL_CHANGES) -> set[str]:
    """Coupons whose stop was lifted, as known at a change."""
    rows = study.rows("SELECT coupons FROM stop_lifts WHERE entered_change <= :change", change=change)
    return {code for row in rows for code in json.loads(row["coupons"])}


def fetch_lifted_removals(study: StudyFile) -> set[int]:
    """Displays whose harmful removal no longer stops."""
    return {number for row in study.rows("SELECT removals FROM stop_lifts") for number in json.loads(row["removals"])}


def save_carried(study: StudyFile, pairing: str, adhesive: str, *, change: int) -> None:
    """Results of a pairing count for another formulation too: a recorded act."""
    study.db.table("carried_results").insert({"pairing": pairing, "adhesive": adhesive, "entered_change": change})


def fetch_carried(study: StudyFile) -> dict[str, set[str]]:
    """Adhesives to which the results of each pairing were carried."""
    found: dict[str, set[str]] = {}
    for row in study.rows("SELECT pairing, adhesive FROM carried_results"):
        found.setdefault(row["pairing"], set()).add(row["adhesive"])
    return found


def fetch_carrying(study: StudyFile, pairing: str) -> list[dict[str, Any]]:
    """Each act that carried a pairing's results, oldest first: adhesive, by, at, why, and the act as it was logged."""
    return study.rows(
        "SELECT r.adhesive, c.by, c.at, c.why, c.after FROM carried_results r "
        "JOIN changes c ON c.number = r.entered_change WHERE r.pairing = :pairing ORDER BY c.number",
        pairing=pairing,
    )


def save_lot_withdrawn(study: StudyFile, lot: str, *, on: date) -> None:
    """A lot that may no longer be used; the change log says why."""
    study.db.table("lots").update(lot, {"withdrawn_on": on.isoformat()})


def fetch_withdrawn_lots(study: StudyFile) -> set[str]:
    """Lots that are withdrawn."""
    return {row["key"] for row in study.rows("SELECT key FROM lots WHERE withdrawn_on IS NOT NULL")}
