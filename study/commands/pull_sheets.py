"""Pull, on paper: the list of the week, the bench sheet of a pull and the map of the shelves."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Mapping
from datetime import date, timedelta

from study.commands.due import due_list, in_shelf_order
from study.commands.plan_dealt import dealt_plan, made_plans
from study.errors import NotPossible, Unknown
from study.model.coupon import Coupon, role_words
from study.model.interruption import NO_STOPS
from study.model.paper import BenchSheet, ListedPull, MappedShelf, OnTheWay, PullList, SheetMethod, SheetTest, ShelfMap
from study.model.place import Place, place_words, walking_order
from study.model.plan import Plan
from study.model.protocol import Protocol
from study.model.pull import LOOK_AHEAD_DAYS, DuePull, destined_pull, window_of
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_stops
from study.store.positions import fetch_positions
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
WEEK_DAYS = 7
"""What a list is printed for: a window that opens within it is walked for too."""
ACROSS, MOST_ACROSS = 8, 16
"""Places in a row of a map where no plan says how many, and the most that paper holds."""


def bench_sheets(study: StudyFile, *, set_key: str, pull: str, plan: str = "") -> list[BenchSheet]:
    """The bench sheet of a pull of one set, of a plan's, or of every set with coupons waiting for a pull of that label.

    Parameters
    ----------
    set_key : str
        One set; empty for all.
    pull : str
        The label of a scheduled pull, such as "3 months", or "time zero".
    plan : str
        A plan that coupons were made from: its sets alone.

    Raises
    ------
    Unknown
        If there is no such set, or no coupon is destined to such a pull.
    """
    sets, protocols, titles = fetch_sets(study), fetch_protocols(study), fetch_pairings(study)
    pulled, places, stops = fetch_pulls(study), fetch_positions(study), fetch_stops(study, protocols)
    if set_key and set_key not in sets:
        raise Unknown(f"“{set_key}” is not a set.", f"Known: {', '.join(sets) or 'none yet'}.")
    own = _sets_of(study, plan) if plan else set(sets)
    waiting: dict[str, list[Coupon]] = {}
    labels: dict[str, int] = {}
    for coupon in fetch_coupons(study).values():
        label, coupon_set = destined_pull(coupon, sets[coupon.set_key]), sets[coupon.set_key]
        window = window_of(coupon_set.placed_on, protocols[coupon_set.protocol_digest].schedule, label)
        if label and window is not None:
            labels[label] = (window[0] - coupon_set.placed_on).days
        wanted = set_key in ("", coupon.set_key) and coupon.set_key in own
        if label and label == pull and wanted and coupon.code not in pulled:
            waiting.setdefault(coupon.set_key, []).append(coupon)
    if pull not in labels:
        known = ", ".join(sorted(labels, key=labels.__getitem__))
        raise Unknown(f"No coupon is destined to a pull “{pull}”.", f"Known: {known or 'none yet'}.")
    found = []
    for key, coupons in waiting.items():
        coupon_set = sets[key]
        protocol = protocols[coupon_set.protocol_digest]
        window = window_of(coupon_set.placed_on, protocol.schedule, pull, stops.get(key, NO_STOPS))
        assert window is not None, "its coupons are destined to it"
        due, first, last = window
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


def _sets_of(study: StudyFile, plan: str) -> set[str]:
    made = dealt_plan(study, plan).made
    if made is None:
        raise NotPossible(f"No coupon was made from plan {plan} yet.", "Bench sheets come once they are placed.")
    return set(made.sets)


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
    return SheetTest(title, boxes, tuple((code, place_words(places.get(code))) for code in codes))


def pull_list(study: StudyFile, *, on: date, ahead_days: int = LOOK_AHEAD_DAYS) -> PullList:
    """What is to be taken off in the week from a day on, along the shelves, what it takes, and what comes later.

    Parameters
    ----------
    ahead_days : int
        How far ahead the pulls that come later are named; nothing of them is to be taken off.
    """
    places, coupons = fetch_positions(study), fetch_coupons(study)
    sets, protocols = fetch_sets(study), fetch_protocols(study)
    ahead = max(ahead_days, WEEK_DAYS - 1)
    found = in_shelf_order(study, due_list(study, on=on, ahead_days=ahead))
    week = [pull for pull in found if pull.window_from < on + timedelta(days=WEEK_DAYS)]
    later = sorted((pull for pull in found if pull not in week), key=lambda pull: pull.window_from)
    bring: list[str] = []
    way: list[tuple[Place | None, OnTheWay]] = []
    for pull in week:
        protocol = protocols[sets[pull.set_key].protocol_digest]
        for test in dict.fromkeys(coupons[code].test for code in pull.codes):
            bring += protocol.method(test).bring
        early = f"{pull.window_from}" if pull.window_from > on else ""
        for code in pull.codes:
            place = places.get(code)
            words = f"{pull.pull_label} · {pull.set_key}"
            way.append((place, OnTheWay(f"{place[1]}" if place else "", code, words, early)))
    way.sort(key=lambda pair: walking_order(pair[0]))
    shelves: dict[str, list[OnTheWay]] = {}
    for place, one in way:
        shelves.setdefault(place[0] if place else "", []).append(one)
    return PullList(
        study_words(study), f"{on}", tuple(dict.fromkeys([*bring, *_ALWAYS])) if week else (),
        tuple(map(_listed, week)), tuple((name, tuple(on_it)) for name, on_it in shelves.items()),
        tuple(map(_listed, later)),
    )  # fmt: skip


def _listed(pull: DuePull) -> ListedPull:
    return ListedPull(
        state=pull.state, title=pull.title, set_key=pull.set_key, pull=pull.pull_label, due=f"{pull.due_on}",
        window=f"{pull.window_from} to {pull.window_to}", coupons=len(pull.codes), in_charge=pull.in_charge,
    )  # fmt: skip


def study_words(study: StudyFile) -> str:
    """Whose study it is, and that its numbers are invented where they are."""
    return ". ".join(part for part in (study.fact("institution"), study.fact("note")) if part)


def shelf_map(study: StudyFile, *, plan: str = "", across: int = 0) -> ShelfMap:
    """Every shelf with its places: number, code, and set and pull in a few words; places left empty are not shown.

    Parameters
    ----------
    plan : str
        A saved plan: its coupons alone, also before they are placed.
    across : int
        Places in a row; 0 takes what the plan says of its shelf, and 8 where no plan does.
    """
    coupons, pulled, sets = fetch_coupons(study), fetch_pulls(study), fetch_sets(study)
    rows: dict[str, list[tuple[int, str, str]]] = {}
    wide: dict[str, int] = {}
    dealt = dealt_plan(study, plan) if plan else None
    if dealt is not None and dealt.made is None:
        for row in dealt.rows:
            if row.shelf:
                words = _stands(dealt.set_of(row), row.role, row.pull)
                rows.setdefault(row.shelf, []).append((row.place, row.code, words))
                wide[row.shelf] = _across(dealt.plan)
    else:
        plan_of = {key: one for one, keys in made_plans(study) for key in keys}
        own = None if dealt is None or dealt.made is None else set(dealt.made.sets)
        for code, (shelf, place) in fetch_positions(study).items():
            key = coupons[code].set_key
            if code in pulled or (own is not None and key not in own):
                continue
            words = _stands(key, sets[key].role, destined_pull(coupons[code], sets[key]))
            rows.setdefault(shelf, []).append((place, code, words))
            if key in plan_of:
                wide.setdefault(shelf, _across(plan_of[key]))
    return ShelfMap(
        study_words(study),
        tuple(
            MappedShelf(name, across or wide.get(name, ACROSS), tuple(sorted(rows[name])))
            for name in sorted(rows, key=lambda name: walking_order((name, 0)))
        ),
    )


def _stands(set_key: str, role: str, pull: str) -> str:
    words = pull or role_words(role)
    # Sets of a plan end in what they are for; a place of the map is narrow.
    return set_key if set_key.endswith(f"-{words}") else f"{set_key} · {words}"


def _across(plan: Plan) -> int:
    """Places along a plan's shelf."""
    along = plan.shelf.places // plan.shelf.rows
    return along if along <= MOST_ACROSS else ACROSS
