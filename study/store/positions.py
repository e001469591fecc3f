"""Positions on the shelf: where each coupon stands now; a move supersedes the place before."""

from __future__ import annotations

from collections.abc import Mapping

from study.model.place import Place
from study.store.study_file import StudyFile


def save_positions(study: StudyFile, places: Mapping[str, Place], *, change: int) -> None:
    """Where coupons stand from now on, by code; earlier places of the same coupons are superseded."""
    for code in places:
        study.db.execute(
            "UPDATE positions SET superseded_change = ? WHERE code = ? AND superseded_change IS NULL", [change, code]
        )
    study.db.table("positions").insert_all(
        {"code": code, "shelf": shelf, "place": place, "entered_change": change}
        for code, (shelf, place) in places.items()
    )


def fetch_positions(study: StudyFile) -> dict[str, Place]:
    """Shelf and place of every coupon that has one, by code."""
    rows = study.rows("SELECT code, shelf, place FROM positions WHERE superseded_change IS NULL ORDER BY shelf, place")
    return {row["code"]: (row["shelf"], row["place"]) for row in rows}
