"""Messages: what was refused and what to do, what was saved, and what an empty page will show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any

from dash import html

from dashboard.book import Book
from dashboard.components.days import days_said
from dashboard.components.frame import frame
from study.commands.moved import Moved
from study.errors import DwellbookError, FileRefused, Problem


def told(problem: Problem) -> str:
    """One problem as a sentence that begins with its row, or with the value it is about."""
    if problem.row:
        return problem.sentence()
    value = f"“{problem.value}” " if problem.value else ""
    return f"{value}{problem.what} {problem.do}".strip()


def refused(error: DwellbookError) -> html.Div:
    """A refusal: what happened, then what to do; all problems of it at once."""
    if isinstance(error, FileRefused):
        lines = [html.Li(told(problem)) for problem in error.problems]
        return html.Div([html.P("Nothing was saved."), html.Ul(lines)], className="message harm", role="alert")
    return html.Div([html.P([html.Strong(error.what), f" {error.do}"])], className="message harm", role="alert")


def saved(text: str) -> html.Div:
    """A confirmation that something is in the study file."""
    return html.Div(html.P(text), className="message fine", role="status")


def would_be_refused(error: DwellbookError) -> list[Any]:
    """Why an act would be refused as it stands, said quietly while it is still being typed."""
    return [html.P(days_said(f"{error.what} {error.do}"))]


def durations_said(moved: Sequence[Moved]) -> list[Any]:
    """Which durations an act would move, and which would stay."""
    lines = [html.Li(html.Strong(one.words()) if one.moves else one.words()) for one in moved]
    return [html.P("Durations", className="quiet head"), html.Ul(lines) if lines else html.P("None rests on them yet.")]


def empty(shows: str, start: str, command: str = "") -> html.Div:
    """An empty state: what this place will show, and the one thing that starts it."""
    told: list[Any] = [start, " ", html.Code(command)] if command else [start]
    return html.Div(
        [html.P(shows), html.P(told)],
        className="empty",
    )


WORKING = "Working out the durations; the first time after new readings this takes some seconds."


def durations_awaited(moving: object) -> html.P | None:
    """That it is being worked out which durations an act would move; nothing where none can move."""
    return html.P("Working out which durations move …", className="quiet") if moving else None


def waiting(place: str) -> html.Div:
    """A place that is filled as soon as its estimates are worked out."""
    return html.Div(id=place, className="waiting")


def with_refusals(name: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """A layout that shows a refusal as a page of its own instead of failing."""

    def around(layout: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(layout)
        def safe(book: Book, **asked: str) -> Any:
            try:
                return layout(book, **asked)
            except DwellbookError as error:
                return frame(book, active=name, title=name, status="This cannot be shown.", work=[refused(error)])

        return safe

    return around
