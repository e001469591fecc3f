"""Trials: invented studies worked out beside the pages, one at a time, with their progress and a way to stop."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from threading import Event, Lock, Thread
from time import monotonic
from uuid import uuid4

from study.commands.plan import Question, comparison_of, read_plan_text, suggestion_of, support_of, wanted_days
from study.errors import DwellbookError
from study.model.support import Option, Suggestion, Support

KEPT = 12
"""Trials whose answers are kept for a page that asks again."""
SHOW, SEARCH = "show", "search"


class _Stopped(Exception):
    """Somebody pressed Stop, or asked something else."""


@dataclass
class Trial:
    """One question under way or answered."""

    text: str
    """The plan it was asked of."""
    asked: Question
    wanted: str
    chance: float
    what: str
    """show or search."""
    number: str = field(default_factory=lambda: uuid4().hex)
    line: str = "waiting"
    began: float = field(default_factory=monotonic)
    support: Support | None = None
    options: tuple[Option, ...] = ()
    suggestion: Suggestion | None = None
    refusal: DwellbookError | None = None
    ended: str = ""
    """Empty while it runs; else done, stopped or refused."""
    stop: Event = field(default_factory=Event)

    @property
    def version(self) -> str:
        """Changes whenever there is more to show."""
        return f"{self.number} {bool(self.support)} {len(self.options)} {bool(self.suggestion)} {self.ended}"

    def say(self, line: str) -> None:
        """What is being done; ends the work if it is no longer wanted."""
        if self.stop.is_set():
            raise _Stopped
        self.line = line


class Trials:
    """Every trial of one application; the next waits until the one before has stopped."""

    def __init__(self) -> None:
        self._known: dict[str, Trial] = {}
        self._turn = Lock()
        self._list = Lock()

    def get(self, number: str) -> Trial | None:
        """A trial by its number, or None if it is no longer kept."""
        return self._known.get(number)

    def begin(self, trial: Trial, *, instead_of: str = "") -> Trial:
        """Start it on a thread of its own, and stop the one the same page was waiting for."""
        before = self._known.get(instead_of)
        if before is not None:
            before.stop.set()
        with self._list:
            self._known[trial.number] = trial
            for old in list(self._known)[:-KEPT]:
                del self._known[old]
        Thread(target=self._work, args=(trial,), daemon=True).start()
        return trial

    def _work(self, trial: Trial) -> None:
        with self._turn:
            try:
                trial.say("beginning")
                work(trial)
                trial.ended = "done"
            except _Stopped:
                trial.ended = "stopped"
            except DwellbookError as error:
                trial.refusal, trial.ended = error, "refused"
            except Exception as error:
                # A page that waits must hear of it, whatever it was; the terminal shows where.
                trial.refusal = DwellbookError(f"The trial failed: {error}.", "Change the plan, or report it.")
                trial.ended = "refused"
                raise


def work(trial: Trial) -> None:
    """Answer the question of a trial into it, part by part."""
    held = read_plan_text(trial.text)
    wanted_days(trial.wanted)  # refused before any work
    if trial.what == SEARCH:
        trial.suggestion = suggestion_of(
            held, trial.asked, wanted=trial.wanted, chance=trial.chance, progress=trial.say
        )  # fmt: skip
        return
    trial.support = support_of(held, trial.asked, progress=trial.say)
    trial.options = comparison_of(held, trial.asked, wanted=trial.wanted, progress=trial.say)


def processes() -> int:
    """Processes a trial may use, one left for the pages."""
    return max(1, min(4, (os.cpu_count() or 1)))
