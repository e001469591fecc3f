"""What an import would write, and what stands against it: checks, differences, corrections; a room of the imports."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from study.commands.bench import bench_of, checked
from study.commands.import_known import passed_over, worth_the_same
from study.commands.sheet_difference import Difference, difference
from study.commands.sheet_instruments import instruments_settled
from study.commands.sheets import CHANGED, Sheet, earlier_sheet, events_settled
from study.errors import FileRefused, Problem, Question, Unanswered
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.intake.reading_file import Bench
from study.intake.table_file import Row, Table
from study.model.own_mark import tidy_mark
from study.model.person import Signature
from study.model.reading import REPEATED, Reading
from study.store.imports import fetch_last_import, fetch_numbers_of_sheet
from study.store.readings import fetch_all_in_force
from study.store.study_file import StudyFile

OF_ONE_WORD = ("word ", "side ", "failure ", "unit ", "residue_", "specular ", "backing ", "instrument ")
"""How questions begin that are about one word of a column, whose cells are blank until it is answered."""
_OF_COUPONS = ("column ", "coupon numbers", "fill down ")
"""How questions begin that may change what the coupons of a sheet are."""
_MOST_LINES = 12
CORRECT, LEAVE = "correct them", "leave them"


@dataclass
class Prospect:
    """What is to be written, and what stands against it."""

    readings: list[Reading] = field(default_factory=list)
    corrected: list[tuple[Reading, Reading]] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    difference: Difference | None = None
    will: list[str] = field(default_factory=list)
    passed: list[str] = field(default_factory=list)
    """What is in the study already with the same values, in words."""
    left: list[str] = field(default_factory=list)
    """Readings that a person changed since the sheet was taken, and that no version of the sheet changes back."""


def prospect_of(study: StudyFile, sheet: Sheet, answers: Mapping[str, str], signature: Signature) -> Prospect:
    """Checks of the study on a sheet that was understood, against an earlier version of it where there is one."""
    prospect = Prospect()
    bench = bench_of(study, signature)

    def left(typed: str) -> str:
        coupon = bench.coupons.get(_named(bench)(typed))
        return coupon.pulled.kind if coupon and coupon.pulled else ""

    table, contradicted = events_settled(sheet.table, left)
    prospect.problems += contradicted
    earlier = fetch_last_import(study, table.file)
    corrections: list[tuple[Row, tuple[str, ...]]] = []
    # While the sheet itself asks, its cells are provisional: their faults would be told too early. A single word that
    # is asked about leaves all other cells as they are.
    asking = bool(sheet.questions)
    provisional = any(not question.key.startswith(OF_ONE_WORD) for question in sheet.questions)
    if earlier and earlier.sha256 != table.digest and asking:
        taken = f"A file of this name was taken by {earlier.by} on {earlier.at[:10]}"
        prospect.will.append(f"{taken}; what is different is shown once nothing is asked.")
    elif earlier and earlier.sha256 != table.digest:
        with tempfile.TemporaryDirectory() as folder:
            was = instruments_settled(study, earlier_sheet(study, earlier, answers, Path(folder)), answers)
            before, _ = events_settled(was.table, left)
        found = difference(before, table, named=_named(bench))
        if found.kept:
            prospect.difference = found
            table = replace(table, rows=tuple(sorted((*found.added, *found.fresh), key=lambda row: row.number)))
            taken = f"{earlier.by} on {earlier.at[:10]}"
            corrections = _offered(found, answers, prospect, taken, sheet.theirs)
    known = passed_over(study, table, bench, _named(bench))
    sure = not any(question.key.startswith(_OF_COUPONS) for question in sheet.questions)
    prospect.readings = _tried(study, known.table, bench, answers, prospect, quiet=provisional, coupons=sure)
    if not asking and not prospect.problems:
        prospect.passed = known.words(len(prospect.readings))
        prospect.will += prospect.passed
    if asking:
        # What is asked about a cell that may yet be read otherwise would be answered for another value.
        prospect.questions.clear()
        return prospect
    if corrections:
        prospect.corrected = _corrections(study, table, bench, corrections, answers, prospect)
    return prospect


def _named(bench: Bench) -> Callable[[str], str]:
    def named(typed: str) -> str:
        try:
            return parse_code(typed, known=bench.coupons, marks=bench.marks)
        except CellFault:
            return tidy_mark(typed)

    return named


def _offered(
    found: Difference, answers: Mapping[str, str], prospect: Prospect, taken: str, theirs: Mapping[str, str]
) -> list[tuple[Row, tuple[str, ...]]]:
    """What happens with each part of a difference; corrections that were agreed to."""
    prospect.will.append(f"A file of this name was taken by {taken}. Against it: {found.words()}")
    if found.added or found.fresh:
        prospect.will.append("What is new is entered.")
    if found.removed:
        rows = ", ".join(f"{row.cells['coupon']} (row {row.number})" for row in found.removed[:12])
        more = f" and {len(found.removed) - 12} more" if len(found.removed) > 12 else ""
        prospect.will.append(f"Rows that are gone from the file stay in the study: {rows}{more}.")
    if not found.cells:
        return []
    cells = [replace(cell, column=theirs.get(cell.column, cell.column)) for cell in found.cells]
    emptied = [cell for cell in cells if not cell.after]
    if emptied:
        shown = "; ".join(cell.words() for cell in emptied[:12])
        prospect.will.append(f"Cells that are blank now leave their readings as they are: {shown}.")
    if not found.touched:
        return []
    answer = answers.get(CHANGED, "")
    if answer not in (CORRECT, LEAVE):
        touched = {row.number for row, _ in found.touched}
        lines = tuple(cell.words() for cell in cells if cell.row in touched and cell.after)
        listed = (*lines[:_MOST_LINES], *([f"and {len(lines) - _MOST_LINES} more"] if len(lines) > _MOST_LINES else ()))
        what = "Cells of the file taken before stand otherwise now. Each correction supersedes its reading."
        prospect.questions.append(Question(CHANGED, what, (CORRECT, LEAVE), listed))
        return []
    done = "are superseded, with a reason" if answer == CORRECT else "are left as they are"
    prospect.will.append(f"Readings whose cells changed {done}.")
    return list(found.touched) if answer == CORRECT else []


def _tried(
    study: StudyFile, table: Table, bench: Bench, answers: Mapping[str, str], prospect: Prospect, *,
    quiet: bool = False, coupons: bool = True,
) -> list[Reading]:  # fmt: skip
    try:
        return checked(study, table, bench, answers=answers)
    except FileRefused as fault:
        # While it is asked which column holds the coupons, or what they are, a code that is unknown says nothing.
        kept = [
            found for found in fault.problems if not quiet or (coupons and found.column == "coupon" and found.value)
        ]
        prospect.problems += [problem for problem in kept if problem not in prospect.problems]
    except Unanswered as fault:
        known = {question.key for question in prospect.questions}
        prospect.questions += [question for question in fault.questions if question.key not in known]
    return []


def _corrections(
    study: StudyFile, table: Table, bench: Bench, touched: list[tuple[Row, tuple[str, ...]]],
    answers: Mapping[str, str], prospect: Prospect,
) -> list[tuple[Reading, Reading]]:  # fmt: skip
    """Readings in force beside what replaces them; those that stand as the new file says are passed over.

    What a person corrected or took back since the sheet was taken is left: a cell is the sheet's older word on it.
    """
    named = _named(bench)
    freed = dict(bench.coupons)
    for row, kinds in touched:
        code = named(row.cells["coupon"])
        if code in freed:
            keys = {f"{k} {row.cells.get('read_on', '')}" if k in REPEATED else k for k in kinds}
            freed[code] = replace(freed[code], already=set(freed[code].already) - keys)
    rows = tuple(row for row, _ in touched)
    news = _tried(study, replace(table, rows=rows), replace(bench, coupons=freed), answers, prospect)
    in_force = fetch_all_in_force(study, {new.code for new in news})
    of_sheet = fetch_numbers_of_sheet(study, table.file)
    found = []
    for new in news:
        key = f"{new.kind} {new.read_on}" if new.kind in REPEATED else new.kind
        old = in_force.get(new.code, {}).get(key)
        said = f"{new.code} {new.kind.replace('_', ' ')}"
        if old is None:
            prospect.left.append(f"{said} was taken back since, and stays so.")
        elif old.number not in of_sheet:
            if not worth_the_same(old, new):
                prospect.left.append(f"{said} is left at “{old.typed}”, which did not come from {table.file}.")
        elif not _alike(old, new):
            found.append((old, new))
    prospect.will += prospect.left
    return found


def _alike(old: Reading, new: Reading) -> bool:
    same = ("read_on", "typed", "unit", "pattern", "side", "details")
    return all(getattr(old, name) == getattr(new, name) for name in same)
