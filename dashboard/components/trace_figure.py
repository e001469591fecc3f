"""Force traces of a coupon on its page: each with its window and peaks, what it says, and who entered it."""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import short_day
from dashboard.components.graph import graph
from dashboard.components.messages import refused
from study.commands.opening import open_study
from study.commands.read_trace import coupon_traces
from study.errors import DwellbookError
from study.outputs.figure_trace import draw_trace
from study.outputs.palette import Scheme

_FOLLOWS: dict[str, Any] = {"data-scheme": "trace-scheme"}


def traces_shown(code: str) -> html.Div:
    """The place of a coupon's traces; it stays empty where none was entered. ``code`` as the study spells it."""
    return html.Div(
        [
            html.Div(id="trace-figures", **_FOLLOWS),
            dcc.Store(id="trace-scheme"),
            dcc.Store(id="trace-code", data=code),
        ]
    )


def trace_figures(book: Book, code: str, *, scheme: Scheme) -> list[Any]:
    """One figure for each trace entered for a coupon."""
    with open_study(book.study_file) as study:
        found = coupon_traces(study, code)
    figures = []
    for place, one in enumerate(found, start=1):
        if one.shown is not None:
            by = f"Entered by {one.by} on {short_day(date.fromisoformat(one.at[:10]))}."
            figures.append(
                graph(
                    draw_trace(one.shown, scheme=scheme),
                    key=f"trace-{place}",
                    title=f"Force trace {one.reduced.name}",
                    words=f"{one.shown.words} {by}",
                )
            )
    return figures


def register_traces(app: Dash, book: Book) -> None:
    """The traces follow the scheme of the page."""
    app.clientside_callback(
        ClientsideFunction("dwellbook", "scheme"), Output("trace-scheme", "data"), Input("trace-code", "data")
    )

    @app.callback(Output("trace-figures", "children"), Input("trace-scheme", "data"), State("trace-code", "data"))
    def draw(scheme: str | None, code: str | None) -> Any:
        if scheme not in ("light", "dark") or not code:
            return no_update
        try:
            return trace_figures(book, code, scheme="dark" if scheme == "dark" else "light")
        except DwellbookError as error:
            return refused(error)
