"""The bench: what the checks know of each coupon, and what every criterion says of it; a room of the read jobs."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial

from study.errors import Unanswered, Unknown
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.intake.plausibility import AS_TYPED, UNUSUAL, mark_unusual, unusual, unusual_question
from study.intake.reading_file import Bench, Gauge, ReadableCoupon, parse_readings
from study.intake.table_file import Table
from study.model.coupon import tidy_code
from study.model.instrument import calibration_state, mark_words
from study.model.person import Signature
from study.model.reading import REPEATED, CouponHistory, Reading
from study.store.coupons import fetch_coupon, fetch_coupons, fetch_histories, fetch_marks
from study.store.instruments import fetch_calibrations, fetch_instruments
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_entry, fetch_forces, fetch_kinds_read
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile

MANY = 2000
"""Beyond this many codes the whole study is fetched at once instead of code by code."""


@dataclass(frozen=True)
class CriterionWord:
    """What one criterion says about one coupon."""

    criterion: str
    words: str
    unacceptable: bool | None
    stop: bool = False


def code_of(study: StudyFile, typed: str) -> str:
    """The code of a coupon typed by its code or its own mark.

    Raises
    ------
    Unknown
        With near matches.
    """
    code = tidy_code(typed)
    if fetch_coupon(study, code) is not None:
        return code
    try:
        return parse_code(typed, known=fetch_coupons(study), marks=fetch_marks(study))
    except CellFault as fault:
        raise Unknown(f"“{typed}” {fault.what}", fault.do) from None


def bench_of(
    study: StudyFile, signature: Signature, codes: Collection[str] | None = None, *, correcting: str = ""
) -> Bench:
    """What the checks of a table need to know: of these coupons, or of all.

    Parameters
    ----------
    correcting : str
        A kind of reading that is to be superseded, and so is not in the way.
    """
    chosen = codes if codes is not None and len(codes) <= MANY else None
    sets, protocols = fetch_sets(study), fetch_protocols(study)
    pulled, read = fetch_pulls(study, chosen), fetch_kinds_read(study, chosen)
    known: dict[str, ReadableCoupon] = {}
    alike: dict[tuple[str, str], ReadableCoupon] = {}
    for code, coupon in fetch_coupons(study, chosen).items():
        group = (coupon.set_key, coupon.test)
        if group not in alike:
            coupon_set = sets[coupon.set_key]
            protocol = protocols[coupon_set.protocol_digest]
            alike[group] = ReadableCoupon(
                placed_on=coupon_set.placed_on,
                pulled=None,
                quantities=protocol.quantities(coupon.test, blank=coupon_set.role == "blank"),
                force_per=protocol.method(coupon.test).force_per or "",
                already=frozenset(),
                in_place=protocol.seen_in_place,
                climate=protocol.reading_climate,
                group=group,
            )
        same = alike[group]
        known[code] = ReadableCoupon(
            same.placed_on, pulled.get(code), same.quantities, same.force_per,
            frozenset(kind for kind in read[code] if kind != correcting) if code in read else same.already,
            same.in_place, same.climate, coupon.own_mark, group,
        )  # fmt: skip
    marks = fetch_marks(study) if codes is None else {}
    return Bench(known, signature.at.date(), instruments_of(study), marks, partial(entry_words, study))


def instruments_of(study: StudyFile) -> dict[str, Gauge]:
    """Every instrument, with what marks a reading it took on a day."""
    in_force = fetch_calibrations(study)

    def marking(key: str) -> Callable[[date], str]:
        return lambda day: mark_words(key, calibration_state(in_force.get(key, ()), day))

    return {key: Gauge(found.measures, marking(key)) for key, found in fetch_instruments(study).items()}


def entry_words(study: StudyFile, code: str, key: str) -> str:
    """What is in force at one place of a coupon, who entered it and when: “2”, entered by R. Vale on 2026-03-02."""
    found = fetch_entry(study, code, key)
    if found is None:
        return ""
    unit = "" if found["unit"] == "grade" or found["typed"].endswith(found["unit"]) else found["unit"]
    shown = f"{found['typed']} {unit}".strip()
    return f"“{shown}”, entered by {found['by'] or 'nobody named'} on {found['at'][:16].replace('T', ' at ')}"


def checked(study: StudyFile, table: Table, bench: Bench, *, answers: Mapping[str, str]) -> list[Reading]:
    """The readings of a table, checked whole; what is unusual carries a mark once somebody said that it is so.

    Raises
    ------
    FileRefused
        With every problem.
    Unanswered
        If something is unusual and was not answered.
    """
    readings = parse_readings(table, bench=bench)
    found = found_unusual(study, readings, bench)
    if found and answers.get(UNUSUAL) != AS_TYPED:
        raise Unanswered([unusual_question(found)])
    if not found:
        return readings
    places = [(reading, found.get((reading.code, reading.kind), "")) for reading in readings]
    return [mark_unusual(reading, words) if words else reading for reading, words in places]


def found_unusual(study: StudyFile, readings: Sequence[Reading], bench: Bench) -> dict[tuple[str, str], str]:
    """What is unusual about new readings, in words, by (code, kind)."""
    groups = {bench.coupons[code].group[0] for code in {reading.code for reading in readings}}
    return unusual(readings, coupons=bench.coupons, on_file=fetch_forces(study, groups))


def words_of(
    study: StudyFile, codes: Iterable[str], *, tried: Sequence[Reading] = ()
) -> dict[str, list[CriterionWord]]:
    """What each criterion of its protocol says about these coupons, by the analysis floor's own rule.

    Parameters
    ----------
    tried : sequence of Reading
        Readings that are judged as if they were on file; they are not.
    """
    from study.analysis.acceptance import time_zero_limits
    from study.analysis.censoring import judged_histories, observations

    asked_for = set(codes)
    found: dict[str, list[CriterionWord]] = {}
    with study.snapshot():
        protocols, pairings, sets = fetch_protocols(study), fetch_pairings(study), fetch_sets(study)
        chosen = asked_for if len(asked_for) <= MANY else None
        touched = {sets[coupon.set_key].pairing for coupon in fetch_coupons(study, chosen).values()} - {""}
        groups: dict[tuple[str, str, str], list[CouponHistory]] = {}
        for pairing in [""] if chosen is None else sorted(touched):
            groups |= fetch_histories(study, protocols, pairing=pairing, codes=chosen)
    for (pairing, _, digest), histories in groups.items():
        if pairing not in touched or not any(history.code in asked_for for history in histories):
            continue
        histories = [_with(history, tried) for history in histories]
        protocol, faces_object = protocols[digest], pairings[pairing].substrate.faces_object
        for criterion in protocol.criteria:
            limits = time_zero_limits(histories, criterion=criterion)
            judged = judged_histories(histories, criterion=criterion, protocol=protocol)
            asked = [history for history in judged if history.code in asked_for]
            for seen in observations(asked, criterion=criterion, limits=limits, faces_object=faces_object):
                word = CriterionWord(criterion.title, seen.why, seen.unacceptable, seen.stop)
                found.setdefault(seen.code, []).append(word)
    return found


def _with(history: CouponHistory, tried: Sequence[Reading]) -> CouponHistory:
    own = {reading.kind: reading for reading in tried if reading.code == history.code and reading.kind not in REPEATED}
    return replace(history, readings={**history.readings, **own}) if own else history
