"""Decide: the durations that stand, issuing them, and recomputing them from what was known then."""

from __future__ import annotations

import json
import platform
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version

import study as dwellbook
from study.commands.estimates import (
    Analysed,
    Progress,
    Standing,
    analysed,
    find_evidence,
    gather_evidence,
    stand_beside,
)
from study.errors import NotPossible, Unknown
from study.model.decision import Decision, duration_text
from study.model.estimate import Duration
from study.model.person import Signature
from study.store.decisions import fetch_decisions, save_decision
from study.store.study_file import StudyFile

SAME_WITHIN = 1e-6
"""Relative difference up to which a recomputed bound counts as the same number."""


@dataclass(frozen=True)
class Check:
    """A decision recomputed from what was known when it was issued."""

    decision: Decision
    same: bool
    words: str
    overtaken: str


def standing(study: StudyFile, *, progress: Progress | None = None) -> list[Standing]:
    """Every body of evidence beside its decision, in order of pairings."""
    decisions = fetch_decisions(study)
    found = [analysed(evidence, progress=progress) for evidence in gather_evidence(study)]
    return [stand_beside(now, decisions.get(now.evidence.key)) for now in found]


def stand_of(study: StudyFile, key: str) -> Standing:
    """One body of evidence beside its decision."""
    now = analysed(find_evidence(study, key))
    return stand_beside(now, fetch_decisions(study).get(now.evidence.key))


def issue_decision(study: StudyFile, key: str, *, signature: Signature, on: date) -> Decision:
    """Issue what the evidence supports now, under a name and with a reason; supersedes the decision before it.

    Raises
    ------
    NotPossible
        Without a reason, or when the same decision on the same evidence stands already.
    """
    if not signature.why.strip():
        raise NotPossible("A decision needs a reason.", "Give it with --why.")
    # The number is taken first and the evidence as known then, so that what is written meanwhile is not half in it.
    seen = study.last_change()
    now = analysed(find_evidence(study, key, change=seen))
    evidence, duration = now.evidence, now.estimate.duration
    earlier = fetch_decisions(study).get(evidence.key)
    if earlier and earlier.evidence_digest == evidence.digest and earlier.protocol_digest == evidence.protocol_digest:
        raise NotPossible(
            f"Decision {earlier.number} for {evidence.key} stands on the same readings.",
            "Issue a new one when there is something new.",
        )
    decision = Decision(
        number=0, pairing=evidence.key, outcome=duration.outcome, days=duration.days, bound_days=duration.bound_days,
        limiting=duration.limiting, reason=signature.why.strip(), interim=_interim(now),
        protocol_digest=evidence.protocol_digest, rule=evidence.protocol.rule.model_dump_json(),
        evidence_digest=evidence.digest, change_seen=seen, seed=now.estimate.seed, versions=_versions(),
        issued_by=signature.by, issued_at=signature.at,
    )  # fmt: skip
    before = {"outcome": earlier.outcome, "days": earlier.days, "decision": earlier.number} if earlier else None
    after = {"outcome": decision.outcome, "days": decision.days, "limiting": decision.limiting, "on": on}
    with study.change(signature, act="issue decision", subject=evidence.key, before=before, after=after) as change:
        return save_decision(study, decision, change=change)


def check_decisions(study: StudyFile, *, key: str = "", progress: Progress | None = None) -> list[Check]:
    """Each decision in force (or the one of ``key``) recomputed from the readings known when it was issued."""
    checks = []
    for decision in fetch_decisions(study).values():
        if key and decision.pairing.upper() != key.strip().upper():
            continue
        then = analysed(find_evidence(study, decision.pairing, change=decision.change_seen), progress=progress)
        words = _difference(decision, then)
        overtaken = _overtaken(study, decision)
        checks.append(Check(decision, not words, words or "recomputed the same", overtaken))
    if key and not checks:
        raise NotPossible(f"No decision stands for {key}.", "Issue one with: dwellbook decide issue.")
    return checks


def _overtaken(study: StudyFile, decision: Decision) -> str:
    try:
        now = analysed(find_evidence(study, decision.pairing))
    except Unknown:
        return f"The evidence of {decision.pairing} counts together with another lot's since: lots were pooled."
    return stand_beside(now, decision).overtaken


def _difference(decision: Decision, then: Analysed) -> str:
    evidence, duration = then.evidence, then.estimate.duration
    if evidence.digest != decision.evidence_digest:
        return "the register or the readings known at the time have been altered since: the evidence is not what it was"
    if evidence.protocol_digest != decision.protocol_digest:
        return "the protocol is not the one it was issued under"
    if (duration.outcome, duration.days) != (decision.outcome, decision.days) or not _same_bound(decision, duration):
        return (
            f"recomputes to {duration_text(duration.outcome, duration.days)} instead of "
            f"{duration_text(decision.outcome, decision.days)}; issued with {decision.versions}, now {_versions()}"
        )
    return ""


def _same_bound(decision: Decision, duration: Duration) -> bool:
    if decision.bound_days is None or duration.bound_days is None:
        return decision.bound_days is duration.bound_days
    return abs(decision.bound_days - duration.bound_days) <= SAME_WITHIN * max(1.0, abs(decision.bound_days))


def _interim(now: Analysed) -> bool:
    """Whether the newest scheduled pull read so far is not one the protocol named for a decision."""
    schedule = now.evidence.protocol.schedule
    read = {history.pull_group for history in now.evidence.histories if history.readings}
    done = [pull.label for pull in schedule.pulls if pull.label in read]
    return not done or done[-1] not in schedule.decision_pulls


def _versions() -> str:
    names = ("numpy", "scipy", "lifelines")
    found = {"dwellbook": dwellbook.__version__, "python": platform.python_version()}
    return json.dumps(found | {name: version(name) for name in names})
