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
    return _save(study, parse_table(path, required=REQUIRED, optional=OPTIONAL), signature)


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


def _save(study: StudyFile, table: Table, signature: Signature) -> list[PullEvent]:
    sets, pulled = fetch_sets(study), fetch_pulls(study)
    known = {
        code: Placement(sets[coupon.set_key].placed_on, pulled.get(code))
        for code, coupon in fetch_coupons(study).items()
    }
    events = parse_pulls(table, known=known, today=signature.at.date())
    after = {"file_sha256": table.digest, "coupons": len(events), "kinds": sorted({event.kind for event in events})}
    subject = table.file if len(events) > 1 else events[0].code
    with study.change(signature, act="record pulls", subject=subject, after=after) as change:
        save_pulls(study, events, change=change)
    return events


def undo_pull(study: StudyFile, typed: str, *, signature: Signature) -> PullEvent:
    """Take a pull back that was recorded by mistake; it stays in the trail. Refused once the coupon has been read."""
    pulled = fetch_pulls(study)
    try:
        code = parse_code(typed, known=fetch_coupons(study))
    except CellFault as fault:
        raise Unknown(f"“{typed}” {fault.what}", fault.do) from None
    if code not in pulled:
        raise NotPossible(f"{code} has no recorded pull.", "Nothing is left to do.")
    read = [kind for kind in fetch_in_force(study, code) if kind != "colour_before"]
    if read:
        raise NotPossible(
            f"{code} has been read ({', '.join(read)}).", "Correct the readings instead; the pull must have happened."
        )
    if not signature.why.strip():
        raise NotPossible("Taking a pull back needs a reason.", "Give it with --why.")
    event = pulled[code]
    before = {"kind": event.kind, "on": event.on}
    with study.change(signature, act="take pull back", subject=code, before=before) as change:
        supersede_pull(study, code, change=change)
    return event
