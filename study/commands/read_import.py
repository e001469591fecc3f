"""Read, imports: a sheet is shown as understood, then taken whole or not at all; layouts are remembered by name."""

from __future__ import annotations

import gc
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from study.commands.bench import bench_of, checked
from study.commands.sheet_difference import Difference, difference
from study.commands.sheets import CHANGED, NO_ANSWERS, Sheet, cells_beside, chosen_layout, earlier_table, sheet_of
from study.errors import DwellbookError, FileRefused, NotPossible, Problem, Question, Unanswered
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.intake.reading_columns import COLUMNS
from study.intake.reading_file import Bench
from study.intake.table_file import Row, Table, file_bytes
from study.intake.understanding import FREE_ANSWERS as FREE_ANSWERS
from study.model.layout import READING_COLUMNS, STUDY_COLUMNS, Layout
from study.model.own_mark import tidy_mark
from study.model.person import Signature
from study.model.reading import REPEATED, Reading
from study.store.changes import fetch_act_of_token, refuse_same_file
from study.store.imports import fetch_last_import, fetch_layouts, save_import, save_layout
from study.store.readings import fetch_in_force, save_readings, supersede_reading
from study.store.study_file import StudyFile

CORRECT, LEAVE = "correct them", "leave them"
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
    """What happens with what is different."""

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

    @property
    def coupons(self) -> set[str]:
        """Coupons with something new."""
        return {reading.code for reading in (*self.readings, *(new for _, new in self.corrected))}


@dataclass
class _Plan:
    """What is to be written, and what stands against it."""

    readings: list[Reading] = field(default_factory=list)
    corrected: list[tuple[Reading, Reading]] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    difference: Difference | None = None
    will: list[str] = field(default_factory=list)


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
    signature: Signature,
) -> Preview:  # fmt: skip
    """What a sheet was understood as, and what its import would do; nothing is written.

    Parameters
    ----------
    layout : Layout or str, optional
        How the laboratory writes its sheets, or the name it was remembered by.
    answers : mapping of str to str
        By the key of a question.

    Raises
    ------
    FileRefused
        If there is no table in it.
    NotPossible
        If these very bytes were taken before.
    """
    with study.snapshot():
        refuse_same_file(study, _digest(path), path)
        sheet = sheet_of(path, layout=chosen_layout(study, layout), answers=answers)
        plan = _planned(study, sheet, answers, signature)
    headings, lines = cells_beside(path, sheet, most=FIRST_ROWS)
    first = [Beside(r.number, tuple(lines.get(r.number, ())), r.cells) for r in sheet.table.rows[:FIRST_ROWS]]
    return Preview(
        path.name, sheet.layout, tuple(headings), sheet.table.columns, tuple(first), len(sheet.table.rows),
        len({tidy_mark(row.cells["coupon"]) for row in sheet.table.rows}), len(plan.readings), sheet.notes,
        (*sheet.questions, *plan.questions), (*sheet.problems, *_new(sheet, plan.problems)), plan.difference,
        tuple(plan.will),
    )  # fmt: skip


def import_file(
    study: StudyFile, path: Path, *, layout: Layout | str | None = None, answers: Mapping[str, str] = NO_ANSWERS,
    remember: str = "", token: str = "", signature: Signature, progress: Progress = silent,
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
        return _imported(study, path, layout, answers, remember, token, signature, progress)


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
    signature: Signature, progress: Progress,
) -> Imported:  # fmt: skip
    progress(f"reading {path.name}")
    sheet = sheet_of(path, layout=chosen_layout(study, layout), answers=answers)
    if remember and sheet.layout is None:
        raise NotPossible("The file is in Dwellbook's own columns.", "There is no layout to remember: leave it out.")
    with study.writing():
        if token and fetch_act_of_token(study, token):
            return Imported(path.name, ())
        refuse_same_file(study, sheet.table.digest, path)
        progress(f"checking {len(sheet.table.rows)} rows")
        plan = _planned(study, sheet, answers, signature)
        problems = [*sheet.problems, *_new(sheet, plan.problems)]
        if problems:
            raise FileRefused(path.name, problems)
        if sheet.questions or plan.questions:
            raise Unanswered([*sheet.questions, *plan.questions])
        _write(study, sheet, plan, remember.strip(), token, signature, progress)
    return Imported(path.name, tuple(plan.readings), tuple(plan.corrected), sheet.notes, remember.strip())


def layouts(study: StudyFile) -> dict[str, tuple[Layout, str, str]]:
    """Every layout remembered, by name, with who remembered it and when."""
    return fetch_layouts(study)


def _digest(path: Path) -> str:
    import hashlib

    return hashlib.sha256(file_bytes(path)).hexdigest()


def _write(
    study: StudyFile, sheet: Sheet, plan: _Plan, remember: str, token: str, signature: Signature, progress: Progress
) -> None:
    table = sheet.table
    after = {"file_sha256": table.digest, "rows": len(table.rows), "readings": len(plan.readings)}
    after |= {"corrected": len(plan.corrected)} if plan.corrected else {}
    after |= {"token": token} if token else {}
    before = {f"{old.code} {old.kind}": old.typed for old, _ in plan.corrected} or None
    if plan.corrected and not signature.why.strip():
        why = f"The cell stands otherwise in a later version of {table.file}."
        signature = replace(signature, why=why)
    with study.change(signature, act="import readings", subject=table.file, before=before, after=after) as change:
        for old, _ in plan.corrected:
            supersede_reading(study, old.number, change=change)
        save_readings(study, _told(plan.readings, progress), change=change)
        save_readings(study, [new for _, new in plan.corrected], change=change)
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
    """Problems found by the checks, in the sheet's words, where understanding had not told that cell already."""
    told = {(problem.row, problem.column) for problem in sheet.problems}
    return tuple(p for p in sheet.in_their_words(tuple(problems)) if (p.row, p.column) not in told)


def _planned(study: StudyFile, sheet: Sheet, answers: Mapping[str, str], signature: Signature) -> _Plan:
    """Checks of the study on a sheet that was understood."""
    plan = _Plan()
    bench = bench_of(study, signature)
    table = sheet.table
    earlier = fetch_last_import(study, table.file)
    corrections: list[tuple[Row, tuple[str, ...]]] = []
    if earlier and earlier.sha256 != table.digest:
        with tempfile.TemporaryDirectory() as folder:
            before = earlier_table(study, earlier, Path(folder))
        found = difference(before, table, named=_named(bench))
        if found.kept:
            plan.difference = found
            table = replace(table, rows=tuple(sorted((*found.added, *found.fresh), key=lambda row: row.number)))
            corrections = _offered(found, answers, plan, f"{earlier.by} on {earlier.at[:10]}")
    # While the sheet itself asks, its cells are provisional: their faults would be told too early.
    provisional = bool(sheet.questions)
    plan.readings = _tried(study, table, bench, answers, plan, quiet=provisional)
    if corrections:
        plan.corrected = _corrections(study, table, bench, corrections, answers, plan, quiet=provisional)
    return plan


def _named(bench: Bench) -> Callable[[str], str]:
    def named(typed: str) -> str:
        try:
            return parse_code(typed, known=bench.coupons, marks=bench.marks)
        except CellFault:
            return tidy_mark(typed)

    return named


def _offered(
    found: Difference, answers: Mapping[str, str], plan: _Plan, taken: str
) -> list[tuple[Row, tuple[str, ...]]]:
    """What happens with each part of a difference; corrections that were agreed to."""
    plan.will.append(f"A file of this name was taken by {taken}. Against it: {found.words()}")
    if found.added or found.fresh:
        plan.will.append("What is new is entered.")
    if found.removed:
        rows = ", ".join(f"{row.cells['coupon']} (row {row.number})" for row in found.removed[:12])
        more = f" and {len(found.removed) - 12} more" if len(found.removed) > 12 else ""
        plan.will.append(f"Rows that are gone from the file stay in the study: {rows}{more}.")
    if not found.cells:
        return []
    emptied = [cell for cell in found.cells if not cell.after]
    if emptied:
        shown = "; ".join(cell.words() for cell in emptied[:12])
        plan.will.append(f"Cells that are blank now leave their readings as they are: {shown}.")
    if not found.touched:
        return []
    answer = answers.get(CHANGED, "")
    if answer not in (CORRECT, LEAVE):
        lines = [cell.words() for cell in found.cells if cell.before or cell.column not in COLUMNS]
        shown = "; ".join(lines[:12]) + (f"; and {len(lines) - 12} more" if len(lines) > 12 else "")
        what = f"Cells of the file taken before stand otherwise now: {shown}. Each correction supersedes its reading."
        plan.questions.append(Question(CHANGED, what, (CORRECT, LEAVE)))
        return []
    done = "are superseded, with a reason" if answer == CORRECT else "are left as they are"
    plan.will.append(f"Readings whose cells changed {done}.")
    return list(found.touched) if answer == CORRECT else []


def _tried(
    study: StudyFile, table: Table, bench: Bench, answers: Mapping[str, str], plan: _Plan, *, quiet: bool = False
) -> list[Reading]:
    try:
        return checked(study, table, bench, answers=answers)
    except FileRefused as fault:
        kept = [problem for problem in fault.problems if not quiet or problem.column == "coupon"]
        plan.problems += [problem for problem in kept if problem not in plan.problems]
    except Unanswered as fault:
        known = {question.key for question in plan.questions}
        plan.questions += [question for question in fault.questions if question.key not in known]
    return []


def _corrections(
    study: StudyFile, table: Table, bench: Bench, touched: list[tuple[Row, tuple[str, ...]]],
    answers: Mapping[str, str], plan: _Plan, *, quiet: bool,
) -> list[tuple[Reading, Reading]]:  # fmt: skip
    """Readings in force beside what replaces them; those that stand as the new file says are passed over."""
    named = _named(bench)
    freed = dict(bench.coupons)
    for row, kinds in touched:
        code = named(row.cells["coupon"])
        if code in freed:
            keys = {f"{k} {row.cells.get('read_on', '')}" if k in REPEATED else k for k in kinds}
            freed[code] = replace(freed[code], already=set(freed[code].already) - keys)
    rows = tuple(row for row, _ in touched)
    news = _tried(study, replace(table, rows=rows), replace(bench, coupons=freed), answers, plan, quiet=quiet)
    found = []
    for new in news:
        key = f"{new.kind} {new.read_on}" if new.kind in REPEATED else new.kind
        old = fetch_in_force(study, new.code).get(key)
        if old is None:
            plan.readings.append(new)
        elif not _alike(old, new):
            found.append((old, new))
    return found


def _alike(old: Reading, new: Reading) -> bool:
    same = ("read_on", "typed", "unit", "pattern", "side", "details")
    return all(getattr(old, name) == getattr(new, name) for name in same)


def problems_of(error: DwellbookError) -> tuple[Problem, ...]:
    """The problems that a refusal carries."""
    return error.problems if isinstance(error, FileRefused) else (Problem(0, "", "", error.what, error.do),)
