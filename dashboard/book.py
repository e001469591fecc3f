"""The book the pages are opened on: one study file, the day, and who signs."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from threading import Lock

from study.commands.opening import institution, open_study
from study.errors import DwellbookError
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

    @cached_property
    def name(self) -> str:
        """Whose study it is, as it was begun; the file's name where nobody said or it cannot be opened."""
        with suppress(DwellbookError), open_study(self.study_file) as study:
            return institution(study) or self.study_file.stem
        return self.study_file.stem

    def sign(self, by: str | None, why: str | None = None) -> Signature:
        """A signature for an act that happens now."""
        # The book's own day, so that a demonstration of another day may be written to as on that day.
        moment = datetime.combine(self.today(), datetime.now().time()).astimezone()
        return Signature(by=(by or "").strip(), at=moment, why=(why or "").strip())
