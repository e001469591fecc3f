"""Local words in place of numbers, grades and days: asked once for the whole sheet, and remembered with its layout."""

from __future__ import annotations

import re
from collections.abc import Sequence

from study.intake.sheet_grades import GRADES, NAMES
from study.intake.sheet_numbers import NUMBERS, missing_reason
from study.intake.sheet_words import HELD, MISSING, RELEASED, meaning_of
from study.intake.sheet_work import LEAVE_BLANK, Work
from study.model.units import plain

RAN_OUT, BELOW, STILL = "the gauge ran out", "below detection", "still in place"
_REASONS = tuple(dict.fromkeys(MISSING[word] for word in ("not measured", "n/a", "not recorded", "unreadable")))
_EVENTS = {RELEASED: RELEASED, HELD: HELD, RAN_OUT: "OL", BELOW: "bdl"}
"""What may stand in place of a force, and how it is written so that what follows knows it."""
_GRADES = tuple(name for name in NAMES if name != "none")
_MOST = 12
"""Different words in place of numbers beyond which a column is not one of numbers."""
_WORD = re.compile(r"[^\W\d_].*")
_COLUMNS = (*NUMBERS, *GRADES, "pulled_on")


def settle_local_words(work: Work) -> None:
    """Write words that are known to nobody but the laboratory as words of ours, as remembered or answered."""
    found: dict[str, dict[str, list[int]]] = {}
    for column in _COLUMNS:
        for word, where in _strange(work, column).items():
            found.setdefault(word, {})[column] = where
    for word, held in found.items():
        columns = list(held)
        what = f"of “{work.headings.get(columns[0], columns[0])}” is no {_noun(columns[0])}: what does it say?"
        where = sorted({place for places in held.values() for place in places})
        told = next((work.words(column)[word] for column in columns if word in work.words(column)), "")
        if told:
            work.remember("words", {column: {**work.words(column), word: told} for column in columns})
        answer = work.word(columns[0], word, where, what, _answers(columns), key=f"word {word}")
        if answer is None:
            continue
        for column in columns:
            if answer:
                work.remember("words", {column: {**work.words(column), word: answer}})
                _write(work, column, held[column], word, answer)
            else:
                _tell(work, column, held[column], f"word {word}")


def _strange(work: Work, column: str) -> dict[str, list[int]]:
    """Words in a column that nobody knows, folded, with their places; none where there are too many."""
    found: dict[str, list[int]] = {}
    for place, cell in enumerate(work.columns.get(column, ())):
        if not cell or cell[0].isdecimal() or not _WORD.fullmatch(cell) or any(map(str.isdecimal, cell)):
            continue
        word = plain(cell).casefold()
        if len(cell) > 40 or meaning_of(cell)[0] or missing_reason(work, cell) or (column in GRADES and word in NAMES):
            continue
        found.setdefault(word, []).append(place)
    return found if len(found) <= _MOST else {}


def _noun(column: str) -> str:
    return "day" if column == "pulled_on" else "residue grade" if column in GRADES else "number"


def _answers(columns: Sequence[str]) -> tuple[str, ...]:
    if columns == ["pulled_on"]:
        return (STILL, *_REASONS)
    events = tuple(_EVENTS) if "removal_force" in columns else ()
    grades = _GRADES if set(columns) <= set(GRADES) else ()
    return (*grades, *_REASONS, *events)


def _write(work: Work, column: str, places: Sequence[int], word: str, answer: str) -> None:
    """What a word means, in its cells: an event or a grade by its name, else nothing, with the reason in the note."""
    cells = work.columns[column]
    grade = column in GRADES and answer in NAMES
    event = _EVENTS.get(answer, "") if column == "removal_force" else ""
    for place in places:
        cells[place] = answer if grade else event
        if answer != STILL and not grade and not event:
            work.remark(place, f"{column}: {word if answer == LEAVE_BLANK else answer}")


def _tell(work: Work, column: str, places: Sequence[int], key: str) -> None:
    """While nobody has said what a word means it is wrong where it stands."""
    for place in places:
        what = f"is not a {'date' if column == 'pulled_on' else _noun(column)}."
        do = "Correct it, or say what the word means."
        work.problem(place, column, work.columns[column][place], what, do, question=key)
        work.columns[column][place] = ""
