"""A whole pull in a grid: typed or pasted, faulty cells marked and listed, saved at once when all are right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import dash_ag_grid as dag
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.days import days_said
from dashboard.components.frame import frame
from dashboard.components.grid import COLUMN, OPTIONS, WRONG_CELL
from dashboard.components.messages import empty
from dashboard.read.fields import reading_field, sitting
from dashboard.read.grid_checked import above_the_grid, filled_rows, looked, problems_shown, saved_rows, wrong_cells
from study.commands.opening import open_study
from study.commands.read_form import CONDITIONS, READING_OF, FormField, OpenStudy, coupon_form
from study.commands.read_grid import GridRow, PullGrid, pull_grid

SITTING = {"kind": "pull-sitting", "column": ALL}
ANSWER = {"kind": "pull-answer", "question": ALL}
NARROW = ("side", "force_unit", "L_before", "a_before", "b_before", "L_after", "a_after", "b_after")


def page(book: Book, study: OpenStudy, *, set_key: str, pull: str, on: date | None) -> html.Div:
    """The coupons of one pull, or of one day."""
    found = pull_grid(study, set_key=set_key, pull=pull, on=on)
    home, title = html.P(dcc.Link("Back to reading one by one", href="/read")), days_said(found.title)
    if not found.rows:
        nothing = empty("Its coupons will stand here once they are pulled.", "Record the pull first.")
        return frame(book, active="Read", title=title, status=status_line(found), work=[nothing, home])
    first = coupon_form(study, found.rows[0].coupon.code)
    conditions = [field for field in first.fields if field.kind in CONDITIONS]
    work = [_card(book, found, first.instruments, first.climate, conditions, f"{set_key} {pull} {on or ''}"), home]
    return frame(book, active="Read", title=title, status=status_line(found), work=work)


def status_line(found: PullGrid) -> str:
    """How far it is read, in one sentence."""
    unread = sum(bool(row.missing) for row in found.rows)
    coupons = "1 coupon" if len(found.rows) == 1 else f"{len(found.rows)} coupons"
    parts = [f"{coupons}, {unread or 'none'} still to read"]
    parts += [f"{found.waiting} not pulled yet"] if found.waiting else []
    parts += [f"lost or damaged: {', '.join(found.gone)}"] if found.gone else []
    return "; ".join(parts) + "."


def _card(
    book: Book, found: PullGrid, instruments: Sequence[str], climate: str, conditions: Sequence[FormField], place: str
) -> html.Div:
    optional = [field.kind for field in found.fields if field.optional]
    told = {
        "study": book.study_file.stem, "place": place, "columns": [field.kind for field in found.fields],
        "optional": optional, "saved": "",
    }  # fmt: skip
    return html.Div(
        [
            sitting(instruments, climate, today=book.today(), of="pull-"),
            *_conditions(conditions),
            html.P(
                "Type into the cells, or paste a block into its first cell; lines that name their coupon find it, and "
                "a header line is understood. Enter goes down, Tab goes on; hatched cells are not asked. Nothing is "
                "saved until every cell is right.",
                className="quiet",
            ),
            html.Div(html.Button("More columns", id="pull-more", className="second small"), className="foot"),
            html.Div(
                _grid(found), className="pull-grid", role="region",
                **{"data-read-grid": "", **heard_as(f"Grid of {days_said(found.title)}")},
            ),
            html.Div(id="pull-problems", role="status", tabIndex="-1"),
            html.Div(id="pull-said", className="said"),
            html.Div(
                [
                    html.Button(
                        "Save these readings", id="pull-save", className="primary", title="Ctrl+Enter", disabled=True
                    ),
                    html.Button(id="pull-count", className="second", hidden=True),
                    html.Span("Nothing typed yet.", id="pull-keeping", className="quiet", role="status"),
                ],
                className="foot pull-foot",
            ),
            *(dcc.Store(id=ident) for ident in ("pull-try", "pull-wrong", "pull-send")),
            dcc.Store(id="pull-of", data=told),
        ],
        className="card form wide-form",
    )  # fmt: skip


def _conditions(fields: Sequence[FormField]) -> list[Any]:
    if not fields:
        return []
    shown = [reading_field(field, kind="pull-sitting") for field in fields]
    inside = [html.Summary("How the colours were read"), html.Div(shown, className="row")]
    return [html.Details(inside, className="fold", id={"kind": "fold", "group": "pull-colour"})]


def _grid(found: PullGrid) -> dag.AgGrid:
    head = {"field": "link", "headerName": "Coupon", "pinned": "left", "width": 110, "editable": False}
    link = {"cellRenderer": "markdown"}
    test = {"field": "test", "headerName": "Test", "width": 120, "editable": False}
    return dag.AgGrid(
        id="pull-grid",
        columnDefs=[{**head, **link}, test, *(_column(field) for field in found.fields)],
        rowData=[grid_row(row) for row in found.rows],
        getRowId="params.data.code",
        defaultColDef={
            **COLUMN, "editable": {"function": "mayRead(params)"},
            "cellClassRules": {
                "not-asked": "params.colDef.field !== 'link' && params.colDef.field !== 'test' && "
                "!params.data.asked[params.colDef.field] && !params.data.read[params.colDef.field]",
                "read-already": "params.data.read[params.colDef.field]",
                **WRONG_CELL,
            },
            "tooltipValueGetter": {"function": "readTip(params)"},
        },
        dashGridOptions={
            **OPTIONS, "enterNavigatesVertically": True, "rowHeight": 34, "undoRedoCellEditing": True,
            "domLayout": "autoHeight" if len(found.rows) <= 16 else "normal",
        },
        style={"height": None if len(found.rows) <= 16 else "64vh", "width": "100%"},
    )  # fmt: skip


def _column(field: FormField) -> dict[str, Any]:
    """One column of the grid; choices come as a list to pick from, everything else is text."""
    made: dict[str, Any] = {
        "field": field.kind,
        "headerName": f"{field.label} [{field.unit}]" if field.unit else field.label,
        "headerTooltip": field.help,
        "width": 100 if field.kind in NARROW else 190 if field.kind == "failure_pattern" else 130,
        "hide": field.optional,
    }
    if field.kind in ("side", "force_unit"):
        made |= {"cellEditor": "agSelectCellEditor", "cellEditorParams": {"values": ["", *field.choices]}}
    return made


def grid_row(row: GridRow) -> dict[str, Any]:
    """One coupon as the grid holds it: its cells, which may be filled, and which are read already."""
    return {
        "code": row.coupon.code,
        "mark": row.coupon.own_mark,
        "link": f"[{row.coupon.code}](/read?code={row.coupon.code})",
        "test": row.coupon.test,
        "asked": dict.fromkeys(row.asked, True),
        "read": _read_columns(row),
        "base": dict(row.offered),
        **row.offered,
        **row.read,
    }


def _read_columns(row: GridRow) -> dict[str, bool]:
    """Every column of a reading that is in force, also where it has nothing to show there."""
    kinds = {READING_OF[column] for column in row.read}
    return {column: True for column in row.asked if READING_OF.get(column) in kinds}


def labels_of(found: PullGrid) -> dict[str, str]:
    """What each column is called."""
    return {field.kind: field.label for field in found.fields}


def opened(book: Book, place: str) -> PullGrid:
    """The pull that a grid shows, by its place in the address."""
    set_key, rest = place.split(" ", 1)
    pull, on = rest.rsplit(" ", 1)
    with open_study(book.study_file) as study:
        return pull_grid(study, set_key=set_key, pull=pull, on=date.fromisoformat(on) if on else None)


def register(app: Dash, book: Book) -> None:
    """Counting and keeping in the browser; looking and saving here."""
    for name, into, asked in (
        ("opened", ("pull-keeping", "children"), (("pull-of", "data"),)),
        ("typed", ("pull-said", "title"), (("pull-grid", "cellValueChanged"),)),
        ("marked", ("pull-problems", "title"), (("pull-wrong", "data"),)),
        ("more", ("pull-more", "children"), (("pull-more", "n_clicks"),)),
        ("lead", ("pull-count", "title"), (("pull-count", "n_clicks"),)),
        ("owed", ("pull-more", "title"), (("pull-said", "children"),)),
    ):
        app.clientside_callback(
            ClientsideFunction("readgrid", name), Output(*into), *(Input(*one) for one in asked),
            prevent_initial_call=name != "opened",
        )  # fmt: skip
    app.clientside_callback(
        ClientsideFunction("readgrid", "send"),
        Output("pull-send", "data"),
        Input("pull-save", "n_clicks"),
        Input(ANSWER, "n_clicks"),
        State(SITTING, "value"),
        State(SITTING, "id"),
        State("pull-read-on", "value"),
        State("pull-read-by", "value"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("pull-problems", "children"),
        Output("pull-wrong", "data"),
        Output(SITTING, "error"),
        Output("pull-read-on", "error"),
        Output("pull-read-by", "error"),
        Input("pull-try", "data"),
        Input(SITTING, "value"),
        Input("pull-read-on", "value"),
        Input("pull-read-by", "value"),
        State("pull-of", "data"),
        prevent_initial_call=True,
    )
    def look(asked: dict[str, Any] | None, _: Any, read_on: str, __: str, told: dict[str, Any]) -> Any:
        sitting = {entry["id"]["column"]: entry.get("value") or "" for entry in ctx.inputs_list[1]}
        rows = asked["rows"] if asked else []
        problems, lines = looked(book, filled_rows({"rows": rows, "sitting": sitting}), read_on or "")
        above, left = above_the_grid(rows, problems)
        shown = problems_shown(rows, left, labels_of(opened(book, told["place"])) if left else {})
        if lines:
            shown.append(html.Ul([html.Li(days_said(line)) for line in lines], className="flags"))
        return shown, wrong_cells(rows, left), *_errors(above, ctx.outputs_list[2])

    @app.callback(
        Output("pull-said", "children"),
        Output("pull-problems", "children", allow_duplicate=True),
        Output("pull-wrong", "data", allow_duplicate=True),
        Output("pull-grid", "rowData"),
        Output("pull-of", "data"),
        Output("status", "children", allow_duplicate=True),
        Output(SITTING, "error", allow_duplicate=True),
        Output("pull-read-on", "error", allow_duplicate=True),
        Output("pull-read-by", "error", allow_duplicate=True),
        Output("pull-try", "data", allow_duplicate=True),
        Input("pull-send", "data"),
        State("pull-of", "data"),
        prevent_initial_call=True,
    )
    def save(sent: dict[str, Any] | None, told: dict[str, Any]) -> Any:
        if not sent:
            raise PreventUpdate
        said, problems, done = saved_rows(book, sent)
        now = opened(book, told["place"])
        above, left = above_the_grid(sent["rows"], problems)
        errors = _errors(above, ctx.outputs_list[6])
        if done:
            rows = [grid_row(row) for row in now.rows]
            # What was tried is in the study now: the room or the day said anew must not be tried on it again.
            return said, [], {}, rows, {**told, "saved": sent["token"]}, status_line(now), *errors, {"rows": []}
        shown = problems_shown(sent["rows"], left, labels_of(now))
        return said, shown, wrong_cells(sent["rows"], left), no_update, no_update, no_update, *errors, no_update


def _errors(above: Mapping[str, str], fields: Sequence[Mapping[str, Any]]) -> tuple[list[str], str, str]:
    """What is wrong above the grid, as its fields show it: each of the sitting, the day, the name."""
    each = [above.get(entry["id"]["column"], "") for entry in fields]
    return each, above.get("read_on", ""), above.get("read_by", "")
