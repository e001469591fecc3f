"""At the shelf: one coupon with its pull, what a scanned code is, and what is pulled outside its window; only reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from study.commands.bench import code_of
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.model.coupon import Coupon, CouponSet, near_codes, tidy_code
from study.model.interruption import NO_STOPS, Stops
from study.model.place import place_words
from study.model.pull import PullEvent, destined_pull, window_of
from study.model.reading import REPEATED
from study.store.coupons import fetch_coupons, fetch_marks
from study.store.interruptions import fetch_stops
from study.store.positions import fetch_positions
from study.store.protocols import fetch_protocol, fetch_protocols
from study.store.pulls import fetch_pull_trail
from study.store.readings import fetch_in_force
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class CouponPull:
    """One coupon at the shelf: where it belongs, when it is due, and what is on record of it."""

    coupon: Coupon
    coupon_set: CouponSet
    pull: str
    """Label of the pull it is destined to; "time zero"; empty for a spare."""
    title: str
    due_on: date | None
    window_from: date | None
    window_to: date | None
    event: PullEvent | None
    entered_by: str
    entered_at: str
    read: tuple[str, ...]
    """Kinds of reading in force, colour before placing left out."""
    minimum: int
    place: str = ""
    """Where it stands, in words; empty where none is on record, or it has left."""


@dataclass(frozen=True)
class Outside:
    """Coupons of one set and pull that are pulled outside its window."""

    set_key: str
    pull: str
    window_from: date
    window_to: date
    codes: tuple[str, ...]

    def words(self, on: date) -> str:
        """How far outside, in one sentence."""
        late = (on - self.window_to).days
        far = f"{late} d after" if late > 0 else f"{(self.window_from - on).days} d before"
        coupons = "1 coupon" if len(self.codes) == 1 else f"{len(self.codes)} coupons"
        window = f"{self.window_from} to {self.window_to}"
        return f"{coupons} of {self.set_key}, {self.pull}: {far} the window ({window})."


@dataclass(frozen=True)
class Scan:
    """What a scanned code is, when it is not on the list that is pulled."""

    code: str
    words: str
    do: str
    near: tuple[str, ...] = ()
    other: bool = False
    """A coupon still in its placement that belongs to another pull."""


def coupon_pull(study: StudyFile, typed: str) -> CouponPull:
    """One coupon with its pull: planned, and on record."""
    code = code_of(study, typed)
    coupon = fetch_coupons(study)[code]
    coupon_set = fetch_sets(study)[coupon.set_key]
    protocol = fetch_protocol(study, coupon_set.protocol_digest)
    label, stops = destined_pull(coupon, coupon_set), stops_of(study, coupon_set)
    due, first, last = window_of(coupon_set.placed_on, protocol.schedule, label, stops) or (None, None, None)
    pairing = fetch_pairings(study).get(coupon_set.pairing)
    trail = {event.code: (event, who) for event, who in fetch_pull_trail(study)}
    event, who = trail.get(code, (None, {"by": "", "at": ""}))
    return CouponPull(
        coupon, coupon_set, label, pairing.title if pairing else f"blank {coupon_set.substrate}", due, first, last,
        event, who["by"], who["at"],
        tuple(kinds_read(study, code)), protocol.rule.minimum_coupons,
        place_words(fetch_positions(study).get(code)) if event is None else "",
    )  # fmt: skip


def own_marks(study: StudyFile) -> dict[str, str]:
    """The laboratory's own mark of every coupon that carries one, by code."""
    return {coupon.code: coupon.own_mark for coupon in fetch_coupons(study).values() if coupon.own_mark}


def outside_windows(study: StudyFile, codes: Sequence[str], *, on: date) -> list[Outside]:
    """Coupons that would be pulled outside their window on a day, by set and pull; those of no pull are left out."""
    coupons, sets, protocols = fetch_coupons(study), fetch_sets(study), fetch_protocols(study)
    stops = fetch_stops(study, protocols)
    groups: dict[tuple[str, str], list[str]] = {}
    for coupon in (coupons[code] for code in codes if code in coupons):
        label = destined_pull(coupon, sets[coupon.set_key])
        if label:
            groups.setdefault((coupon.set_key, label), []).append(coupon.code)
    found = []
    for (key, label), members in groups.items():
        schedule = protocols[sets[key].protocol_digest].schedule
        window = window_of(sets[key].placed_on, schedule, label, stops.get(key, NO_STOPS))
        assert window is not None, "a coupon's pull stands in its schedule"
        _, first, last = window
        if not first <= on <= last:
            found.append(Outside(key, label, first, last, tuple(members)))
    return found


def scan(study: StudyFile, typed: str, *, on: date) -> Scan:
    """What a code is that was scanned and is not on the list: unknown, of another pull, or off the shelf already."""
    known = fetch_coupons(study)
    try:
        code = parse_code(typed, known=known, marks=fetch_marks(study))
    except CellFault as fault:
        near = tuple(near_codes(tidy_code(typed), list(known)))
        return Scan(tidy_code(typed), f"“{typed}” {fault.what}", fault.do, near)
    one = coupon_pull(study, code)
    if one.event:
        by = f", entered by {one.entered_by}"
        words = f"{code} is off the shelf: {one.event.kind} on {one.event.on}{by}."
        return Scan(code, words, "Check the label; if that record is wrong, open the coupon and take it back.")
    if one.due_on is None:
        role = one.coupon_set.role
        return Scan(code, f"{code} is not on this list: it belongs to no pull ({role}).", "Put it back.", other=True)
    words = f"{code} is not on this list: destined to {one.pull}"
    if one.window_from and on >= one.window_from:
        return Scan(code, f"{words}, which waits too.", "Scan it on the list of all that waits, or put it back.")
    return Scan(code, f"{words}, due {one.due_on}.", "Put it back; if it came off, say so.", other=True)


def stops_of(study: StudyFile, coupon_set: CouponSet) -> Stops:
    """Interruptions of a set's dwell."""
    return fetch_stops(study, fetch_protocols(study)).get(coupon_set.key, NO_STOPS)


def kinds_read(study: StudyFile, code: str) -> list[str]:
    """Kinds of reading in force since it came off."""
    # A colour before placing, or seen in place, was read before it came off.
    return [r.kind for r in fetch_in_force(study, code).values() if r.kind not in ("colour_before", *REPEATED)]
