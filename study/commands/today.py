"""Today: the sheet of one day: objects that need somebody, pulls due, coupons not read, decisions overtaken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from study.commands.due import due_list
from study.commands.estimates import Evidence, Standing, analysed, gather_evidence, stand_beside
from study.commands.grounds import Standings, display_states
from study.intake.reading_columns import kinds_of
from study.model.display import DisplayState, shortest_first
from study.model.pull import READABLE_KINDS, DuePull
from study.store.coupons import fetch_codes, fetch_coupons
from study.store.decisions import fetch_decisions
from study.store.displays import fetch_rechecks
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_kinds_read
from study.store.register import fetch_sets
from study.store.study_file import StudyFile

FALLING = ("loose", "fallen")
"""What a recheck finds that cannot wait."""


@dataclass(frozen=True)
class Unread:
    """A coupon that was pulled and still lacks readings its protocol asks for."""

    code: str
    set_key: str
    pairing: str
    pulled_on: date
    missing: tuple[str, ...]


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


def overtaken_decisions(study: StudyFile, evidences: Sequence[Evidence]) -> list[Standing]:
    """Decisions in force whose readings have changed since."""
    decisions = fetch_decisions(study)
    changed = [
        evidence
        for evidence in evidences
        if evidence.key in decisions and decisions[evidence.key].evidence_digest != evidence.digest
    ]
    return [stand_beside(analysed(evidence), decisions[evidence.key]) for evidence in changed]


def unread_coupons(study: StudyFile) -> list[Unread]:
    """Pulled coupons with readings missing, longest waiting first."""
    sets, protocols, coupons = fetch_sets(study), fetch_protocols(study), fetch_coupons(study)
    read = fetch_kinds_read(study)
    found = []
    for code, event in fetch_pulls(study).items():
        if event.kind not in READABLE_KINDS:
            continue
        coupon = coupons[code]
        coupon_set = sets[coupon.set_key]
        asked = kinds_of(
            protocols[coupon_set.protocol_digest].quantities(coupon.test, blank=coupon_set.role == "blank")
        )
        missing = tuple(kind for kind in asked if kind not in read.get(code, set()))
        if missing:
            found.append(Unread(code, coupon.set_key, coupon_set.pairing, event.on, missing))
    return sorted(found, key=lambda coupon: (coupon.pulled_on, coupon.set_key))
