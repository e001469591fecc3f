"""By paste: a block from a spreadsheet, shown as understood, registered when every cell is right."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.fields import ORDER
from dashboard.components.messages import refused
from dashboard.register.checked import check, clean_rows, closing, faults, save, understood
from dashboard.register.fields import FIELDS
from study.commands.register import read_block
from study.errors import DwellbookError, FileRefused


def paste(kind: str) -> html.Div:
    """A place for rows, and the two steps."""
    needed = ", ".join(field.column for field in FIELDS[kind] if field.needed)
    rest = ", ".join(field.column for field in FIELDS[kind] if not field.needed)
    return html.Div(
        [
            html.P(
                [
                    "Copy the rows with their header line from a spreadsheet. Columns that are needed, in any order: ",
                    html.Code(needed, className="wraps"),
                    ".",
                ]
            ),
            html.Details(
                [html.Summary("Columns that may be there too"), html.P(html.Code(rest, className="wraps"))],
                className="steps small",
            ),
            dmc.Textarea(
                id="block-text",
                label="Rows",
                description="Nothing is saved until every cell is right.",
                minRows=6,
                maxRows=16,
                autosize=True,
                inputWrapperOrder=ORDER,
                className="rows",
            ),
            *closing(kind, "block"),
            dcc.Store(id={"token": "paste"}, data=uuid4().hex),
        ],
        className="card form wide-form",
    )


def looked_at(book: Book, kind: str, text: str | None) -> list[Any]:
    """The block as understood, with what is wrong or that nothing is."""
    try:
        rows = read_block(text or "", kind)
    except FileRefused as error:
        return [faults(error, kind, first=2)]
    said, problems = check(book, kind, clean_rows(kind, rows), first=2)
    return [said, understood(kind, clean_rows(kind, rows), problems)]


def pasted(book: Book, kind: str, text: str | None, *, by: str | None, token: str) -> tuple[list[Any], Any]:
    """What is shown after a block was saved, and the list as it stands then (nothing if refused)."""
    try:
        rows = clean_rows(kind, read_block(text or "", kind))
    except FileRefused as error:
        return [faults(error, kind, first=2)], None
    except DwellbookError as error:
        return [refused(error)], None
    said, problems, listed = save(book, kind, rows, by=by, token=token, first=2)
    return [*said, *([understood(kind, rows, problems)] if any(p.row for p in problems) else [])], listed


def register(app: Dash, book: Book) -> None:
    """Looking at a block, and registering it."""
    app.clientside_callback(
        ClientsideFunction("register", "kept"),
        Output("block-kept", "children"),
        Input("block-text", "value"),
        Input({"token": "paste"}, "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("block-said", "children"),
        Input("block-check", "n_clicks"),
        State("block-text", "value"),
        State("block-kind", "data"),
        prevent_initial_call=True,
    )
    def look(clicks: int | None, text: str | None, kind: str) -> Any:
        return looked_at(book, kind, text) if clicks else no_update

    @app.callback(
        Output("block-said", "children", allow_duplicate=True),
        Output("block-text", "value"),
        Output({"token": "paste"}, "data"),
        Output("on-file", "children", allow_duplicate=True),
        Input("block-save", "n_clicks"),
        State("block-text", "value"),
        State("block-kind", "data"),
        State("block-by", "value"),
        State({"token": "paste"}, "data"),
        prevent_initial_call=True,
    )
    def save_all(clicks: int | None, text: str | None, kind: str, by: str | None, token: str) -> Any:
        if not clicks:
            return no_update, no_update, no_update, no_update
        shown, listed = pasted(book, kind, text, by=by, token=token)
        if listed is None:
            return shown, no_update, no_update, no_update
        return shown, "", uuid4().hex, listed
