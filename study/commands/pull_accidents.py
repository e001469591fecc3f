"""Pull, accidents: a missing coupon's place given to a spare or to a coupon that can best be spared, and taken back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from study.commands.bench import code_of
from study.commands.pull_effects import effect_of
from study.errors import NotPossible
from study.model.coupon import EVIDENCE_ROLES, Coupon, CouponSet
from study.model.interruption import NO_STOPS, Stops
from study.model.person import Signature
from study.model.protocol import Protocol
from study.model.pull import PullEvent, pull_group, pull_window
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_stops
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_sets
from study.store.replannings import Replanning, fetch_replannings, save_replanning, supersede_replanning
from study.store.study_file import StudyFile

SPARE, CHANGES_PLACES, CAN_BE_SPARED = "spare", "changes places", "can be spared"

REPLAN_ACT = "Replanning a coupon"
"""What needs a reason, as a refusal says it."""


@dataclass(frozen=True)
class ReplanOption:
    """One coupon that may take a missing one's place, with what that does to both pulls."""

    code: str
    set_key: str
    kind: str
    """spare; changes places (of the pull that the missing coupon was really read at); can be spared (later pull)."""
    test: str
    """What it is destined to now."""
    pull: str
    """Empty for a spare."""
    due_on: date
    """When it would be pulled in the missing one's place; by its own placement."""
    window_from: date
    window_to: date
    gains: tuple[int, int]
    """Coupons of the test that can be read at the missing one's pull, without and with it; of all sets of
    its placement day that count together."""
    loses: tuple[int, int]
    """The same at its own pull; (0, 0) for a spare."""
    minimum: int
    """Coupons a pull needs so that a duration may reach it."""
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class ReplanOptions:
    """Which coupon may take a missing one's place, the best first."""

    missing: str
    test: str
    pull: str
    why: str
    """What became of the missing coupon."""
    options: tuple[ReplanOption, ...]
    none: str
    """Why there is no option, or empty."""
    already: str = ""
    """The coupon that has taken its place, or empty."""


@dataclass(frozen=True)
class _Room:
    """Everything that is looked at, gathered once."""

    coupons: dict[str, Coupon]
    sets: dict[str, CouponSet]
    protocols: dict[str, Protocol]
    pulled: dict[str, PullEvent]
    stops: dict[str, Stops]

    def protocol(self, coupon: Coupon) -> Protocol:
        return self.protocols[self.sets[coupon.set_key].protocol_digest]

    def readable(self, coupon: Coupon, label: str, taken: Mapping[str, Coupon]) -> int:
        """Coupons of one test that are, or can be, read at a pull, of all sets that are read there with its own.

        ``taken`` are coupons as they would be destined otherwise.
        """
        own = self.sets[coupon.set_key]
        count = 0
        for one in (taken.get(code, found) for code, found in self.coupons.items()):
            of = self.sets[one.set_key]
            if one.test != coupon.test or not _together(of, own):
                continue
            event = self.pulled.get(one.code)
            if event is None:
                count += one.pull_label == label
            elif event.kind in ("pulled", "pulled in error"):
                stops = self.stops.get(one.set_key, NO_STOPS)
                count += pull_group(self.protocol(one).schedule, of.placed_on, event.on, stops) == label
        return count


def _together(one: CouponSet, other: CouponSet) -> bool:
    """Whether two sets are read as one pull: of one pairing, lot, protocol and placement day, and both evidence."""
    parts = [(s.pairing, s.lot, s.protocol_digest, s.placed_on) for s in (one, other)]
    return one.role in EVIDENCE_ROLES and parts[0] == parts[1]


def replan_options(study: StudyFile, typed: str, *, on: date) -> ReplanOptions:
    """Coupons that may take the place of one that is missing at its pull: spares first, then the best spared.

    A spare of the same set comes before one of another; then coupons of the pull that a wrongly pulled coupon was
    really read at, which thus change places with it; then coupons of later pulls, those pulls first that have most
    over the protocol's minimum. A decision pull is never taken below it. Reads only.

    Raises
    ------
    NotPossible
        If nothing is missing: the coupon still waits, was pulled as planned, or belongs to no pull.
    """
    with study.snapshot():
        room, missing = _room(study), code_of(study, typed)
        coupon = room.coupons[missing]
        why = _missing(room, coupon)
        taken = [one.code for one in fetch_replannings(study).values() if one.missing == missing]
        options = sorted(
            (found for one in room.coupons.values() if (found := _option(room, coupon, one, on)) is not None),
            key=lambda option: _rank(room, coupon, option),
        )
    none = "" if options else _none(room, coupon, on)
    return ReplanOptions(
        missing, coupon.test, coupon.pull_label, why, tuple(options), none, taken[0] if taken else ""
    )  # fmt: skip


def foresee_replan(study: StudyFile, typed: str, with_typed: str, *, on: date) -> ReplanOption:
    """What giving a coupon the place of a missing one would do; nothing is written. Refused as it would be."""
    with study.snapshot():
        room, missing, chosen = _room(study), code_of(study, typed), code_of(study, with_typed)
        _missing(room, room.coupons[missing])
        return _chosen(room, room.coupons[missing], room.coupons[chosen], on)


def _chosen(room: _Room, missing: Coupon, one: Coupon, on: date) -> ReplanOption:
    option = _option(room, missing, one, on)
    if option is None:
        what = _why_not(room, missing, one, on) or f"{one.code} cannot take its own place."
        raise NotPossible(what, "See: dwellbook pull replan CODE.")
    return option


def replan(study: StudyFile, typed: str, with_typed: str, *, signature: Signature) -> tuple[Coupon, ReplanOption]:
    """Give a coupon the test and pull of one that is missing, with a reason; due lists and estimates follow.

    Returns
    -------
    tuple of Coupon and ReplanOption
        The chosen coupon as it is destined now, and what that does.
    """
    with study.writing():
        signature.need_reason(REPLAN_ACT)
        room, missing, chosen = _room(study), code_of(study, typed), code_of(study, with_typed)
        coupon, other = room.coupons[missing], room.coupons[chosen]
        _missing(room, coupon)
        for one in fetch_replannings(study).values():
            if one.missing == missing:
                raise NotPossible(
                    f"{one.code} took the place of {missing} already, by {one.by} on {one.at[:10]}.",
                    "Take that back first: dwellbook pull replan --undo.",
                )
        option = _chosen(room, coupon, other, signature.at.date())
        before = {"test": other.test, "pull": other.pull_label}
        after = {"test": coupon.test, "pull": coupon.pull_label, "missing": missing}
        with study.change(signature, act="replan coupon", subject=chosen, before=before, after=after) as change:
            save_replanning(study, chosen, test=coupon.test, pull_label=coupon.pull_label, change=change)
    return replace(other, test=coupon.test, pull_label=coupon.pull_label), option


def undo_replan(study: StudyFile, typed: str, *, signature: Signature) -> Replanning:
    """A replanned coupon goes back to what it was made for, with a reason; refused once it has been pulled."""
    with study.writing():
        signature.need_reason("Taking a replanning back")
        code = code_of(study, typed)
        found = fetch_replannings(study).get(code)
        if found is None:
            raise NotPossible(f"{code} has not been replanned.", "Nothing is left to do.")
        if code in fetch_pulls(study):
            raise NotPossible(f"{code} has been pulled since.", "If that is wrong, take the pull back first.")
        before = {"test": found.test, "pull": found.pull_label, "missing": found.missing}
        with study.change(signature, act="take replanning back", subject=code, before=before) as change:
            supersede_replanning(study, code, change=change)
    return found


def _room(study: StudyFile) -> _Room:
    protocols = fetch_protocols(study)
    return _Room(
        fetch_coupons(study), fetch_sets(study), protocols, fetch_pulls(study), fetch_stops(study, protocols)
    )  # fmt: skip


def _missing(room: _Room, coupon: Coupon) -> str:
    """What became of a coupon that is missing at its pull; refused where nothing is missing."""
    if not coupon.pull_label:
        raise NotPossible(f"{coupon.code} belongs to no pull.", "Nothing has to take its place.")
    event = room.pulled.get(coupon.code)
    if event is None:
        raise NotPossible(f"{coupon.code} still waits for its pull.", "Record first what became of it.")
    coupon_set = room.sets[coupon.set_key]
    stops = room.stops.get(coupon.set_key, NO_STOPS)
    group = pull_group(room.protocol(coupon).schedule, coupon_set.placed_on, event.on, stops)
    if event.kind in ("pulled", "pulled in error") and group == coupon.pull_label:
        raise NotPossible(
            f"{coupon.code} came off at its own pull ({group}, {event.on}).", "Nothing is missing at that pull."
        )
    at = f", read at {group}" if event.kind in ("pulled", "pulled in error") else ""
    return f"{event.kind} on {event.on}{at}"


def _why_not(room: _Room, missing: Coupon, one: Coupon, on: date) -> str:
    """Why a coupon cannot take the other's place, in one sentence; empty where it can."""
    event = room.pulled.get(one.code)
    if event is not None:
        return f"{one.code} is off the shelf: {event.kind} on {event.on}."
    of, other = room.sets[missing.set_key], room.sets[one.set_key]
    if other.role not in EVIDENCE_ROLES or (other.pairing, other.lot) != (of.pairing, of.lot):
        return f"{one.code} is not of the same pairing and lot as {missing.code}."
    if other.role == "time-zero":
        return f"{one.code} is a time-zero coupon: it is read on the day of placing and stands on no shelf."
    if other.protocol_digest != of.protocol_digest:
        return f"{one.code} was made under another protocol than {missing.code}."
    if one.pull_label and (one.pull_label, one.test) == (missing.pull_label, missing.test):
        return f"{one.code} is destined to that pull already."
    _, _, last = _window(room, missing, one)
    if on > last:
        return f"{one.code} is too old for the {missing.pull_label} pull: its window closed on {last}."
    kind = _kind(room, missing, one)
    if not kind:
        return f"{one.code} belongs to an earlier pull ({one.pull_label}) that would lose it."
    if kind == CAN_BE_SPARED and one.pull_label in room.protocol(one).schedule.decision_pulls:
        left = room.readable(one, one.pull_label, {one.code: replace(one, pull_label="")})
        least = room.protocol(one).rule.minimum_coupons
        if left < least:
            return (
                f"{one.code} cannot be spared: the {one.pull_label} pull, at which a decision is planned, would have "
                f"{left} {one.test} coupons, below {least}."
            )
    return ""


def _kind(room: _Room, missing: Coupon, one: Coupon) -> str:
    if not one.pull_label:
        return SPARE
    labels = [pull.label for pull in room.protocol(one).schedule.pulls]
    if labels.index(one.pull_label) > labels.index(missing.pull_label):
        return CAN_BE_SPARED
    event = room.pulled[missing.code]
    stops = room.stops.get(missing.set_key, NO_STOPS)
    placed = room.sets[missing.set_key].placed_on
    read_at = pull_group(room.protocol(missing).schedule, placed, event.on, stops)
    same = (one.set_key, one.test, one.pull_label) == (missing.set_key, missing.test, read_at)
    return CHANGES_PLACES if same and event.kind in ("pulled", "pulled in error") else ""


def _window(room: _Room, missing: Coupon, one: Coupon) -> tuple[date, date, date]:
    scheduled = next(p for p in room.protocol(one).schedule.pulls if p.label == missing.pull_label)
    return pull_window(room.sets[one.set_key].placed_on, scheduled, room.stops.get(one.set_key, NO_STOPS))


def _option(room: _Room, missing: Coupon, one: Coupon, on: date) -> ReplanOption | None:
    if one.code == missing.code or _why_not(room, missing, one, on):
        return None
    due, first, last = _window(room, missing, one)
    then = {one.code: replace(one, test=missing.test, pull_label=missing.pull_label)}
    goal = replace(missing, set_key=one.set_key)
    gains = (room.readable(goal, missing.pull_label, {}), room.readable(goal, missing.pull_label, then))
    loses = (0, 0)
    if one.pull_label:
        loses = (room.readable(one, one.pull_label, {}), room.readable(one, one.pull_label, then))
    kind, least = _kind(room, missing, one), room.protocol(one).rule.minimum_coupons
    option = ReplanOption(
        one.code, one.set_key, kind, one.test, one.pull_label, due, first, last, gains, loses, least, ()
    )
    return replace(option, sentences=tuple(_sentences(room, missing, one, option, on)))


def _sentences(room: _Room, missing: Coupon, one: Coupon, option: ReplanOption, on: date) -> list[str]:
    least = option.minimum
    placed = room.sets[one.set_key].placed_on
    other = "" if placed == room.sets[missing.set_key].placed_on else f" of what was placed on {placed}"
    told = [
        f"The {missing.pull_label} pull{other} then has {option.gains[1]} {missing.test} coupons instead of "
        f"{option.gains[0]}; {least} are needed. Due on {option.due_on}, window {option.window_from} to "
        f"{option.window_to}."
    ]
    if option.pull:
        below = f", below the {least} that carry a duration" if option.loses[1] < least else ""
        told.append(
            f"Its own pull ({option.pull}) then has {option.loses[1]} {one.test} coupons instead of "
            f"{option.loses[0]}{below}."
        )
        effect = effect_of(
            one, "lost", on=on, coupon_set=room.sets[one.set_key], protocol=room.protocol(one),
            shelf=[c for c in room.coupons.values() if c.set_key == one.set_key], pulled=room.pulled,
            stops=room.stops.get(one.set_key, NO_STOPS),
        )  # fmt: skip
        if effect.falling:
            told.append(f"There it no longer carries a decision for {', '.join(effect.falling).lower()}.")
    return told


def _rank(room: _Room, missing: Coupon, option: ReplanOption) -> tuple[int, bool, bool, int, int]:
    labels = [pull.label for pull in room.protocol(missing).schedule.pulls]
    of, other = room.sets[missing.set_key], room.sets[option.set_key]
    kinds = (SPARE, CHANGES_PLACES, CAN_BE_SPARED)
    later = -labels.index(option.pull) if option.pull else 0
    return (
        kinds.index(option.kind), other.placed_on != of.placed_on, option.test != missing.test,
        option.minimum - option.loses[1] if option.pull else 0, later,
    )  # fmt: skip


def _none(room: _Room, missing: Coupon, on: date) -> str:
    _, _, last = _window(room, missing, missing)
    if on > last:
        return (
            f"The window of the {missing.pull_label} pull closed on {last}: no coupon can be read at that age any "
            "more. The estimates go by the coupons that were read, at their real ages."
        )
    return "No coupon of its pairing, lot and protocol is free, and no later pull can spare one."
