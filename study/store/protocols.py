"""Protocols frozen into the study: the whole text, kept under its digest."""

from __future__ import annotations

import hashlib
from functools import lru_cache

from study.errors import NotAStudy
from study.model.protocol import Protocol
from study.store.study_file import StudyFile


def freeze_protocol(study: StudyFile, protocol: Protocol, *, change: int) -> str:
    """Digest of the protocol, whose text is copied into the study if it is not there yet."""
    digest = protocol.digest()
    if not study.rows("SELECT 1 FROM protocols WHERE digest = :digest", digest=digest):
        row = {"digest": digest, "key": protocol.key, "version": protocol.version, "title": protocol.title}
        study.db.table("protocols").insert({**row, "text": protocol.text(), "entered_change": change})
    return digest


def fetch_protocol(study: StudyFile, digest: str) -> Protocol:
    """The frozen protocol of that digest.

    Raises
    ------
    NotAStudy
        If the text in the file no longer gives its digest.
    """
    text = study.rows("SELECT text FROM protocols WHERE digest = :digest", digest=digest)[0]["text"]
    # The text itself is what was frozen: a later Dwellbook may know more fields, and its own text would differ.
    if hashlib.sha256(text.encode()).hexdigest() != digest:
        raise NotAStudy(
            f"The protocol text frozen under {digest[:12]} has been altered.",
            "Go back to a verified copy of the study.",
        )
    return _parsed(text)


def fetch_protocols(study: StudyFile) -> dict[str, Protocol]:
    """Every protocol frozen into the study, by digest."""
    return {row["digest"]: fetch_protocol(study, row["digest"]) for row in study.rows("SELECT digest FROM protocols")}


@lru_cache(maxsize=16)
def _parsed(text: str) -> Protocol:
    return Protocol.model_validate_json(text)
