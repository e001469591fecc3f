"""Signatures: who does an act, when, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from study.errors import DwellbookError, NotPossible


@dataclass(frozen=True)
class Signature:
    """A name that is never empty, the moment of the act (with its offset), and the reason where one is owed."""

    by: str
    at: datetime
    why: str = ""

    def __post_init__(self) -> None:
        if not self.by.strip():
            raise DwellbookError(
                "Nobody's name stands under this act.",
                "Give your name (in a terminal: --by).",
            )

    def because(self, why: str) -> Signature:
        """The same signature with a reason."""
        return Signature(by=self.by, at=self.at, why=why)

    def need_reason(self, act: str) -> None:
        """Refuse an act that owes a reason and has none.

        Raises
        ------
        NotPossible
        """
        if not self.why.strip():
            raise NotPossible(f"{act} needs a reason.", "Write why, in one sentence.")
