"""Shelf: every coupon with where it stands, and what else is on record about a pairing."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from study.commands.told import told_of
from study.errors import Unknown
from study.intake.protocol_file import known_protocols
from study.model.coupon import CouponSet
from study.model.pairing import FRIABLE_WARNING, Adhesive, Environment, Lot, Pairing, Substrate
from study.model.particulars import PARTICULARS, Particulars
from study.store.acts import fetch_withdrawn_lots
from study.store.coupons import fetch_coupons
from study.store.particulars import fetch_particulars
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import (
    fetch_adhesives,
    fetch_environments,
    fetch_lots,
    fetch_notes,
    fetch_pairings,
    fetch_poolings,
    fetch_sets,
    fetch_substrates,
)
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


@dataclass(frozen=True)
class SetOnFile:
    """One coupon set with what it is made of."""

    coupon_set: CouponSet
    title: str
    """Adhesive on substrate; "blank" and the substrate for a blank."""
    protocol: str
    coupons: int
    placed: int
    """Coupons still in their placement."""


@dataclass(frozen=True)
class Register:
    """Everything in the register, each in order of registration."""

    adhesives: tuple[Adhesive, ...]
    lots: tuple[Lot, ...]
    withdrawn: frozenset[str]
    substrates: tuple[Substrate, ...]
    environments: tuple[Environment, ...]
    sets: tuple[SetOnFile, ...]
    pairings: tuple[Pairing, ...]
    lots_of: dict[str, tuple[str, ...]]
    """Lots by pairing."""
    pooled: frozenset[str]
    protocols: tuple[str, ...]
    """Protocols that come with Dwellbook."""
    tests: dict[str, tuple[str, ...]]
    """Tests by set."""
    pulls: dict[str, tuple[str, ...]]
    """Labels of the scheduled pulls by set."""
    particulars: dict[str, dict[str, Particulars]]
    """By what is registered, then by key."""
    coupons: int

    def count(self, kind: str) -> int:
        """How many of a kind are on file."""
        return self.coupons if kind == "coupons" else len(getattr(self, kind))


def register_book(study: StudyFile) -> Register:
    """Everything in the register, as the register's page shows it."""
    with study.snapshot():
        sets, pairings, pulled = fetch_sets(study), fetch_pairings(study), fetch_pulls(study)
        protocols, coupons = fetch_protocols(study), fetch_coupons(study)
        made, left = Counter(c.set_key for c in coupons.values()), Counter(c.set_key for c in coupons.values())
        left.subtract(coupons[code].set_key for code in pulled)
        lots_of: dict[str, tuple[str, ...]] = {}
        for s in sets.values():
            if s.pairing and s.lot not in lots_of.get(s.pairing, ()):
                lots_of[s.pairing] = (*lots_of.get(s.pairing, ()), s.lot)
        return Register(
            tuple(fetch_adhesives(study).values()),
            tuple(fetch_lots(study).values()),
            frozenset(fetch_withdrawn_lots(study)),
            tuple(fetch_substrates(study).values()),
            tuple(fetch_environments(study).values()),
            tuple(
                SetOnFile(
                    s, pairings[s.pairing].title if s.pairing else f"blank {s.substrate}",
                    protocols[s.protocol_digest].key, made[s.key], left[s.key],
                )
                for s in sets.values()
            ),
            tuple(pairings.values()),
            lots_of,
            frozenset(fetch_poolings(study)),
            tuple(known_protocols()),
            {s.key: tuple(test.method for test in protocols[s.protocol_digest].tests) for s in sets.values()},
            {s.key: tuple(pull.label for pull in protocols[s.protocol_digest].schedule.pulls) for s in sets.values()},
            {kind: fetch_particulars(study, kind) for kind in PARTICULARS},
            len(coupons),
        )  # fmt: skip


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
    """What else is on record about a pairing: its adhesive's status, notes, and what happened to it under way.

    Criteria changed after readings were seen are among it for good.
    """
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
    return found + told_of(study, pairing_key)
