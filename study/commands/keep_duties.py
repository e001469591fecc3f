"""Keep, duties: who is in charge of what, and a hand-over when a colleague leaves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from study.commands.due import due_list
from study.commands.estimates import Standing, gather_evidence, overtaken_decisions
from study.commands.grounds import display_states
from study.commands.waiting import Unread, unread_coupons
from study.errors import NotPossible, Unknown
from study.model.display import DisplayState, shortest_first
from study.model.duty import DUTIES, PULLS_OF, Duty
from study.model.person import Signature
from study.model.pull import DuePull
from study.store.duties import fetch_duties, save_duties
from study.store.register import fetch_sets
from study.store.study_file import StudyFile

AHEAD_DAYS = 60


@dataclass(frozen=True)
class OpenMatters:
    """What is open on a day, to be read by whoever takes over."""

    on: date
    pulls: tuple[DuePull, ...]
    """Pulls due within sixty days, overdue ones first, each with who is in charge."""
    unread: tuple[Unread, ...]
    overtaken: tuple[Standing, ...]
    objects: tuple[DisplayState, ...]
    """Objects on show of which something changed since somebody last acknowledged it."""
    held: Mapping[str, str]
    """Who is in charge, by duty."""

    def by_person(self) -> dict[str, list[str]]:
        """Everything that is open, a sentence each, by who is in charge of it; the empty name is nobody."""
        told: list[tuple[str, str]] = [
            (
                pull.in_charge,
                f"{pull.state.capitalize()}: {pull.pull_label} of {pull.set_key}, "
                f"{_counted(len(pull.codes), 'coupon')}, due {pull.due_on}.",
            )
            for pull in self.pulls
        ]
        reads, decides, shows = (self.held.get(duty, "") for duty in ("readings", "decisions", "displays"))
        told += [
            (reads, f"Pulled {one.pulled_on}, not read: {one.code} ({', '.join(one.missing)}).") for one in self.unread
        ]
        told += [(decides, one.overtaken) for one in self.overtaken]
        told += [
            (shows, f"Not acknowledged: {o.display.object_number} in {o.display.location}: {o.why}.")
            for o in self.objects
        ]
        found: dict[str, list[str]] = {}
        for person, sentence in told:
            found.setdefault(person, []).append(sentence)
        return found

    def parts(self, first: str) -> list[tuple[str, list[str]]]:
        """What is open under heads that say whose it is: of one person first, then of others, then of nobody."""
        found = self.by_person()
        names = sorted(found, key=lambda name: (name.casefold() != first.casefold(), not name, name.casefold()))
        return [(f"With {name}" if name else "With nobody yet", found[name]) for name in names]


@dataclass(frozen=True)
class HandedOver:
    """What changed hands, and what is open."""

    duties: tuple[Duty, ...]
    matters: OpenMatters


def duties(study: StudyFile) -> list[Duty]:
    """Who is in charge of what, in order of duties."""
    return fetch_duties(study)


def put_in_charge(
    study: StudyFile, duty: str, person: str, *, from_on: date, note: str = "", signature: Signature
) -> Duty:
    """A person is in charge of a duty from a day: pulls, pulls of one set, readings, decisions, calendar, displays."""
    one = Duty(_duty(study, duty), _person(person), from_on, note.strip())
    with study.writing():
        held = {found.duty: found.person for found in fetch_duties(study)}
        if held.get(one.duty) == one.person:
            raise NotPossible(f"{one.person} is in charge of {one.duty} already.", "Nothing is left to do.")
        before = {"person": held[one.duty]} if one.duty in held else None
        after = {"person": one.person, "from": from_on, "note": one.note}
        with study.change(signature, act="put in charge", subject=one.duty, before=before, after=after) as change:
            save_duties(study, [one], change=change)
    return one


def hand_over(
    study: StudyFile, from_person: str, to_person: str, *, on: date, note: str = "", signature: Signature
) -> HandedOver:
    """Every duty of one person goes to another in one change, and what is open is listed.

    Raises
    ------
    Unknown
        If the first is in charge of nothing.
    NotPossible
        If both are the same person, or no reason is given.
    """
    to = _person(to_person)
    if to.casefold() == from_person.strip().casefold():
        raise NotPossible("Both are the same person.", "Name whoever takes over.")
    signature.need_reason("A hand-over")
    with study.writing():
        every = fetch_duties(study)
        held = [one for one in every if one.person.casefold() == from_person.strip().casefold()]
        if not held:
            known = ", ".join(sorted({one.person for one in every}))
            raise Unknown(f"“{from_person}” is in charge of nothing.", f"In charge: {known or 'nobody yet'}.")
        moved = [Duty(one.duty, to, on, note.strip() or one.note) for one in held]
        after = {"person": to, "duties": [one.duty for one in moved], "from": on, "note": note.strip()}
        before = {"person": held[0].person}
        with study.change(signature, act="hand over", subject=held[0].person, before=before, after=after) as change:
            save_duties(study, moved, change=change)
    return HandedOver(tuple(moved), open_matters(study, on=on))


def open_matters(study: StudyFile, *, on: date) -> OpenMatters:
    """What is open on a day: pulls of the next sixty days, coupons not read, decisions overtaken, objects changed."""
    evidences = gather_evidence(study)
    return OpenMatters(
        on,
        tuple(due_list(study, on=on, ahead_days=AHEAD_DAYS)),
        tuple(unread_coupons(study)),
        tuple(overtaken_decisions(study, evidences)),
        tuple(shortest_first(display_states(study, on=on, evidences=evidences).attention)),
        {one.duty: one.person for one in fetch_duties(study)},
    )


def _duty(study: StudyFile, typed: str) -> str:
    duty = " ".join(typed.split())
    for known in DUTIES:
        if duty.casefold() == known:
            return known
    if duty.casefold().startswith(PULLS_OF):
        named, sets = duty[len(PULLS_OF) :], fetch_sets(study)
        found = next((key for key in sets if key.casefold() == named.casefold()), None)
        if found is None:
            raise Unknown(f"“{named}” is not a coupon set.", f"Known: {', '.join(sets) or 'none yet'}.")
        return f"{PULLS_OF}{found}"
    raise NotPossible(f"“{typed}” is not a duty.", f"Use {', '.join(DUTIES)}, or “pulls of” a set.")


def _person(typed: str) -> str:
    if not typed.strip():
        raise NotPossible("Nobody is named.", "Name the person.")
    return " ".join(typed.split())


def _counted(count: int, noun: str) -> str:
    return f"1 {noun}" if count == 1 else f"{count} {noun}s"
