"""Keep: verified copies of the study, and the change log to read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from study.store.changes import fetch_changes
from study.store.study_file import StudyFile, copy_file


def keep_copy(study: StudyFile, to: Path) -> dict[str, int]:
    """A verified copy of the study file; rows by table as counted in the copy."""
    return copy_file(study, to)


def read_log(study: StudyFile, *, newest: int = 50) -> list[dict[str, Any]]:
    """The newest lines of the change log, newest first."""
    return fetch_changes(study, newest=newest)
