"""Moved: what an act would do, seen by doing it in a transaction that is turned back, and which durations it moves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TypeVar

from study.commands.estimates import Evidence, analysed, gather_evidence
from study.model.decision import duration_text
from study.store.decisions import fetch_decisions
from study.store.study_file import StudyFile

Found = TypeVar("Found")


@dataclass(frozen=True)
class Moved:
    """One body of evidence whose duration an act would touch."""

    key: str
    title: str
    before: str
    after: str
    limiting: str
    decision: str
    """The decision in force, in words; empty without one."""

    @property
    def moves(self) -> bool:
        """Whether the duration itself changes."""
        return self.before != self.after

    def words(self) -> str:
        """From what to what, in one sentence."""
        limited = f", limited by {self.limiting}" if self.limiting else ""
        said = f"from {self.before} to {self.after}" if self.moves else f"stays {self.after}"
        beside = f" Beside it stands {self.decision}." if self.decision else ""
        return f"{self.key} {self.title}: {said}{limited}.{beside}"


class _OnlyLooked(Exception):
    """Turns an act back that was done only to see what comes of it."""


def turned_back(study: StudyFile, act: Callable[[], Found]) -> Found:
    """What an act gives, done under the write lock and turned back: nothing of it stays.

    Raises
    ------
    RuntimeError
        Within a writing, which alone could be turned back.
    Exception
        What the act itself raises.
    """
    if study.db.conn.in_transaction:
        raise RuntimeError("an act can only be turned back by itself, not within a writing")
    found: list[Found] = []
    with suppress(_OnlyLooked), study.writing():
        found.append(act())
        raise _OnlyLooked
    return found[0]


def as_if(study: StudyFile, act: Callable[[], object]) -> list[tuple[Evidence, Evidence]]:
    """Every body of evidence as it is and as it would be after an act, which is done and turned back."""

    def looked() -> list[tuple[Evidence, Evidence]]:
        now = gather_evidence(study)
        act()
        return list(zip(now, gather_evidence(study), strict=True))

    return turned_back(study, looked)


def durations_moved(study: StudyFile, pairs: Sequence[tuple[Evidence, Evidence]]) -> list[Moved]:
    """The durations of these bodies of evidence, as they are and as they would be."""
    decisions = fetch_decisions(study)
    found = []
    for now, then in pairs:
        before, after = (analysed(evidence).estimate.duration for evidence in (now, then))
        decision = decisions.get(now.key)
        said = f"decision {decision.number}: {duration_text(decision.outcome, decision.days)}" if decision else ""
        texts = [duration_text(one.outcome, one.days) for one in (before, after)]
        found.append(Moved(now.key, now.pairing.title, texts[0], texts[1], after.limiting, said))
    return found


def touched(pairs: Sequence[tuple[Evidence, Evidence]]) -> list[tuple[Evidence, Evidence]]:
    """Those that an act changes: other readings or ages, or another protocol, on coupons that were read."""
    return [
        (now, then)
        for now, then in pairs
        if (now.digest, now.protocol_digest) != (then.digest, then.protocol_digest)
        and any(history.readings for history in now.histories)
    ]
