"""Duties: who is in charge of what in a study."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

DUTIES = ("pulls", "readings", "decisions", "calendar", "displays")
"""What somebody can be in charge of; pulls also set by set, as “pulls of SET”."""
PULLS_OF = "pulls of "


@dataclass(frozen=True)
class Duty:
    """One duty with the person who is in charge of it."""

    duty: str
    person: str
    from_on: date
    note: str = ""


def in_charge_of_pulls(duties: Iterable[Duty], set_key: str) -> str:
    """Who pulls a set: whoever is named for it, else for all pulls, else nobody (empty)."""
    held = {duty.duty: duty.person for duty in duties}
    return held.get(f"{PULLS_OF}{set_key}", held.get("pulls", ""))
