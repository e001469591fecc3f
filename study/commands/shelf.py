"""Shelf: every coupon with where it stands, and what else is on record about a pairing."""

from __future__ import annotations

from dataclasses import dataclass

from study.errors import Unknown
from study.model.pairing import FRIABLE_WARNING
from study.store.coupons import fetch_coupons
from study.store.pulls import fetch_pulls
from study.store.register import fetch_notes, fetch_pairings, fetch_sets
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class ShelfLine:
    """One coupon as the shelf list shows it."""

    code: str
    set_key: str
    pairing: str
    test: str
    pull: str
    state: str


def shelf_list(study: StudyFile, *, set_key: str = "") -> list[ShelfLine]:
    """Every coupon with its set, test, pull and state, in order of registration: what tiles are labelled from."""
    sets, pulled = fetch_sets(study), fetch_pulls(study)
    if set_key and set_key not in sets:
        raise Unknown(f"“{set_key}” is not a coupon set.", f"Known: {', '.join(sets) or 'none yet'}.")
    return [
        ShelfLine(
            c.code, c.set_key, sets[c.set_key].pairing, c.test, c.pull_label,
            pulled[c.code].kind if c.code in pulled else "placed",
        )
        for c in fetch_coupons(study).values()
        if not set_key or c.set_key == set_key
    ]  # fmt: skip


def remarks(study: StudyFile, pairing_key: str) -> list[str]:
    """What else is on record about a pairing: its adhesive's status, a friable surface, notes on its parts."""
    pairing = fetch_pairings(study)[pairing_key]
    sets = [s for s in fetch_sets(study).values() if s.pairing == pairing_key]
    adhesive, found = pairing.adhesive, []
    if adhesive.status != "active":
        since = f" since {adhesive.status_on}" if adhesive.status_on else ""
        found.append(f"{adhesive.name}, formulation {adhesive.formulation_version}, is {adhesive.status}{since}.")
    if pairing.substrate.friable:
        found.append(f"{pairing.substrate.name}: {FRIABLE_WARNING}")
    about = {("adhesive", adhesive.key), ("substrate", pairing.substrate.key), ("environment", pairing.environment.key)}
    about |= {("lot", s.lot) for s in sets} | {("set", s.key) for s in sets}
    about |= {("coupon", line.code) for line in shelf_list(study) if line.pairing == pairing_key}
    notes = fetch_notes(study)
    found += [f"{n['on_date']}, {n['subject']}: {n['text']}" for n in notes if (n["about"], n["subject"]) in about]
    return found
