"""Register, status: what a withdrawn, discontinued or reformulated adhesive means for objects and for evidence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from study.commands.grounds import display_states
from study.errors import NotPossible, Unknown
from study.model.pairing import ADHESIVE_STATES, Adhesive
from study.store.register import fetch_adhesives, fetch_lots, fetch_pairings
from study.store.study_file import StudyFile

SHOWN = 12
"""Objects that are named one by one."""


@dataclass(frozen=True)
class AdhesiveStanding:
    """One adhesive with what rests on it."""

    adhesive: Adhesive
    successors: tuple[str, ...]
    """Keys of the adhesives registered as its successors."""
    pairings: tuple[str, ...]
    objects: tuple[str, ...]
    """Numbers of the objects on show that stand on a lot of it."""


def adhesives_standing(study: StudyFile, *, on: date) -> list[AdhesiveStanding]:
    """Every adhesive with its successors, its pairings and the objects that stand on it."""
    with study.snapshot():
        adhesives, lots, pairings = fetch_adhesives(study), fetch_lots(study), fetch_pairings(study)
        objects: dict[str, list[str]] = {}
        for state in display_states(study, on=on).states:
            lot = lots.get(state.display.lot)
            if lot is not None and state.state != "removed":
                objects.setdefault(lot.adhesive, []).append(state.display.object_number)
    return [
        AdhesiveStanding(
            one, tuple(other.key for other in adhesives.values() if other.successor_of == key),
            tuple(pairing.key for pairing in pairings.values() if pairing.adhesive.key == key),
            tuple(objects.get(key, ())),
        )
        for key, one in adhesives.items()
    ]  # fmt: skip


def status_effect(study: StudyFile, key: str, status: str, *, on: date) -> list[str]:
    """What a new status of an adhesive does, a sentence each; nothing is written.

    Raises
    ------
    Unknown, NotPossible
        For an adhesive or a status that is none.
    """
    found = {one.adhesive.key: one for one in adhesives_standing(study, on=on)}
    if key not in found:
        raise Unknown(f"“{key}” is not a registered adhesive.", f"Known: {', '.join(found) or 'none yet'}.")
    if status not in ADHESIVE_STATES:
        raise NotPossible(f"“{status}” is not a status.", f"Use one of {', '.join(ADHESIVE_STATES)}.")
    return status_words(found[key], status)


def status_words(one: AdhesiveStanding, status: str) -> list[str]:
    """What a status means for objects and evidence, a sentence each."""
    told = [_objects(one)]
    if status == "active":
        return told
    if status == "withdrawn":
        if one.objects:
            told.append("They lose their evidence: each stands on Today until somebody acknowledges it by name.")
    elif one.objects:
        told.append("They keep their dates: results belong to the formulation that is under them.")
    return [*told, _successors(one)]


def _objects(one: AdhesiveStanding) -> str:
    if not one.objects:
        return f"No object on show stands on {one.adhesive.name}."
    some = ", ".join(one.objects[:SHOWN])
    more = f" and {len(one.objects) - SHOWN} more" if len(one.objects) > SHOWN else ""
    objects = "1 object on show stands" if len(one.objects) == 1 else f"{len(one.objects)} objects on show stand"
    return f"{objects} on {one.adhesive.name}: {some}{more}."


def _successors(one: AdhesiveStanding) -> str:
    if one.successors:
        return (
            f"{', '.join(one.successors)} follows it: put a set of it on the same surface, environment, dots and load, "
            "and both are compared at equal dwell."
        )
    return (
        f"No successor is registered. Results of one formulation do not count for the next: register it as the "
        f"successor of {one.adhesive.key}, and put a set of it on the same surfaces to compare them."
    )
