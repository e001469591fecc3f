"""Tables: durations and counts as rows of plain text, the same words at the command line and on the pages."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from study.model.display import DisplayState
from study.model.estimate import Duration, Estimate, PairingEstimate
from study.model.units import percent, with_unit
from study.outputs.ribbon import duration_line


@dataclass(frozen=True)
class DurationRow:
    """One evidence group and what it supports."""

    group_key: str
    title: str
    detail: str
    estimate: PairingEstimate


DURATION_HEADS = {
    "key": "key",
    "pairing": "pairing",
    "outcome": "outcome",
    "duration": "maximum display duration",
    "days": "days",
    "limiting": "limiting criterion",
    "evidence": "evidence",
}


def tabulate_durations(rows: Iterable[DurationRow]) -> list[dict[str, str]]:
    """One row of text per evidence group; keys as in ``DURATION_HEADS``."""
    return [
        {
            "key": row.group_key,
            "pairing": row.title,
            "outcome": row.estimate.duration.outcome,
            "duration": duration_line(row.estimate.duration) if row.estimate.duration.days is not None else "–",
            "days": "–" if row.estimate.duration.days is None else str(row.estimate.duration.days),
            "limiting": row.estimate.duration.limiting or "–",
            "evidence": evidence_line(row.estimate.duration),
        }
        for row in rows
    ]


def evidence_line(duration: Duration) -> str:
    """How much was read, how far it reaches and at what confidence: "80 coupons, 8 pulls to 1095 d, 95 %"."""
    coupons = "1 coupon" if duration.coupons == 1 else f"{duration.coupons} coupons"
    pulls = "1 pull" if duration.pulls == 1 else f"{duration.pulls} pulls"
    if not duration.coupons:
        return "no coupon read yet"
    reach = f"{pulls} to {duration.last_dwell_days:.0f}\u202fd"
    return f"{coupons}, {reach}, {percent(duration.confidence)} confidence"


DISPLAY_HEADS = {
    "location": "location",
    "object": "object",
    "state": "state",
    "remove_by": "remove by",
    "pairings": "at object / at support",
    "lot": "lot",
    "placed": "placed",
    "why": "why",
}


def tabulate_displays(states: Iterable[DisplayState]) -> list[dict[str, str]]:
    """One row of text per object on show; keys as in ``DISPLAY_HEADS``."""
    return [
        {
            "location": state.display.location,
            "object": state.display.object_number,
            "state": state.state,
            "remove_by": "–" if state.remove_by is None else state.remove_by.isoformat(),
            "pairings": f"{state.display.object_pairing} / {state.display.support_pairing}",
            "lot": state.display.lot,
            "placed": state.display.placed_on.isoformat(),
            "why": state.why,
        }
        for state in states
    ]


PULL_HEADS = {
    "pull": "pull",
    "dwell": "dwell",
    "read": "coupons read",
    "unacceptable": "unacceptable",
    "at_most": "unacceptable share, at most",
    "at_least": "acceptable share, at least",
}


def tabulate_pulls(estimate: Estimate) -> list[dict[str, str]]:
    """What each pull showed by one criterion; keys as in ``PULL_HEADS``."""
    return [
        {
            "pull": pull.label,
            "dwell": f"{pull.dwell_days:.0f}",
            "read": str(pull.read),
            "unacceptable": str(pull.unacceptable),
            "at_most": f"{(1 - pull.acceptable_lower) * 100:.1f}",
            "at_least": f"{pull.acceptable_lower * 100:.1f}",
        }
        for pull in estimate.pulls
    ]


def limit_words(estimate: Estimate) -> str:
    """When a coupon counts as unacceptable by this criterion, in words."""
    if estimate.limit is None:
        return "any listed failure pattern"
    return f"{estimate.unacceptable} {with_unit(estimate.limit, estimate.unit)}"
