"""The book the pages are opened on: one study file, the day, and who signs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from study.model.person import Signature


@dataclass(frozen=True)
class Book:
    """What every page is given; the study file is read at each request, never kept."""

    study_file: Path
    today: Callable[[], date]
    note: str = ""
    """A line shown on every page, such as that all numbers are invented."""

    def sign(self, by: str | None, why: str | None = None) -> Signature:
        """A signature for an act that happens now."""
        return Signature(by=(by or "").strip(), at=datetime.now().astimezone(), why=(why or "").strip())
