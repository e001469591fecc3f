"""Analyse: what the readings of every pairing say."""

from __future__ import annotations

from study.commands.estimates import Analysed, Progress, analysed, find_evidence, gather_evidence
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
