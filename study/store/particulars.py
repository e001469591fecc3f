"""Particulars on file: what else is known of a row of the register, as JSON beside it."""

from __future__ import annotations

from collections.abc import Iterable

from study.model.particulars import PARTICULARS, Particulars
from study.store.study_file import StudyFile

TABLES = {kind: "coupon_sets" if kind == "sets" else kind for kind in PARTICULARS}


def save_particulars(study: StudyFile, kind: str, known: Iterable[tuple[str, Particulars]]) -> None:
    """Particulars of rows just entered, by key, within the caller's change."""
    for key, particulars in known:
        if particulars.text() != "{}":
            study.db.table(TABLES[kind]).update(key, {"particulars": particulars.text()})


def fetch_particulars(study: StudyFile, kind: str) -> dict[str, Particulars]:
    """Particulars of every row that has any, by key."""
    rows = study.rows(f"SELECT key, particulars FROM {TABLES[kind]} WHERE particulars <> '{{}}'")
    return {row["key"]: PARTICULARS[kind].model_validate_json(row["particulars"]) for row in rows}
