"""Grounds: what stands for each pairing when objects on display are judged: decision, stop, lots, withdrawals.

Shared, like the memo of estimates, by the use cases of displays, decisions and today.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from study.commands.estimates import Evidence, gather_evidence
from study.model.display import Display, DisplayState, Ground, Removal, display_state, harmed_by
from study.store.acts import fetch_carried, fetch_lifted_removals, fetch_withdrawn_lots
from study.store.decisions import fetch_decisions
from study.store.displays import fetch_acknowledged, fetch_displays, fetch_removals
from study.store.register import fetch_adhesives, fetch_lots, fetch_sets
from study.store.study_file import StudyFile

Grounds = dict[tuple[str, str], Ground]
"""By (pairing, lot); the lot "" stands for lots without coupons of their own."""


def gather_grounds(study: StudyFile, evidences: Sequence[Evidence] | None = None) -> Grounds:
    """What stands for every pairing and lot now; ``evidences`` as gathered already, where they were.

    Stops are those of the evidence itself, of the decision in force, and of harm found when an object came off.
    """
    decisions, lots, adhesives = fetch_decisions(study), fetch_lots(study), fetch_adhesives(study)
    withdrawn = {key: f"lot {key} is withdrawn" for key in fetch_withdrawn_lots(study)}
    for lot in lots.values():
        if adhesives[lot.adhesive].status == "withdrawn":
            withdrawn[lot.key] = f"{adhesives[lot.adhesive].name} is withdrawn"
    harmed = harmed_pairings(study)
    tested: dict[str, set[str]] = {}
    for coupon_set in fetch_sets(study).values():
        if coupon_set.role in ("test", "time-zero"):
            tested.setdefault(coupon_set.pairing, set()).add(coupon_set.lot)
    for key, carried_to in fetch_carried(study).items():
        tested.setdefault(key, set()).update(lot.key for lot in lots.values() if lot.adhesive in carried_to)
    grounds: Grounds = {}
    for evidence in gather_evidence(study) if evidences is None else evidences:
        pairing = evidence.pairing
        ground = Ground(
            pairing=pairing,
            decision=decisions.get(evidence.key),
            stopped=harmed.get(pairing.key, "") or stopped_by_coupons(evidence),
            lots=frozenset(tested.get(pairing.key, ())),
            lead_days=evidence.protocol.rule.display_lead_days,
            withdrawn_lots=withdrawn,
        )
        own = [evidence.lot] if evidence.lot else sorted(tested.get(pairing.key, ()))
        grounds |= {(pairing.key, lot_key): ground for lot_key in own}
        grounds.setdefault((pairing.key, ""), ground)
    return grounds


@lru_cache(maxsize=512)
def stopped_by_coupons(evidence: Evidence) -> str:
    """Why coupons stop a pairing, or empty; without the estimates, so that a list of displays never waits for them."""
    from study.analysis.acceptance import time_zero_limits
    from study.analysis.censoring import judged_histories, observations

    faces_object = evidence.pairing.substrate.faces_object
    for criterion in evidence.protocol.criteria:
        if criterion.stop is None and not criterion.stop_patterns:
            continue
        judged = judged_histories(evidence.histories, criterion=criterion, protocol=evidence.protocol)
        limits = time_zero_limits(evidence.histories, criterion=criterion)
        for seen in observations(judged, criterion=criterion, limits=limits, faces_object=faces_object):
            if seen.stop:
                return f"{evidence.key}: {criterion.title.lower()} on coupon {seen.code} after {seen.dwell_days:g} d"
    return ""


def harmed_pairings(study: StudyFile) -> dict[str, str]:
    """Pairings stopped because an object came to harm at removal, with the reason; lifted ones left out."""
    found: dict[str, str] = {}
    for display, removal in _harmful(study):
        for pairing in harmed_by(display, removal):
            found[pairing] = f"{pairing}: harm when {display.object_number} was removed on {removal.removed_on}"
    return found


def harmful_removals(study: StudyFile, pairing: str) -> list[Display]:
    """Displays whose removal stops a pairing."""
    return [display for display, removal in _harmful(study) if pairing in harmed_by(display, removal)]


def _harmful(study: StudyFile) -> list[tuple[Display, Removal]]:
    lifted, removals = fetch_lifted_removals(study), fetch_removals(study)
    found = [(display, removals.get(display.number)) for display in fetch_displays(study)]
    return [(d, removal) for d, removal in found if removal and removal.harm and d.number not in lifted]


def ground_of(grounds: Grounds, pairing: str, lot: str) -> Ground | None:
    """What stands for a pairing and lot; a lot without coupons meets the pairing's first ground, and that is said."""
    return grounds.get((pairing, lot)) or grounds.get((pairing, ""))


@dataclass(frozen=True)
class Standings:
    """Every display with where it stands, and what was last acknowledged of it."""

    on: date
    states: tuple[DisplayState, ...]
    acknowledged: dict[int, str]

    @property
    def attention(self) -> list[DisplayState]:
        """Objects on show of which something changed since somebody last acknowledged it."""
        return [
            state
            for state in self.states
            if state.state != "removed" and state.basis != self.acknowledged.get(state.display.number)
        ]


def display_states(study: StudyFile, *, on: date, evidences: Sequence[Evidence] | None = None) -> Standings:
    """Where every display stands on a day."""
    grounds, removals = gather_grounds(study, evidences), fetch_removals(study)
    states = [judge(display, grounds, removals, on=on) for display in fetch_displays(study)]
    return Standings(on, tuple(states), fetch_acknowledged(study))


def judge(display: Display, grounds: Grounds, removals: dict[int, Removal], *, on: date) -> DisplayState:
    """Where one display stands on a day."""
    return display_state(
        display,
        object_ground=ground_of(grounds, display.object_pairing, display.lot),
        support_ground=ground_of(grounds, display.support_pairing, display.lot),
        on=on,
        removal=removals.get(display.number),
    )
