"""Checked rows: what a grid or a pasted block was understood as, each faulty cell marked in place and named in text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from dash import dcc, html

from dashboard.book import Book
from dashboard.components.fields import name_field, row
from dashboard.components.messages import refused
from dashboard.components.tables import Column, table
from dashboard.register.fields import FIELDS, ONE, TITLES
from dashboard.register.form import registered
from dashboard.register.keeping import keeping
from dashboard.register.lists import on_file
from study.commands.opening import open_study
from study.commands.register import Registered, register_rows
from study.commands.shelf import register_book
from study.errors import DwellbookError, FileRefused, Problem

Rows = Sequence[Mapping[str, str]]
ROWS_SHOWN = 200


def clean_rows(kind: str, rows: Sequence[Mapping[str, Any]]) -> list[dict[str, str]]:
    """Cells of the kind's own columns, as text without outer spaces."""
    columns = [field.column for field in FIELDS[kind]]
    return [{column: str(row.get(column) or "").strip() for column in columns} for row in rows]


def closing(kind: str, part: str) -> list[Any]:
    """The end of a grid or a pasted block: who enters it, the look, the one button, and what the browser keeps."""
    return [
        row(name_field(f"{part}-by", "Entered by")),
        html.Div(
            [
                html.Button("Look at the rows", id=f"{part}-check", className="second"),
                html.Button(f"Register these {TITLES[kind].lower()}", id=f"{part}-save", className="primary"),
                keeping(f"{part}-kept"),
            ],
            className="foot",
        ),
        dcc.Store(id=f"{part}-kind", data=kind),
    ]


def check(book: Book, kind: str, rows: Rows, *, first: int) -> tuple[Any, list[Problem]]:
    """What is said after rows were tried out, and every problem of theirs; ``first`` numbers the first row."""
    try:
        with open_study(book.study_file) as study:
            done = register_rows(study, kind, rows, signature=book.sign("nobody yet"), only_check=True)
    except FileRefused as error:
        return faults(error, kind, first=first), list(error.problems)
    except DwellbookError as error:
        return refused(error), [Problem(0, "", "", error.what, error.do)]
    return clean_words(kind, done), []


def clean_words(kind: str, done: Registered) -> html.Div:
    """That nothing is wrong, and what saving will do."""
    noun = ONE[kind] if done.count == 1 else TITLES[kind].lower()
    coupons = f" with {len(done.coupons)} coupons" if done.coupons and kind == "sets" else ""
    what = f"{done.count} {noun}{coupons}" if kind != "coupons" else f"{done.count} coupons"
    said: list[Any] = [html.P(f"Nothing is wrong: {what} can be registered. Nothing is saved yet.")]
    said += [html.P(words) for words in done.warnings]
    return html.Div(said, className="message fine", role="status")


def faults(error: FileRefused, kind: str, *, first: int) -> html.Div:
    """Every problem with its row and column, in text, as rows and columns are called on the page."""
    labels = {field.column: field.label for field in FIELDS[kind]}
    count = len(error.problems)
    head = "1 cell needs you" if count == 1 else f"{count} cells need you"
    lines = [html.Li(_placed(problem, labels, first)) for problem in error.problems]
    return html.Div(
        [html.P(f"{head}; nothing is saved until all are right."), html.Ul(lines)],
        className="message harm",
        role="alert",
    )


def _placed(problem: Problem, labels: Mapping[str, str], first: int) -> str:
    # Problems count as a spreadsheet does, the first row below the header being 2; a grid begins at 1.
    column = labels.get(problem.column, problem.column) if problem.row > 1 else problem.column
    row = problem.row - 2 + first if problem.row > 1 else problem.row
    return replace(problem, row=row, column=column).sentence()


def understood(kind: str, rows: Rows, problems: Sequence[Problem]) -> html.Div:
    """The rows as they were understood, faulty cells marked and said in place."""
    used = [field for field in FIELDS[kind] if field.needed or any(row.get(field.column) for row in rows)]
    at = {(problem.row, problem.column): problem for problem in problems}

    def cell(number: int, column: str, value: str) -> Any:
        problem = at.get((number, column))
        if problem is None:
            return value or html.Span("–", className="quiet")
        return html.Span(
            [html.Span(value or "blank", className="wrong"), html.Span(problem.what, className="key harm")]
        )

    columns = [Column("row", "Row", number=True), *(Column(f.column, f.label, unit=f.unit) for f in used)]
    lines = [
        {"row": str(number), **{field.column: cell(number, field.column, row.get(field.column, "")) for field in used}}
        for number, row in enumerate(rows, start=2)
        if any(row.values())
    ]
    shown = table(columns, lines[:ROWS_SHOWN], caption="Rows as understood")
    if len(lines) <= ROWS_SHOWN:
        return html.Div(shown)
    return html.Div([html.P(f"The first {ROWS_SHOWN} of {len(lines)} rows.", className="quiet"), shown])


def save(
    book: Book, kind: str, rows: Rows, *, by: str | None, token: str, first: int
) -> tuple[list[Any], list[Problem], Any]:
    """What is said after rows were saved, the problems that kept them from it, and the list as it stands then."""
    try:
        signature = book.sign(by)
        with open_study(book.study_file) as study:
            done = register_rows(study, kind, rows, token=token, signature=signature)
            now = register_book(study)
    except FileRefused as error:
        return [faults(error, kind, first=first)], list(error.problems), None
    except DwellbookError as error:
        return [refused(error)], [Problem(0, "", "", error.what, error.do)], None
    return registered(done, kind, by=signature.by), [], on_file(kind, now)
