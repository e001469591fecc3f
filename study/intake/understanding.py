"""Understanding a sheet: whatever table a laboratory has becomes our columns, with notes, questions and problems."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from study.errors import Problem, Question
from study.intake.sheet_colours import settle_colours
from study.intake.sheet_columns import columns_guess as columns_guess
from study.intake.sheet_dates import settle_dates
from study.intake.sheet_forces import settle_forces
from study.intake.sheet_frame import Frame, frame_of, header_score
from study.intake.sheet_grades import settle_areas, settle_flags, settle_grades
from study.intake.sheet_local import settle_local_words
from study.intake.sheet_map import map_columns
from study.intake.sheet_numbers import NUMBERS, decimal_mark, settle_numbers
from study.intake.sheet_patterns import settle_patterns
from study.intake.sheet_rows import (
    fill_down,
    settle_coupons,
    settle_people,
    settle_pulled,
    settle_repeats,
    settle_words,
)
from study.intake.sheet_sides import settle_sides
from study.intake.sheet_source import Source, source_of
from study.intake.sheet_spread import Spread, spread
from study.intake.sheet_work import FREE_ANSWERS as FREE_ANSWERS
from study.intake.sheet_work import Work, row_words
from study.intake.table_file import Row, Table
from study.intake.workbook_file import BookSheet
from study.model.layout import READING_COLUMNS, STUDY_COLUMNS, Layout

_IN_ORDER = (*READING_COLUMNS, *STUDY_COLUMNS)
_FIRST = 50


@dataclass(frozen=True)
class Understood:
    """A sheet as it was understood; provisional while a question is open or a problem stands."""

    table: Table
    """Our columns, cells as a person would type them for Dwellbook, rows numbered as in the file."""
    layout: Layout
    """The layout given, completed by what was found and answered: what is worth remembering by name."""
    notes: tuple[str, ...]
    """What was understood, in sentences."""
    questions: tuple[Question, ...]
    """What only a person can say. Answers listed in FREE_ANSWERS stand for something to be typed."""
    problems: tuple[Problem, ...]
    """What has to be put right in the file; at most 500, the last of them saying how many more there are."""
    sha256: str
    """Of the file's bytes, to know it again."""
    asked: frozenset[str] = frozenset()
    """Keys that an answer can have here: of what was asked, answered or not, and of every heading's column."""
    left_out: tuple[str, ...] = ()
    """Headings that no column of ours was found for."""
    headings: tuple[str, ...] = ()
    """Of every column of the file, told apart where two were the same."""
    first: tuple[tuple[int, tuple[str, ...]], ...] = ()
    """The first rows of the table as they stand in the file, by their numbers."""


def understand(
    path: Path, *, layout: Layout | None = None, answers: Mapping[str, str] = {}, wide: bool = False,
    source: Source | None = None,
) -> Understood:  # fmt: skip
    """The table in a text file or workbook of any usual make, in our columns.

    Nothing is guessed: what the file shows is taken and said in the notes, what it leaves open is a question, what
    cannot stand is a problem with its row. The file is not changed.

    Parameters
    ----------
    path : Path
        At most 50 MB; text in UTF-8, UTF-16 or Windows-1252 between commas, semicolons, tabs or bars, or an .xlsx.
    layout : Layout, optional
        How this laboratory writes its sheets, from an earlier file of the same kind.
    answers : mapping of str to str
        By the key of a question.
    wide : bool
        Whether a whole study may stand in the sheet: adhesives, lots, placements and pulls beside the readings.
    source : Source, optional
        Of the very file, if its sheets were read already; of a text only where the layout says no separator.

    Raises
    ------
    FileRefused
        If no table can be found in the file at all.
    """
    layout = layout or Layout()
    source = source or source_of(path, separator=layout.separator)
    work = Work(path.name, layout, answers, wide=wide)
    sheet = _sheet(source, work)
    work.notes += source.notes
    work.date_system, work.separator = sheet.date_system, source.separator
    frame = frame_of(path.name, sheet.lines, layout)
    _tell_hidden(work, sheet, frame)
    parted = spread(frame)
    work.parted = parted is not None
    work.notes += frame.notes
    places = map_columns(work, frame)
    work.problems += frame.problems
    if sheet.text_numbers is not None:
        work.text_numbers = _typed_as_text(sheet.text_numbers, frame, places, parted)
    fill_down(work, _merged(sheet, frame, places, parted))
    _settle(work)
    if not source.text:
        work.known.pop("separator", None)
    elif source.separator != ",":
        work.remember("separator", source.separator)
    return _understood(work, source, frame)


def _settle(work: Work) -> None:
    settle_coupons(work)
    settle_local_words(work)
    mark = decimal_mark(work)
    settle_dates(work)
    if "removal_force" in work.columns:
        settle_forces(work, mark)
    elif "force_unit" in work.columns:
        del work.columns["force_unit"]
    for column in NUMBERS:
        if column in work.columns and column != "removal_force":
            settle_numbers(work, column, mark)
    settle_patterns(work)
    settle_sides(work)
    settle_grades(work)
    settle_flags(work)
    _settle_percents(work)
    settle_areas(work)
    settle_colours(work)
    settle_people(work)
    settle_words(work)
    settle_pulled(work)
    settle_repeats(work)


def _sheet(source: Source, work: Work) -> BookSheet:
    """The one sheet with a table of ours in it; asked where there are several."""
    if len(source.sheets) == 1:
        return source.sheets[0]
    by_name = {sheet.name: sheet for sheet in source.sheets}
    if work.layout.sheet in by_name and "sheet" not in work.answers:
        return by_name[work.layout.sheet]
    scores = {name: header_score(sheet.lines, work.layout)[0] for name, sheet in by_name.items()}
    best = max(scores.values())
    fitting = [name for name in by_name if scores[name] > 1] or [next(iter(by_name))]
    visible = [name for name in fitting if not by_name[name].hidden] or fitting
    chosen = (
        next(name for name in visible if scores[name] == best or len(visible) == 1)
        if any(scores[name] == best for name in visible)
        else visible[0]
    )
    if len(visible) > 1:
        answer = work.ask("sheet", f"Readings can stand in {len(visible)} sheets of the workbook.", tuple(visible))
        chosen = answer or chosen
        if answer:
            work.remember("sheet", answer)
    others = [name for name in by_name if name != chosen]
    work.note(f"The sheet “{chosen}” was read; not {', '.join(f'“{name}”' for name in others[:10])}.")
    return by_name[chosen]


def _tell_hidden(work: Work, sheet: BookSheet, frame: Frame) -> None:
    taken = set(frame.numbers)
    hidden = [number for number in sheet.hidden_rows if number in taken]
    if hidden:
        are = "is" if len(hidden) == 1 else "are"
        how = "hidden or filtered out" if sheet.filtered else "hidden"
        were = "was" if len(hidden) == 1 else "were"
        work.note(f"{row_words(hidden).capitalize()} {are} {how} in the workbook and {were} taken.")
    columns = [frame.headings[place - 1] for place in sheet.hidden_columns if place <= len(frame.headings)]
    named = [f"“{heading}”" for heading in columns if heading]
    if named:
        work.note(f"Hidden in the workbook and taken: {', '.join(named[:20])}.")


def _merged(
    sheet: BookSheet, frame: Frame, places: Mapping[str, int], parted: Spread | None
) -> dict[str, list[tuple[int, int]]]:
    """Merged cells by column of ours, as first and last place among the rows."""
    found: dict[str, list[tuple[int, int]]] = {}
    columns = {place + 1: column for column, place in places.items()}
    if parted:
        columns = {parted.shared[p] + 1: column for column, p in places.items() if p < len(parted.shared)}
    for first, last, left, right in sorted(sheet.merged):
        start, end = bisect_left(frame.numbers, first), bisect_right(frame.numbers, last) - 1
        if left != right or left not in columns or start >= end or frame.numbers[start] != first:
            continue
        blocks = found.setdefault(columns[left], [])
        if not blocks or start > blocks[-1][1]:  # blocks that overlap are a damaged file's
            blocks.append((start, end))
    return {column: blocks for column, blocks in found.items() if blocks}


def _typed_as_text(
    cells: frozenset[tuple[int, int]], frame: Frame, places: Mapping[str, int], parted: Spread | None
) -> dict[str, set[int]]:
    """By column of ours, the places of numbers that a workbook holds as text."""
    found: dict[str, set[int]] = {}
    if not cells:
        return found
    for row, number in enumerate(frame.numbers):
        for column, place in places.items():
            origin = parted.origins[row][place] if parted else place
            if (number, origin + 1) in cells:
                found.setdefault(column, set()).add(row)
    return found


def _settle_percents(work: Work) -> None:
    """Shares between 0 and 1 throughout may be a workbook's way to keep percents."""
    for column in ("residue_area_percent", "halo_percent"):
        cells = [cell for cell in work.columns.get(column, []) if re.fullmatch(r"\d+(\.\d+)?", cell)]
        # A workbook keeps 100 % as 1; in a text file 0 and 1 alone are percents like any others.
        fractions = any("." in cell for cell in cells) or (not work.separator and any(float(cell) for cell in cells))
        if not fractions or any(float(cell) > 1 for cell in cells):
            continue
        heading = work.headings.get(column, column)
        answer = work.ask(
            "percent scale",
            f"“{heading}” lies between 0 and 1 in every row: percents as they are, or fractions of the area?",
            ("percent", "fractions"),
            told=work.layout.percent_scale,
        )
        if answer:
            work.remember("percent_scale", answer)
        if answer == "fractions":
            work.columns[column] = [
                f"{float(c) * 100:.12g}" if re.fullmatch(r"\d+(\.\d+)?", c) else c for c in work.columns[column]
            ]
            work.note(f"{heading}: fractions × 100 = percent.")


def _understood(work: Work, source: Source, frame: Frame) -> Understood:
    if work.beside:
        notes = work.columns.setdefault("note", [""] * len(work.numbers))
        for place, words in work.beside.items():
            notes[place] = "; ".join([*([notes[place]] if notes[place] else []), *words])
    columns = tuple(column for column in _IN_ORDER if column in work.columns)
    cells = [work.columns[column] for column in columns]
    rows = tuple(
        Row(number, dict(zip(columns, row, strict=True)))
        for number, row in zip(work.numbers, zip(*cells, strict=True), strict=True)
    )
    problems = sorted(work.problems, key=lambda problem: problem.row)
    if work.left_out_problems:
        what = f"has {work.left_out_problems} problems more."
        problems.append(Problem(0, "", "", what, "Put these right first; often one cause makes many."))
    layout = work.layout.model_copy(update=work.known)
    return Understood(
        Table(source.file, source.sha256, columns, rows),
        layout,
        tuple(work.notes),
        tuple(work.questions),
        tuple(problems),
        source.sha256,
        frozenset(work.asked),
        tuple(work.left_out),
        tuple(frame.headings),
        tuple((number, tuple(line)) for number, line in zip(frame.numbers[:_FIRST], frame.lines, strict=False)),
    )
