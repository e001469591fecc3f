"""Imports on file: which sheets were taken, with their bytes and how they were understood; layouts by name."""

from __future__ import annotations

from dataclasses import dataclass

from study.model.layout import Layout
from study.store.attachments import fetch_content, save_sheet
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class ImportRecord:
    """One sheet that was taken."""

    name: str
    sha256: str
    layout: Layout | None
    """How it was understood; None for a file in our own columns."""
    by: str
    at: str


def save_import(study: StudyFile, name: str, content: bytes, *, layout: Layout | None, change: int) -> str:
    """A sheet's bytes and how it was understood, within the caller's change; SHA-256 of the bytes."""
    digest = save_sheet(study, content, change=change)
    row = {"name": name, "sha256": digest, "layout": layout.text() if layout else "", "entered_change": change}
    study.db.table("imports").insert(row)
    return digest


def fetch_last_import(study: StudyFile, name: str) -> ImportRecord | None:
    """The newest sheet taken under a file name, or None."""
    rows = study.rows(
        "SELECT i.name, i.sha256, i.layout, c.by, c.at FROM imports i JOIN changes c ON c.number = i.entered_change "
        "WHERE i.name = :name ORDER BY i.id DESC LIMIT 1",
        name=name,
    )
    if not rows:
        return None
    row = rows[0]
    layout = Layout.model_validate_json(row["layout"]) if row["layout"] else None
    return ImportRecord(row["name"], row["sha256"], layout, row["by"], row["at"])


def fetch_codes_of_sheet(study: StudyFile, name: str) -> set[str]:
    """Codes of the coupons that any sheet taken under a file name has read."""
    rows = study.rows(
        "SELECT DISTINCT r.code FROM readings r JOIN imports i ON i.entered_change = r.entered_change "
        "WHERE i.name = :name",
        name=name,
    )
    return {row["code"] for row in rows}


def fetch_numbers_of_sheet(study: StudyFile, name: str) -> set[int]:
    """Numbers of the readings in force that stand as a sheet of that name entered them."""
    rows = study.rows(
        "SELECT r.id FROM readings r JOIN imports i ON i.entered_change = r.entered_change "
        "WHERE i.name = :name AND r.superseded_change IS NULL",
        name=name,
    )
    return {row["id"] for row in rows}


def fetch_sheet(study: StudyFile, record: ImportRecord) -> bytes:
    """The bytes of a sheet that was taken."""
    found = fetch_content(study, record.sha256)
    return found[0] if found else b""


def save_layout(study: StudyFile, name: str, layout: Layout, *, change: int) -> bool:
    """Remember a layout under a name, superseding the one before; False if it is that already."""
    text = layout.model_copy(update={"name": name}).text()
    same = "SELECT 1 FROM layouts WHERE name = :name AND text = :text AND superseded_change IS NULL"
    if study.rows(same, name=name, text=text):
        return False
    sql = "UPDATE layouts SET superseded_change = ? WHERE name = ? AND superseded_change IS NULL"
    study.db.execute(sql, [change, name])
    study.db.table("layouts").insert({"name": name, "text": text, "entered_change": change})
    return True


def fetch_layouts(study: StudyFile) -> dict[str, tuple[Layout, str, str]]:
    """Every layout in force by name, with who remembered it and when."""
    rows = study.rows(
        "SELECT l.name, l.text, c.by, c.at FROM layouts l JOIN changes c ON c.number = l.entered_change "
        "WHERE l.superseded_change IS NULL ORDER BY l.name"
    )
    return {row["name"]: (Layout.model_validate_json(row["text"]), row["by"], row["at"]) for row in rows}


def count_readings(study: StudyFile) -> int:
    """How many readings are in force."""
    return int(study.rows("SELECT count(*) AS n FROM readings WHERE superseded_change IS NULL")[0]["n"])
