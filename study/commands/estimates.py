"""Estimates by evidence: what counts together, the memo that works each out once, and the decision beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from study.commands.memo import remembered
from study.errors import Unknown
from study.model.decision import Decision, duration_text, evidence_digest
from study.model.estimate import PairingEstimate
from study.model.pairing import Pairing
from study.model.protocol import Protocol
from study.model.reading import CouponHistory
from study.store.coupons import fetch_histories
from study.store.decisions import fetch_decisions
from study.store.known import ALL_CHANGES
from study.store.placings import fetch_placing_changes
from study.store.protocols import fetch_protocols
from study.store.register import fetch_pairings, fetch_poolings, fetch_sets
from study.store.study_file import StudyFile

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Evidence:
    """The coupons that count together: one pairing and protocol, and one lot unless its lots were pooled on record."""

    key: str
    """P01; P01/A-2 for a later lot of the same pairing that is not pooled with the first."""
    pairing: Pairing
    lot: str
    protocol: Protocol
    protocol_digest: str
    histories: tuple[CouponHistory, ...]
    digest: str
    placed_anew: int = 0
    """The newest change that corrected the day on which some of them were placed; 0 without one."""

    def __hash__(self) -> int:
        return hash((self.digest, self.protocol_digest, self.pairing.substrate.faces_object))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Evidence) and (self.digest, self.protocol_digest, self.pairing.substrate) == (
            other.digest,
            other.protocol_digest,
            other.pairing.substrate,
        )


@dataclass(frozen=True)
class Analysed:
    """One body of evidence with what it says."""

    evidence: Evidence
    estimate: PairingEstimate


@dataclass(frozen=True)
class Standing:
    """One body of evidence, what it supports now, and the decision in force."""

    analysed: Analysed
    decision: Decision | None
    overtaken: str
    """One sentence if readings after the decision change its evidence, else empty."""


def stand_beside(now: Analysed, decision: Decision | None) -> Standing:
    """A body of evidence beside its decision, and in words whether it has overtaken it."""
    if decision is None or not is_overtaken(now.evidence, decision):
        return Standing(now, decision, "")
    duration = now.estimate.duration
    # Evidence that differs under another protocol may differ through it alone (its clock): both are named.
    clock = " or days left out of dwell" if now.evidence.protocol.clock_stops_for else ""
    clock += " or a corrected day of placing" if now.evidence.placed_anew > decision.change_seen else ""
    causes = [f"Newer readings{clock}"] if decision.evidence_digest != now.evidence.digest else []
    causes += ["an amended protocol"] if decision.protocol_digest != now.evidence.protocol_digest else []
    cause = " or ".join(causes)
    cause = cause[0].upper() + cause[1:]
    one = causes == ["an amended protocol"]
    said, is_now = duration_text(decision.outcome, decision.days), duration_text(duration.outcome, duration.days)
    if (decision.outcome, decision.days) == (duration.outcome, duration.days):
        verb = "leaves" if one else "leave"
        return Standing(now, decision, f"{cause} {verb} decision {decision.number} as it is: {said}.")
    verb = "changes" if one else "change"
    return Standing(now, decision, f"{cause} {verb} decision {decision.number} from {said} to {is_now}.")


def is_overtaken(evidence: Evidence, decision: Decision) -> bool:
    """Whether readings, the clock or the protocol have changed since a decision."""
    return (decision.evidence_digest, decision.protocol_digest) != (evidence.digest, evidence.protocol_digest)


def overtaken_decisions(study: StudyFile, evidences: Sequence[Evidence]) -> list[Standing]:
    """Decisions in force whose readings or protocol have changed since."""
    decisions = fetch_decisions(study)
    changed = [
        evidence
        for evidence in evidences
        if evidence.key in decisions and is_overtaken(evidence, decisions[evidence.key])
    ]
    return [stand_beside(analysed(evidence), decisions[evidence.key]) for evidence in changed]


def gather_evidence(study: StudyFile, *, change: int = ALL_CHANGES) -> list[Evidence]:
    """Every body of evidence in the study as known at a change, in order of pairings; pairings never pulled too."""
    with study.snapshot():
        return _gathered(study, change)


def _gathered(study: StudyFile, change: int) -> list[Evidence]:
    protocols, pairings, pooled = fetch_protocols(study), fetch_pairings(study), fetch_poolings(study, change=change)
    of_set: dict[str, list[CouponHistory]] = {}
    for histories in fetch_histories(study, protocols, change=change).values():
        for history in histories:
            of_set.setdefault(history.set_key, []).append(history)
    # What counts together, and its key, go by the protocol a set was registered under: an amendment changes how
    # evidence is judged, never which evidence it is, so that decisions go on finding theirs.
    in_force, registered = fetch_sets(study, change=change), fetch_sets(study, as_registered=True)
    parts: dict[str, dict[tuple[str, str], tuple[str, list[CouponHistory]]]] = {}
    for key, first in registered.items():
        if first.role in ("test", "time-zero"):
            lot = "" if first.pairing in pooled else first.lot
            group = (lot, first.protocol_digest)
            parts.setdefault(first.pairing, {}).setdefault(group, (in_force[key].protocol_digest, []))
    for key, first in registered.items():
        lot = "" if first.pairing in pooled else first.lot
        found = parts.get(first.pairing, {}).get((lot, first.protocol_digest))
        if found is not None and key in of_set:
            found[1].extend(of_set[key])
    anew = fetch_placing_changes(study, change=change)
    return [
        _evidence(pairings[pairing], group, digest, protocols, coupons, first=next(iter(groups)), anew=anew)
        for pairing, groups in sorted(parts.items())
        for group, (digest, coupons) in groups.items()
    ]


def _evidence(
    pairing: Pairing, group: tuple[str, str], digest: str, protocols: dict[str, Protocol],
    coupons: list[CouponHistory], *, first: tuple[str, str], anew: Mapping[str, int],
) -> Evidence:  # fmt: skip
    faces = pairing.substrate.faces_object
    lot, registered = group
    # What was registered first keeps the plain key for good, so that decisions find it when more joins the pairing.
    key = pairing.key + (f"/{lot}" if lot != first[0] else "")
    if registered != first[1]:
        key += f"/{protocols[registered].key} {protocols[registered].version} {registered[:6]}"
    found = evidence_digest(coupons, faces_object=faces)
    newest = max((anew.get(one, 0) for one in {coupon.set_key for coupon in coupons}), default=0)
    return Evidence(key, pairing, lot, protocols[digest], digest, tuple(coupons), found, newest)


def find_evidence(study: StudyFile, key: str, *, change: int = ALL_CHANGES) -> Evidence:
    """One body of evidence by its key, typed in any case.

    Raises
    ------
    Unknown
        If the study holds none of that key.
    """
    found = {evidence.key.upper(): evidence for evidence in gather_evidence(study, change=change)}
    if key.strip().upper() not in found:
        raise Unknown(f"“{key}” is not a pairing with coupons.", f"Known: {', '.join(found) or 'none yet'}.")
    return found[key.strip().upper()]


def analysed(evidence: Evidence, *, progress: Progress | None = None) -> Analysed:
    """The estimate of one body of evidence, worked out once a process for each digest of readings and protocol."""
    if progress:
        progress(f"{evidence.key} {evidence.pairing.title}")
    return Analysed(evidence, _estimate(evidence))


@lru_cache(maxsize=512)
def _estimate(evidence: Evidence) -> PairingEstimate:
    faces_object = evidence.pairing.substrate.faces_object

    def compute() -> PairingEstimate:
        # The analysis floor and the numerical libraries are loaded only when something is analysed.
        from study.analysis.duration import pairing_estimate

        return pairing_estimate(histories=evidence.histories, protocol=evidence.protocol, faces_object=faces_object)

    return remembered((evidence.digest, evidence.protocol_digest, str(faces_object)), compute)
