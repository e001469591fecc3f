"""Residue grades as typed: whose scale they are on, grades between two, and grades that became dates."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from study.intake.residue_cells import area_grade
from study.intake.sheet_numbers import PLAIN, damaged, leave_blank, missing_reason, tell_missing
from study.intake.sheet_words import meaning_of
from study.intake.sheet_work import LEAVE_BLANK, Work
from study.model.details import RESIDUE_AIDS, RESIDUE_FLAGS
from study.model.layout import AREA_ANSWERS, OURS, RESIDUE_SCALES
from study.model.units import plain

GRADES = ("residue_grade", "residue_second", "residue_cleaned")
NAMES = {"none": "0", "none found": "0", "trace": "1", "slight": "2", "moderate": "3", "heavy": "4", "severe": "5"}
"""Our grades by their own names."""
_SINGLE = re.compile(r"(\d{1,2})([AaBb]?)")
_RANGE = re.compile(r"(\d{1,2})[Bb]?\s*(?:-|/|to|or)\s*(\d{1,2})[Bb]?")
_IN_DOUBT = re.compile(r"(\d{1,2})\s*\?+")
_HALF = re.compile(r"(\d{1,2})[.,]5|(\d{1,2})\s*\+|(\d{1,2})\s*½")
_CLEAN_IN_HEADING = re.compile(
    r"\b(\d{1,2})\s*(?:=|:|is|means)\s*(?:clean|none|best|no residue|perfect)", re.IGNORECASE
)
_AIDS = {
    "10x": "10x", "x10": "10x", "10 x": "10x", "10×": "10x", "microscope": "10x", "lens": "10x", "hand lens": "10x",
    "loupe": "10x", "raking light": "raking light", "raking": "raking light", "uv-a": "UV-A", "uva": "UV-A",
    "uv": "UV-A",
    "uv a": "UV-A", "uv light": "UV-A",
}  # fmt: skip


def settle_grades(work: Work) -> None:
    """Write grades on our scale 0 (none found) to 5 (severe), two neighbours where the rater was in doubt."""
    columns = [column for column in GRADES if column in work.columns]
    if not columns:
        return
    parsed = {column: [_grade(cell) if cell else None for cell in work.columns[column]] for column in columns}
    table = _table(work, columns, parsed)
    for column in columns:
        _settle(work, column, parsed[column], table)


@lru_cache(maxsize=4096)
def _grade(cell: str) -> tuple[int, int, str] | None:
    """Lowest and highest grade as typed, and a remark; None if it is no grade."""
    text = plain(cell).strip("'").replace("×", "x")
    if len(text) > 40:
        return None
    if match := _SINGLE.fullmatch(text):
        return int(match[1]), int(match[1]), match[2].upper()
    if text.casefold() in NAMES:
        grade = int(NAMES[text.casefold()])
        return grade, grade, "name"
    if match := _RANGE.fullmatch(text):
        first, second = sorted((int(match[1]), int(match[2])))
        return first, second, "B" if "B" in text.upper() else ""
    if match := _HALF.fullmatch(text):
        grade = int(match[1] or match[2] or match[3])
        return grade, grade + 1, "between"
    if re.fullmatch(r"\d{1,2}\.0+", text):
        return int(text.split(".")[0]), int(text.split(".")[0]), ""
    return None


def _table(work: Work, columns: Sequence[str], parsed: dict[str, list[tuple[int, int, str] | None]]) -> dict[str, str]:
    """Their grade -> ours; empty while nobody has said which scale it is."""
    given = [grade for column in columns for grade in parsed[column] if grade]
    if work.layout.residue_table and "residue scale" not in work.answers:
        if work.layout.residue_scale != OURS:
            _tell_scale(work, work.layout.residue_scale or "remembered", work.layout.residue_table)
        return work.layout.residue_table
    scale = work.layout.residue_scale
    headings = [work.headings.get(column, column) for column in columns]
    told = {match[1] for heading in headings if (match := _CLEAN_IN_HEADING.search(heading))}
    if not scale and len(told) == 1:
        scale = {"0": OURS, "5": "0 to 5, 5 is clean", "10": "10 to 0, 10 is clean (ASTM D610)"}.get(told.pop(), "")
    if not scale and any(mark == "B" for _, _, mark in given):
        scale = "5B to 0B (ASTM D3359)"
    if not scale and all(heading in GRADES for heading in headings):
        scale = OURS  # the headings of our own template
    if not scale and not any(mark != "name" for _, _, mark in given):
        return RESIDUE_SCALES[OURS]
    places = [place for column in columns for place, grade in enumerate(parsed[column]) if grade and grade[2] != "name"]
    first = f"“{work.columns[columns[0]][places[0]]}” in {work.rows(places[:1])}" if places else "A grade"
    answer = work.ask(
        "residue scale",
        f"{first} says nothing unless the scale is known: on some scales 0 is clean, on others the highest number is.",
        tuple(RESIDUE_SCALES),
        told=scale,
    )
    if not answer:
        return {}
    work.remember("residue_scale", answer)
    work.remember("residue_table", RESIDUE_SCALES[answer])
    if answer != OURS:
        _tell_scale(work, answer, RESIDUE_SCALES[answer])
    return RESIDUE_SCALES[answer]


def _tell_scale(work: Work, scale: str, table: dict[str, str]) -> None:
    """A scale turned round is said each time, also where a layout remembers it."""
    pairs = ", ".join(f"{theirs} is {ours}" for theirs, ours in table.items())
    work.note(f"Residue grades are on the scale “{scale}”; as our grades: {pairs}.")


def _settle(work: Work, column: str, parsed: list[tuple[int, int, str] | None], table: dict[str, str]) -> None:
    cells = work.columns[column]
    written: list[str] = []
    reasons: dict[str, list[int]] = {}
    between: list[int] = []
    known: dict[tuple[int, int, str], str] = {}
    for place, cell in enumerate(cells):
        grade = parsed[place]
        written.append("")
        if not cell:
            continue
        if grade is not None:
            if grade not in known:
                scale = RESIDUE_SCALES[OURS] if grade[2] == "name" else table
                known[grade] = _ours(grade, scale) if table else _as_typed(grade)
            ours = known[grade]
            if ours:
                written[-1] = ours
                between += [place] if grade[2] == "between" else []
            elif _ours((*grade[:2], ""), {str(k): str(k) for k in range(11)}) == "":
                do = "Write the lower one first, such as 3-4; a wider doubt is two readings."
                work.problem(place, column, cell, "is not two neighbouring grades.", do)
            else:
                work.problem(place, column, cell, "is off the scale.", f"The scale has {', '.join(table)}.")
            continue
        reason = missing_reason(work, cell)
        if reason:
            leave_blank(work, column, [place], reason, reasons)
        elif meaning_of(cell)[0] == "date":
            damaged(work, place, column, cell)
        elif match := _IN_DOUBT.fullmatch(plain(cell)):
            written[-1] = _decided(work, column, place, int(match[1]), table)
        else:
            work.problem(
                place, column, cell, "is not a residue grade.", "Write a whole grade, or two neighbours such as 3-4."
            )
    if between:
        heading = work.headings.get(column, column)
        work.note(
            f"{heading}: grades between two (such as 3.5 or 3+) in {work.rows(between)} are kept as both neighbours."
        )
    tell_missing(work, column, reasons)
    work.columns[column] = written


def _decided(work: Work, column: str, place: int, grade: int, table: dict[str, str]) -> str:
    """Our grade for one that its rater put a question mark behind; a person says which grades it can be."""
    cell = work.columns[column][place]
    neighbours = [f"{low}-{low + 1}" for low in (grade - 1, grade) if low >= 0]
    where = [other for other, same in enumerate(work.columns[column]) if same == cell]
    answer = work.word(column, cell, where, "is a grade in doubt: which is it?", (*neighbours, str(grade)))
    if not answer:
        do = "Write the grade, or two neighbours such as 3-4."
        work.problem(place, column, cell, "is a grade in doubt.", do, question=f"{column} {plain(cell)}")
        return ""
    work.remark(place, f"{column}: typed {plain(cell)}")
    read = _grade(answer) if answer != LEAVE_BLANK else None
    if read is None:
        return ""
    ours = _ours(read, table) if table else _as_typed(read)
    if not ours:
        work.problem(place, column, cell, "is off the scale.", f"The scale has {', '.join(table)}.")
    return ours


def _ours(grade: tuple[int, int, str], table: dict[str, str]) -> str:
    """Our grade or two neighbours; empty if it is off the scale or spans more."""
    low, high, _ = grade
    parts = [part for theirs in range(low, high + 1) for part in table.get(str(theirs), "x").split("-")]
    if high - low > 1 or "x" in parts:
        return ""
    first, last = min(map(int, parts)), max(map(int, parts))
    return str(first) if first == last else f"{first}-{last}"


def _as_typed(grade: tuple[int, int, str]) -> str:
    return str(grade[0]) if grade[0] == grade[1] else f"{grade[0]}-{grade[1]}"


def settle_areas(work: Work) -> None:
    """An area of residue without a grade beside it: graded by the area alone, or left out, as answered."""
    areas = work.columns.get("residue_area_percent", [])
    grades = work.columns.get("residue_grade", [""] * len(areas))
    open_still = {"residue scale", "percent scale"} & {question.key for question in work.questions}
    alone = [place for place, area in enumerate(areas) if PLAIN(area) and not grades[place]]
    if not alone or open_still:
        return
    heading = work.headings.get("residue_area_percent", "residue_area_percent")
    answer = work.ask(
        "area alone",
        f"“{heading}” stands beside no grade by sight in {work.rows(alone)}. The grade can be that of the area alone.",
        AREA_ANSWERS,
        told=work.layout.area_alone,
    )
    if not answer:
        return
    work.remember("area_alone", answer)
    by_area = answer == AREA_ANSWERS[0]
    column = work.columns.setdefault("residue_grade", list(grades))
    for place in alone:
        if by_area:
            column[place] = str(area_grade(float(areas[place])))
            work.remark(place, "residue_grade: by area alone")
        else:
            work.remark(place, f"residue_area_percent: {areas[place]}")
            areas[place] = ""
    done = "graded by the area alone" if by_area else "left out and kept in the note"
    work.note(f"{heading}: areas without a grade in {work.rows(alone)} were {done}, as answered.")


def settle_flags(work: Work) -> None:
    """Write flags and aids as words of ours; another word is a problem, and nothing is folded into the grade."""
    for column, words, known, joint in (
        ("residue_flags", {flag: flag for flag in RESIDUE_FLAGS}, RESIDUE_FLAGS, " "),
        ("residue_aids", _AIDS, RESIDUE_AIDS, ", "),
    ):
        if column in work.columns:
            work.columns[column] = _listed(work, column, words, known, joint)


def _listed(work: Work, column: str, words: dict[str, str], known: tuple[str, ...], joint: str) -> list[str]:
    done: dict[str, str | None] = {"": ""}
    places: dict[str, list[int]] = {}
    for place, cell in enumerate(work.columns[column]):
        places.setdefault(cell, []).append(place)
    for cell, where in places.items():
        if not cell or missing_reason(work, cell):
            done.setdefault(cell, None)
            continue
        parts = [part for part in re.split(r"\s*[,;+&/]\s*|\s+and\s+", plain(cell).casefold()) if part]
        if column == "residue_flags" and set(plain(cell).casefold().split()) & set(known):
            parts = [word for part in parts for word in part.split()]
        bare = {"none", "no", "-", "bare eye", "naked eye", "eye"}
        found = [words.get(part, "" if part in bare else "?") for part in parts]
        for number, part in enumerate(parts):
            if found[number] == "?":
                answer = work.word(column, part, where, f"is not a word of {column} that is known.", known)
                found[number] = "?" if answer is None else answer if answer in known else ""
                if answer == LEAVE_BLANK:
                    for place in where:
                        work.remark(place, f"{column}: {part}")
        done[cell] = None if "?" in found else joint.join(name for name in known if name in found)
        if column == "residue_aids" and parts and not any(found):
            done[cell] = "bare eye"
    for place, cell in enumerate(work.columns[column]):
        if done[cell] is None and not missing_reason(work, cell):
            work.problem(place, column, cell, "is not known.", f"Write {joint.join(known)}, or those that apply.")
    return [done[cell] or "" for cell in work.columns[column]]
