"""A grid of readings checked: what is wrong with its cells, what stands above it, what is said once it is saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from dash import html

from dashboard.book import Book
from dashboard.components.days import days_said, typed_day
from dashboard.components.messages import refused, saved, told
from dashboard.read.commas import commas_of_rows, commas_shown
from dashboard.read.saving import asked_shown, owed, see_the_fields
from study.commands.opening import open_study
from study.commands.read import record_readings, verdict_counts
from study.commands.read_form import CONDITIONS, READING_OF
from study.commands.read_try import try_rows
from study.errors import DwellbookError, FileRefused, Problem, Unanswered
from study.model.reading import kind_words

ABOVE = (*CONDITIONS, "temperature_c", "humidity_percent", "instrument", "read_on", "read_by")
"""What stands once above a grid, for all its rows."""


def wrong_cells(rows: Sequence[Mapping[str, str]], problems: Sequence[Problem]) -> dict[str, dict[str, str]]:
    """What is wrong, by coupon and column."""
    found: dict[str, dict[str, str]] = {}
    for problem in problems:
        cells = found.setdefault(rows[problem.row - 1]["coupon"] if problem.row else "", {})
        cells[problem.column] = " ".join(filter(None, (cells.get(problem.column), problem.what, problem.do)))
    return found


def problems_shown(rows: Sequence[Mapping[str, str]], problems: Sequence[Problem], labels: Mapping[str, str]) -> Any:
    """Commas as a question, the rest as a list in words: coupon, column, value, what is wrong, what to do."""
    commas = commas_of_rows(rows, problems)
    asked = {(comma.coupon, READING_OF.get(comma.column, comma.column)) for comma in commas}
    lines: list[Any] = []
    for problem in problems:
        if problem.row and (rows[problem.row - 1]["coupon"], READING_OF.get(problem.column, problem.column)) in asked:
            continue  # looked at again once the commas are settled
        code = rows[problem.row - 1]["coupon"] if problem.row else "All"
        place: list[Any] = [
            html.Span(code, className="code"),
            f", {labels.get(problem.column, problem.column) or 'row'}: ",
        ]
        value = f"“{problem.value}” " if problem.value else ""
        lines.append(html.Li([*place, f"{value}{days_said(problem.what)} {problem.do}"]))
    shown = commas_shown(commas)
    if lines:
        count = "1 cell is" if len(lines) == 1 else f"{len(lines)} cells are"
        shown.append(html.Div([html.P(f"{count} not right yet:"), html.Ul(lines)], className="message harm"))
    return shown


def filled_rows(sent: Mapping[str, Any]) -> list[dict[str, str]]:
    """Rows with what was typed once above the grid."""
    beside = {column: text for column, text in (sent.get("sitting") or {}).items() if text}
    colours = {column: text for column, text in beside.items() if column in CONDITIONS}
    room = {column: text for column, text in beside.items() if column not in CONDITIONS}
    return [
        {**room, **(colours if any(READING_OF.get(c, "").startswith("colour") for c in row) else {}), **row}
        for row in sent["rows"]
    ]


def above_the_grid(
    rows: Sequence[Mapping[str, str]], problems: Sequence[Problem]
) -> tuple[dict[str, str], list[Problem]]:
    """What is wrong with what stands once above the grid, by column, and the problems that are left to the cells."""
    above: dict[str, str] = {}
    left = []
    for problem in problems:
        own = rows[problem.row - 1] if problem.row else {}
        if problem.column in ABOVE and problem.column not in own:
            above.setdefault(problem.column, told(replace(problem, row=0)))
        else:
            left.append(problem)
    return above, left


def saved_rows(book: Book, sent: Mapping[str, Any]) -> tuple[Any, Sequence[Problem], bool]:
    """What is said after saving was asked for, what is wrong, and whether it is in the study now."""
    rows = filled_rows(sent)
    if missing := owed(book, sent["read_on"], sent["read_by"]):
        problems = looked(book, rows, sent["read_on"])[0]
        return see_the_fields(), [*problems, *(Problem(0, name, "", said, "") for name, said in missing.items())], False
    try:
        day = typed_day(sent["read_on"])
        with open_study(book.study_file) as study:
            record_readings(
                study, rows, read_on=day, signature=book.sign(sent["read_by"]), answers=sent["answers"],
                token=sent["token"],
            )  # fmt: skip
            codes = {row["coupon"] for row in rows}
            shows = verdict_counts(study, codes)
    except FileRefused as error:
        problems = [problem if problem.row else Problem(1, *_rest(problem)) for problem in error.problems]
        return html.Div(html.P("Nothing was saved."), className="message harm", role="alert"), problems, False
    except Unanswered as error:
        return asked_shown(error, kind="pull-answer"), (), False
    except DwellbookError as error:
        return refused(error), (), False
    count = "1 coupon is" if len(codes) == 1 else f"{len(codes)} coupons are"
    return [saved(f"Readings of {count} saved."), html.Ul([html.Li(line) for line in shows])], (), True


def _rest(problem: Problem) -> tuple[str, str, str, str]:
    return problem.column, problem.value, problem.what, problem.do


def looked(book: Book, rows: Sequence[Mapping[str, str]], read_on: str) -> tuple[Sequence[Problem], list[str]]:
    """What saving would refuse, and what it would flag and ask; nothing is written."""
    try:
        with open_study(book.study_file) as study:
            found = try_rows(study, rows, read_on=typed_day(read_on), signature=book.sign("nobody"))
    except DwellbookError:
        return (), []
    flags = [f"Will be flagged: {mark}" + ("." if n == len(rows) else f", {n} of {len(rows)} coupons.")
             for mark, n in found.marks.items()]  # fmt: skip
    odd = [f"Will be asked: {code}, {kind_words(kind)}: {words}." for (code, kind), words in found.unusual.items()]
    return found.problems, [*flags, *odd]
