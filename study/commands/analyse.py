"""Analyse: what the readings of every pairing say, and what a table says that somebody already has."""

from __future__ import annotations

from pathlib import Path

from study.commands.estimates import Analysed, Progress, analysed, find_evidence, gather_evidence
from study.intake.looks_file import LookColumns, parse_looks
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


def analyse_table(
    path: Path, *, columns: LookColumns, rule: LookRule, progress: Progress | None = None
) -> tuple[LookRule, list[LookEstimate]]:
    """What a table somebody already has says, group by group; no study file is needed.

    Raises
    ------
    FileRefused
        With every bad option and every bad cell.
    """
    filled, groups = parse_looks(path, columns=columns, rule=rule)
    from study.analysis.looks import looks_estimate

    return filled, [looks_estimate(rows, rule=filled, progress=progress) for rows in groups]
