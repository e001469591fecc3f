"""Pull: what is due on a day, and what left its placement and how."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from study.commands.at_shelf import kinds_read, outside_windows, stops_of
from study.commands.bench import code_of
from study.commands.due import due_list, in_shelf_order
from study.commands.pull_effects import Effect, effect_of, kept_as
from study.errors import NotPossible
from study.intake.pull_file import OPTIONAL, REQUIRED, Placement, parse_pulls
from study.intake.table_file import Row, Table, parse_table
from study.model.coupon import tidy_code
from study.model.own_mark import tidy_mark
from study.model.person import Signature
from study.model.pull import BACK, KEPT, LOOK_AHEAD_DAYS, DuePull, PullEvent
from study.model.reading import REPEATED
from study.store.changes import refuse_same_file
from study.store.coupons import fetch_coupons, fetch_marks
from study.store.protocols import fetch_protocol
from study.store.pulls import fetch_pull_trail, fetch_pulls, save_pulls, supersede_pull
from study.store.readings import fetch_in_force
from study.store.register import fetch_sets
from study.store.replannings import fetch_replannings
from study.store.study_file import StudyFile

FIND_ACT, CORRECT_ACT, UNDO_ACT = "Finding a coupon", "Correcting a pull", "Taking a pull back"
"""What needs a reason, as a refusal says it."""


def due_pulls(
    study: StudyFile, *, on: date, ahead_days: int = LOOK_AHEAD_DAYS, shelf_order: bool = False
) -> list[DuePull]:
    """Pulls overdue, due, or beginning within ``ahead_days``; oldest first, or in the order of the shelf."""
    found = due_list(study, on=on, ahead_days=ahead_days)
    return in_shelf_order(study, found) if shelf_order else found


def pull_effect(study: StudyFile, typed: str, kind: str, *, on: date) -> Effect:
    """What an act on one coupon does to the analysis, said before it is done: lost, damaged, found again, …"""
    with study.snapshot():
        code = code_of(study, typed)
        coupons = fetch_coupons(study)
        coupon = coupons[code]
        coupon_set = fetch_sets(study)[coupon.set_key]
        effect = effect_of(
            coupon,
            kind,
            on=on,
            coupon_set=coupon_set,
            protocol=fetch_protocol(study, coupon_set.protocol_digest),
            shelf=[c for c in coupons.values() if c.set_key == coupon.set_key],
            pulled=fetch_pulls(study),
            stops=stops_of(study, coupon_set),
        )
        taken = [one for one in fetch_replannings(study).values() if one.missing == code]
    if kind not in (BACK, KEPT) or not taken:
        return effect
    words = (
        f"{taken[0].code} has taken its place at {taken[0].pull_label} meanwhile, and keeps it unless you take it back."
    )
    return replace(effect, sentences=(*effect.sentences, words))


def recorded_pulls(study: StudyFile, *, newest: int = 100) -> list[tuple[PullEvent, dict[str, Any]]]:
    """Pulls in force, the latest entered first, each with who entered it and when."""
    return fetch_pull_trail(study, newest=newest)


def import_pulls(study: StudyFile, path: Path, *, signature: Signature) -> list[PullEvent]:
    """Every pull of a file; all or nothing.

    Raises
    ------
    FileRefused
        With every problem of the file.
    """
    return _save(study, parse_table(path, required=REQUIRED, optional=OPTIONAL), signature, path)


def record_pulls(
    study: StudyFile, codes: list[str], *, kind: str, on: date, last_seen: str = "", note: str = "",
    deviation: str | None = None, signature: Signature,
) -> list[PullEvent]:  # fmt: skip
    """Coupons that left their placement on a day: pulled, lost, damaged, released by itself, pulled in error.

    Parameters
    ----------
    deviation : str, optional
        Where given, coupons pulled outside their window need it, and it is noted with them alone; an empty one is
        refused for them. Without it windows are not asked about, as for a file of old pulls.
    """
    late: set[str] = set()
    if deviation is not None and kind == "pulled":
        marks, known = fetch_marks(study), fetch_coupons(study)
        tidied = [(tidy_code(code), tidy_mark(code)) for code in codes]
        codes = [code if code in known else marks.get(mark, code) for code, mark in tidied]
        outside = outside_windows(study, codes, on=on)
        late = {code for group in outside for code in group.codes}
        if outside and not deviation.strip():
            what = " ".join(group.words(on) for group in outside)
            raise NotPossible(f"{what} A deviation note is needed.", "Say what happened and why, in one sentence.")
    notes = {code: f"{note} Deviation: {(deviation or '').strip()}".strip() for code in late}
    rows = tuple(
        Row(
            0,
            {
                "coupon": code, "on": on.isoformat(), "as": kind, "last_seen_on": last_seen,
                "note": notes.get(code, note),
            },
        )
        for code in codes
    )  # fmt: skip
    return _save(study, Table("pull", "", (*REQUIRED, *OPTIONAL), rows), signature)


def _save(study: StudyFile, table: Table, signature: Signature, path: Path | None = None) -> list[PullEvent]:
    with study.writing():
        if path is not None:
            refuse_same_file(study, table.digest, path)
        events = parse_pulls(table, known=_placements(study), marks=fetch_marks(study), today=signature.at.date())
        after = {"file_sha256": table.digest, "coupons": [event.code for event in events]}
        subject = table.file if len(events) > 1 else events[0].code
        with study.change(signature, act="record pulls", subject=subject, after=after) as change:
            save_pulls(study, events, change=change)
    return events


def _placements(study: StudyFile) -> dict[str, Placement]:
    sets, pulled = fetch_sets(study), fetch_pulls(study)
    coupons = fetch_coupons(study).values()
    by = {event.code: f"{who['by']}, {who['at'][:10]}" for event, who in fetch_pull_trail(study)}
    return {
        coupon.code: Placement(sets[coupon.set_key].placed_on, pulled.get(coupon.code), by.get(coupon.code, ""))
        for coupon in coupons
    }


def undo_pull(study: StudyFile, typed: str, *, seen: PullEvent | None = None, signature: Signature) -> PullEvent:
    """Take a pull back that was recorded by mistake; it stays in the trail. Refused while the coupon has readings."""
    with study.writing():
        event = _in_force(study, typed, signature, UNDO_ACT, seen)
        read = kinds_read(study, event.code)
        if read:
            raise NotPossible(
                f"{event.code} has been read ({', '.join(read)}).",
                "If only the day is wrong, correct the pull; if the coupon is wrong, take its readings back first.",
            )
        before = {"kind": event.kind, "on": event.on}
        with study.change(signature, act="take pull back", subject=event.code, before=before) as change:
            supersede_pull(study, event.code, change=change)
    return event


def correct_pull(
    study: StudyFile, typed: str, *, on: date, kind: str = "", last_seen: str = "", seen: PullEvent | None = None,
    signature: Signature,
) -> tuple[PullEvent, PullEvent]:  # fmt: skip
    """Supersede a pull whose day or kind is wrong, with a reason; readings stay and must not lie before it."""
    with study.writing():
        old = _in_force(study, typed, signature, CORRECT_ACT, seen)
        cells = {"coupon": old.code, "on": on.isoformat(), "as": kind or old.kind, "note": old.note}
        held = old.last_seen_on.isoformat() if old.last_seen_on else ""
        if cells["as"] == "released by itself":
            cells["last_seen_on"] = last_seen or held
        placement = Placement(_placements(study)[old.code].placed_on, None)
        table = Table(old.code, "", tuple(cells), (Row(0, cells),))
        (new,) = parse_pulls(table, known={old.code: placement}, today=signature.at.date())
        early = [
            r.kind
            for r in fetch_in_force(study, old.code).values()
            if r.kind not in ("colour_before", *REPEATED) and r.read_on < on
        ]
        if early:
            raise NotPossible(
                f"{', '.join(early)} of {old.code} was read before {on}.", "Check the day, or correct those."
            )
        before, after = {"kind": old.kind, "on": old.on}, {"kind": new.kind, "on": new.on}
        with study.change(signature, act="correct pull", subject=old.code, before=before, after=after) as change:
            supersede_pull(study, old.code, change=change)
            save_pulls(study, [new], change=change)
    return old, new


def find_coupon(
    study: StudyFile, typed: str, *, in_place: bool, on: date, seen: PullEvent | None = None, signature: Signature
) -> tuple[PullEvent, PullEvent | None]:
    """A lost coupon was found: still in its placement, or out of it and kept with its real age.

    Parameters
    ----------
    in_place : bool
        The loss is taken back and the coupon waits for its pull again; otherwise it stays pulled, inside its own
        window as pulled, else as pulled in error.
    on : date
        The day it left its placement, if it is not in it.
    seen : PullEvent, optional
        The record as it was shown; refused if somebody else changed it meanwhile.

    Returns
    -------
    tuple of PullEvent and PullEvent or None
        The loss that is superseded, and what stands now.
    """
    with study.writing():
        old = _in_force(study, typed, signature, FIND_ACT, seen)
        if old.kind != "lost":
            raise NotPossible(f"{old.code} is not lost: {old.kind} on {old.on}.", "Correct that record instead.")
        new = None
        if not in_place:
            coupon = fetch_coupons(study)[old.code]
            coupon_set = fetch_sets(study)[coupon.set_key]
            protocol = fetch_protocol(study, coupon_set.protocol_digest)
            cells = {
                "coupon": old.code,
                "on": on.isoformat(),
                "as": kept_as(coupon, coupon_set, protocol, stops_of(study, coupon_set), on=on),
            }
            cells["note"] = f"Found again: {signature.why.strip()}"
            placement = Placement(coupon_set.placed_on, None)
            table = Table(old.code, "", tuple(cells), (Row(0, cells),))
            (new,) = parse_pulls(table, known={old.code: placement}, today=signature.at.date())
        before = {"kind": old.kind, "on": old.on}
        after = {"kind": new.kind, "on": new.on} if new else None
        with study.change(signature, act="find coupon", subject=old.code, before=before, after=after) as change:
            supersede_pull(study, old.code, change=change)
            save_pulls(study, [new] if new else [], change=change)
    return old, new


def _in_force(study: StudyFile, typed: str, signature: Signature, act: str, seen: PullEvent | None) -> PullEvent:
    pulled = fetch_pulls(study)
    code = code_of(study, typed)
    if code not in pulled:
        raise NotPossible(f"{code} has no recorded pull.", "Nothing is left to do.")
    if seen is not None and pulled[code] != seen:
        now, by = pulled[code], {event.code: who["by"] for event, who in fetch_pull_trail(study)}[code]
        what = f"{by} changed this record meanwhile: {code} is {now.kind} on {now.on} now."
        raise NotPossible(what, "Nothing was written. Look at it again, then decide.")
    signature.need_reason(act)
    return pulled[code]
