"""Decisions: a duration issued under a name, and what it was based on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from study.model.details import NO_DETAILS
from study.model.reading import CouponHistory, Reading
from study.model.units import duration_words


def coupon_digests(histories: Iterable[CouponHistory]) -> dict[str, str]:
    """A short digest for each coupon, by code, over everything about it that can move an estimate."""
    return {history.code: hashlib.sha256(_row(history).encode()).hexdigest()[:16] for history in histories}


def evidence_digest(histories: Iterable[CouponHistory], *, faces_object: bool) -> str:
    """SHA-256 over everything about the coupons that can move an estimate; the order of coupons does not matter."""
    rows = sorted(_row(history) for history in histories)
    return hashlib.sha256("\n".join([str(faces_object), *rows]).encode()).hexdigest()


def _row(history: CouponHistory) -> str:
    readings = [
        # A sign typed before a number says that the bound itself is not reached, which can decide a verdict.
        [
            r.kind,
            r.unit,
            r.typed[:1] in "<>",
            str(r.lower),
            str(r.upper),
            r.pattern,
            r.side,
            list(r.lab or ()),
            *([r.details.text()] if r.details != NO_DETAILS else []),
        ]
        for _, r in sorted(history.readings.items())
    ]
    return json.dumps(
        [
            history.code, history.set_key, history.role, history.test, history.lot, history.pull_kind,
            history.pull_group, history.planned_group, history.dwell_days, history.last_seen_days, readings,
            *([[_look(dwell, look) for dwell, look in history.looks]] if history.looks else []),
            *(["stop lifted"] if history.stop_lifted else []),
            *([["blank drift", list(history.blank_drift)]] if history.blank_drift else []),
        ]
    )  # fmt: skip


def _look(dwell: float, look: Reading) -> list[object]:
    # How it was measured can decide a verdict: two ways of measuring give no colour difference.
    return [dwell, list(look.lab or ()), *([look.details.text()] if look.details != NO_DETAILS else [])]


@dataclass(frozen=True)
class Decision:
    """One issued maximum display duration."""

    number: int
    pairing: str
    """Key of the evidence group: the pairing, with its lot or protocol where those are not pooled."""
    outcome: str
    days: int | None
    bound_days: float | None
    limiting: str
    reason: str
    interim: bool
    """Issued at a look the protocol did not name as a decision pull."""
    protocol_digest: str
    rule: str
    """The decision rule as JSON text."""
    evidence_digest: str
    change_seen: int
    """Number of the last change the evidence held."""
    seed: int
    versions: str
    """Versions of Dwellbook and the numerical libraries, as JSON text."""
    issued_by: str
    issued_at: datetime
    evidence: str = "{}"
    """Short digest of each coupon it saw, as JSON text, so that a later difference can be named."""


def duration_text(outcome: str, days: int | None) -> str:
    """Outcome and duration as they are said."""
    if days is None:
        return outcome
    words = f"{duration_words(days)} ({days} d)"
    return words if outcome == "supported" else f"{words}, {outcome}"
