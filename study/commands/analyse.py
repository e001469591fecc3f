"""Analyse: what the readings of every pairing say, and what a table says that somebody already has."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from study.commands.estimates import Analysed, Progress, analysed, find_evidence, gather_evidence
from study.intake.looks_file import LookColumns, LookOptions, parse_looks
from study.model.estimate import GroupDifference, Observation
from study.model.looks import LookEstimate, LookRule
from study.store.study_file import StudyFile


def analyse_all(study: StudyFile, *, progress: Progress | None = None) -> list[Analysed]:
    """Every body of evidence with its estimate, in order of pairings."""
    return [analysed(evidence, progress=progress) for evidence in gather_evidence(study)]


def analyse_one(study: StudyFile, key: str) -> Analysed:
    """One body of evidence with its estimate.

    Raises
    ------
    Unknown
        If the study holds none of that key.
    """
    return analysed(find_evidence(study, key))


def across_environments(study: StudyFile, found: Analysed) -> dict[str, GroupDifference]:
    """Whether coupons end alike in every environment of the same adhesive on the same surface, by criterion key.

    Only criteria whose ends were all seen on their days are compared; lots stand as they do in the evidence.
    """
    pairing, own = found.evidence.pairing, found.evidence
    others = [
        e
        for e in gather_evidence(study)
        if replace(e.pairing, key="", environment=pairing.environment) == replace(pairing, key="")
        and (e.protocol_digest, e.lot) == (own.protocol_digest, own.lot)
    ]
    if len(others) < 2:
        return {}
    from study.analysis.criterion import judged
    from study.analysis.pictures import watched_difference

    compared = {}
    for criterion in own.protocol.criteria:
        groups: dict[str, list[Observation]] = {}
        for e in others:
            case = judged(
                e.histories, criterion=criterion, protocol=e.protocol, faces_object=e.pairing.substrate.faces_object
            )
            groups.setdefault(e.pairing.environment.name, []).extend(case.found)
        difference = watched_difference(groups)
        if difference is not None:
            compared[criterion.key] = difference
    return compared


def analyse_table(
    path: Path, *, columns: LookColumns, rule: LookRule | LookOptions, progress: Progress | None = None
) -> tuple[LookRule, list[LookEstimate]]:
    """What a table somebody already has says, group by group; no study file is needed.

    The rule may be given as typed, so that a slip in it is told together with those in the cells.

    Raises
    ------
    FileRefused
        With every bad option and every bad cell.
    """
    filled, groups = parse_looks(path, columns=columns, rule=rule)
    from study.analysis.looks import looks_estimate

    return filled, [looks_estimate(rows, rule=filled, progress=progress) for rows in groups]
