"""Analyse against dose: the readings of a pairing against logged light or heat, as pictures that never decide."""

from __future__ import annotations

from study.commands.climates import days_by_environment, stretch_of
from study.commands.estimates import Analysed
from study.model.climate_days import Stretch
from study.model.dose import Against, DosePicture
from study.store.pulls import fetch_pulls
from study.store.register import fetch_sets
from study.store.study_file import StudyFile


def dose_pictures(study: StudyFile, found: Analysed, *, against: Against) -> dict[str, DosePicture]:
    """By criterion key, the readings of one pairing against light dose or heat; criteria without a scale are left out.

    Returns
    -------
    dict
        Empty readings and a reason where nothing was logged; nothing is ever filled in.
    """
    from study.analysis.dose import dose_picture

    evidence = found.evidence
    with study.snapshot():
        stretches = logged_stretches(study, [history.code for history in evidence.histories], found)
    pictures = {}
    for criterion in evidence.protocol.criteria:
        picture = dose_picture(
            evidence.histories, criterion=criterion, protocol=evidence.protocol,
            faces_object=evidence.pairing.substrate.faces_object, stretches=stretches, against=against,
        )  # fmt: skip
        if picture is not None:
            pictures[criterion.key] = picture
    return pictures


def logged_stretches(study: StudyFile, codes: list[str], found: Analysed) -> dict[str, Stretch]:
    """What was logged from placement to pull, by coupon; coupons of one set and day share it."""
    sets, pulls = fetch_sets(study), fetch_pulls(study, codes)
    filed = days_by_environment(study)
    worked: dict[tuple[str, str], Stretch] = {}
    stretches = {}
    for history in found.evidence.histories:
        event = pulls.get(history.code)
        if event is None:
            continue
        one = sets[history.set_key]
        key = (history.set_key, event.on.isoformat())
        if key not in worked:
            records = [record.days for record in filed.get(one.environment, [])]
            worked[key] = stretch_of(records, from_on=one.placed_on, to_on=event.on)
        stretches[history.code] = worked[key]
    return stretches
