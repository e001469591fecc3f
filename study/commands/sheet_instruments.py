"""Instruments of a sheet by the laboratory's names: told apart from those registered, or kept in the note; a room."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches

from study.commands.sheets import Sheet
from study.errors import Question
from study.intake.table_file import Row
from study.model.units import plain
from study.store.instruments import fetch_instruments
from study.store.study_file import StudyFile

TO_NOTE = "keep in the note"
_COLUMN = "instrument"
_OFFERED = 8


def instruments_settled(study: StudyFile, sheet: Sheet, answers: Mapping[str, str]) -> Sheet:
    """The sheet with every instrument under its registered key; for another name a question, kept with the layout.

    A file in our own columns stays as it is: there an instrument that is not registered is refused.
    """
    if sheet.layout is None or _COLUMN not in sheet.table.columns:
        return sheet
    named = dict.fromkeys(row.cells[_COLUMN] for row in sheet.table.rows if row.cells.get(_COLUMN))
    known = fetch_instruments(study)
    by_words = {words.casefold(): key for key, one in known.items() for words in (key, one.name)}
    told = sheet.layout.words.get(_COLUMN, {})
    meant: dict[str, str] = {}
    questions: list[Question] = []
    asked: set[str] = set()
    notes: list[str] = []
    for name in named:
        key = by_words.get(plain(name).casefold(), "")
        if key == name:
            continue
        question = f"{_COLUMN} {plain(name)}"
        asked.add(question)
        answer = plain(answers.get(question, "")) or key or told.get(plain(name).casefold(), "")
        if answer in known or answer == TO_NOTE:
            meant[name] = answer
            notes.append(f"The instrument “{name}” is {answer if answer in known else 'kept in the note'}.")
            continue
        near = get_close_matches(name.casefold(), by_words, n=_OFFERED, cutoff=0.4)
        offered = list(dict.fromkeys([*(by_words[words] for words in near), *known]))[:_OFFERED]
        do = "" if known else " None is registered yet (dwellbook register instrument)."
        questions.append(Question(question, f"“{name}” is not a registered instrument.{do}", (*offered, TO_NOTE)))
    if not asked:
        return sheet
    words = {plain(name).casefold(): key for name, key in meant.items()}
    layout = sheet.layout.model_copy(update={"words": {**sheet.layout.words, _COLUMN: {**told, **words}}})
    # While it is asked who an instrument is, its cells are blank: one question, and no refusal beside it.
    settled = dict.fromkeys(named, "") | {name: name for name in named if name in known} | meant
    rows = tuple(_settled(row, settled) for row in sheet.table.rows)
    columns = tuple(dict.fromkeys([*sheet.table.columns, "note"]))
    return replace(
        sheet, table=replace(sheet.table, columns=columns, rows=rows), layout=layout, notes=(*sheet.notes, *notes),
        questions=(*sheet.questions, *questions), asked=sheet.asked | asked,
    )  # fmt: skip


def _settled(row: Row, meant: Mapping[str, str]) -> Row:
    name = row.cells.get(_COLUMN, "")
    if name not in meant:
        return row
    cells = {**row.cells, _COLUMN: "" if meant[name] == TO_NOTE else meant[name]}
    if meant[name] == TO_NOTE:
        cells["note"] = "; ".join(part for part in (row.cells.get("note", ""), f"instrument: {name}") if part)
    return Row(row.number, cells)
