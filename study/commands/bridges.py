"""Bridges: a successor's pairing beside its predecessor's; shared by the analysis and by whoever carries a result."""

from __future__ import annotations

from dataclasses import replace

from study.commands.estimates import Evidence, find_evidence, gather_evidence
from study.errors import NotPossible
from study.model.bridge import Bridge
from study.model.pairing import Adhesive, Pairing
from study.model.protocol import criteria_changed
from study.store.register import fetch_adhesives
from study.store.study_file import StudyFile


def bridge(study: StudyFile, first: str, second: str, *, factor: float = 1.5, confidence: float = 0.95) -> Bridge:
    """Two pairings that differ in the adhesive alone, the predecessor's and its successor's, at equal dwell.

    Which of them is the successor is taken from the register; where it says nothing, the second is, and that is said.

    Raises
    ------
    NotPossible
        If anything but the adhesive differs, or both are of one adhesive.
    """
    with study.snapshot():
        one, other = find_evidence(study, first), find_evidence(study, second)
        adhesives = fetch_adhesives(study)
    differs = _differences(one.pairing, other.pairing)
    if differs:
        raise NotPossible(
            f"{one.key} and {other.key} differ in {', '.join(differs)}: what is found could come from that.",
            "A bridging set has the same surface, environment, dots and load, and another adhesive.",
        )
    if one.pairing.adhesive.key == other.pairing.adhesive.key:
        raise NotPossible(
            f"{one.key} and {other.key} are of one adhesive.", "Lots of one adhesive are compared on the page Analyse."
        )
    linked = True
    if _follows(one.pairing.adhesive, other.pairing.adhesive, adhesives):
        one, other = other, one
    elif not _follows(other.pairing.adhesive, one.pairing.adhesive, adhesives):
        linked = False
    return _bridge(one, other, linked, factor, confidence)


def bridge_to(study: StudyFile, evidence: Evidence, adhesive: str) -> Bridge | None:
    """The bridge from a body of evidence to another formulation that was put on the same surface in the same way."""
    for other in gather_evidence(study):
        if other.pairing.adhesive.key == adhesive and not _differences(evidence.pairing, other.pairing):
            found = _bridge(evidence, other, True, 1.5, 0.95)
            return found if found.pulls else None
    return None


def bridges(study: StudyFile) -> list[Bridge]:
    """Every successor beside its predecessor, where both stand on the same surface in the same way."""
    with study.snapshot():
        evidences, adhesives = gather_evidence(study), fetch_adhesives(study)
    return [
        _bridge(old, new, True, 1.5, 0.95)
        for new in evidences
        for old in evidences
        if _follows(new.pairing.adhesive, old.pairing.adhesive, adhesives)
        and not _differences(old.pairing, new.pairing)
    ]


def _bridge(old: Evidence, new: Evidence, linked: bool, factor: float, confidence: float) -> Bridge:
    # The numerical libraries are loaded only when something is compared.
    from study.analysis.bridging import bridge as compared

    found = compared(
        old.histories, new.histories, keys=(old.key, new.key), protocol=old.protocol,
        faces_object=old.pairing.substrate.faces_object, factor=factor, confidence=confidence,
    )  # fmt: skip
    remarks = []
    if not linked:
        remarks.append(
            f"{new.pairing.adhesive.name} is not registered as a successor of {old.pairing.adhesive.name}; "
            f"{new.key} is taken as the successor here."
        )
    changed = criteria_changed(old.protocol, new.protocol)
    if changed:
        remarks.append(f"Both are judged by the predecessor's protocol; the successor's differs: {'; '.join(changed)}.")
    if found.only_old:
        remarks.append(f"Read of the predecessor alone, and not compared: {', '.join(found.only_old)}.")
    if found.only_new:
        remarks.append(f"Read of the successor alone, and not compared: {', '.join(found.only_new)}.")
    return replace(found, remarks=tuple(remarks))


def _follows(adhesive: Adhesive, earlier: Adhesive, adhesives: dict[str, Adhesive]) -> bool:
    seen: set[str] = set()
    while adhesive.successor_of and adhesive.key not in seen:
        seen.add(adhesive.key)
        adhesive = adhesives[adhesive.successor_of]
        if adhesive.key == earlier.key:
            return True
    return False


def _differences(one: Pairing, other: Pairing) -> list[str]:
    parts = {
        "surface": one.substrate.key != other.substrate.key,
        "environment": one.environment.key != other.environment.key,
        "dot size": one.dot_diameter_mm != other.dot_diameter_mm,
        "number of dots": one.dots != other.dots,
        "dwell load": one.dwell_load_n != other.dwell_load_n,
    }
    return [name for name, differs in parts.items() if differs]
