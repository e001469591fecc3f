"""Register, placing: a day of placing that was entered wrong is corrected, and what becomes of ages and pulls."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from study.commands.moved import Moved, as_if, durations_moved, touched, turned_back
from study.errors import NotPossible, Unknown
from study.model.coupon import Coupon, CouponSet
from study.model.interruption import NO_STOPS, Stops
from study.model.person import Signature
from study.model.protocol import Schedule
from study.model.pull import TIME_ZERO_DAYS, PullEvent, due_on, pull_group
from study.model.reading import REPEATED
from study.store.amendments import count_readings_seen
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_stops
from study.store.placings import fetch_placings, save_placing
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_all_in_force
from study.store.register import fetch_sets
from study.store.study_file import StudyFile

PLACING_ACT = "Correcting a day of placing"
"""What needs a reason, as a refusal says it."""
OWN_AGE = "their own age (outside every window)"


@dataclass(frozen=True)
class PlacedAnew:
    """What another day of placing does to one set, or did."""

    set_key: str
    before: date
    after: date
    left: int
    """Coupons that have left their placement: their dwell is another."""
    regrouped: tuple[tuple[str, tuple[str, ...], int], ...]
    """What some of them count for now, what they counted for until now, and how many."""
    due: tuple[tuple[str, date, date], ...]
    """Pulls that still wait: label, due until now, due from now on."""
    readings_seen: int

    def sentences(self) -> list[str]:
        """What it means, a sentence each."""
        days = (self.before - self.after).days
        much = f"{abs(days)} day{'s' if abs(days) != 1 else ''} {'longer' if days > 0 else 'shorter'}"
        told = [f"{self.set_key}: placed on {self.after} instead of {self.before}, every dwell is {much}."]
        if self.left:
            coupons = "1 coupon has" if self.left == 1 else f"{self.left} coupons have"
            told.append(f"{coupons} left it already and count at that dwell, with every reading of theirs.")
        for now, was, count in self.regrouped:
            some = f"{count} of them count{'s' if count == 1 else ''}"
            told.append(f"{some} for {now} instead of {', '.join(was)}.")
        told += [f"{self.set_key}, {label}: due {after} instead of {before}." for label, before, after in self.due]
        if self.due:
            told.append("Labels and sheets printed before show the days until now: print them again.")
        if self.readings_seen:
            seen = "1 reading has" if self.readings_seen == 1 else f"{self.readings_seen} readings have"
            told.append(f"{seen} been entered already: the correction stands beside every estimate for good.")
        return told


def correct_placing(
    study: StudyFile, set_keys: Sequence[str], placed_on: date, *, seen: Mapping[str, date] | None = None,
    signature: Signature,
) -> list[PlacedAnew]:  # fmt: skip
    """Sets were really placed on another day, with a reason; decisions made before recompute by the day of their time.

    Parameters
    ----------
    seen : Mapping of str to date, optional
        The day on record by set that the person looked at; refused if somebody changed one meanwhile.

    Raises
    ------
    Unknown
        For a set that is none.
    NotPossible
        Without a reason; for a day ahead, the day on record, or a day after something that happened to its coupons;
        if a day on record is no longer the one seen.
    """
    signature.need_reason(PLACING_ACT)
    if placed_on > signature.at.date():
        raise NotPossible(f"{placed_on} lies ahead.", "Give the day on which the coupons were really placed.")
    keys = list(dict.fromkeys(key.strip() for key in set_keys if key.strip()))
    with study.writing():
        before = fetch_sets(study)
        _check_seen(study, before, keys, seen or {})
        _check_day(before, keys, placed_on)
        coupons = {code: one for code, one in fetch_coupons(study).items() if one.set_key in keys}
        pulls = fetch_pulls(study, coupons)
        _check_happened(study, before, coupons, pulls, placed_on)
        readings = count_readings_seen(study, keys)
        for key in keys:
            was = {"placed_on": before[key].placed_on}
            now = {"placed_on": placed_on, "readings_seen": readings[key]}
            with study.change(signature, act="correct placing", subject=key, before=was, after=now) as change:
                save_placing(study, key, placed_on, change=change)
        protocols = fetch_protocols(study)
        stops = fetch_stops(study, protocols)
        return [
            _outcome(
                before[key], placed_on, [one for one in coupons.values() if one.set_key == key], pulls,
                schedule=protocols[before[key].protocol_digest].schedule, stops=stops.get(key, NO_STOPS),
                readings_seen=readings[key],
            )
            for key in keys
        ]  # fmt: skip


def foresee_placing(
    study: StudyFile, set_keys: Sequence[str], placed_on: date, *, signature: Signature
) -> list[PlacedAnew]:  # fmt: skip
    """What another day of placing would do; nothing is written, and no reason is needed to look."""
    signed = signature.because("only looked")
    return turned_back(study, lambda: correct_placing(study, set_keys, placed_on, signature=signed))


def placing_moves(
    study: StudyFile, set_keys: Sequence[str], placed_on: date, *, signature: Signature
) -> list[Moved]:  # fmt: skip
    """Which durations another day of placing would move, of pairings that were read; nothing is written."""
    signed = signature.because("only looked")
    pairs = as_if(study, lambda: correct_placing(study, set_keys, placed_on, signature=signed))
    return durations_moved(study, touched(pairs))


def _group(label: str, planned: Sequence[str]) -> str:
    return label if label in planned else OWN_AGE


def _check_seen(study: StudyFile, sets: dict[str, CouponSet], keys: list[str], seen: Mapping[str, date]) -> None:
    for key in keys:
        if key in sets and seen.get(key, sets[key].placed_on) != sets[key].placed_on:
            by = {one.set_key: one.by for one in fetch_placings(study)}[key]
            what = f"{by} corrected this day meanwhile: {key} is on record as placed on {sets[key].placed_on} now."
            raise NotPossible(what, "Nothing was written. Look at it again, then decide.")


def _check_day(sets: Mapping[str, CouponSet], keys: Sequence[str], placed_on: date) -> None:
    if not keys:
        raise NotPossible("No set is named.", "Name the sets that were placed on another day.")
    for key in keys:
        if key not in sets:
            raise Unknown(f"“{key}” is not a coupon set.", f"Known: {', '.join(sets) or 'none yet'}.")
        if sets[key].placed_on == placed_on:
            raise NotPossible(f"{key} is on record as placed on {placed_on} already.", "Leave it out.")


def _check_happened(
    study: StudyFile, sets: Mapping[str, CouponSet], coupons: Mapping[str, Coupon], pulls: Mapping[str, PullEvent],
    placed_on: date,
) -> None:  # fmt: skip
    """Refuse a day before which something happened to a coupon that can only happen once it is placed."""
    happened: list[tuple[date, str]] = []
    for code, event in pulls.items():
        happened.append((event.on, f"{code} is on record as {event.kind} on {event.on}"))
        if event.last_seen_on:
            happened.append((event.last_seen_on, f"{code} was seen holding on {event.last_seen_on}"))
        of = sets[coupons[code].set_key]
        if of.role == "time-zero" and (event.on - placed_on).days > TIME_ZERO_DAYS:
            raise NotPossible(
                f"{code} of {of.key} was read as time zero on {event.on}, more than {TIME_ZERO_DAYS} day after "
                f"{placed_on}.", "Leave that set out, or correct its pull first.",
            )  # fmt: skip
    for code, readings in fetch_all_in_force(study, coupons).items():
        for reading in readings.values():
            if reading.kind in REPEATED and reading.read_on == placed_on:
                what = f"{code} was looked at in place on {placed_on}, so that it stood there before."
                raise NotPossible(what, "Check the day, or correct that look first.")
            if reading.kind != "colour_before":
                happened.append((reading.read_on, f"{code} was read on {reading.read_on}"))
    first = min(happened, default=(placed_on, ""))
    if first[0] < placed_on:
        raise NotPossible(
            f"{first[1]}, before {placed_on}.", "Check the day, or correct that pull or reading first."
        )  # fmt: skip


def _outcome(
    was: CouponSet, placed_on: date, coupons: Sequence[Coupon], pulls: Mapping[str, PullEvent], *, schedule: Schedule,
    stops: Stops, readings_seen: int,
) -> PlacedAnew:  # fmt: skip
    left = [pulls[one.code] for one in coupons if one.code in pulls]
    planned = [pull.label for pull in schedule.pulls]
    groups: dict[str, Counter[str]] = {}
    for event in left if was.role != "time-zero" else ():
        then, now = (pull_group(schedule, day, event.on, stops) for day in (was.placed_on, placed_on))
        if then != now:
            groups.setdefault(_group(now, planned), Counter())[_group(then, planned)] += 1
    order = [*planned, OWN_AGE]
    waiting = {one.pull_label for one in coupons if one.code not in pulls}
    due = [
        (pull.label, due_on(was.placed_on, pull, stops), due_on(placed_on, pull, stops))
        for pull in schedule.pulls
        if pull.label in waiting
    ]
    return PlacedAnew(
        was.key, was.placed_on, placed_on, len(left),
        tuple(
            (now, tuple(sorted(counts, key=order.index)), counts.total())
            for now, counts in sorted(groups.items(), key=lambda item: order.index(item[0]))
            if now != OWN_AGE or set(counts) != {OWN_AGE}
        ),
        tuple(due), readings_seen,
    )  # fmt: skip
