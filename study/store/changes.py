"""The change log as people read it: who did what, when, from what to what, and why."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from study.errors import NotPossible
from study.store.study_file import StudyFile


def fetch_changes(study: StudyFile, *, newest: int = 50) -> list[dict[str, Any]]:
    """The newest lines of the change log, newest first."""
    return study.rows("SELECT * FROM changes ORDER BY number DESC LIMIT :newest", newest=newest)


def refuse_same_file(study: StudyFile, digest: str, path: Path) -> None:
    """Refuse a file whose very bytes were taken before.

    Raises
    ------
    NotPossible
        Naming who took it and when.
    """
    earlier = study.rows("SELECT number, at, by FROM changes WHERE instr(after, :digest) LIMIT 1", digest=digest)
    if digest and earlier:
        by, at = earlier[0]["by"], earlier[0]["at"][:10]
        raise NotPossible(
            f"{path.name} was taken already by {by} on {at}, byte for byte; nothing was written.",
            "Correct single values where they are wrong; a file with new rows is another file.",
        )


def fetch_act_of_token(study: StudyFile, token: str) -> int | None:
    """The change that an attempt of this name made already, or None."""
    found = study.rows(
        "SELECT number FROM changes WHERE act IN "
        "('enter readings', 'import readings', 'correct reading', 'take reading back') "
        "AND json_extract(after, '$.token') = :token",
        token=token,
    )
    return int(found[0]["number"]) if found else None
