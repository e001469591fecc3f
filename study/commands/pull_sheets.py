"""Pull, on paper: the list of the week, the bench sheet of a pull and the map of the shelves."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Mapping
from datetime import date

from study.commands.due import due_list
from study.errors import Unknown
from study.model.coupon import Coupon
from study.model.interruption import NO_STOPS
from study.model.paper import BenchSheet, ListedPull, PullList, SheetMethod, SheetTest, ShelfMap
from study.model.protocol import Protocol
from study.model.pull import LOOK_AHEAD_DAYS, pull_window
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_stops
from study.store.positions import Place, fetch_positions
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile

_BOXES: dict[str, tuple[str, ...]] = {
    "removal_force": ("Force, with unit",),
    "failure_pattern": ("Failure pattern, area %", "Side"),
    "residue_grade": ("Residue 0–5", "Area %", "Stain, ghost, loss", "Second rater"),
    "residue_cleaned": ("Residue after cleaning",),
    "discoloration": ("L* a* b* before", "L* a* b* after"),
    "hold_angle": ("Hold angle [°]",),
}
_ALWAYS = ("labels and a pen", "a tray for each set")
NO_SHELF: Place = ("\U0010ffff", 0)
"""Coupons without a place come last."""


def bench_sheets(study: StudyFile, *, set_key: str, pull: str) -> list[BenchSheet]:
    """The bench sheet of a pull of one set, or of every set with coupons waiting for a pull of that label.

    Parameters
    ----------
    set_key : str
        One set; empty for all.
    pull : str
        The label of a scheduled pull, such as "3 months".

    Raises
    ------
    Unknown
        If there is no such set, or no coupon is destined to such a pull.
    """
    sets, protocols, titles = fetch_sets(study), fetch_protocols(study), fetch_pairings(study)
    pulled, places, stops = fetch_pulls(study), fetch_positions(study), fetch_stops(study, protocols)
    if set_key and set_key not in sets:
        raise Unknown(f"“{set_key}” is not a set.", f"Known: {', '.join(sets) or 'none yet'}.")
    waiting: dict[str, list[Coupon]] = {}
    labels: dict[str, None] = {}
    for coupon in fetch_coupons(study).values():
        if coupon.pull_label:
            labels[coupon.pull_label] = None
        if coupon.pull_label == pull and set_key in ("", coupon.set_key) and coupon.code not in pulled:
            waiting.setdefault(coupon.set_key, []).append(coupon)
    if pull not in labels:
        raise Unknown(f"No coupon is destined to a pull “{pull}”.", f"Known: {', '.join(labels) or 'none yet'}.")
    found = []
    for key, coupons in waiting.items():
        coupon_set = sets[key]
        protocol = protocols[coupon_set.protocol_digest]
        scheduled = next(entry for entry in protocol.schedule.pulls if entry.label == pull)
        due, first, last = pull_window(coupon_set.placed_on, scheduled, stops.get(key, NO_STOPS))
        tests = list(dict.fromkeys(coupon.test for coupon in coupons))
        climate = protocol.reading_climate
        blank = coupon_set.role == "blank"
        found.append(
            BenchSheet(
                study=study_words(study),
                title=titles[coupon_set.pairing].title if coupon_set.pairing else f"blank {coupon_set.substrate}",
                set_key=key, pull=pull, due=f"{due}", window=f"{first} to {last}",
                climate=(
                    f"{climate.temperature_from_c:g} to {climate.temperature_to_c:g} °C, "
                    f"{climate.humidity_from_percent:g} to {climate.humidity_to_percent:g} % RH" if climate else ""
                ),
                methods=_methods(protocol, tests, blank=blank),
                tests=tuple(_test(protocol, test, coupons, places, f"{key} {pull}", blank=blank) for test in tests),
                order="The order was drawn for this pull and stays the same on every printing.",
            )
        )  # fmt: skip
    return found


def _methods(protocol: Protocol, tests: list[str], *, blank: bool) -> tuple[SheetMethod, ...]:
    keys: list[str] = []
    for test in tests:
        entry = next(entry for entry in protocol.tests if entry.method == test)
        keys += [entry.method, *entry.then_read]
    methods = [protocol.method(key) for key in dict.fromkeys(keys)]
    if blank:
        methods = [method for method in methods if "discoloration" in method.reads]
    return tuple(SheetMethod(method.title, method.how, method.cautions) for method in methods)


def _test(
    protocol: Protocol, test: str, coupons: list[Coupon], places: Mapping[str, Place], drawn_for: str, *, blank: bool
) -> SheetTest:
    codes = sorted(coupon.code for coupon in coupons if coupon.test == test)
    # Drawn for each pull, the same on every printing: whoever reads cannot tell a coupon by its place in line.
    random.Random(hashlib.sha256(f"{drawn_for} {test}".encode()).digest()).shuffle(codes)
    boxes = tuple(box for quantity in protocol.quantities(test, blank=blank) for box in _BOXES[quantity])
    title = protocol.method(test).title if not blank else "Blank, colour alone"
    return SheetTest(title, boxes, tuple((code, place_words(places, code)) for code in codes))


def pull_list(study: StudyFile, *, on: date, ahead_days: int = LOOK_AHEAD_DAYS) -> PullList:
    """What is to be pulled, in shelf order, and what is needed for it."""
    places, coupons = fetch_positions(study), fetch_coupons(study)
    sets, protocols = fetch_sets(study), fetch_protocols(study)
    order = {set_key: number for number, set_key in enumerate(sets)}
    listed: list[tuple[tuple[Place, int, date], ListedPull]] = []
    bring: list[str] = []
    for pull in due_list(study, on=on, ahead_days=ahead_days):
        codes = sorted(pull.codes, key=lambda code: (places.get(code, NO_SHELF), code))
        protocol = protocols[sets[pull.set_key].protocol_digest]
        for test in dict.fromkeys(coupons[code].test for code in codes):
            bring += protocol.method(test).bring
        entry = ListedPull(
            state=pull.state, title=pull.title, set_key=pull.set_key, pull=pull.pull_label, due=f"{pull.due_on}",
            window=f"{pull.window_from} to {pull.window_to}",
            coupons=tuple((code, place_words(places, code)) for code in codes),
        )  # fmt: skip
        listed.append(((places.get(codes[0], NO_SHELF), order[pull.set_key], pull.due_on), entry))
    listed.sort(key=lambda pair: pair[0])
    needed = tuple(dict.fromkeys([*bring, *_ALWAYS])) if listed else ()
    return PullList(study_words(study), f"{on}", needed, tuple(entry for _, entry in listed))


def study_words(study: StudyFile) -> str:
    """Whose study it is, and that its numbers are invented where they are."""
    return ". ".join(part for part in (study.fact("institution"), study.fact("note")) if part)


def place_words(places: Mapping[str, Place], code: str) -> str:
    """A coupon's place as it is printed: shelf and number, or empty."""
    return f"{places[code][0]} {places[code][1]}" if code in places else ""


def shelf_map(study: StudyFile) -> ShelfMap:
    """Every shelf with its places: number, code, and set and pull in a few words; places left empty are not shown."""
    coupons, pulled = fetch_coupons(study), fetch_pulls(study)
    found: dict[str, list[tuple[int, str, str]]] = {}
    for code, (shelf, place) in sorted(fetch_positions(study).items(), key=lambda entry: entry[1]):
        if code not in pulled:
            words = f"{coupons[code].set_key} · {coupons[code].pull_label or 'spare'}"
            found.setdefault(shelf, []).append((place, code, words))
    shelves = tuple((name, tuple(places)) for name, places in found.items())
    return ShelfMap(study_words(study), shelves)
