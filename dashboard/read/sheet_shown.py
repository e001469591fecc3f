"""A sheet as understood: its first rows cell beside cell, its headings, what is asked, wrong, noted and different."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import dash_mantine_components as dmc
from dash import html

from dashboard.components.aria import heard_as
from dashboard.components.days import days_said
from dashboard.components.fields import ORDER, choice_field, name_field, row, text_field
from study.commands.read_import import (
    CHANGED,
    FREE_ANSWERS,
    LEAVE_OUT,
    SHEET_COLUMNS,
    WIDE_COLUMNS,
    ChangedCell,
    Preview,
)
from study.commands.read_whole import WholePreview
from study.errors import Problem, Question, left_to_mend

PROBLEMS_SHOWN, NOTES_SHOWN, CELLS_SHOWN = 40, 30, 20
RADIOS_AT_MOST = 8


@dataclass(frozen=True)
class Shown:
    """What the page needs of a preview, of readings or of a whole study."""

    headings: tuple[str, ...]
    mapping: Mapping[str, str]
    """Our column by their heading."""
    columns: tuple[str, ...]
    first: tuple[tuple[int, tuple[str, ...], Mapping[str, str]], ...]
    notes: tuple[str, ...]
    questions: tuple[Question, ...]
    problems: tuple[Problem, ...]
    will: tuple[str, ...]
    counted: str
    button: str
    wide: bool
    corrects: bool = False
    ours: bool = False
    """In Dwellbook's own columns: there is no layout to remember."""
    initials: tuple[str, ...] = ()
    """Of people whose names can be given."""
    changed: tuple[ChangedCell, ...] = ()
    """Cells that stand otherwise in the version of the file that was taken before."""

    @property
    def ready(self) -> bool:
        """Whether nothing stands against it."""
        return not self.questions and not self.problems


def shown_readings(found: Preview) -> Shown:
    """Of a sheet of readings."""
    mapping = dict(found.layout.columns) if found.layout else {column: column for column in found.columns}
    first = tuple((one.row, one.in_file, one.understood) for one in found.first)
    counted = f"{_count(found.rows, 'row')} of {_count(found.coupons, 'coupon')}."
    cells = found.difference.cells if found.difference else ()
    button = f"Import {_count(found.readings, 'reading')}"
    if found.corrections:
        button = (
            f"{button} and correct {found.corrections}"
            if found.readings
            else f"Correct {_count(found.corrections, 'reading')}"
        )
    return Shown(
        found.headings, mapping, found.columns, first, found.notes, found.questions, found.problems,
        found.will, counted, button, False, bool(found.corrections), found.layout is None, found.initials, cells,
    )  # fmt: skip


def shown_whole(found: WholePreview) -> Shown:
    """Of a study in one sheet."""
    mapping = dict(found.layout.columns) if found.layout else {column: column for column in found.columns}
    counted = f"{_count(found.rows, 'row')}. " + (found.words() if found.ready else "")
    button = f"Enter {_count(found.coupons, 'coupon')} and {_count(found.readings, 'reading')}"
    return Shown(
        found.headings, mapping, found.columns, found.first, found.notes, found.questions, found.problems, (), counted,
        button, True, initials=found.initials,
    )  # fmt: skip


def sheet_parts(one: Shown, answered: Mapping[str, str]) -> list[Any]:
    """Everything there is to see and to answer, and the one button once nothing is open."""
    parts: list[Any] = [html.H2("As understood"), html.P(days_said(one.counted), className="statement", role="status")]
    if mend := left_to_mend(one.problems, one.questions):
        parts.append(problems_shown(mend))
    if one.will:
        parts.append(html.Div(html.Ul([html.Li(days_said(line)) for line in one.will]), className="message"))
    if one.changed:
        parts.append(changed_cells(one))
    if one.questions:
        parts.append(questions_form(one.questions))
    if one.ready:
        parts.append(import_form(one))
    parts.append(first_rows(one))
    parts.append(headings_form(one))
    if one.initials:
        parts.append(initials_form(one.initials))
    parts += _told("What was found out", one.notes)
    own = {key: words for key, words in answered.items() if not key.startswith("column ")}
    if answered:
        lines = [html.Li([html.Span(f"{key}: ", className="quiet"), words]) for key, words in own.items()]
        again = html.Button("Ask everything again", id={"kind": "sheet-do", "what": "forget"}, className="second")
        parts += [html.H2("Answered"), html.Ul(lines), html.Div(again, className="foot")]
    return parts


def problems_shown(problems: Sequence[Problem]) -> html.Div:
    """What has to be put right in the file, each with its row and heading."""
    lines = [html.Li(problem.sentence()) for problem in problems[:PROBLEMS_SHOWN]]
    if len(problems) > PROBLEMS_SHOWN:
        lines.append(html.Li(f"… and {len(problems) - PROBLEMS_SHOWN} more."))
    head = f"{_count(len(problems), 'problem')} to put right in the file; nothing was saved."
    return html.Div([html.P(html.Strong(head)), html.Ul(lines)], className="message harm", role="alert")


def questions_form(questions: Sequence[Question]) -> html.Div:
    """One choice a question; what has to be typed has a field of its own."""
    parts: list[Any] = [html.H2(f"{_count(len(questions), 'question')} first")]
    for question in questions:
        fixed = [answer for answer in question.answers if answer not in FREE_ANSWERS]
        ident = {"kind": "sheet-answer", "key": question.key}
        free = [answer for answer in question.answers if answer in FREE_ANSWERS]
        said = days_said(question.what)
        if question.lines and question.key != CHANGED:  # changed cells have a table of their own
            said = f"{said} {'; '.join(map(days_said, question.lines))}."
        if fixed and len(fixed) <= RADIOS_AT_MOST:
            parts.append(
                dmc.RadioGroup(
                    html.Div([dmc.Radio(label=words, value=words, size="sm") for words in fixed], className="answers"),
                    id=ident,
                    label=said,
                    className="question",
                )
            )
        elif fixed:
            options = [(words, words) for words in fixed]
            parts.append(choice_field(ident, said, options, className="question", searchable=True))
        if free:
            label = said if not fixed else f"Or {free[0]}"
            help_line = "" if fixed else free[0]
            parts.append(
                text_field({"kind": "sheet-free", "key": question.key}, label, help_line, className="question")
            )
    button = html.Button("Go on with these answers", id={"kind": "sheet-do", "what": "again"}, className="primary")
    return html.Div([*parts, html.Div(button, className="foot")], className="card form wide-form")


def import_form(one: Shown) -> html.Div:
    """Name, reason where something is corrected, a name for the layout, and the button."""
    what = "entered" if one.wide else "imported"
    fields = [name_field({"kind": "sheet-sign", "what": "by"}, f"{what.capitalize()} by")]
    fields += [] if one.ours else [_remembered()]
    if one.corrects:
        fields.append(
            text_field(
                {"kind": "sheet-sign", "what": "why"}, "Reason of the corrections", "one sentence", className="long"
            )
        )
    button = html.Button(one.button, id={"kind": "sheet-do", "what": "import"}, className="primary")
    return html.Div(
        [html.P("Nothing stands against it."), row(*fields), html.Div(button, className="foot")],
        className="card form wide-form",
    )


def _remembered() -> dmc.TextInput:
    return text_field(
        {"kind": "sheet-sign", "what": "remember"},
        "Remember the layout as",
        "a name; blank: it is not kept",
        className="long",
    )


def first_rows(one: Shown) -> html.Div:
    """The first rows: our column over each heading, the cell of the file, what it is taken for, and what is wrong."""
    wrong: dict[tuple[int, str], Problem] = {}
    for problem in one.problems:
        wrong.setdefault((problem.row, problem.column), problem)
    places = [place for place, heading in enumerate(one.headings) if heading]
    head = [html.Th("Row", scope="col", className="number")]
    for place in places:
        ours = one.mapping.get(one.headings[place], "")
        head.append(html.Th([one.headings[place], html.Span(ours or "left out", className="unit")], scope="col"))
    body = []
    for number, cells, understood in one.first:
        tds: list[Any] = [html.Td(str(number), className="number quiet")]
        for place in places:
            heading = one.headings[place]
            ours = one.mapping.get(heading, "")
            typed = cells[place].strip() if place < len(cells) else ""
            tds.append(_cell(typed, understood.get(ours, "") if ours else None, wrong.get((number, heading))))
        body.append(html.Tr(tds))
    table = html.Table(
        [html.Caption("The first rows", className="unseen"), html.Thead(html.Tr(head)), html.Tbody(body)]
    )
    return html.Div(
        [
            html.H2("The first rows"),
            html.P("As they stand in the file, and below what they are taken for.", className="quiet"),
            html.Div(table, className="scroll sheet-rows", tabIndex="0", role="region", **heard_as("The first rows")),
        ]
    )


def _cell(typed: str, taken: str | None, problem: Problem | None) -> html.Td:
    if taken is None:
        return html.Td(typed[:60], className="quiet passed-over")
    short = " tight" if max(len(typed), len(taken)) <= 14 else ""
    parts: list[Any] = [html.Span(typed[:60] or "–", className=f"typed quiet{short}")]
    if taken and taken != typed:
        parts.append(html.Span(taken[:80], className=f"taken{short}"))
    elif taken:
        parts = [html.Span(taken[:80], className=f"taken{short}")]
    if problem:
        parts.append(html.Span(f"{problem.what} {problem.do}", className="harm cell-fault"))
    return html.Td(parts)


def headings_form(one: Shown) -> html.Details:
    """One choice a heading: which of our columns it is, or none."""
    columns = WIDE_COLUMNS if one.wide else SHEET_COLUMNS
    options = [(LEAVE_OUT, LEAVE_OUT), *((column, column) for column in columns)]
    fields = [
        choice_field(
            {"kind": "sheet-column", "heading": heading}, heading, options,
            value=one.mapping.get(heading) or LEAVE_OUT, clearable=False, searchable=True,
        )
        for heading in one.headings
        if heading
    ]  # fmt: skip
    button = html.Button("Look again with these headings", id={"kind": "sheet-do", "what": "map"}, className="second")
    return html.Details(
        [
            html.Summary("What each heading is"),
            html.P("Choose another column where a heading was mistaken; the rest stays.", className="quiet"),
            row(*fields),
            html.Div(button, className="foot"),
        ],
        className="card form act wide-form",
    )


def changed_cells(one: Shown) -> html.Div:
    """Each cell that changed since the file was taken: what stood there and what stands there now."""
    theirs = {ours: heading for heading, ours in one.mapping.items() if ours}
    heads = [html.Th(word, scope="col", className="number" if word == "Row" else "") for word in
             ("Row", "Coupon", "Heading", "Before", "Now")]  # fmt: skip
    body = [
        html.Tr(
            [
                html.Td(str(cell.row), className="number quiet"), html.Td(cell.coupon),
                html.Td(theirs.get(cell.column, cell.column)),
                *(html.Td(days_said(text[:60]) or "blank", className="" if text else "quiet")
                  for text in (cell.before, cell.after)),
            ]
        )
        for cell in one.changed[:CELLS_SHOWN]
    ]  # fmt: skip
    more = len(one.changed) - CELLS_SHOWN
    table = html.Table(
        [html.Caption("Changed cells", className="unseen"), html.Thead(html.Tr(heads)), html.Tbody(body)]
    )
    parts: list[Any] = [html.H2("Changed cells"), html.Div(table, className="scroll sheet-rows")]
    return html.Div([*parts, *([html.P(f"… and {more} more.", className="quiet")] if more > 0 else [])])


def initials_form(initials: Sequence[str]) -> html.Details:
    """A field for the name behind each initials; two names where two people share them."""
    fields = [
        text_field(
            {"kind": "sheet-free", "key": f"initials {short}"}, short, "a name; two with ; between", className="long"
        )
        for short in initials
    ]
    button = html.Button("Look again with these names", id={"kind": "sheet-do", "what": "again"}, className="second")
    return html.Details(
        [
            html.Summary("Whose initials they are"),
            html.P("The layout keeps the names; where two people share initials, each sheet asks.", className="quiet"),
            row(*fields),
            html.Div(button, className="foot"),
        ],
        className="card form act wide-form",
    )


def _told(head: str, notes: Sequence[str]) -> list[Any]:
    if not notes:
        return []
    lines = [html.Li(days_said(note)) for note in notes[:NOTES_SHOWN]]
    return [html.H2(head), html.Ul(lines)]


def paste_field() -> dmc.Textarea:
    """Rows copied from a spreadsheet, with their header line."""
    return dmc.Textarea(
        id="sheet-text", label="Rows", description="Copied with their header line; nothing is saved yet.",
        minRows=5, maxRows=14, autosize=True, inputWrapperOrder=ORDER, className="rows",
    )  # fmt: skip


def _count(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"
