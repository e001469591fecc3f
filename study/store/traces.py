"""Force traces on file: the gauge's files of a coupon with how each was read, from the change that entered them."""

from __future__ import annotations

import json
from typing import Any

from study.store.study_file import StudyFile

ACT = "enter traces"


def fetch_traces(study: StudyFile, code: str) -> list[dict[str, Any]]:
    """Each entering of traces for a coupon: its change, who, when, how they were read, and the files in order.

    Files that were taken off are left out, and so is an entering all of whose files were.
    """
    rows = study.rows(
        "SELECT c.number, c.by, c.at, c.after, a.name, f.content FROM attachments a "
        "JOIN changes c ON c.number = a.entered_change JOIN files f ON f.sha256 = a.sha256 "
        "WHERE a.code = :code AND a.superseded_change IS NULL AND c.act = :act ORDER BY a.id",
        code=code,
        act=ACT,
    )
    found: dict[int, dict[str, Any]] = {}
    for row in rows:
        kept = json.loads(row["after"])["traces"][code]
        entry = found.setdefault(
            row["number"], {"by": row["by"], "at": row["at"], "asked": kept["asked"], "said": kept["said"], "files": []}
        )
        entry["files"].append((row["name"], row["content"]))
    return [found[number] for number in sorted(found)]


def fetch_trace_owners(study: StudyFile, digest: str) -> list[tuple[str, str]]:
    """Coupons a gauge's file was taken for as a removal force, each with who took it."""
    rows = study.rows(
        "SELECT DISTINCT a.code, c.by FROM attachments a JOIN changes c ON c.number = a.entered_change "
        "WHERE a.sha256 = :digest AND a.superseded_change IS NULL AND c.act = :act",
        digest=digest,
        act=ACT,
    )
    return [(row["code"], row["by"]) for row in rows]
