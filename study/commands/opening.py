"""Opening and beginning a study file."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import study
from study.model.coupon import ALL_CODES
from study.model.person import Signature
from study.store.study_file import StudyFile, begin_file


@contextmanager
def open_study(path: Path) -> Iterator[StudyFile]:
    """The study file at ``path``, open for one piece of work.

    Raises
    ------
    NotAStudy
        If there is none, it is not a study, or it was made by a newer Dwellbook.
    """
    with StudyFile(path) as opened:
        yield opened


def begin_study(path: Path, *, institution: str, signature: Signature, note: str = "") -> None:
    """A new, empty study file for one institution; ``note`` marks a demonstration."""
    facts = {
        "institution": institution,
        "first_code": str(int(hashlib.sha256(f"{institution} {signature.at}".encode()).hexdigest(), 16) % ALL_CODES),
        "begun_at": signature.at.isoformat(timespec="seconds"),
        "begun_with": f"dwellbook {study.__version__}",
        "note": note,
    }
    with (
        begin_file(path, facts=facts) as opened,
        opened.change(signature, act="begin study", subject=institution, after=facts),
    ):
        pass


def institution(opened: StudyFile) -> str:
    """Whose study it is, as it was begun; empty where nobody said."""
    return opened.fact("institution")
