"""Register, amendments: a new version of a protocol for sets that are under way, and what it judges differently."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from study.commands.moved import Moved, as_if, durations_moved, touched
from study.commands.told import amendment_words
from study.errors import NotPossible, Unknown
from study.intake.protocol_file import known_protocols, parse_protocol, parse_protocol_text
from study.model.coupon import CouponSet
from study.model.person import Signature
from study.model.protocol import Protocol, criteria_changed
from study.store.amendments import count_readings_seen, fetch_amendments, save_amendments
from study.store.coupons import fetch_coupons
from study.store.protocols import fetch_protocols, freeze_protocol
from study.store.pulls import fetch_pulls
from study.store.register import fetch_poolings, fetch_sets
from study.store.study_file import StudyFile

AMEND_ACT = "Amending a protocol"
"""What needs a reason, as a refusal says it."""


@dataclass(frozen=True)
class Amended:
    """What an amendment does, or did."""

    sets: tuple[str, ...]
    """What is amended together: of each pairing all sets under the protocol, whatever their lot."""
    before: str
    """Key and version of the protocol until now."""
    after: str
    readings_seen: int
    changed: tuple[str, ...]
    """What is judged differently, in sentences; empty where only methods, schedule or words differ."""
    apart: tuple[tuple[str, tuple[tuple[str, int], ...]], ...] = ()
    """Pairings with several lots that do not count together: each lot with its readings seen."""

    def sentences(self) -> list[str]:
        """What it means, a sentence each."""
        sets = "1 set" if len(self.sets) == 1 else f"{len(self.sets)} sets"
        told = [f"{self.before} → {self.after} for {sets}: {', '.join(self.sets)}."]
        for pairing, lots in self.apart:
            seen = ", ".join(f"{lot} ({_readings(count)} seen)" for lot, count in lots)
            told.append(
                f"The lots of {pairing} do not count together, and the new version judges each of them: {seen}."
            )
        if not self.changed:
            return [*told, "Nothing is judged differently: only methods, pulls or words differ."]
        told += [f"Judged differently: {line}." for line in self.changed]
        if not self.readings_seen:
            return [*told, "No reading has been seen yet."]
        have = "has" if self.readings_seen == 1 else "have"
        return [
            *told,
            f"{_readings(self.readings_seen)} {have} been seen already: what is changed stands beside every estimate "
            "and decision of these sets for good.",
        ]


def _readings(count: int) -> str:
    return "1 reading" if count == 1 else f"{count} readings"


def amend_protocol(
    study: StudyFile,
    subject: str,
    protocol: str | Path,
    *,
    content: str | None = None,
    from_on: date,
    signature: Signature,
) -> Amended:
    """Judge the sets of a pairing, of a set's pairing, or of a whole protocol by a new version of their protocol.

    Decisions made before still recompute by the version of their time. What is judged differently stands beside
    every estimate of the pairing for good, with how many readings had been seen.

    Parameters
    ----------
    subject : str
        Key of a pairing, of a set, or of a protocol, which means every set under it.
    protocol : str or Path
        A TOML file, or the key of a protocol that comes with Dwellbook.
    content : str
        Text of the file where it is not on disk; ``protocol`` is then its name.
    from_on : date
        The day it holds from; not in the future, since evidence is judged by it from now on.

    Raises
    ------
    NotPossible
        Without a reason; for another protocol's file; if a coupon is destined to a test or a waiting one to a pull
        that the new version does not know; if the same version number stands for another text already.
    """
    signature.need_reason(AMEND_ACT)
    _not_ahead(from_on, signature.at.date())
    new = _parsed(protocol, content)
    with study.writing():
        together, old, seen = _meant(study, subject, new)
        done = _amended(study, together, old, new, seen)
        after = {
            "sets": list(done.sets), "version": new.version, "digest": new.digest(), "from": from_on,
            "readings_seen": done.readings_seen, "judged_differently": list(done.changed),
        }  # fmt: skip
        before = {"version": old.version, "digest": together[0].protocol_digest}
        with study.change(signature, act="amend protocol", subject=subject, before=before, after=after) as change:
            digest = freeze_protocol(study, new, change=change)
            save_amendments(study, seen, digest=digest, from_on=from_on, change=change)
    return done


def foresee_amendment(
    study: StudyFile, subject: str, protocol: str | Path, *, content: str | None = None, from_on: date, today: date
) -> Amended:
    """What an amendment would do; nothing is written. Refused for what would be refused."""
    _not_ahead(from_on, today)
    new = _parsed(protocol, content)
    with study.snapshot():
        together, old, seen = _meant(study, subject, new)
        return _amended(study, together, old, new, seen)


def amendment_moves(
    study: StudyFile,
    subject: str,
    protocol: str | Path,
    *,
    content: str | None = None,
    from_on: date,
    signature: Signature,
) -> list[Moved]:
    """Which durations an amendment would move, of pairings that were read; nothing is written."""
    signed = signature.because("only looked")
    pairs = as_if(
        study, lambda: amend_protocol(study, subject, protocol, content=content, from_on=from_on, signature=signed)
    )
    return durations_moved(study, touched(pairs))


def amendments_told(study: StudyFile) -> list[tuple[str, str]]:
    """Amendments on record, newest first: the pairing, or the sets of blanks, and what was judged differently."""
    protocols = fetch_protocols(study)
    found = [
        (one.pairing or ", ".join(one.set_keys), amendment_words(one, protocols)) for one in fetch_amendments(study)
    ]
    return found[::-1]


def _not_ahead(from_on: date, today: date) -> None:
    if from_on > today:
        raise NotPossible(f"{from_on} lies ahead.", "Amend it on the day the new version begins to hold.")


def _parsed(protocol: str | Path, content: str | None) -> Protocol:
    # An empty text is a text: a page hands over a name that somebody typed, which must never be opened as a path.
    if content is not None:
        return parse_protocol_text(content, name=str(protocol))
    known = known_protocols()
    return parse_protocol(known[str(protocol)] if str(protocol) in known else Path(protocol))


def _meant(study: StudyFile, subject: str, new: Protocol) -> tuple[list[CouponSet], Protocol, dict[str, int]]:
    """The sets that are amended together, the version they stand under, and the readings seen of each."""
    together, protocols = _together(study, fetch_sets(study), subject), fetch_protocols(study)
    old = protocols[together[0].protocol_digest]
    _check(study, together, protocols, old, new)
    return together, old, count_readings_seen(study, [one.key for one in together])


def _amended(
    study: StudyFile, together: list[CouponSet], old: Protocol, new: Protocol, seen: dict[str, int]
) -> Amended:  # fmt: skip
    pooled = fetch_poolings(study)
    lots: dict[str, dict[str, int]] = {}
    for one in together:
        if one.pairing and one.pairing not in pooled:
            of = lots.setdefault(one.pairing, {})
            of[one.lot] = of.get(one.lot, 0) + seen[one.key]
    return Amended(
        tuple(one.key for one in together), f"{old.key} {old.version}", f"{new.key} {new.version}",
        sum(seen.values()), tuple(criteria_changed(old, new)),
        tuple((pairing, tuple(of.items())) for pairing, of in lots.items() if len(of) > 1),
    )  # fmt: skip


def _together(study: StudyFile, sets: dict[str, CouponSet], subject: str) -> list[CouponSet]:
    """Sets that are amended together: those of a pairing under one protocol, of a set's pairing, or of a protocol.

    A protocol speaks of the surface, not of a lot: what is amended is judged alike for every lot of the pairing.
    """
    key = subject.strip()
    registered = fetch_sets(study, as_registered=True)
    named = {one.key.upper(): one for one in registered.values()}
    pairing = key.upper()
    if key.upper() in named:
        one = named[key.upper()]
        if not one.pairing:
            return [sets[one.key]]
        alike = [s for s in registered.values() if (s.pairing, s.protocol_digest) == (one.pairing, one.protocol_digest)]
        return [sets[s.key] for s in alike]
    protocols = fetch_protocols(study)
    under = [s for s in sets.values() if protocols[s.protocol_digest].key.upper() == key.upper()]
    if under:
        return _under_one(under, {s.key: s.protocol_digest for s in under}, f"protocol {key}", "versions of it")
    alike = [s for s in registered.values() if s.pairing == pairing]
    if not alike:
        keys = ", ".join(dict.fromkeys(protocols[s.protocol_digest].key for s in sets.values()))
        what = f"“{subject}” is neither a pairing, a coupon set nor a protocol of this study."
        raise Unknown(what, f"Known protocols: {keys or 'none yet'}; known sets: {', '.join(sets) or 'none yet'}.")
    first = {s.key: s.protocol_digest for s in alike}
    return _under_one([sets[s.key] for s in alike], first, pairing, "protocols")


def _under_one(found: list[CouponSet], digests: dict[str, str], named: str, what: str) -> list[CouponSet]:
    if len(set(digests.values())) > 1:
        first = {digest: key for key, digest in reversed(digests.items())}
        raise NotPossible(
            f"The sets of {named} stand under {len(first)} {what}.",
            f"Amend them one by one, by a set: {', '.join(reversed(first.values()))}.",
        )
    return found


def _check(
    study: StudyFile, together: list[CouponSet], protocols: dict[str, Protocol], old: Protocol, new: Protocol
) -> None:
    digest = new.digest()
    if digest == together[0].protocol_digest:
        raise NotPossible(f"{new.key} {new.version} holds for them already.", "Nothing is left to do.")
    if new.key != old.key:
        raise NotPossible(
            f"The file holds the protocol {new.key}; these sets stand under {old.key}.",
            "An amendment is a new version of the same protocol; for another one register other sets.",
        )
    for held, other in protocols.items():
        if held != digest and (other.key, other.version) == (new.key, new.version):
            raise NotPossible(
                f"Version {new.version} of {new.key} is another text in this study.", "Give the new text a new version."
            )
    pulled, keys = fetch_pulls(study), {one.key: one for one in together}
    tests, pulls = {test.method for test in new.tests}, {pull.label for pull in new.schedule.pulls}
    lost_tests, lost_pulls = set(), set()
    for coupon in fetch_coupons(study).values():
        if coupon.set_key in keys:
            lost_tests |= {coupon.test} - tests
            if coupon.pull_label and coupon.code not in pulled:
                lost_pulls |= {coupon.pull_label} - pulls
    if lost_tests or lost_pulls:
        what = [f"test {name}" for name in sorted(lost_tests)] + [f"pull “{name}”" for name in sorted(lost_pulls)]
        raise NotPossible(
            f"The new version does not know {', '.join(what)}, to which coupons of these sets are destined.",
            "Keep it in the new version; a test or pull may be added at any time.",
        )
