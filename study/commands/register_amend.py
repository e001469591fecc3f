"""Register, amendments: a new version of a protocol for sets that are under way, and what it judges differently."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from study.errors import NotPossible, Unknown
from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.coupon import CouponSet
from study.model.person import Signature
from study.model.protocol import Protocol, criteria_changed
from study.store.amendments import count_readings_seen, save_amendments
from study.store.coupons import fetch_coupons
from study.store.protocols import fetch_protocols, freeze_protocol
from study.store.pulls import fetch_pulls
from study.store.register import fetch_sets
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Amended:
    """What an amendment did."""

    sets: tuple[str, ...]
    """What counts together is amended together."""
    before: str
    """Key and version of the protocol until now."""
    after: str
    readings_seen: int
    changed: tuple[str, ...]
    """What is judged differently, in sentences; empty where only methods, schedule or words differ."""


def amend_protocol(
    study: StudyFile, subject: str, protocol: str | Path, *, from_on: date, signature: Signature
) -> Amended:
    """Judge the sets of a pairing, or those that count together with a set, by a new version of their protocol.

    Decisions made before still recompute by the version of their time. What is judged differently stands beside
    every estimate of the pairing for good, with how many readings had been seen.

    Parameters
    ----------
    subject : str
        Key of a pairing or of a set.
    protocol : str or Path
        A TOML file, or the key of a protocol that comes with Dwellbook.
    from_on : date
        The day it holds from; not in the future, since evidence is judged by it from now on.

    Raises
    ------
    NotPossible
        Without a reason; for another protocol's file; if a coupon is destined to a test or a waiting one to a pull
        that the new version does not know; if the same version number stands for another text already.
    """
    if not signature.why.strip():
        raise NotPossible("Amending a protocol needs a reason.", "Write why, in one sentence.")
    if from_on > signature.at.date():
        raise NotPossible(f"{from_on} lies ahead.", "Amend it on the day the new version begins to hold.")
    known = known_protocols()
    new = parse_protocol(known[str(protocol)] if str(protocol) in known else Path(protocol))
    with study.writing():
        sets = fetch_sets(study)
        together = _together(study, sets, subject)
        protocols = fetch_protocols(study)
        old = protocols[together[0].protocol_digest]
        _check(study, together, protocols, old, new)
        seen = count_readings_seen(study, [one.key for one in together])
        changed = criteria_changed(old, new)
        after = {
            "sets": [one.key for one in together], "version": new.version, "digest": new.digest(), "from": from_on,
            "readings_seen": sum(seen.values()), "judged_differently": changed,
        }  # fmt: skip
        before = {"version": old.version, "digest": together[0].protocol_digest}
        with study.change(signature, act="amend protocol", subject=subject, before=before, after=after) as change:
            digest = freeze_protocol(study, new, change=change)
            save_amendments(study, seen, digest=digest, from_on=from_on, change=change)
    return Amended(
        tuple(one.key for one in together), f"{old.key} {old.version}", f"{new.key} {new.version}",
        sum(seen.values()), tuple(changed),
    )  # fmt: skip


def _together(study: StudyFile, sets: dict[str, CouponSet], subject: str) -> list[CouponSet]:
    """Sets that are amended together: those of a pairing under one protocol, or those a set counts with."""
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
    alike = [s for s in registered.values() if s.pairing == pairing]
    if not alike:
        raise Unknown(f"“{subject}” is neither a pairing nor a coupon set.", f"Known sets: {', '.join(sets)}.")
    if len({s.protocol_digest for s in alike}) > 1:
        first = {s.protocol_digest: s.key for s in reversed(alike)}
        raise NotPossible(
            f"The sets of {pairing} stand under {len(first)} protocols.",
            f"Amend them one by one, by a set: {', '.join(reversed(first.values()))}.",
        )
    return [sets[s.key] for s in alike]


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
