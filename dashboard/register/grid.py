"""In a grid: several of a kind typed or pasted cell by cell, faulty cells marked, registered when all are right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import uuid4

import dash_ag_grid as dag
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.grid import COLUMN, OPTIONS, WRONG_CELL
from dashboard.register.checked import check, clean_rows, closing, save
from dashboard.register.fields import FIELDS, TITLES, WHAT, Field, options
from study.commands.shelf import Register
from study.errors import Problem

BLANK_ROWS = 8
NUMBERS = {
    "headerName": "Row",
    "valueGetter": {"function": "params.node.rowIndex + 1"},
    "editable": False,
    "width": 62,
    "minWidth": 62,
    "pinned": "left",
    "cellClass": "row-number",
    "suppressNavigable": True,
}
"""The rows' own numbers, so that a message can name one."""
WRONG = "wrong"
"""The column, never shown, that holds what is wrong in a row, by column."""


def grid(kind: str, book: Register) -> html.Div:
    """An empty grid with the columns of a kind."""
    return html.Div(
        [
            html.P(WHAT[kind], className="quiet"),
            html.P(
                "Type into the cells, or paste a block into the first cell of it. Enter or F2 opens a cell, Escape "
                "leaves it as it was.",
                className="quiet",
            ),
            html.Div(
                dag.AgGrid(
                    id="grid",
                    columnDefs=[NUMBERS, *(column(field, book) for field in FIELDS[kind])],
                    rowData=blank_rows(kind),
                    getRowId="params.data.place",
                    defaultColDef={
                        **COLUMN, "editable": True, "minWidth": 110, "cellClassRules": WRONG_CELL,
                        "tooltipValueGetter": {
                            "function": "params.data.wrong ? params.data.wrong[params.colDef.field] : null"
                        },
                    },
                    dashGridOptions={**OPTIONS, "domLayout": "autoHeight"},
                    style={"height": None, "width": "100%"},
                ),
                **{"data-paste-grid": "grid", "role": "region", **heard_as(f"Grid of {TITLES[kind].lower()}")},
            ),
            html.P(id="grid-pasted", className="quiet", role="status"),
            html.Div(html.Button("More rows", id="grid-more", className="second small"), className="foot after-grid"),
            *closing(kind, "grid"),
            dcc.Store(id={"token": "grid"}, data=uuid4().hex),
        ],
        className="card form wide-form",
    )  # fmt: skip


def column(field: Field, book: Register) -> dict[str, Any]:
    """One column of the grid; choices come as a list to pick from, everything else is text."""
    head = f"{field.label} [{field.unit}]" if field.unit else field.label
    found: dict[str, Any] = {
        "field": field.column,
        "headerName": head if field.needed else f"{head} (optional)",
        "headerTooltip": field.help,
        "width": 180 if field.long or field.column == "name" else 140,
    }
    offered = options(field, book)
    if offered:
        values = [value for value, _ in offered]
        found |= {"cellEditor": "agSelectCellEditor", "cellEditorParams": {"values": ["", *values]}}
    return found


def blank_rows(kind: str, *, start: int = 0) -> list[dict[str, Any]]:
    """Rows with nothing in them, each with its place."""
    cells = {field.column: "" for field in FIELDS[kind]}
    return [{"place": str(place), **cells} for place in range(start, start + BLANK_ROWS)]


def marked(rows: Sequence[Mapping[str, Any]], problems: Sequence[Problem]) -> list[dict[str, Any]]:
    """The grid's rows with what is wrong in each, by column."""
    told: dict[int, dict[str, str]] = {}
    for problem in problems:
        told.setdefault(problem.row, {})[problem.column] = f"{problem.what} {problem.do}".strip()
    return [{**row, WRONG: told.get(number)} for number, row in enumerate(rows, start=2)]


def register(app: Dash, book: Book) -> None:
    """More rows, trying the rows out, and registering them."""
    app.clientside_callback(
        ClientsideFunction("register", "kept"),
        Output("grid-kept", "children"),
        Input("grid", "cellValueChanged"),
        Input({"token": "grid"}, "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("grid", "rowData", allow_duplicate=True),
        Input("grid-more", "n_clicks"),
        State("grid", "rowData"),
        State("grid-kind", "data"),
        prevent_initial_call=True,
    )
    def more(clicks: int | None, rows: list[dict[str, Any]], kind: str) -> Any:
        return [*rows, *blank_rows(kind, start=len(rows))] if clicks else no_update

    @app.callback(
        Output("grid-said", "children"),
        Output("grid", "rowData", allow_duplicate=True),
        Input("grid-check", "n_clicks"),
        State("grid", "rowData"),
        State("grid-kind", "data"),
        prevent_initial_call=True,
    )
    def look(clicks: int | None, rows: list[dict[str, Any]], kind: str) -> Any:
        if not clicks:
            return no_update, no_update
        said, problems = check(book, kind, clean_rows(kind, rows), first=1)
        return said, marked(rows, problems)

    @app.callback(
        Output("grid-said", "children", allow_duplicate=True),
        Output("grid", "rowData", allow_duplicate=True),
        Output({"token": "grid"}, "data"),
        Output("on-file", "children", allow_duplicate=True),
        Input("grid-save", "n_clicks"),
        State("grid", "rowData"),
        State("grid-kind", "data"),
        State("grid-by", "value"),
        State({"token": "grid"}, "data"),
        prevent_initial_call=True,
    )
    def save_all(clicks: int | None, rows: list[dict[str, Any]], kind: str, by: str | None, token: str) -> Any:
        if not clicks:
            return no_update, no_update, no_update, no_update
        said, problems, listed = save(book, kind, clean_rows(kind, rows), by=by, token=token, first=1)
        if listed is None:
            return said, marked(rows, problems), no_update, no_update
        return said, blank_rows(kind), uuid4().hex, listed
