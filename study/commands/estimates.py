"""Estimates by evidence: what counts together, the memo that works each out once, and the decision beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from study.commands.memo import remembered
from study.errors import Unknown
from study.model.decision import Decision, duration_text, evidence_digest
from study.model.estimate import PairingEstimate
from study.model.pairing import Pairing
from study.model.protocol import Protocol
from study.model.reading import CouponHistory
from study.store.coupons import ALL_CHANGES, fetch_histories
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
    if decision is None or decision.evidence_digest == now.evidence.digest:
        return Standing(now, decision, "")
    duration = now.estimate.duration
    said, is_now = duration_text(decision.outcome, decision.days), duration_text(duration.outcome, duration.days)
    if (decision.outcome, decision.days) == (duration.outcome, duration.days):
        return Standing(now, decision, f"Newer readings leave decision {decision.number} as it is: {said}.")
    return Standing(now, decision, f"Newer readings change decision {decision.number} from {said} to {is_now}.")


def gather_evidence(study: StudyFile, *, change: int = ALL_CHANGES) -> list[Evidence]:
    """Every body of evidence in the study as known at a change, in order of pairings; pairings never pulled too."""
    with study.snapshot():
        return _gathered(study, change)


def _gathered(study: StudyFile, change: int) -> list[Evidence]:
    protocols, pairings, pooled = fetch_protocols(study), fetch_pairings(study), fetch_poolings(study, change=change)
    histories = fetch_histories(study, protocols, change=change)
    parts: dict[str, dict[tuple[str, str], list[CouponHistory]]] = {}
    for coupon_set in fetch_sets(study).values():
        if coupon_set.role in ("test", "time-zero"):
            lot = "" if coupon_set.pairing in pooled else coupon_set.lot
            found = parts.setdefault(coupon_set.pairing, {}).setdefault((lot, coupon_set.protocol_digest), [])
            found += histories.pop((coupon_set.pairing, coupon_set.lot, coupon_set.protocol_digest), [])
    return [
        _evidence(pairings[pairing], lot, digest, protocols[digest], coupons, first=next(iter(groups)))
        for pairing, groups in sorted(parts.items())
        for (lot, digest), coupons in groups.items()
    ]


def _evidence(
    pairing: Pairing, lot: str, digest: str, protocol: Protocol, coupons: list[CouponHistory],
    *, first: tuple[str, str],
) -> Evidence:  # fmt: skip
    faces = pairing.substrate.faces_object
    # What was registered first keeps the plain key for good, so that decisions find it when more joins the pairing.
    key = pairing.key + (f"/{lot}" if lot != first[0] else "")
    key += f"/{protocol.key} {protocol.version} {digest[:6]}" if digest != first[1] else ""
    return Evidence(key, pairing, lot, protocol, digest, tuple(coupons), evidence_digest(coupons, faces_object=faces))


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
