"""Sheets: a file as it was understood, its cells beside it, repeats of one coupon settled; a room of the imports."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path

from study.errors import Problem, Question, Unknown
from study.intake.plausibility import UNUSUAL
from study.intake.reading_columns import COLUMNS, KIND_OF, OPTIONAL, REQUIRED
from study.intake.sheet_numbers import NUMBERS
from study.intake.sheet_source import Source, source_of, unescaped
from study.intake.sheet_words import HELD, RELEASED
from study.intake.sheet_work import GENERAL_KEYS, row_words
from study.intake.table_file import Row, Table, file_bytes, parse_table
from study.intake.understanding import understand
from study.model.layout import Layout
from study.model.own_mark import tidy_mark
from study.store.imports import ImportRecord, fetch_last_import, fetch_layouts, fetch_sheet
from study.store.study_file import StudyFile

NO_ANSWERS: Mapping[str, str] = {}
CHANGED = "changed cells"
_INITIALS = "initials "
_LATER = (UNUSUAL, CHANGED)
"""Questions of the study and not of the sheet."""
_THEIR_DAY = re.compile(r"\d{1,4}[./]\d{1,2}[./]\d{1,4}")
_THEIR_NUMBER = re.compile(r"\s*[<>-]?\s*\d+,\d")
READ_COLUMNS = tuple(
    column
    for column in KIND_OF
    if column not in ("force_unit", "side", "residue_aids", "second_rater", "cleaning_step")
)
"""Where a reading, or what needs one beside it, may stand; a template fills in the others beforehand."""
_NUMBERS = tuple(name for name in NUMBERS if name in OPTIONAL)


@dataclass(frozen=True)
class Sheet:
    """A file in our columns, with everything that understanding it had to say."""

    table: Table
    layout: Layout | None
    """None for a file in our own columns."""
    notes: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    problems: tuple[Problem, ...] = ()
    content: bytes = b""
    asked: frozenset[str] = frozenset()
    """Keys that an answer can have here."""
    left_out: tuple[str, ...] = ()
    """Headings that no column of ours was found for."""
    headings: tuple[str, ...] = ()
    """Of a sheet that was understood, told apart where two were the same."""
    first: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    """The first rows of a sheet that was understood as they stand in the file, by their numbers."""

    @property
    def initials(self) -> tuple[str, ...]:
        """Of people, whose names an answer can give."""
        return tuple(sorted(key.removeprefix(_INITIALS) for key in self.asked if key.startswith(_INITIALS)))

    def in_their_words(self, problems: tuple[Problem, ...]) -> tuple[Problem, ...]:
        """Problems with the sheet's own headings in place of our columns."""
        return tuple(replace(problem, column=self.theirs.get(problem.column, problem.column)) for problem in problems)

    @property
    def theirs(self) -> dict[str, str]:
        """The sheet's own heading by our column."""
        return {column: heading for heading, column in (self.layout.columns if self.layout else {}).items() if column}


def chosen_layout(study: StudyFile, layout: Layout | str | None) -> Layout | None:
    """A layout remembered under a name, or the one given.

    Raises
    ------
    Unknown
        If no layout has that name.
    """
    if not isinstance(layout, str):
        return layout
    if not layout:
        return None
    known = fetch_layouts(study)
    if layout not in known:
        do = f"Remembered are: {', '.join(known) or 'none yet'}. A first import remembers one with --remember NAME."
        raise Unknown(f"There is no layout “{layout}”.", do)
    return known[layout][0]


def layout_for(study: StudyFile, path: Path, layout: Layout | str | None) -> Layout | None:
    """The layout given or remembered under a name; without one, that of the version of the file taken before.

    Raises
    ------
    Unknown
        If no layout has that name.
    """
    chosen = chosen_layout(study, layout)
    earlier = fetch_last_import(study, path.name) if chosen is None else None
    return earlier.layout if earlier else chosen


def sheet_of(
    path: Path, *, layout: Layout | None = None, answers: Mapping[str, str] = NO_ANSWERS, wide: bool = False
) -> Sheet:
    """A file in our columns: strictly where its header is our own and its cells are written as ours, else understood.

    Raises
    ------
    FileRefused
        If no table can be found in it; for our own columns with every problem of the file.
    """
    source = source_of(path) if path.suffix.lower() == ".xlsx" else None
    if layout is None and not wide and not set(answers) - set(_LATER) and in_our_columns(path, source):
        table = parse_table(path, required=REQUIRED, optional=OPTIONAL)
        if not as_we_write(table, commas_part=_header_line(path)[1] == ","):
            return _understood(path, None, answers, source, wide=wide)
        cells = "'" in "".join(value for row in table.rows for value in row.cells.values() if "'" in value)
        if cells:
            rows = tuple(Row(r.number, {name: unescaped(cell) for name, cell in r.cells.items()}) for r in table.rows)
            table = replace(table, rows=rows)
        return Sheet(table, None, content=file_bytes(path))
    return _understood(path, layout, answers, source, wide=wide)


def stray_answers(answers: Iterable[str], asked: Iterable[str]) -> list[str]:
    """Keys of answers that no question of a sheet or of its import has."""
    known = {*asked, *_LATER, *GENERAL_KEYS}
    return [key for key in answers if key not in known]


def refuse_stray(file: str, stray: Sequence[str], waiting: Iterable[Question], asked: Iterable[str]) -> None:
    """Refuse an answer to nothing that is asked: a key mistyped would leave its question as it was.

    Raises
    ------
    Unknown
        With the open questions' keys, or near ones where none is open.
    """
    if not stray:
        return
    keys = [f"“{question.key}”" for question in waiting]
    near = [f"“{key}”" for key in get_close_matches(stray[0], [*asked, *GENERAL_KEYS], n=2)]
    do = f"Open {'is' if len(keys) == 1 else 'are'}: {', '.join(keys)}." if keys else "No question is open."
    do += f" Did you mean {' or '.join(near)}?" if near and not set(near) <= set(keys) else ""
    named = ", ".join(f"“{key}”" for key in stray)
    raise Unknown(f"{file} raises no question {named}.", do)


def as_we_write(table: Table, *, commas_part: bool) -> bool:
    """Whether days and numbers are written as ours; a spreadsheet in another language rewrites them on saving.

    Where commas part the cells, one inside a number was typed by hand: that stays refused.
    """
    numbers = [] if commas_part else [column for column in _NUMBERS if column in table.columns]
    for row in table.rows:
        day = row.cells["read_on"]
        if ("." in day or "/" in day) and _THEIR_DAY.fullmatch(day.strip()):
            return False
        for column in numbers:
            if "," in row.cells[column] and _THEIR_NUMBER.match(row.cells[column]):
                return False
    return True


def _understood(
    path: Path, layout: Layout | None, answers: Mapping[str, str], source: Source | None, *, wide: bool
) -> Sheet:
    found = understand(path, layout=layout, answers=answers, wide=wide, source=source)
    sheet = Sheet(
        found.table, found.layout, found.notes, found.questions, found.problems, file_bytes(path), found.asked,
        found.left_out, found.headings, dict(found.first),
    )  # fmt: skip
    if found.layout.repeats in ("repeat reading", "second dot"):
        sheet = _repeats_settled(sheet)
    return sheet if wide else _unread_left_out(sheet)


def _unread_left_out(sheet: Sheet) -> Sheet:
    """The sheet without rows in which nothing was read, which are said; with nothing else in it, a column is missing.

    While something is asked or wrong every row stays: its cells may be blank for that reason.
    """
    if sheet.questions or any(problem.row == 0 for problem in sheet.problems):
        return sheet
    told = {problem.row for problem in sheet.problems}
    unread = [
        row.number for row in sheet.table.rows if row.number not in told and not any(map(row.cells.get, READ_COLUMNS))
    ]
    if not unread:
        return sheet
    if len(unread) == len(sheet.table.rows):
        named = ", ".join(f"“{heading}”" for heading in sheet.left_out[:10])
        do = f"Say which of our columns one of these is: {named}." if named else "Add a column of readings."
        problem = Problem(0, "", "", "has no reading in any row, in columns that are known.", do)
        return replace(sheet, problems=(*sheet.problems, problem))
    gone = set(unread)
    rows = tuple(row for row in sheet.table.rows if row.number not in gone)
    said = f"{row_words(unread).capitalize()} {'holds' if len(unread) == 1 else 'hold'} no reading and"
    said += f" {'was' if len(unread) == 1 else 'were'} passed over."
    return replace(sheet, table=replace(sheet.table, rows=rows), notes=(*sheet.notes, said))


def in_our_columns(path: Path, source: Source | None) -> bool:
    """Whether a file's header names its columns as Dwellbook does: at least the coupon and the day.

    Parameters
    ----------
    source : Source or None
        The sheets of a workbook; None for a text.
    """
    if source is not None:
        head = next((line for line in source.sheets[0].lines if any(cell.strip() for cell in line)), [])
        return {cell.strip() for cell in head} >= set(REQUIRED)
    first, separator = _header_line(path)
    return {cell.strip(' "') for cell in first.split(separator)} >= set(REQUIRED)


def _header_line(path: Path) -> tuple[str, str]:
    """The first line of a text file, and what parts its cells; nothing of a workbook."""
    if path.suffix.lower() == ".xlsx":
        return "", ""
    text = file_bytes(path)[:100_000].decode("utf-8-sig", "replace").lstrip("\r\n")
    first = re.split(r"[\r\n]", text, maxsplit=1)[0]
    return first, max(",;\t", key=first.count)


def earlier_sheet(study: StudyFile, record: ImportRecord, answers: Mapping[str, str], folder: Path) -> Sheet:
    """A sheet that was taken before, understood as it was then.

    Parameters
    ----------
    answers : mapping of str to str
        Those of the later version, for what no layout keeps.
    folder : Path
        Where its bytes may lie for the moment.
    """
    path = folder / (Path(record.name).name or "earlier.csv")
    path.write_bytes(fetch_sheet(study, record))
    return sheet_of(path, layout=record.layout, answers=answers if record.layout else NO_ANSWERS)


def cells_beside(sheet: Sheet, *, most: int) -> tuple[list[str], dict[int, tuple[str, ...]]]:
    """The headings of a file and the cells of its first rows, as they stand in it, by row number."""
    rows = sheet.table.rows[:most]
    if sheet.layout is None:
        return list(sheet.table.columns), {row.number: tuple(row.cells.values()) for row in rows}
    return list(sheet.headings), {row.number: sheet.first.get(row.number, ()) for row in rows}


def events_settled(table: Table, left: Callable[[str], str]) -> tuple[Table, list[Problem]]:
    """Rows without the words for an event that stand in place of a failure pattern, and where they contradict.

    Parameters
    ----------
    left : callable
        How a coupon, as typed, is recorded to have left its placement; empty if it is still there or unknown.
    """
    if not any(row.cells.get("failure_pattern") in (RELEASED, HELD) for row in table.rows):
        return table, []
    rows: list[Row] = []
    problems: list[Problem] = []
    for row in table.rows:
        said = row.cells.get("failure_pattern", "")
        if said not in (RELEASED, HELD):
            rows.append(row)
            continue
        kind = left(row.cells["coupon"])
        if said == RELEASED and kind != RELEASED:
            what = f"is an event, and the coupon is recorded as {kind or 'still in its placement'}."
            do = "Record it as released by itself with the day it was found (dwellbook pull record --as, or correct)."
            problems.append(row.problem("failure_pattern", what, do))
        cells = {**row.cells, "failure_pattern": "", "side": ""}
        if any(cells.get(columns[0]) for columns in COLUMNS.values()):
            rows.append(Row(row.number, cells))
    return replace(table, rows=tuple(rows)), problems


def _repeats_settled(sheet: Sheet) -> Sheet:
    """Repeat readings kept beside the first; second dots under a mark of their own.

    A colour read again joins the first as another spot, a grade read again stands as the second grade (the worse
    counts); of anything else the first counts and the repeat is kept in its note.
    """
    assert sheet.layout is not None
    rows: list[Row] = []
    first: dict[tuple[str, str], int] = {}
    dots: dict[str, int] = {}
    notes: list[str] = []
    for row in sheet.table.rows:
        cells, mark = dict(row.cells), tidy_mark(row.cells["coupon"])
        again = [k for k in COLUMNS if k != "colour_look" and cells.get(COLUMNS[k][0]) and (mark, k) in first]
        if again and sheet.layout.repeats == "second dot":
            dots[mark] = dots.get(mark, 1) + 1
            cells["coupon"] = f"{row.cells['coupon']} dot {dots[mark]}"
            mark = tidy_mark(cells["coupon"])
            notes.append(f"Row {row.number} is another dot and needs a coupon of its own, “{cells['coupon']}”.")
        else:
            for kind in again:
                _kept_beside(rows[first[mark, kind]], cells, kind, row.number, notes)
        for kind, columns in COLUMNS.items():
            if cells.get(columns[0]):
                first.setdefault((mark, kind), len(rows))
        rows.append(Row(row.number, cells))
    rows = [row for row in rows if any(row.cells.get(columns[0]) for columns in COLUMNS.values())]
    columns = tuple(dict.fromkeys([*sheet.table.columns, "residue_second", "second_rater", "note"]))
    table = replace(sheet.table, columns=columns, rows=tuple(rows))
    return replace(sheet, table=table, notes=(*sheet.notes, *notes))


def _kept_beside(row: Row, later: dict[str, str], kind: str, number: int, notes: list[str]) -> None:
    """Move a repeat out of its row to the reading it repeats."""
    columns = COLUMNS[kind]
    typed = " ".join(later[column] for column in columns if later.get(column))
    if kind.startswith("colour") and all(later.get(column) for column in columns):
        for column in columns:
            row.cells[column] = f"{row.cells[column]}; {later[column]}"
        notes.append(f"Row {number}: {kind} joins row {row.number} as another spot; their mean counts.")
    elif kind == "residue_grade" and not row.cells.get("residue_second"):
        row.cells["residue_second"] = later[columns[0]]
        row.cells["second_rater"] = later.get("read_by", "") or "repeat reading"
        notes.append(
            f"Row {number}: its residue grade stands as the second grade of row {row.number}; the worse counts."
        )
    else:
        said = f"repeat in row {number}: {kind} {typed}"
        row.cells["note"] = "; ".join(part for part in (row.cells.get("note", ""), said) if part)
        notes.append(f"Row {number}: {kind} {typed} is kept in the note of row {row.number}, whose reading counts.")
    for column in columns:
        later[column] = ""
