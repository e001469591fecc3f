"""Decide: the durations that stand, issuing them, and recomputing them from what was known then."""

from __future__ import annotations

import json
import platform
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version

import study as dwellbook
from study.commands.bridges import bridge_to
from study.commands.estimates import (
    Analysed,
    Progress,
    Standing,
    analysed,
    find_evidence,
    gather_evidence,
    stand_beside,
)
from study.commands.grounds import harmful_removals
from study.commands.told import changed_criteria
from study.errors import NotPossible, Unknown
from study.model.decision import Decision, coupon_digests, duration_text
from study.model.estimate import Duration
from study.model.person import Signature
from study.model.protocol import criteria_changed
from study.store.acts import fetch_carried, save_carried, save_stop_lift
from study.store.decisions import fetch_decisions, save_decision, supersede_decision
from study.store.protocols import fetch_protocols
from study.store.register import fetch_adhesives
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
    signature.need_reason("A decision")
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
        issued_by=signature.by, issued_at=signature.at, evidence=json.dumps(coupon_digests(evidence.histories)),
    )  # fmt: skip
    before = {"outcome": earlier.outcome, "days": earlier.days, "decision": earlier.number} if earlier else None
    after: dict[str, object] = {
        "outcome": decision.outcome,
        "days": decision.days,
        "limiting": decision.limiting,
        "on": on,
    }
    changed = changed_criteria(study, evidence.pairing.key)
    after |= {"criteria_changed": changed} if changed else {}
    with study.change(signature, act="issue decision", subject=evidence.key, before=before, after=after) as change:
        if fetch_decisions(study).get(evidence.key) != earlier:
            raise NotPossible(
                f"Another decision for {evidence.key} was issued meanwhile.", "Look at it, then issue yours if need be."
            )
        return save_decision(study, decision, change=change)


def withdraw_decision(study: StudyFile, key: str, *, signature: Signature) -> Decision:
    """Withdraw the decision in force with a reason, putting none in its place: its objects lose their evidence."""
    signature.need_reason("Withdrawing a decision")
    decision = _in_force(study, key)
    before = {"decision": decision.number, "outcome": decision.outcome, "days": decision.days}
    with study.change(signature, act="withdraw decision", subject=decision.pairing, before=before) as change:
        supersede_decision(study, decision.number, change=change)
    return decision


def lift_stop(study: StudyFile, key: str, *, second_person: str, signature: Signature) -> list[str]:
    """Lift a pairing's stop: an act of two people with a reason. Harm that comes later stops again.

    Returns
    -------
    list of str
        What was lifted: coupons, and objects that came to harm.
    """
    signature.need_reason("Lifting a stop")
    if not second_person.strip() or second_person.strip().lower() == signature.by.strip().lower():
        raise NotPossible("Lifting a stop needs a second person.", "Name somebody else.")
    evidence = find_evidence(study, key)
    pairing = evidence.pairing.key
    estimate = analysed(evidence).estimate
    coupons = sorted({code for criterion in estimate.estimates for code in criterion.stopped_by})
    harmed = harmful_removals(study, pairing)
    if not coupons and not harmed:
        raise NotPossible(f"{evidence.key} is not stopped.", "Nothing is left to do.")
    lifted = coupons + [display.object_number for display in harmed]
    after = {"second_person": second_person.strip(), "lifted": lifted}
    with study.change(signature, act="lift stop", subject=evidence.key, after=after) as change:
        numbers = [display.number for display in harmed]
        save_stop_lift(
            study, pairing, second_person=second_person.strip(), coupons=coupons, removals=numbers, change=change
        )
    return lifted


def carry_result(study: StudyFile, key: str, *, adhesive: str, signature: Signature) -> str:
    """Let the results of a pairing count for another formulation of its adhesive: a recorded act with a reason.

    Returns
    -------
    str
        The bridging set that is cited beside it, in one line; empty where there is none.
    """
    signature.need_reason("Carrying a result to another formulation")
    evidence = find_evidence(study, key)
    adhesives = fetch_adhesives(study)
    if adhesive not in adhesives:
        raise Unknown(f"“{adhesive}” is not a registered adhesive.", f"Known: {', '.join(adhesives)}.")
    if adhesive == evidence.pairing.adhesive.key or adhesive in fetch_carried(study).get(evidence.pairing.key, ()):
        raise NotPossible(f"Results of {evidence.key} count for {adhesive} already.", "Nothing is left to do.")
    # A bridging set is cited where there is one; it is what the person decided by, never what decides.
    shown = bridge_to(study, evidence, adhesive)
    after = {"adhesive": adhesive, **({"bridge": shown.short()} if shown else {})}
    with study.change(signature, act="carry result", subject=evidence.pairing.key, after=after) as change:
        save_carried(study, evidence.pairing.key, adhesive, change=change)
    return shown.short() if shown else ""


def later_protocols(study: StudyFile, decision: Decision) -> list[str]:
    """What later versions of the decision's protocol judge differently, in sentences; criteria changed stay visible."""
    protocols = fetch_protocols(study)
    own = protocols[decision.protocol_digest]
    found = []
    for digest, other in protocols.items():
        if digest == decision.protocol_digest or other.key != own.key:
            continue
        found += [f"{other.key} version {other.version}: {words}" for words in criteria_changed(own, other)]
    return found


def _in_force(study: StudyFile, key: str) -> Decision:
    decisions = {pairing.upper(): decision for pairing, decision in fetch_decisions(study).items()}
    if key.strip().upper() not in decisions:
        raise NotPossible(f"No decision stands for {key}.", "Issue one with: dwellbook decide issue.")
    return decisions[key.strip().upper()]


def check_decisions(study: StudyFile, *, key: str = "", progress: Progress | None = None) -> list[Check]:
    """Each decision in force (or the one of ``key``) recomputed from the readings known when it was issued."""
    checks = []
    for decision in fetch_decisions(study).values():
        if key and decision.pairing.upper() != key.strip().upper():
            continue
        then = analysed(find_evidence(study, decision.pairing, change=decision.change_seen), progress=progress)
        words = _difference(decision, then)
        overtaken = stand_beside(analysed(find_evidence(study, decision.pairing)), decision).overtaken
        checks.append(Check(decision, not words, words or "recomputed the same", overtaken))
    if key and not checks:
        raise NotPossible(f"No decision stands for {key}.", "Issue one with: dwellbook decide issue.")
    return checks


def _difference(decision: Decision, then: Analysed) -> str:
    evidence, duration = then.evidence, then.estimate.duration
    if evidence.digest != decision.evidence_digest:
        was, now = json.loads(decision.evidence), coupon_digests(evidence.histories)
        changed = sorted(code for code in was.keys() | now.keys() if was.get(code) != now.get(code))
        named = ", ".join(changed[:8]) + (f" and {len(changed) - 8} more" if len(changed) > 8 else "")
        return f"what was known at the time has been altered since, at {named or 'no coupon that is named'}"
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
    histories = now.evidence.histories
    read = {history.pull_group for history in histories if history.readings.keys() - {"colour_before"}}
    done = [pull.label for pull in schedule.pulls if pull.label in read]
    return not done or done[-1] not in schedule.decision_pulls


def _versions() -> str:
    names = ("numpy", "scipy", "scikit-image")
    found = {"dwellbook": dwellbook.__version__, "python": platform.python_version()}
    return json.dumps(found | {name: version(name) for name in names})
