"""Read, imports: a sheet is shown as understood, then taken whole or not at all; layouts are remembered by name."""

from __future__ import annotations

import gc
import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from study.commands.import_prospect import CORRECT as CORRECT
from study.commands.import_prospect import LEAVE as LEAVE
from study.commands.import_prospect import Prospect, prospect_of
from study.commands.sheet_difference import ChangedCell as ChangedCell
from study.commands.sheet_difference import Difference
from study.commands.sheet_instruments import instruments_settled
from study.commands.sheets import CHANGED as CHANGED
from study.commands.sheets import NO_ANSWERS, Sheet, cells_beside, layout_for, refuse_stray, sheet_of, stray_answers
from study.errors import FileRefused, NotPossible, Problem, Question, Unanswered
from study.intake.sheet_map import LEAVE_OUT as LEAVE_OUT
from study.intake.table_file import file_bytes
from study.intake.understanding import FREE_ANSWERS as FREE_ANSWERS
from study.model.coupon import tidy_code
from study.model.layout import READING_COLUMNS, STUDY_COLUMNS, Layout
from study.model.own_mark import tidy_mark
from study.model.person import Signature
from study.model.reading import Reading
from study.store.changes import fetch_act_of_token, refuse_same_file
from study.store.coupons import fetch_marks
from study.store.imports import fetch_codes_of_sheet, fetch_layouts, save_import, save_layout
from study.store.readings import save_readings, supersede_reading
from study.store.study_file import StudyFile

FIRST_ROWS = 8
SHEET_COLUMNS = READING_COLUMNS
"""What a heading of a sheet of readings can be."""
WIDE_COLUMNS = (*READING_COLUMNS, *STUDY_COLUMNS)
"""The same for a whole study in one sheet."""
_STEP = 20_000

Progress = Callable[[str], None]


def silent(_: str) -> None:
    """Say nothing of how far the work is."""


@dataclass(frozen=True)
class Beside:
    """One of the first rows: its cells in the file, and as understood by our column."""

    row: int
    in_file: tuple[str, ...]
    understood: Mapping[str, str]


@dataclass(frozen=True)
class Preview:
    """What an import would do; nothing is written by it."""

    file: str
    layout: Layout | None
    """None for a file in our own columns."""
    headings: tuple[str, ...]
    columns: tuple[str, ...]
    first: tuple[Beside, ...]
    rows: int
    coupons: int
    readings: int
    """That would be entered."""
    notes: tuple[str, ...]
    questions: tuple[Question, ...]
    problems: tuple[Problem, ...]
    """Of the file and of the study, their headings in place of our columns."""
    difference: Difference | None = None
    """Against the version of the same name that was taken before."""
    will: tuple[str, ...] = ()
    """What happens with what is different, and with what is in the study already."""
    left_out: tuple[str, ...] = ()
    """Headings that no column of ours was found for."""
    initials: tuple[str, ...] = ()
    """Of people in the sheet; an answer to “initials XY” gives their name."""
    corrections: int = 0
    """Readings that would be superseded."""

    @property
    def ready(self) -> bool:
        """Whether the import would go through."""
        return not self.questions and not self.problems


@dataclass(frozen=True)
class Imported:
    """What an import did."""

    file: str
    readings: tuple[Reading, ...]
    corrected: tuple[tuple[Reading, Reading], ...] = ()
    notes: tuple[str, ...] = ()
    remembered: str = ""
    passed: tuple[str, ...] = ()
    """What was in the study already with the same values, in words."""

    @property
    def coupons(self) -> set[str]:
        """Coupons with something new."""
        return {reading.code for reading in (*self.readings, *(new for _, new in self.corrected))}


def import_readings(
    study: StudyFile, path: Path, *, signature: Signature, answers: Mapping[str, str] = NO_ANSWERS
) -> list[Reading]:
    """Every new reading of a file in Dwellbook's own columns; all or nothing.

    Raises
    ------
    FileRefused
        With every problem of the file, its row, column, value and what to do.
    Unanswered
        If something unusual in it waits for a person.
    """
    return list(import_file(study, path, answers=answers, signature=signature).readings)


def preview(
    study: StudyFile, path: Path, *, layout: Layout | str | None = None, answers: Mapping[str, str] = NO_ANSWERS,
    signature: Signature, strict: bool = False,
) -> Preview:  # fmt: skip
    """What a sheet was understood as, and what its import would do; nothing is written.

    Parameters
    ----------
    layout : Layout or str, optional
        How the laboratory writes its sheets, or the name it was remembered by.
    answers : mapping of str to str
        By the key of a question.
    strict : bool
        Whether an answer to nothing that is asked is refused.

    Raises
    ------
    FileRefused
        If there is no table in it.
    NotPossible
        If these very bytes were taken before.
    Unknown
        For an answer to nothing that is asked.
    """
    with study.snapshot():
        refuse_same_file(study, _digest(path), path)
        sheet = _sheet(study, path, layout, answers)
        prospect = prospect_of(study, sheet, answers, signature)
    if strict:
        _refuse_stray(sheet, prospect, answers)
    headings, lines = cells_beside(sheet, most=FIRST_ROWS)
    first = [Beside(r.number, tuple(lines.get(r.number, ())), r.cells) for r in sheet.table.rows[:FIRST_ROWS]]
    return Preview(
        path.name, sheet.layout, tuple(headings), sheet.table.columns, tuple(first), len(sheet.table.rows),
        len({tidy_mark(row.cells["coupon"]) for row in sheet.table.rows}), len(prospect.readings), sheet.notes,
        (*sheet.questions, *prospect.questions), (*sheet.problems, *_new(sheet, prospect.problems)),
        prospect.difference, tuple(prospect.will), sheet.left_out, sheet.initials,
        len(prospect.corrected),
    )  # fmt: skip


def import_file(
    study: StudyFile, path: Path, *, layout: Layout | str | None = None, answers: Mapping[str, str] = NO_ANSWERS,
    remember: str = "", token: str = "", signature: Signature, progress: Progress = silent, strict: bool = False,
) -> Imported:  # fmt: skip
    """Every new reading of a sheet, and corrections of cells that changed since it was taken; all or nothing.

    The file's bytes are kept under their hash, and how they were understood beside them.

    Parameters
    ----------
    remember : str
        A name to remember the layout by.
    token : str
        Names this attempt: the same one again, after a lost connection, saves nothing twice.
    progress : callable
        Told in words how far the work is.
    strict : bool
        Whether an answer to nothing that is asked is refused.

    Raises
    ------
    FileRefused
        With every problem; nothing was written.
    Unanswered
        With every open question; nothing was written.
    NotPossible
        If these very bytes were taken before.
    """
    with _no_collecting():
        return _imported(study, path, layout, answers, remember, token, signature, progress, strict)


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Half a million readings hold no cycles; to look for some again and again would double the time."""
    on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if on:
            gc.enable()


def _imported(
    study: StudyFile, path: Path, layout: Layout | str | None, answers: Mapping[str, str], remember: str, token: str,
    signature: Signature, progress: Progress, strict: bool,
) -> Imported:  # fmt: skip
    progress(f"reading {path.name}")
    sheet = _sheet(study, path, layout, answers)
    if remember and sheet.layout is None:
        raise NotPossible("The file is in Dwellbook's own columns.", "There is no layout to remember: leave it out.")
    with study.writing():
        if token and fetch_act_of_token(study, token):
            return Imported(path.name, ())
        refuse_same_file(study, sheet.table.digest, path)
        progress(f"checking {len(sheet.table.rows)} rows")
        prospect = prospect_of(study, sheet, answers, signature)
        if strict:
            _refuse_stray(sheet, prospect, answers)
        problems = [*sheet.problems, *_new(sheet, prospect.problems)]
        questions = [*sheet.questions, *prospect.questions]
        if problems:
            raise FileRefused(path.name, problems, questions=questions)
        if questions:
            raise Unanswered(questions)
        _write(study, sheet, prospect, remember.strip(), token, signature, progress)
    return Imported(
        path.name, tuple(prospect.readings), tuple(prospect.corrected), (*sheet.notes, *prospect.left),
        remember.strip(), tuple(prospect.passed),
    )  # fmt: skip


def _sheet(study: StudyFile, path: Path, layout: Layout | str | None, answers: Mapping[str, str]) -> Sheet:
    chosen = layout_for(study, path, layout)
    sheet = instruments_settled(study, sheet_of(path, layout=chosen, answers=answers), answers)
    if chosen is not None and not layout:
        if not _shares_a_coupon(study, sheet):
            # Another sheet that bears the same name: what was said of the first says nothing of it.
            return instruments_settled(study, sheet_of(path, answers=answers), answers)
        said = "Read as the earlier file of this name was: what was answered then is not asked again."
        sheet = replace(sheet, notes=(said, *sheet.notes))
    return sheet


def _shares_a_coupon(study: StudyFile, sheet: Sheet) -> bool:
    """Whether a sheet has a coupon that was read in the sheet taken before under its name."""
    read, marks = fetch_codes_of_sheet(study, sheet.table.file), fetch_marks(study)
    typed = {row.cells["coupon"] for row in sheet.table.rows}
    return any(tidy_code(one) in read or marks.get(tidy_mark(one)) in read for one in typed)


def layouts(study: StudyFile) -> dict[str, tuple[Layout, str, str]]:
    """Every layout remembered, by name, with who remembered it and when."""
    return fetch_layouts(study)


def _refuse_stray(sheet: Sheet, prospect: Prospect, answers: Mapping[str, str]) -> None:
    waiting = (*sheet.questions, *prospect.questions)
    refuse_stray(sheet.table.file, stray_answers(answers, sheet.asked), waiting, sheet.asked)


def _digest(path: Path) -> str:
    return hashlib.sha256(file_bytes(path)).hexdigest()


def _write(
    study: StudyFile,
    sheet: Sheet,
    prospect: Prospect,
    remember: str,
    token: str,
    signature: Signature,
    progress: Progress,
) -> None:
    table = sheet.table
    after = {"file_sha256": table.digest, "rows": len(table.rows), "readings": len(prospect.readings)}
    after |= {"corrected": len(prospect.corrected)} if prospect.corrected else {}
    after |= {"token": token} if token else {}
    before = {f"{old.code} {old.kind}": old.typed for old, _ in prospect.corrected} or None
    if prospect.corrected and not signature.why.strip():
        why = f"The cell stands otherwise in a later version of {table.file}."
        signature = replace(signature, why=why)
    with study.change(signature, act="import readings", subject=table.file, before=before, after=after) as change:
        for old, _ in prospect.corrected:
            supersede_reading(study, old.number, change=change)
        news = prospect.readings
        if len(news) > _STEP:
            news = sorted(news, key=lambda reading: reading.code)  # in the order of the index: a fifth less work
        save_readings(study, _told(news, progress), change=change)
        save_readings(study, [new for _, new in prospect.corrected], change=change)
        save_import(study, table.file, sheet.content, layout=sheet.layout, change=change)
        if remember and sheet.layout is not None:
            save_layout(study, remember, sheet.layout, change=change)
        progress("closing the change")


def _told(readings: Iterable[Reading], progress: Progress) -> Iterator[Reading]:
    for number, reading in enumerate(readings):
        if number % _STEP == 0:
            progress(f"writing readings, {number} so far")
        yield reading


def _new(sheet: Sheet, problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Problems found by the checks, in the sheet's words, where understanding had not told that cell already.

    A cell that was left blank since something is wrong with it, its column or the whole file is blank for that reason.
    """
    told = {(problem.row, problem.column) for problem in sheet.problems}
    rows = {problem.row for problem in sheet.problems} | ({0} if sheet.questions else set())
    columns = {problem.column for problem in sheet.problems} - {""}
    whole = {problem.column for problem in sheet.problems if problem.row == 0} - {""}
    return tuple(
        found
        for found in sheet.in_their_words(tuple(problems))
        if (found.row, found.column) not in told
        and found.column not in whole
        and (found.value or not (rows & {0, found.row} or found.column in columns))
    )
