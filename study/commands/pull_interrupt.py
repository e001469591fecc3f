"""Pull, interruptions: a lamp or chamber out for some days, entered, taken back, and what it does to pulls."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from study.commands.moved import Moved, as_if, durations_moved, touched, turned_back
from study.errors import NotPossible, Unknown
from study.model.interruption import INTERRUPTION_KINDS, NO_STOPS, Interruption, Stops
from study.model.person import Signature
from study.model.pull import due_on
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_interruptions, fetch_stops, save_interruption, supersede_interruption
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_environments, fetch_sets
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class MovedPull:
    """One pull that still waits and falls on another day."""

    set_key: str
    pull: str
    before: date
    after: date


@dataclass(frozen=True)
class Interrupted:
    """What an interruption does, or its being taken back."""

    interruption: Interruption
    stopped: tuple[str, ...]
    """Sets whose clock stops for it."""
    running: tuple[str, ...]
    """Sets in that environment whose protocol lets the clock run: it is a remark beside their evidence."""
    moved: tuple[MovedPull, ...]

    def sentences(self, *, back: bool = False) -> list[str]:
        """What follows for dwell and pulls, a sentence each; ``back`` where it is taken back."""
        days = "1 day" if self.interruption.days == 1 else f"{self.interruption.days} days"
        told = []
        if self.stopped:
            does = f"counts these {days} again" if back else f"leaves out {days}"
            told.append(f"Dwell {does} in {_some(self.stopped)}; readings after them count at that age.")
        if self.running:
            does = "the remark beside their evidence falls away" if back else "it is remarked beside their evidence"
            told.append(f"The clock runs on in {_some(self.running)}: {does}.")
        told += [f"{moved.set_key}, {moved.pull}: due {moved.after} instead of {moved.before}." for moved in self.moved]
        return told or ["No coupon set stood there then."]


END_ACT = "Taking an interruption back"
"""What needs a reason, as a refusal says it."""
SOME = 6
"""Sets that are named one by one."""


def _some(sets: tuple[str, ...]) -> str:
    return ", ".join(sets) if len(sets) <= SOME else f"{', '.join(sets[:SOME])} and {len(sets) - SOME} more sets"


def interrupt(
    study: StudyFile, environment: str, kind: str, *, from_on: date, to_on: date, note: str = "", signature: Signature
) -> Interrupted:
    """An environment was interrupted, first and last day counted; the protocol of each set says whether dwell stops."""
    known = fetch_environments(study)
    if environment not in known:
        raise Unknown(f"“{environment}” is not an environment.", f"Known: {', '.join(known) or 'none yet'}.")
    if kind not in INTERRUPTION_KINDS:
        raise NotPossible(f"“{kind}” is not an interruption.", f"Use one of {', '.join(INTERRUPTION_KINDS)}.")
    if to_on < from_on:
        raise NotPossible(f"{to_on} is before {from_on}.", "Give the first day, then the last.")
    if to_on > signature.at.date():
        raise NotPossible(
            f"{to_on} lies ahead.", "Enter the days up to today; enter the rest when it is over, overlaps count once."
        )
    with study.writing():
        one = Interruption(environment, kind, from_on, to_on, note.strip())
        if any((o.kind, o.from_on, o.to_on) == (kind, from_on, to_on) for o in _of(study, environment)):
            raise NotPossible(f"{one.words()} is on record already.", "Nothing is left to do.")
        before = fetch_stops(study, fetch_protocols(study))
        after = {"kind": kind, "from": from_on, "to": to_on, "note": note.strip()}
        with study.change(signature, act="record interruption", subject=environment, after=after) as change:
            number = save_interruption(study, one, change=change)
        return _outcome(study, Interruption(environment, kind, from_on, to_on, one.note, number), before)


def end_interruption(study: StudyFile, number: int, *, signature: Signature) -> Interrupted:
    """Take an interruption back that was entered by mistake, with a reason; it stays in the trail."""
    with study.writing():
        found = {one.number: one for one in fetch_interruptions(study)}
        if number not in found:
            known = ", ".join(str(n) for n in found) or "none"
            raise Unknown(f"There is no interruption {number}.", f"Known: {known}.")
        signature.need_reason(END_ACT)
        one = found[number]
        before = fetch_stops(study, fetch_protocols(study))
        was = {"kind": one.kind, "from": one.from_on, "to": one.to_on}
        with study.change(signature, act="take interruption back", subject=one.environment, before=was) as change:
            supersede_interruption(study, number, change=change)
        return _outcome(study, one, before)


def foresee_interruption(
    study: StudyFile, environment: str, kind: str, *, from_on: date, to_on: date, signature: Signature
) -> Interrupted:
    """What an interruption would do to the clock and to the pulls; nothing is written."""
    return turned_back(
        study, lambda: interrupt(study, environment, kind, from_on=from_on, to_on=to_on, signature=signature)
    )  # fmt: skip


def foresee_end(study: StudyFile, number: int, *, signature: Signature) -> Interrupted:
    """What taking an interruption back would do; nothing is written, and no reason is needed to look."""
    return turned_back(study, lambda: end_interruption(study, number, signature=signature.because("only looked")))


def interruption_moves(
    study: StudyFile, environment: str, kind: str, *, from_on: date, to_on: date, signature: Signature
) -> list[Moved]:
    """Which durations move where the clock stops for days that coupons already read had dwelt; nothing is written."""
    pairs = as_if(study, lambda: interrupt(study, environment, kind, from_on=from_on, to_on=to_on, signature=signature))
    return durations_moved(study, touched(pairs))


def end_moves(study: StudyFile, number: int, *, signature: Signature) -> list[Moved]:
    """Which durations move where days count again that coupons already read had dwelt; nothing is written."""
    signed = signature.because("only looked")
    return durations_moved(study, touched(as_if(study, lambda: end_interruption(study, number, signature=signed))))


def interruptions(study: StudyFile) -> list[Interruption]:
    """Interruptions on record, in order of their first day."""
    return fetch_interruptions(study)


def _of(study: StudyFile, environment: str) -> list[Interruption]:
    return [one for one in fetch_interruptions(study) if one.environment == environment]


def _outcome(study: StudyFile, one: Interruption, before: dict[str, Stops]) -> Interrupted:
    sets, protocols, pulled = fetch_sets(study), fetch_protocols(study), fetch_pulls(study)
    after = fetch_stops(study, protocols)
    here = [s for s in sets.values() if s.environment == one.environment and s.placed_on <= one.to_on]
    stopped = [s.key for s in here if one.kind in protocols[s.protocol_digest].clock_stops_for]
    waiting = dict.fromkeys(
        (c.set_key, c.pull_label) for c in fetch_coupons(study).values() if c.pull_label and c.code not in pulled
    )
    moved = []
    for key, label in waiting:
        if key not in stopped:
            continue
        pull = next(p for p in protocols[sets[key].protocol_digest].schedule.pulls if p.label == label)
        was, now = (due_on(sets[key].placed_on, pull, stops.get(key, NO_STOPS)) for stops in (before, after))
        if was != now:
            moved.append(MovedPull(key, label, was, now))
    running = [s.key for s in here if s.key not in stopped]
    return Interrupted(one, tuple(stopped), tuple(running), tuple(sorted(moved, key=lambda m: (m.after, m.set_key))))
