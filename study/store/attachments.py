"""Files and attachments on file: bytes once under their own hash, attachments superseded and never deleted."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from typing import Any

from study.model.attachment import Attachment, content_digest
from study.store.study_file import StudyFile

_CHUNK = 1 << 20
_WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_ATTACHED = (
    "SELECT a.id AS number, a.code, a.kind, a.name, a.note, a.sha256, f.media_type, f.bytes, "
    "f.thumbnail IS NOT NULL AS thumbnail, e.by AS entered_by, e.at AS entered_at, "
    "s.by AS superseded_by, s.at AS superseded_at, s.why AS why "
    "FROM attachments a JOIN files f ON f.sha256 = a.sha256 JOIN changes e ON e.number = a.entered_change "
    "LEFT JOIN changes s ON s.number = a.superseded_change "
)
_TRAIL = ("entered_by", "entered_at", "superseded_by", "superseded_at", "why")


def save_file(study: StudyFile, content: bytes, *, media_type: str, thumbnail: bytes | None = None, change: int) -> str:
    """A file's bytes, within the caller's change; bytes that are there already are not stored again.

    Returns
    -------
    str
        SHA-256 of the content in hexadecimal, its key.
    """
    digest = content_digest(content)
    if not study.rows("SELECT 1 FROM files WHERE sha256 = :digest", digest=digest):
        study.db.table("files").insert(
            {
                "sha256": digest,
                "media_type": media_type,
                "bytes": len(content),
                "content": content,
                "thumbnail": thumbnail,
                "entered_change": change,
            }
        )
    return digest


def save_sheet(study: StudyFile, content: bytes, *, change: int) -> str:
    """The bytes of a table as it came, workbook or text, within the caller's change; SHA-256 of them."""
    media_type = _WORKBOOK if content[:4] == b"PK\x03\x04" else "text/csv"
    return save_file(study, content, media_type=media_type, change=change)


def save_attachment(study: StudyFile, attachment: Attachment, *, change: int) -> int:
    """A file hung on a coupon, within the caller's change; its number."""
    row = {name: getattr(attachment, name) for name in ("sha256", "code", "kind", "name", "note")}
    number = study.db.table("attachments").insert({**row, "entered_change": change}).last_pk
    assert isinstance(number, int)
    return number


def supersede_attachment(study: StudyFile, number: int, *, change: int) -> None:
    """Mark one attachment as superseded; it and its bytes stay on file."""
    study.db.execute("UPDATE attachments SET superseded_change = ? WHERE id = ?", [change, number])


def fetch_attachments(study: StudyFile, code: str) -> list[tuple[Attachment, dict[str, Any]]]:
    """Every attachment of a coupon, superseded ones too, each with who attached and superseded it, and why."""
    return _told(study.rows(_ATTACHED + "WHERE a.code = :code ORDER BY a.id", code=code))


def fetch_all_attachments(study: StudyFile) -> list[tuple[Attachment, dict[str, Any]]]:
    """Every attachment of the study in the order they were attached, superseded ones too."""
    return _told(study.rows(_ATTACHED + "ORDER BY a.id"))


def fetch_attachment(study: StudyFile, number: int) -> tuple[Attachment, dict[str, Any]] | None:
    """One attachment with its trail, or None."""
    found = _told(study.rows(_ATTACHED + "WHERE a.id = :number", number=number))
    return found[0] if found else None


def fetch_content(study: StudyFile, digest: str) -> tuple[bytes, str] | None:
    """A file's bytes and media type, or None."""
    rows = study.rows("SELECT content, media_type FROM files WHERE sha256 = :digest", digest=digest)
    return (rows[0]["content"], rows[0]["media_type"]) if rows else None


def fetch_thumbnail(study: StudyFile, digest: str) -> bytes | None:
    """A picture's thumbnail (JPEG), or None."""
    rows = study.rows("SELECT thumbnail FROM files WHERE sha256 = :digest", digest=digest)
    return rows[0]["thumbnail"] if rows else None


def fetch_file_names(study: StudyFile, digest: str) -> list[str]:
    """Names under which a file is attached, newest first."""
    rows = study.rows("SELECT name FROM attachments WHERE sha256 = :digest ORDER BY id DESC", digest=digest)
    return [row["name"] for row in rows]


def altered_files(study: StudyFile) -> Iterator[tuple[int, str, str]]:
    """Every stored file whose bytes do not give its hash: change that entered it, hash, and what is wrong.

    The bytes are read a piece at a time, never a whole file at once.
    """
    for row in study.rows("SELECT rowid AS place, sha256, bytes, entered_change AS change FROM files ORDER BY rowid"):
        digest, size = hashlib.sha256(), 0
        with study.db.conn.blobopen("files", "content", row["place"], readonly=True) as blob:
            while piece := blob.read(_CHUNK):
                digest.update(piece)
                size += len(piece)
        if digest.hexdigest() != row["sha256"]:
            yield row["change"], row["sha256"], "its bytes are not those it was stored with"
        elif size != row["bytes"]:
            yield row["change"], row["sha256"], f"it has {size} bytes and is said to have {row['bytes']}"


def _told(rows: list[dict[str, Any]]) -> list[tuple[Attachment, dict[str, Any]]]:
    return [(_attachment(row), {name: row[name] for name in _TRAIL}) for row in rows]


def _attachment(row: Mapping[str, Any]) -> Attachment:
    return Attachment(
        code=row["code"],
        kind=row["kind"],
        name=row["name"],
        sha256=row["sha256"],
        media_type=row["media_type"],
        bytes=row["bytes"],
        thumbnail=bool(row["thumbnail"]),
        note=row["note"],
        number=row["number"],
    )
