"""Read, a whole pull: its coupons in a grid, what each is asked for, and what is read already."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from study.commands.bench import code_of
from study.commands.read_form import FormField, beside_cells, form_fields, typed_cells
from study.errors import Unknown
from study.intake.reading_columns import COLOUR_CONDITIONS, DETAIL_COLUMNS, kinds_of
from study.model.coupon import Coupon, CouponSet
from study.model.interruption import NO_STOPS, Stops, dwell_on
from study.model.protocol import Protocol
from study.model.pull import GONE_KINDS, PullEvent, pull_group
from study.model.reading import Reading
from study.store.bench import fetch_codes_of_sets, fetch_codes_pulled_on
from study.store.coupons import fetch_coupon, fetch_coupons
from study.store.interruptions import fetch_stops
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_all_in_force, fetch_kinds_read, fetch_last_typed
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class GridRow:
    """One coupon of a pull: the cells it is asked for, and what stands in them."""

    coupon: Coupon
    pull_kind: str
    pulled_on: date
    dwell_days: int
    asked: frozenset[str]
    """Columns that may be filled."""
    read: Mapping[str, str]
    """Text by column of what is in force."""
    offered: Mapping[str, str]
    """Cells filled in beforehand, such as the unit of the coupon read before."""
    missing: tuple[str, ...]
    """Kinds still to read."""


@dataclass(frozen=True)
class PullGrid:
    """The coupons of one pull with the union of what their tests ask."""

    title: str
    fields: tuple[FormField, ...]
    rows: tuple[GridRow, ...]
    waiting: int
    """Coupons destined to it that are not pulled yet."""
    gone: tuple[str, ...]
    """Lost or damaged: they can tell nothing."""


@dataclass(frozen=True)
class WaitingPull:
    """One pull of one set of which something is still to be read."""

    set_key: str
    pull: str
    title: str
    pulled_on: date
    unread: int
    first: str
    """Code of the first unread coupon."""


@dataclass(frozen=True)
class _Known:
    """What tells to which pull a coupon belongs."""

    protocols: Mapping[str, Protocol]
    stops: Mapping[str, Stops]


def _known(study: StudyFile) -> _Known:
    protocols = fetch_protocols(study)
    return _Known(protocols, fetch_stops(study, protocols))


def pull_grid(study: StudyFile, *, set_key: str = "", pull: str = "", on: date | None = None) -> PullGrid:
    """The coupons of one set and pull, or all that were pulled on one day over all sets.

    A coupon belongs to the pull it is destined to, and to the one in whose window it really fell.

    Raises
    ------
    Unknown
        If there is no such set, or nothing was pulled.
    """
    with study.snapshot():
        sets, known, pairings = fetch_sets(study), _known(study), fetch_pairings(study)
        if on is None and set_key not in sets:
            raise Unknown(f"“{set_key}” is not a coupon set.", f"Known: {', '.join(sets) or 'none yet'}.")
        codes = fetch_codes_pulled_on(study, on) if on else fetch_codes_of_sets(study, [set_key])
        coupons, pulls = fetch_coupons(study, codes), fetch_pulls(study, codes)
        chosen = [
            code for code, coupon in coupons.items()
            if on or _belongs(coupon, pulls.get(code), sets[coupon.set_key], known, pull)
        ]  # fmt: skip
        readings = fetch_all_in_force(study, chosen)
        units = _units(study, [coupons[code] for code in chosen])
        rows = [
            _row(coupons[code], pulls[code], sets, known, readings.get(code, {}), units)
            for code in chosen
            if code in pulls and pulls[code].kind not in GONE_KINDS
        ]
        fields = _union(rows, sets, known)
    if not chosen:
        where = f"on {on}" if on else f"for the pull “{pull}” of {set_key}"
        raise Unknown(f"No coupon is on file {where}.", "Look at the pulls that wait on the Read page.")
    names = {sets[row.coupon.set_key].pairing for row in rows}
    of_one = pairings[next(iter(names))].title if len(names) == 1 and "" not in names else ""
    title = f"All pulled on {on}" if on else f"{of_one or 'Coupons'}, set {set_key}, {pull or 'no scheduled pull'}"
    gone = tuple(code for code in chosen if code in pulls and pulls[code].kind in GONE_KINDS)
    return PullGrid(title, fields, tuple(rows), sum(code not in pulls for code in chosen), gone)


def waiting_pulls(study: StudyFile) -> list[WaitingPull]:
    """Pulls of which something is still to be read, longest waiting first."""
    found: dict[tuple[str, str], WaitingPull] = {}
    with study.snapshot():
        sets, known, pairings = fetch_sets(study), _known(study), fetch_pairings(study)
        pulls, read, coupons = fetch_pulls(study), fetch_kinds_read(study), fetch_coupons(study)
    for code, event in pulls.items():
        coupon = coupons[code]
        if not _missing(coupon, event, sets[coupon.set_key], known, read.get(code, ())):
            continue
        label = coupon.pull_label or _real_pull(event, sets[coupon.set_key], known)
        of = sets[coupon.set_key]
        title = pairings[of.pairing].title if of.pairing else f"blank {of.substrate}"
        new = WaitingPull(coupon.set_key, label, title, event.on, 0, code)
        so_far = found.setdefault((coupon.set_key, label), new)
        found[coupon.set_key, label] = replace(
            so_far, unread=so_far.unread + 1, pulled_on=min(so_far.pulled_on, event.on)
        )
    return sorted(found.values(), key=lambda pull: (pull.pulled_on, pull.set_key))


def next_of_pull(study: StudyFile, typed_code: str) -> str:
    """The next coupon of the same set and pull that is pulled and not fully read; empty if there is none."""
    code = code_of(study, typed_code)
    coupon = fetch_coupon(study, code)
    assert coupon is not None
    with study.snapshot():
        sets, known = fetch_sets(study), _known(study)
        codes = fetch_codes_of_sets(study, [coupon.set_key])
        coupons, pulls, read = fetch_coupons(study, codes), fetch_pulls(study, codes), fetch_kinds_read(study, codes)
    coupon_set = sets[coupon.set_key]
    own = coupon.pull_label or (_real_pull(pulls[code], coupon_set, known) if code in pulls else "")
    waiting = [
        other for other, event in pulls.items()
        if other != code and other in coupons and _belongs(coupons[other], event, coupon_set, known, own)
        and _missing(coupons[other], event, coupon_set, known, read.get(other, ()))
    ]  # fmt: skip
    order = {other: place for place, other in enumerate(coupons)}
    # On from here, then round to the beginning: tiles lie in the order in which they were registered.
    return min(waiting, key=lambda other: (order[other] < order[code], order[other]), default="")


def _belongs(coupon: Coupon, event: PullEvent | None, coupon_set: CouponSet, known: _Known, pull: str) -> bool:
    return coupon.pull_label == pull or (event is not None and _real_pull(event, coupon_set, known) == pull)


def _real_pull(event: PullEvent, coupon_set: CouponSet, known: _Known) -> str:
    schedule = known.protocols[coupon_set.protocol_digest].schedule
    return pull_group(schedule, coupon_set.placed_on, event.on, known.stops.get(coupon_set.key, NO_STOPS))


def _missing(
    coupon: Coupon, event: PullEvent, coupon_set: CouponSet, known: _Known, read: Collection[str]
) -> tuple[str, ...]:
    if event.kind in GONE_KINDS:
        return ()
    quantities = known.protocols[coupon_set.protocol_digest].quantities(coupon.test, blank=coupon_set.role == "blank")
    released = ("removal_force", "hold_angle") if event.kind == "released by itself" else ()
    return tuple(kind for kind in kinds_of(quantities) if kind not in read and kind not in released)


def _row(
    coupon: Coupon, event: PullEvent, sets: Mapping[str, CouponSet], known: _Known,
    in_force: Mapping[str, Reading], units: Mapping[tuple[str, str], str],
) -> GridRow:  # fmt: skip
    coupon_set = sets[coupon.set_key]
    protocol = known.protocols[coupon_set.protocol_digest]
    fields = form_fields(protocol, coupon.test, blank=coupon_set.role == "blank", last={})
    released = ("removal_force", "force_unit", "hold_angle_deg") if event.kind == "released by itself" else ()
    read: dict[str, str] = {}
    for reading in in_force.values():
        read |= shown_cells(reading)
    asked = frozenset(field.kind for field in fields if field.kind not in released)
    offered = {}
    if "force_unit" in asked and "removal_force" not in read:
        unit = units[coupon.set_key, coupon.test]
        offered = {"force_unit": unit} if unit else {}
    dwell_days = dwell_on(coupon_set.placed_on, event.on, known.stops.get(coupon_set.key, NO_STOPS))
    return GridRow(
        coupon, event.kind, event.on, dwell_days, asked, read, offered,
        _missing(coupon, event, coupon_set, known, in_force),
    )  # fmt: skip


def _units(study: StudyFile, coupons: Iterable[Coupon]) -> dict[tuple[str, str], str]:
    """The unit of force that was typed last, by set and test."""
    found: dict[tuple[str, str], str] = {}
    for coupon in coupons:
        if (coupon.set_key, coupon.test) not in found:
            last = fetch_last_typed(study, coupon)
            found[coupon.set_key, coupon.test] = last.get("removal_force", ("", ""))[1]
    return found


def shown_cells(reading: Reading) -> dict[str, str]:
    """The cells of a reading as they would be typed, with what stands beside it."""
    beside = beside_cells(reading)
    cells = typed_cells(reading) | {column: beside[column] for column in DETAIL_COLUMNS.get(reading.kind, ())}
    return {column: text for column, text in cells.items() if text}


def _union(rows: Iterable[GridRow], sets: Mapping[str, CouponSet], known: _Known) -> tuple[FormField, ...]:
    """What any of the tests asks, each column once, awaited ones first; colour conditions stand above a grid."""
    found: dict[str, FormField] = {}
    sets_of = [(sets[row.coupon.set_key], row.coupon.test) for row in rows]
    # In the order in which the tests come: what stands first in the grid is asked of the first coupon.
    for digest, test, blank in dict.fromkeys((one.protocol_digest, test, one.role == "blank") for one, test in sets_of):
        for field in form_fields(known.protocols[digest], test, blank=blank, last={}):
            if field.kind in COLOUR_CONDITIONS:
                continue
            before = found.get(field.kind, field)
            choices = tuple(dict.fromkeys((*before.choices, *field.choices)))
            found[field.kind] = replace(field, choices=choices, optional=before.optional and field.optional)
    return tuple(sorted(found.values(), key=lambda field: field.optional))
