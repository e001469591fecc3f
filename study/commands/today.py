"""Today: the sheet of one day: objects that need somebody, pulls due, coupons not read, decisions overtaken."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from study.commands.due import due_list
from study.commands.estimates import Standing, gather_evidence, overtaken_decisions
from study.commands.grounds import Standings, display_states
from study.commands.waiting import Unread, unread_coupons
from study.model.display import DisplayState, shortest_first
from study.model.pull import DuePull
from study.store.coupons import fetch_codes
from study.store.displays import fetch_rechecks
from study.store.study_file import StudyFile

__all__ = ["DaySheet", "Falling", "Unread", "day_sheet", "overtaken_decisions", "unread_coupons"]

FALLING = ("loose", "fallen")
"""What a recheck finds that cannot wait."""


@dataclass(frozen=True)
class Falling:
    """An object on show that was loose or fallen when it was last looked at."""

    object_number: str
    location: str
    found: str
    after: str
    on: date
    by: str
    note: str


@dataclass(frozen=True)
class DaySheet:
    """What waits on one day."""

    on: date
    pulls: tuple[DuePull, ...]
    unread: tuple[Unread, ...]
    overtaken: tuple[Standing, ...]
    coupons: int
    """Coupons in the study; 0 tells an empty study from a quiet day."""
    displays: Standings
    """Every object on display with where it stands."""
    falling: tuple[Falling, ...] = ()
    """Objects last found loose or fallen, and still on show."""

    @property
    def attention(self) -> list[DisplayState]:
        """Objects of which something changed since somebody last acknowledged it, the most urgent first."""
        return shortest_first(self.displays.attention)

    def objects(self, *states: str) -> list[DisplayState]:
        """Objects in any of these states, the most urgent first."""
        return shortest_first(state for state in self.displays.states if state.state in states)


def day_sheet(study: StudyFile, *, on: date) -> DaySheet:
    """The sheet of a day. Only pairings whose readings changed since their decision are estimated anew."""
    evidences = gather_evidence(study)
    displays = display_states(study, on=on, evidences=evidences)
    return DaySheet(
        on,
        tuple(due_list(study, on=on)),
        tuple(unread_coupons(study)),
        tuple(overtaken_decisions(study, evidences)),
        len(fetch_codes(study)),
        displays,
        tuple(falling_objects(study, displays)),
    )


def falling_objects(study: StudyFile, displays: Standings) -> list[Falling]:
    """Objects on show whose latest recheck found them loose or fallen, the latest found first."""
    on_show = {state.display.number: state.display for state in displays.states if state.state != "removed"}
    latest: dict[int, dict[str, Any]] = {}
    for row in fetch_rechecks(study):
        latest.setdefault(row["display"], row)  # newest first
    return [
        Falling(
            on_show[number].object_number, on_show[number].location, row["found"], row["after"],
            date.fromisoformat(row["on_date"]), row["by"], row["note"],
        )
        for number, row in latest.items()
        if number in on_show and row["found"] in FALLING
    ]  # fmt: skip
