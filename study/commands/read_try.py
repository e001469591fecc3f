"""Read, tried: what is typed is checked and judged as if it were saved, and nothing is written."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

from study.commands.bench import CriterionWord, bench_of, code_of, found_unusual, words_of
from study.errors import FileRefused, Problem
from study.intake.reading_columns import COLOUR_CONDITIONS, COLUMNS, KIND_OF, REQUIRED, ROW_CONDITIONS
from study.intake.reading_file import Bench, parse_readings, row_marks
from study.intake.residue_cells import area_grade
from study.intake.table_file import Row, Table
from study.model.person import Signature
from study.model.protocol import PATTERN_WORDS
from study.model.reading import Reading
from study.model.units import conversion_words, unit_note
from study.store.study_file import StudyFile

_NUMBER = re.compile(r"[<>]?\s*([+-]?[\d.]+(?:[eE][+-]?\d+)?)\s*(.*)")
_BESIDE = (*REQUIRED, *ROW_CONDITIONS, *COLOUR_CONDITIONS)


@dataclass(frozen=True)
class Tried:
    """What saving would say; nothing was saved."""

    problems: tuple[Problem, ...]
    said: Mapping[str, str]
    """In words, by column: a conversion, a caution, a sum of shares, which of two grades counts."""
    marks: tuple[str, ...]
    """Flags that would stay on the readings: past calibration, outside the protocol's climate."""
    unusual: tuple[str, ...]
    """What would be asked before it is saved."""
    words: tuple[CriterionWord, ...]
    """Provisional: what each criterion would say, by what is right so far and what is on file."""


def try_reading(
    study: StudyFile, typed_code: str, typed: Mapping[str, str], *, read_on: date, signature: Signature
) -> Tried:
    """What was typed so far for one coupon, checked and judged; a cell that is wrong keeps no other from being judged.

    Parameters
    ----------
    typed : mapping of str to str
        Text by column of a reading file.

    Raises
    ------
    Unknown
        If the study has no such coupon.
    """
    code = code_of(study, typed_code)
    with study.snapshot():
        bench = bench_of(study, signature, [code])
        cells = {name: text.strip() for name, text in typed.items() if text and text.strip()}
        cells = {**cells, "coupon": code, "read_on": read_on.isoformat()}
        readings, problems = _right_so_far(cells, bench)
        force_per = bench.coupons[code].force_per
        said: dict[str, str] = {}
        for reading in readings:
            said |= {column: words for column, words in _said(reading, cells, force_per).items() if words}
        marks = row_marks(Row(0, cells), bench.coupons[code], read_on, bench, []).said
        unusual = found_unusual(study, readings, bench)
        words = words_of(study, {code}, tried=readings).get(code, []) if readings else []
    return Tried(tuple(problems), said, marks, tuple(unusual.values()), tuple(words))


@dataclass(frozen=True)
class TriedRows:
    """What saving several coupons would say; nothing was saved."""

    problems: tuple[Problem, ...] = ()
    """Row 1 is the first."""
    unusual: Mapping[tuple[str, str], str] = field(default_factory=dict)
    """What would be asked, by (code, kind)."""
    marks: Mapping[str, int] = field(default_factory=dict)
    """Flags that would stay, each with how many coupons it would stay on."""


@lru_cache(maxsize=1)
def get_ready() -> None:
    """Load what judging needs, once a process, so that the first key typed is answered as fast as the next."""
    import numpy as np

    from study.analysis import censoring, discoloration  # noqa: F401  the floor that judges

    discoloration.colour_difference(before=np.full(3, 50.0), after=np.full(3, 50.0))
    conversion_words(1.0, unit="kgf", force_per="dot")


def try_rows(study: StudyFile, rows: Sequence[Mapping[str, str]], *, read_on: date, signature: Signature) -> TriedRows:
    """Several coupons' cells, checked and judged together; rows must name known codes, and nothing is written."""
    filled = [
        Row(number, {name: (text or "").strip() for name, text in row.items()} | {"read_on": read_on.isoformat()})
        for number, row in enumerate(rows, start=1)
    ]
    if not filled:
        return TriedRows()
    with study.snapshot():
        bench = bench_of(study, signature, {row.cells["coupon"] for row in filled})
        table = Table("", "", tuple(dict.fromkeys(name for row in filled for name in row.cells)), tuple(filled))
        try:
            readings = parse_readings(table, bench=bench)
        except FileRefused as refused:
            return TriedRows(tuple(refused.problems))
        marks = Counter[str]()
        for row in filled:
            marks.update(row_marks(row, bench.coupons[row.cells["coupon"]], read_on, bench, []).said)
        return TriedRows((), found_unusual(study, readings, bench), marks)


def _right_so_far(cells: Mapping[str, str], bench: Bench) -> tuple[list[Reading], list[Problem]]:
    """The readings without fault, and every problem; a fault about the whole row leaves none."""
    problems: list[Problem] = []
    left = dict(cells)
    for _ in range(len(COLUMNS)):
        if not any(KIND_OF.get(column) for column in left if column not in ("force_unit", "side")):
            return [], problems
        table = Table("", "", tuple(left), (Row(0, left),))
        try:
            return parse_readings(table, bench=bench), problems
        except FileRefused as refused:
            problems += [problem for problem in refused.problems if problem not in problems]
            wrong = {KIND_OF[problem.column] for problem in refused.problems if problem.column in KIND_OF}
            beside = {problem.column for problem in refused.problems if problem.column in _BESIDE}
            if not wrong and beside <= set(REQUIRED):
                return [], problems
            left = {
                column: text
                for column, text in left.items()
                if KIND_OF.get(column) not in wrong and (column in REQUIRED or column not in beside)
            }
    return [], problems


def _said(reading: Reading, cells: Mapping[str, str], force_per: str) -> dict[str, str]:
    """What is done with a reading's cells, by column."""
    details = reading.details
    column = COLUMNS[reading.kind][0]
    if reading.kind == "removal_force":
        return {column: _force_words(reading, force_per)}
    if reading.kind == "failure_pattern":
        if details.shares:
            total = sum(share.percent for share in details.shares)
            shares = "; ".join(f"{s.percent:g}\u202f% {s.pattern} {s.side}" for s in details.shares)
            return {column: f"{shares}. Together {total:g}\u202f%."}
        stayed = " The adhesive stayed on the object." if (reading.pattern, reading.side) == ("AF", "mount") else ""
        return {column: f"{reading.pattern}: {PATTERN_WORDS[reading.pattern]}, side {reading.side}.{stayed}"}
    if reading.kind == "residue_grade" and details.area_percent is not None:
        by_area = area_grade(details.area_percent)
        if details.sight_grade:
            return {
                "residue_area_percent": f"By area it is grade {by_area}: that counts, not {reading.typed} by sight."
            }
        if reading.lower == by_area:
            return {"residue_area_percent": f"By area it is grade {by_area} too."}
        return {"residue_area_percent": f"By area it is grade {by_area}; {reading.typed} by sight is worse and counts."}
    if reading.kind == "residue_second":
        return {column: "Both grades are kept; the worse of them counts."}
    if details.spots and reading.lab:
        mean = ", ".join(f"{part:.2f}" for part in reading.lab)
        return {column: f"The mean of {len(details.spots)} readings counts: {mean}."}
    return {}


def _force_words(reading: Reading, force_per: str) -> str:
    match = _NUMBER.fullmatch(reading.typed)
    if match is None:
        return ""
    converted = conversion_words(float(match[1]), unit=reading.unit, force_per=force_per)
    return " ".join(
        part for part in (f"{converted}." if converted else "", unit_note(match[2] or reading.unit)) if part
    )
