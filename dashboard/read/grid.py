"""A whole pull in a grid: typed or pasted, faulty cells marked and listed, saved at once when all are right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import dash_ag_grid as dag
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.days import days_said, typed_day
from dashboard.components.frame import frame
from dashboard.components.grid import COLUMN, OPTIONS, WRONG_CELL
from dashboard.components.messages import empty, refused, saved
from dashboard.read.commas import commas_of_rows, commas_shown
from dashboard.read.fields import reading_field, sitting
from dashboard.read.saving import asked_shown
from dashboard.read.words import kind_words
from study.commands.opening import open_study
from study.commands.read import record_readings, verdict_counts
from study.commands.read_form import CONDITIONS, READING_OF, FormField, OpenStudy, coupon_form
from study.commands.read_grid import GridRow, PullGrid, pull_grid
from study.commands.read_try import try_rows
from study.errors import DwellbookError, FileRefused, Problem, Unanswered

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
                "Type into the cells, or paste a block into its first cell. Enter goes down, Tab goes on; hatched "
                "cells are not asked. Nothing is saved until every cell is right.",
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
                    html.Button("Save these readings", id="pull-save", className="primary", title="Ctrl+Enter"),
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


def labels_of(found: PullGrid) -> dict[str, str]:
    """What each column is called."""
    return {field.kind: field.label for field in found.fields}


def filled_rows(sent: Mapping[str, Any]) -> list[dict[str, str]]:
    """Rows with what was typed once above the grid."""
    beside = {column: text for column, text in (sent.get("sitting") or {}).items() if text}
    colours = {column: text for column, text in beside.items() if column in CONDITIONS}
    room = {column: text for column, text in beside.items() if column not in CONDITIONS}
    return [
        {**room, **(colours if any(READING_OF.get(c, "").startswith("colour") for c in row) else {}), **row}
        for row in sent["rows"]
    ]


def saved_rows(book: Book, sent: Mapping[str, Any]) -> tuple[Any, Sequence[Problem], bool]:
    """What is said after saving was asked for, what is wrong, and whether it is in the study now."""
    rows = filled_rows(sent)
    try:
        day = typed_day(sent["read_on"])
        with open_study(book.study_file) as study:
            record_readings(
                study, rows, read_on=day, signature=book.sign(sent["read_by"]), answers=sent["answers"],
                token=sent["token"],
            )  # fmt: skip
            codes = {row["coupon"] for row in rows}
            told = verdict_counts(study, codes)
    except FileRefused as error:
        problems = [problem if problem.row else Problem(1, *_rest(problem)) for problem in error.problems]
        return html.Div(html.P("Nothing was saved."), className="message harm", role="alert"), problems, False
    except Unanswered as error:
        return asked_shown(error, kind="pull-answer"), (), False
    except DwellbookError as error:
        return refused(error), (), False
    count = "1 coupon is" if len(codes) == 1 else f"{len(codes)} coupons are"
    return [saved(f"Readings of {count} saved."), html.Ul([html.Li(line) for line in told])], (), True


def _rest(problem: Problem) -> tuple[str, str, str, str]:
    return problem.column, problem.value, problem.what, problem.do


def looked(book: Book, rows: Sequence[Mapping[str, str]], read_on: str) -> tuple[Sequence[Problem], list[str]]:
    """What saving would refuse and what it would ask; nothing is written."""
    try:
        with open_study(book.study_file) as study:
            problems, odd = try_rows(study, rows, read_on=typed_day(read_on), signature=book.sign("nobody"))
    except DwellbookError:
        return (), []
    return problems, [f"{code}, {kind_words(kind)}: {words}." for (code, kind), words in odd.items()]


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
        Input("pull-try", "data"),
        State("pull-read-on", "value"),
        State("pull-of", "data"),
        prevent_initial_call=True,
    )
    def look(asked: dict[str, Any] | None, read_on: str, told: dict[str, Any]) -> Any:
        rows = asked["rows"] if asked else []
        problems, odd = looked(book, rows, read_on)
        shown = problems_shown(rows, problems, labels_of(opened(book, told["place"])) if problems else {})
        asks: Any = (
            html.Ul([html.Li(f"Will be asked: {days_said(line)}") for line in odd], className="flags") if odd else []
        )
        return shown or asks, wrong_cells(rows, problems)

    @app.callback(
        Output("pull-said", "children"),
        Output("pull-problems", "children", allow_duplicate=True),
        Output("pull-wrong", "data", allow_duplicate=True),
        Output("pull-grid", "rowData"),
        Output("pull-of", "data"),
        Output("status", "children", allow_duplicate=True),
        Input("pull-send", "data"),
        State("pull-of", "data"),
        prevent_initial_call=True,
    )
    def save(sent: dict[str, Any] | None, told: dict[str, Any]) -> Any:
        if not sent:
            return (no_update,) * 6
        said, problems, done = saved_rows(book, sent)
        now = opened(book, told["place"])
        if done:
            rows = [grid_row(row) for row in now.rows]
            return said, [], {}, rows, {**told, "saved": sent["token"]}, status_line(now)
        shown = problems_shown(sent["rows"], problems, labels_of(now))
        return said, shown, wrong_cells(sent["rows"], problems), no_update, no_update, no_update
