"""Pull: what is due on a day, and what left its placement and how."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from study.errors import NotPossible, Unknown
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.intake.pull_file import OPTIONAL, REQUIRED, Placement, parse_pulls
from study.intake.table_file import Row, Table, parse_table
from study.model.person import Signature
from study.model.pull import LOOK_AHEAD_DAYS, DuePull, PullEvent, list_due
from study.store.changes import refuse_same_file
from study.store.coupons import fetch_coupons
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls, save_pulls, supersede_pull
from study.store.readings import fetch_in_force
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile


def due_pulls(study: StudyFile, *, on: date, ahead_days: int = LOOK_AHEAD_DAYS) -> list[DuePull]:
    """Pulls that are overdue, due, or begin within ``ahead_days``, oldest due date first."""
    pulled = fetch_pulls(study)
    return list_due(
        [coupon for coupon in fetch_coupons(study).values() if coupon.code not in pulled],
        sets=fetch_sets(study),
        schedules={digest: protocol.schedule for digest, protocol in fetch_protocols(study).items()},
        titles={key: pairing.title for key, pairing in fetch_pairings(study).items()},
        on=on,
        ahead_days=ahead_days,
    )


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
    signature: Signature,
) -> list[PullEvent]:  # fmt: skip
    """Coupons that left their placement on a day: pulled, lost, damaged, released by itself, pulled in error."""
    rows = tuple(
        Row(0, {"coupon": code, "on": on.isoformat(), "as": kind, "last_seen_on": last_seen, "note": note})
        for code in codes
    )
    return _save(study, Table("pull", "", (*REQUIRED, *OPTIONAL), rows), signature)


def _save(study: StudyFile, table: Table, signature: Signature, path: Path | None = None) -> list[PullEvent]:
    with study.writing():
        if path is not None:
            refuse_same_file(study, table.digest, path)
        events = parse_pulls(table, known=_placements(study), today=signature.at.date())
        after = {"file_sha256": table.digest, "coupons": [event.code for event in events]}
        subject = table.file if len(events) > 1 else events[0].code
        with study.change(signature, act="record pulls", subject=subject, after=after) as change:
            save_pulls(study, events, change=change)
    return events


def _placements(study: StudyFile) -> dict[str, Placement]:
    sets, pulled = fetch_sets(study), fetch_pulls(study)
    coupons = fetch_coupons(study).values()
    return {coupon.code: Placement(sets[coupon.set_key].placed_on, pulled.get(coupon.code)) for coupon in coupons}


def undo_pull(study: StudyFile, typed: str, *, signature: Signature) -> PullEvent:
    """Take a pull back that was recorded by mistake; it stays in the trail. Refused while the coupon has readings."""
    with study.writing():
        event = _in_force(study, typed, signature, "Taking a pull back")
        read = [kind for kind in fetch_in_force(study, event.code) if kind != "colour_before"]
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
    study: StudyFile, typed: str, *, on: date, kind: str = "", last_seen: str = "", signature: Signature
) -> tuple[PullEvent, PullEvent]:
    """Supersede a pull whose day or kind is wrong, with a reason; readings stay and must not lie before it."""
    with study.writing():
        old = _in_force(study, typed, signature, "Correcting a pull")
        cells = {"coupon": old.code, "on": on.isoformat(), "as": kind or old.kind, "note": old.note}
        seen = old.last_seen_on.isoformat() if old.last_seen_on else ""
        if cells["as"] == "released by itself":
            cells["last_seen_on"] = last_seen or seen
        placement = Placement(_placements(study)[old.code].placed_on, None)
        table = Table(old.code, "", tuple(cells), (Row(0, cells),))
        (new,) = parse_pulls(table, known={old.code: placement}, today=signature.at.date())
        early = [
            r.kind for r in fetch_in_force(study, old.code).values() if r.kind != "colour_before" and r.read_on < on
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


def _in_force(study: StudyFile, typed: str, signature: Signature, act: str) -> PullEvent:
    pulled = fetch_pulls(study)
    try:
        code = parse_code(typed, known=fetch_coupons(study))
    except CellFault as fault:
        raise Unknown(f"“{typed}” {fault.what}", fault.do) from None
    if code not in pulled:
        raise NotPossible(f"{code} has no recorded pull.", "Nothing is left to do.")
    if not signature.why.strip():
        raise NotPossible(f"{act} needs a reason.", "Write why, in one sentence.")
    return pulled[code]
