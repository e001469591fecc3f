"""The change log as people read it: who did what, when, from what to what, and why."""

from __future__ import annotations

from typing import Any

from study.store.study_file import StudyFile


def fetch_changes(study: StudyFile, *, newest: int = 50) -> list[dict[str, Any]]:
    """The newest lines of the change log, newest first."""
    return study.rows("SELECT * FROM changes ORDER BY number DESC LIMIT :newest", newest=newest)
