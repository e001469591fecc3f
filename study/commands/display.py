"""Display: objects on show, what was found when they came off, rechecks, and may it stay until a day."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from study.commands.grounds import Grounds, Standings, display_states, gather_grounds, ground_of, judge
from study.errors import FileRefused, NotPossible, Problem, Unknown
from study.intake.cells import CellFault, parse_side
from study.intake.display_file import REQUIRED, parse_displays
from study.intake.failure_cells import parse_pattern
from study.intake.table_file import Row, Table, parse_table
from study.model.display import Answer, Display, DisplayState, Removal, harmed_by, may_stay
from study.model.person import Signature
from study.model.protocol import RESIDUE_GRADES
from study.store.displays import (
    fetch_displays,
    fetch_removals,
    save_acknowledged,
    save_displays,
    save_rechecks,
    save_removal,
    supersede_display,
)
from study.store.register import fetch_environments, fetch_lots, fetch_pairings
from study.store.study_file import StudyFile

RECHECK_CAUSES = ("tremor", "move", "cleaning", "other")
RECHECK_FOUND = ("holds", "moved", "loose", "fallen")


def standings(study: StudyFile, *, on: date) -> Standings:
    """Where every display stands on a day, and what changed since it was last acknowledged."""
    return display_states(study, on=on)


def import_displays(study: StudyFile, path: Path, *, signature: Signature) -> list[DisplayState]:
    """Every display of a file; all or nothing.

    Raises
    ------
    FileRefused
        With every problem of the file.
    """
    return _enter(study, parse_table(path, required=REQUIRED), signature)


def add_display(study: StudyFile, cells: dict[str, str], *, signature: Signature) -> DisplayState:
    """One object put on show, typed."""
    return _enter(study, Table("display", "", tuple(cells), (Row(0, cells),)), signature)[0]


def paste_displays(study: StudyFile, rows: list[dict[str, str]], *, signature: Signature) -> list[DisplayState]:
    """Objects pasted from a spreadsheet; all or nothing, rows counted from 1."""
    numbered = tuple(Row(place, cells) for place, cells in enumerate(rows, start=1))
    return _enter(study, Table("pasted rows", "", REQUIRED, numbered), signature)


def stick_again(study: StudyFile, object_number: str, cells: dict[str, str], *, signature: Signature) -> DisplayState:
    """The same object put up anew after its removal: a new display linked to the last one.

    ``cells`` gives what differs from the last display; ``placed_on`` and ``placed_by`` are always needed.
    """
    last = find_display(study, object_number)
    if last.number not in fetch_removals(study):
        raise NotPossible(f"{object_number} is still on show.", "Record its removal first.")
    as_before = {
        "object": last.object_number, "location": last.location, "lot": last.lot,
        "object_pairing": last.object_pairing, "support_pairing": last.support_pairing,
        "environment": last.environment, "dots": str(last.dots), "dot_diameter_mm": f"{last.dot_diameter_mm:g}",
        "load_n": f"{last.load_n:g}",
    }  # fmt: skip
    table = Table("display", "", REQUIRED, (Row(0, {**as_before, **cells}),))
    return _enter(study, table, signature, follows=last.number)[0]


def _enter(study: StudyFile, table: Table, signature: Signature, *, follows: int | None = None) -> list[DisplayState]:
    removed, today = fetch_removals(study), signature.at.date()
    standing = {display.object_number for display in fetch_displays(study) if display.number not in removed}
    displays = parse_displays(
        table,
        lots=fetch_lots(study),
        pairings=fetch_pairings(study),
        environments=fetch_environments(study),
        standing=standing,
        today=today,
    )
    displays = [replace(display, follows=follows) for display in displays]
    grounds = gather_grounds(study)
    subject = table.file if len(displays) > 1 else displays[0].object_number
    after = {"file_sha256": table.digest, "objects": [display.object_number for display in displays[:50]]}
    with study.change(signature, act="put on display", subject=subject, after=after) as change:
        numbers = save_displays(study, displays, change=change)
        entered = [replace(display, number=number) for display, number in zip(displays, numbers, strict=True)]
        states = [judge(display, grounds, {}, on=today) for display in entered]
        # Whoever enters a display has seen where it stands; only what changes later needs somebody.
        save_acknowledged(study, [(state.display.number, state.basis) for state in states], change=change)
    return states


def find_display(study: StudyFile, object_number: str) -> Display:
    """The newest display of an object.

    Raises
    ------
    Unknown
        If the object was never put on display here.
    """
    found = [d for d in fetch_displays(study) if d.object_number.lower() == object_number.strip().lower()]
    if not found:
        raise Unknown(f"“{object_number}” is not in the display register.", "Check the object number, or add it first.")
    return found[-1]


def take_display_back(study: StudyFile, object_number: str, *, signature: Signature) -> Display:
    """Take back an entry that was a mistake, with a reason; it stays in the trail."""
    display = find_display(study, object_number)
    signature.need_reason("Taking an entry back")
    if display.number in fetch_removals(study):
        raise NotPossible(f"{object_number} was on show and was removed.", "Its history stays.")
    with study.change(signature, act="take display back", subject=object_number) as change:
        supersede_display(study, display.number, change=change)
    return display


def may(study: StudyFile, object_number: str, *, until: date, on: date) -> Answer:
    """Whether an object may stay up until a day: yes, no or not shown, with the reason and the date it can."""
    display = find_display(study, object_number)
    return may_stay(judge(display, gather_grounds(study), fetch_removals(study), on=on), until=until)


@dataclass(frozen=True)
class Removed:
    """What a removal did: the pairings it stopped, and the others standing on them."""

    removal: Removal
    stopped: tuple[str, ...]
    others: tuple[DisplayState, ...]


def record_removal(
    study: StudyFile,
    object_number: str,
    *,
    on: date,
    harm: bool,
    residue: str = "",
    pattern: str = "",
    side: str = "",
    force: str = "",
    tool: str = "",
    note: str = "",
    signature: Signature,
) -> Removed:
    """What was found when an object came off; one harm stops its pairing and lists the others standing on it.

    Raises
    ------
    FileRefused
        With every problem of what was typed.
    """
    display = find_display(study, object_number)
    removal = _removal(display, on, harm, residue, pattern, side, signature)
    removal = replace(removal, force=force.strip(), tool=tool.strip(), note=note.strip())
    if display.number in fetch_removals(study):
        raise NotPossible(f"{object_number} is recorded as removed already.", "Nothing was written.")
    before = {state.display.number: state for state in display_states(study, on=on).states}
    after = {"on": on, "harm": harm, "residue": removal.residue_grade, "pattern": removal.pattern, "side": removal.side}
    with study.change(signature, act="record removal", subject=object_number, after=after) as change:
        save_removal(study, removal, change=change)
    now = display_states(study, on=on).states
    newly = tuple(
        state for state in now if state.state == "stopped" and before[state.display.number].state != "stopped"
    )
    return Removed(removal, harmed_by(display, removal), newly)


def _removal(
    display: Display, on: date, harm: bool, residue: str, pattern: str, side: str, signature: Signature
) -> Removal:
    problems: list[Problem] = []
    grade: int | None = None
    low, high = RESIDUE_GRADES
    if residue.strip():
        if residue.strip().isdigit() and low <= int(residue) <= high:
            grade = int(residue)
        else:
            do = f"Write a whole grade from {low} to {high}."
            problems.append(Problem(0, "residue", residue, "is off the scale.", do))
    typed = {"pattern": pattern.strip(), "side": side.strip()}
    for name, parse in (("pattern", parse_pattern), ("side", parse_side)):
        try:
            typed[name] = parse(typed[name]) if typed[name] else ""
        except CellFault as fault:
            problems.append(Problem(0, name, typed[name], fault.what, fault.do))
    if on < display.placed_on:
        problems.append(Problem(0, "on", str(on), f"is before {display.placed_on}, when it was placed.", "Check it."))
    if on > signature.at.date():
        problems.append(Problem(0, "on", str(on), "lies ahead.", "A removal is recorded once it has happened."))
    if problems:
        raise FileRefused("removal", problems)
    return Removal(display.number, on, signature.by, harm, grade, typed["pattern"], typed["side"])


def acknowledge(study: StudyFile, numbers: Iterable[int], *, on: date, signature: Signature) -> int:
    """Somebody has seen what changed for these displays; until then Today shows them."""
    wanted = set(numbers)
    seen = [state for state in display_states(study, on=on).attention if state.display.number in wanted]
    if not seen:
        raise NotPossible("Nothing is waiting to be acknowledged there.", "Look at Today again.")
    after = {state.display.object_number: state.basis for state in seen[:50]}
    with study.change(signature, act="acknowledge", subject=f"{len(seen)} displays", after=after) as change:
        save_acknowledged(study, [(state.display.number, state.basis) for state in seen], change=change)
    return len(seen)


def recheck_list(study: StudyFile, *, on: date, pairing: str = "", location: str = "") -> list[DisplayState]:
    """Objects on show on a pairing or in a location, for a walk after a tremor, a move or a cleaning."""
    states = [state for state in display_states(study, on=on).states if state.state != "removed"]
    if pairing:
        key = pairing.strip().upper()
        states = [s for s in states if key in (s.display.object_pairing.upper(), s.display.support_pairing.upper())]
    if location:
        states = [s for s in states if s.display.location.lower() == location.strip().lower()]
    return sorted(states, key=lambda s: (s.display.location, s.display.object_number))


def record_recheck(
    study: StudyFile, object_numbers: list[str], *, on: date, after: str, found: str, note: str = "",
    signature: Signature,
) -> None:  # fmt: skip
    """What was found at objects on show when they were looked at again."""
    if after not in RECHECK_CAUSES:
        raise NotPossible(f"“{after}” is not a cause.", f"Use one of: {', '.join(RECHECK_CAUSES)}.")
    if found not in RECHECK_FOUND:
        raise NotPossible(f"“{found}” is not a finding.", f"Use one of: {', '.join(RECHECK_FOUND)}.")
    newest = {display.object_number.lower(): display for display in fetch_displays(study)}
    missing = [name for name in object_numbers if name.strip().lower() not in newest]
    if missing:
        raise Unknown(f"“{missing[0]}” is not in the display register.", "Check the object number, or add it first.")
    displays = [newest[name.strip().lower()] for name in object_numbers]
    rows = [
        {"display": display.number, "on_date": on.isoformat(), "after": after, "found": found, "note": note}
        for display in displays
    ]
    told = {"after": after, "found": found, "objects": object_numbers[:50]}
    with study.change(signature, act="recheck", subject=f"{len(rows)} displays", after=told) as change:
        save_rechecks(study, rows, change=change)


@dataclass(frozen=True)
class FieldEvidence:
    """What removals from display say beside the coupons of a pairing."""

    pairing: str
    removed: int
    unacceptable: int
    permitted: float
    chance: float
    """Probability of at least so many, were the permitted share true (exact binomial)."""
    words: str


def field_evidence(study: StudyFile, pairing: str) -> FieldEvidence:
    """Removals within the decided time at a pairing, tested against the share that the study permits."""
    from study.analysis.observed import at_least_so_many

    grounds, removals = gather_grounds(study), fetch_removals(study)
    displays = {display.number: display for display in fetch_displays(study)}
    judged = [
        removal
        for number, removal in removals.items()
        if number in displays and _within(displays[number], pairing, removal, grounds)
    ]
    bad = sum(_unacceptable(removal) for removal in judged)
    permitted = _permitted(grounds, pairing)
    chance = at_least_so_many(unacceptable=bad, seen=len(judged), share=permitted)
    if not judged:
        words = "No object has come off this pairing within its decided time yet."
    else:
        verdict = "worse than the study predicts" if chance < 0.05 else "in agreement with the study"
        words = (
            f"{bad} of {len(judged)} removals within the decided time were unacceptable, {verdict}: at most "
            f"{100 * permitted:g} % are permitted, and so many or more would be seen by chance with "
            f"{100 * chance:.2g} % probability."
        )
    return FieldEvidence(pairing, len(judged), bad, permitted, chance, words)


def _within(display: Display, pairing: str, removal: Removal, grounds: Grounds) -> bool:
    if pairing not in (display.object_pairing, display.support_pairing):
        return False
    ground = ground_of(grounds, pairing, display.lot)
    days = ground.decision.days if ground is not None and ground.decision is not None else None
    return days is not None and (removal.removed_on - display.placed_on).days <= days


def _unacceptable(removal: Removal) -> bool:
    return removal.harm or (removal.residue_grade or 0) > 2 or removal.pattern in ("SF", "CSF", "DF")


def _permitted(grounds: Grounds, pairing: str) -> float:
    ground = ground_of(grounds, pairing, "")
    if ground is None or ground.decision is None:
        return 0.10
    return float(json.loads(ground.decision.rule)["permitted_unacceptable_share"])
