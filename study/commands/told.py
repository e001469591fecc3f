"""Told: what happened to a study under way and stands beside its evidence; shared by use cases that show it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date

from study.model.coupon import CouponSet
from study.model.protocol import Protocol, criteria_changed
from study.store.acts import fetch_carrying
from study.store.amendments import Amendment, fetch_amendments
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_interruptions
from study.store.placings import CorrectedPlacing, fetch_placings
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_environments, fetch_sets
from study.store.replannings import fetch_replannings
from study.store.study_file import StudyFile


def told_of(study: StudyFile, pairing: str) -> list[str]:
    """Of a pairing: criteria changed after readings were seen, corrected days of placing, interruptions, replanned
    coupons and carried results."""
    sets = {key: one for key, one in fetch_sets(study).items() if one.pairing == pairing}
    protocols = fetch_protocols(study)
    found = changed_criteria(study, pairing)
    found += _placings(study, pairing)
    found += _interruptions(study, sets, protocols)
    found += _replannings(study, sets)
    found += _carried(study, pairing)
    return found


def changed_criteria(study: StudyFile, pairing: str) -> list[str]:
    """Amendments of a pairing's protocol in words, oldest first; they stand beside every estimate and decision."""
    protocols = fetch_protocols(study)
    return [amendment_words(one, protocols) for one in fetch_amendments(study) if one.pairing == pairing]


def amendment_words(one: Amendment, protocols: Mapping[str, Protocol]) -> str:
    """One amendment: what is judged differently, from when, after how many readings, by whom and why."""
    before, after = protocols[one.before], protocols[one.after]
    changed = criteria_changed(before, after)
    seen, who = _seen(one.readings_seen), _who(one.by, one.at, one.why)
    version = f"version {before.version} → {after.version}"
    if not changed:
        return f"Protocol amended on {one.from_on}, {seen} ({version}); it judges alike. {who}"
    return f"Criteria changed on {one.from_on}, {seen}: {'; '.join(changed)} ({version}). {who}"


def _placings(study: StudyFile, pairing: str) -> list[str]:
    # The drift of blanks on the same surface in the same place is taken off this pairing's colours, pull by pull.
    sets = fetch_sets(study, as_registered=True)
    beside = {(s.protocol_digest, s.substrate, s.environment) for s in sets.values() if s.pairing == pairing}
    near = {
        key
        for key, s in sets.items()
        if s.pairing == pairing or (s.role == "blank" and (s.protocol_digest, s.substrate, s.environment) in beside)
    }
    return [placing_words(one) for one in fetch_placings(study) if one.set_key in near]


def placing_words(one: CorrectedPlacing) -> str:
    """One corrected day of placing: from when to when, after how many readings, by whom and why."""
    seen, who = _seen(one.readings_seen), _who(one.by, one.at, one.why)
    return f"{one.set_key} was placed on {one.after} instead of {one.before}, corrected {seen}. {who}"


def _seen(readings: int) -> str:
    some = "1 reading" if readings == 1 else f"{readings} readings"
    return f"after {some} had been seen" if readings else "before any reading had been seen"


def _who(by: str, at: str, why: str) -> str:
    return f"{by}, {at[:10]}: {why.rstrip('.')}."


def _interruptions(study: StudyFile, sets: Mapping[str, CouponSet], protocols: Mapping[str, Protocol]) -> list[str]:
    names = {key: one.name for key, one in fetch_environments(study).items()}
    left: dict[str, date] = {}
    pulled = fetch_pulls(study)
    open_sets = set()
    for coupon in fetch_coupons(study).values():
        if coupon.set_key in sets:
            if coupon.code in pulled:
                left[coupon.set_key] = max(left.get(coupon.set_key, date.min), pulled[coupon.code].on)
            else:
                open_sets.add(coupon.set_key)
    found = []
    for one in fetch_interruptions(study):
        touched = [
            s
            for s in sets.values()
            if s.environment == one.environment
            and s.placed_on <= one.to_on
            and (s.key in open_sets or one.from_on < left.get(s.key, date.min))
        ]
        if not touched:
            continue
        words = one.words(names[one.environment])
        stops = [one.kind in protocols[s.protocol_digest].clock_stops_for for s in touched]
        then = (
            "these days are left out of dwell"
            if all(stops)
            else "the clock of dwell ran on"
            if not any(stops)
            else "left out of dwell under one version of the protocol, not under the other"
        )
        note = f" {one.note.rstrip('.')}." if one.note else ""
        found.append(f"{words[0].upper()}{words[1:]}: {then}.{note}")
    return found


def _replannings(study: StudyFile, sets: Mapping[str, CouponSet]) -> list[str]:
    coupons, pulled = fetch_coupons(study), fetch_pulls(study)
    return [
        f"{one.code} took the place of {one.missing} at {one.pull_label} ({one.test})"
        + (f", which was {pulled[one.missing].kind}" if one.missing in pulled else "")
        + f". {_who(one.by, one.at, one.why)}"
        for one in fetch_replannings(study).values()
        if coupons[one.code].set_key in sets
    ]


def _carried(study: StudyFile, pairing: str) -> list[str]:
    found = []
    for row in fetch_carrying(study, pairing):
        bridge = json.loads(row["after"] or "{}").get("bridge", "")
        shown = f" Bridge: {bridge}" if bridge else " No bridging set stood beside it."
        who = _who(row["by"], row["at"], row["why"])
        found.append(f"Results count for {row['adhesive']} too. {who}{shown}")
    return found
