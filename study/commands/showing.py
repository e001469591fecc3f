"""Showing: what a person is given to choose from when an object goes on show, and all that is on record of one object.

Only reads; what is entered or recorded goes through the use cases of displays.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from study.commands.grounds import gather_grounds, judge
from study.errors import Unknown
from study.model.display import DisplayState, Removal
from study.model.pairing import Adhesive, Environment, Lot, Pairing
from study.store.acts import fetch_withdrawn_lots
from study.store.displays import fetch_displays, fetch_rechecks, fetch_removals
from study.store.register import fetch_adhesives, fetch_environments, fetch_lots, fetch_pairings
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Choices:
    """What the register offers for a display."""

    lots: tuple[Lot, ...]
    pairings: tuple[Pairing, ...]
    environments: tuple[Environment, ...]
    adhesives: tuple[Adhesive, ...]


def choices(study: StudyFile) -> Choices:
    """Lots not withdrawn, pairings, environments and adhesives, each in order of registration."""
    withdrawn = fetch_withdrawn_lots(study)
    lots = tuple(lot for lot in fetch_lots(study).values() if lot.key not in withdrawn)
    adhesives, environments = fetch_adhesives(study), fetch_environments(study)
    return Choices(lots, tuple(fetch_pairings(study).values()), tuple(environments.values()), tuple(adhesives.values()))


@dataclass(frozen=True)
class Recheck:
    """What was found at an object when it was looked at again."""

    on: date
    after: str
    found: str
    note: str
    by: str


@dataclass(frozen=True)
class ObjectBook:
    """All that is on record of one object: where it stands, its displays before, and how it was found."""

    state: DisplayState
    removal: Removal | None
    earlier: tuple[tuple[DisplayState, Removal | None], ...]
    """Displays before this one, newest first, each with its removal."""
    rechecks: tuple[Recheck, ...]
    """Of this display and those before it, newest first."""
    titles: dict[str, str]
    """Pairings in words, by key."""


def object_book(study: StudyFile, object_number: str, *, on: date) -> ObjectBook:
    """Everything on record of an object.

    Raises
    ------
    Unknown
        If the object was never put on display here.
    """
    wanted = object_number.strip().lower()
    displays = [display for display in fetch_displays(study) if display.object_number.lower() == wanted]
    if not displays:
        raise Unknown(f"“{object_number}” is not in the display register.", "Check the object number, or add it first.")
    grounds, removals = gather_grounds(study), fetch_removals(study)
    newest, *before = reversed(displays)
    numbers = {display.number for display in displays}
    return ObjectBook(
        state=judge(newest, grounds, removals, on=on),
        removal=removals.get(newest.number),
        earlier=tuple((judge(display, grounds, removals, on=on), removals.get(display.number)) for display in before),
        rechecks=tuple(
            Recheck(date.fromisoformat(row["on_date"]), row["after"], row["found"], row["note"], row["by"])
            for row in fetch_rechecks(study)
            if row["display"] in numbers
        ),
        titles={key: pairing.title for key, pairing in fetch_pairings(study).items()},
    )
