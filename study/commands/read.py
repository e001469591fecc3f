"""Read: readings enter the study from a form or a grid, and their verdicts come back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from difflib import get_close_matches
from typing import Any

from study.commands.bench import CriterionWord, bench_of, checked, code_of, words_of
from study.errors import NotPossible
from study.intake.coupon_file import tidy_code
from study.intake.reading_columns import COLOUR_CONDITIONS, KEPT_FLAGS, OPTIONAL, REQUIRED, ROW_CONDITIONS
from study.intake.table_file import Row, Table
from study.model.person import Signature
from study.model.reading import Reading
from study.store.changes import fetch_act_of_token
from study.store.coupons import fetch_coupons
from study.store.readings import fetch_in_force, save_readings
from study.store.study_file import StudyFile

NO_ANSWERS: Mapping[str, str] = {}
TYPED = tuple(column for column in OPTIONAL if column != KEPT_FLAGS)
"""Columns that a person fills in; flags are worked out."""


def record_reading(
    study: StudyFile, typed_code: str, typed: dict[str, str], *, read_on: date, signature: Signature,
    answers: Mapping[str, str] = NO_ANSWERS, token: str = "",
) -> list[CriterionWord]:  # fmt: skip
    """What was read on one coupon, and the verdict at once.

    Parameters
    ----------
    typed : dict
        Text by column of a reading file, as typed; a blank is "not measured".
    answers : mapping of str to str
        Answers to questions asked before.
    token : str
        Names this attempt: the same one again, after a lost connection, saves nothing twice.

    Raises
    ------
    FileRefused
        With every problem, each with its column.
    Unanswered
        If something unusual waits for a person; nothing was written.
    """
    code = code_of(study, typed_code)
    record_readings(
        study, [{**typed, "coupon": code}], read_on=read_on, signature=signature, answers=answers, token=token
    )
    return verdicts(study, code)


def record_readings(
    study: StudyFile, rows: Sequence[Mapping[str, str]], *, read_on: date, signature: Signature,
    answers: Mapping[str, str] = NO_ANSWERS, token: str = "",
) -> list[Reading]:  # fmt: skip
    """What was read on several coupons, a row a coupon; all or nothing, in one change.

    Parameters
    ----------
    rows : sequence of mappings
        Text by column; ``read_on`` of a row goes before the common one. A row without any reading is passed over.

    Raises
    ------
    FileRefused
        With every problem, its row (1 for the first) and column. A cell that somebody filled meanwhile is one.
    """
    unknown = [name for row in rows for name in row if name not in TYPED and name not in REQUIRED]
    if unknown:
        near = get_close_matches(unknown[0], TYPED, n=1, cutoff=0.4)
        do = f"Did you mean {near[0]}?" if near else f"Use {', '.join(TYPED)}."
        raise NotPossible(f"“{unknown[0]}” is not a column of readings.", do)
    filled = [
        Row(number if len(rows) > 1 else 0, _cells(row, read_on))
        for number, row in enumerate(rows, start=1)
        if len(rows) == 1 or any(text.strip() for name, text in row.items() if name not in _ALONE)
    ]
    if not filled:
        raise NotPossible("Nothing is typed yet.", "Fill in at least one reading.")
    codes = {tidy_code(row.cells["coupon"]) for row in filled}
    subject = next(iter(codes)) if len(codes) == 1 else f"{len(codes)} coupons"
    with study.writing():
        if token and fetch_act_of_token(study, token):
            return []
        table = Table(subject, "", tuple(dict.fromkeys(name for row in filled for name in row.cells)), tuple(filled))
        # What is no code may be a coupon's own mark, or near one: then the whole study is looked through.
        plain = codes <= fetch_coupons(study, codes).keys()
        readings = checked(study, table, bench_of(study, signature, codes if plain else None), answers=answers)
        after: dict[str, Any] = {f"{r.code} {r.kind}" if len(codes) > 1 else r.kind: r.typed for r in readings}
        after |= {"token": token} if token else {}
        with study.change(signature, act="enter readings", subject=subject, after=after) as change:
            save_readings(study, readings, change=change)
    return readings


_ALONE = (*REQUIRED, "force_unit", "side", "residue_aids", "second_rater", "cleaning_step", *COLOUR_CONDITIONS,
          *ROW_CONDITIONS[:-1])  # fmt: skip
"""Columns that a grid fills in beforehand; alone they are no reading."""


def _cells(row: Mapping[str, str], read_on: date) -> dict[str, str]:
    cells = {name: (text or "").strip() for name, text in row.items()}
    return {**cells, "read_on": cells.get("read_on") or read_on.isoformat()}


def verdict_counts(study: StudyFile, codes: Collection[str]) -> list[str]:
    """What a batch of readings shows, in sentences: unacceptable coupons by criterion, and what stops a pairing."""
    counts: Counter[str] = Counter()
    stops: list[str] = []
    for code, found in words_of(study, codes).items():
        for word in found:
            counts[word.criterion] += word.unacceptable is True
            if word.stop:
                stops.append(f"{code} stops its pairing: {word.criterion}, {word.words}")
    told = [f"{criterion}: {count} unacceptable" for criterion, count in counts.items() if count]
    return [*(told or ["Nothing unacceptable among them."]), *stops]


def verdicts(study: StudyFile, code: str) -> list[CriterionWord]:
    """What each criterion of its protocol says about one coupon."""
    return words_of(study, {code}).get(code, [])


def flags_in_force(study: StudyFile, typed_code: str) -> list[str]:
    """What stays with the readings of a coupon: an instrument past calibration, a room outside the band, unusual."""
    found = fetch_in_force(study, code_of(study, typed_code)).values()
    return list(dict.fromkeys(mark for reading in found for mark in reading.details.marks))
