"""The book the pages are opened on: one study file, the day, and who signs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from threading import Lock

from study.model.person import Signature


@dataclass(frozen=True)
class Book:
    """What every page is given; the study file is read at each request, never kept."""

    study_file: Path
    today: Callable[[], date]
    note: str = ""
    """A line shown on every page, such as that all numbers are invented."""

    estimating: Lock = field(default_factory=Lock, compare=False)
    """Held while all pairings are worked out, so that two pages asking at once do not work them out twice."""

    def sign(self, by: str | None, why: str | None = None) -> Signature:
        """A signature for an act that happens now."""
        # The book's own day, so that a demonstration of another day may be written to as on that day.
        moment = datetime.combine(self.today(), datetime.now().time()).astimezone()
        return Signature(by=(by or "").strip(), at=moment, why=(why or "").strip())
