"""Entry: one object put on show by a form, or many pasted from a spreadsheet; all or nothing."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.fields import (
    ORDER,
    choice_field,
    foot,
    name_field,
    places,
    row,
    text_field,
    values_by_column,
)
from dashboard.components.messages import empty, refused, saved
from dashboard.components.objects import objects_table
from study.commands.display import add_display, paste_displays
from study.commands.opening import open_study
from study.commands.showing import Choices
from study.errors import DwellbookError, FileRefused, Problem

COLUMNS = (
    "object", "location", "lot", "object_pairing", "support_pairing", "environment", "dots", "dot_diameter_mm",
    "load_n", "placed_on", "placed_by",
)  # fmt: skip
UNCONFIRMED = DwellbookError(
    "Dots, diameter and load are not confirmed.",
    "They were filled in from the tested pairing: count, measure and weigh this object, then tick the box.",
)


def entry_form(found: Choices, *, today: str) -> list[Any]:
    """The form for one object; what was tested is filled in, seen and confirmed, never assumed."""
    if not found.pairings:
        return [
            empty(
                "An object is put on show on a pairing and a lot of the register.",
                "Register adhesives, lots and coupon sets first.",
                "dwellbook register --help",
            )
        ]
    pairings = [(p.key, f"{p.key} {p.title}, {p.environment.name}") for p in found.pairings]
    adhesives = {adhesive.key: adhesive.name for adhesive in found.adhesives}
    lots = [(lot.key, f"{lot.key}, {adhesives[lot.adhesive]}") for lot in found.lots]
    rooms = [(room.key, room.name) for room in found.environments]
    tested = {
        p.key: {"dots": str(p.dots), "dot_diameter_mm": f"{p.dot_diameter_mm:g}", "load_n": f"{p.dwell_load_n:g}",
                "environment": p.environment.key}
        for p in found.pairings
    }  # fmt: skip
    confirm = dmc.Checkbox(
        id="entry-confirmed",
        label="Dots, diameter and load are those of this object: counted, measured and weighed.",
        className="confirm",
    )
    return [
        html.Div(
            [
                row(
                    text_field(_at("object"), "Object number", "a reference only; nothing about value or loans"),
                    text_field(_at("location"), "Location", "case, shelf or plinth"),
                    choice_field(_at("lot"), "Adhesive lot", lots, "withdrawn lots are left out"),
                ),
                row(
                    choice_field(
                        _at("object_pairing"), "Pairing at the object", pairings, "its own face", className="long"
                    ),
                    choice_field(
                        _at("support_pairing"), "Pairing at the support", pairings, "shelf or plinth", className="long"
                    ),
                ),
                row(
                    text_field(_at("dots"), "Dots", "how many"),
                    text_field(_at("dot_diameter_mm"), "Diameter of a dot", unit="mm"),
                    text_field(_at("load_n"), "Load", "1 kg weighs 9.81 N", unit="N"),
                ),
                confirm,
                row(
                    choice_field(_at("environment"), "Environment", rooms, "where it stands"),
                    text_field(_at("placed_on"), "Placed on", "year-month-day", value=today),
                    text_field(_at("placed_by"), "Placed by", "who stuck it"),
                ),
                row(name_field("entry-by", "Entered by")),
                foot("entry-save", "Put on show"),
                dcc.Store(id="entry-tested", data=tested),
            ],
            className="card form",
        ),
        html.Div(id="entry-said", className="said"),
    ]


def _at(column: str) -> dict[str, str]:
    return {"kind": "entry", "column": column}


def tested_as(tested: dict[str, dict[str, str]], pairing: str | None) -> dict[str, str]:
    """What the chosen pairing was tested with; empty where none is chosen."""
    return tested.get(pairing or "", {})


def entered(book: Book, cells: dict[str, str], *, confirmed: bool, by: str | None) -> tuple[Any, dict[str, str], bool]:
    """What is shown after an object was entered, the refusals by field, and whether it was saved."""
    try:
        signature = book.sign(by)
        if not confirmed:
            raise UNCONFIRMED
        with open_study(book.study_file) as study:
            state = add_display(study, cells, signature=signature)
    except DwellbookError as error:
        at = places(error, COLUMNS)
        if at:
            words = "Nothing was saved: see the marked fields."
            return html.Div(html.P(words), className="message harm", role="alert"), at, False
        return refused(error), {}, False
    said = saved(f"{state.display.object_number} is on show: {state.state}.")
    return [said, objects_table([state], caption="The object entered")], {}, True


def paste_form() -> list[Any]:
    """A place for rows from a spreadsheet."""
    return [
        html.Div(
            [
                html.P(
                    [
                        "Copy the rows with their header line from the spreadsheet. The columns, in any order: ",
                        html.Code(", ".join(COLUMNS), className="wraps"),
                        ".",
                    ]
                ),
                dmc.Textarea(
                    id="paste-text",
                    label="Rows",
                    description="Nothing is written until every row is right.",
                    minRows=8,
                    maxRows=20,
                    autosize=True,
                    inputWrapperOrder=ORDER,
                    className="rows",
                ),
                row(name_field("paste-by", "Entered by")),
                foot("paste-save", "Put all on show"),
            ],
            className="card form wide-form",
        ),
        html.Div(id="paste-said", className="said"),
    ]


def pasted_rows(text: str | None) -> list[dict[str, str]]:
    """Rows of a pasted block, by column.

    Raises
    ------
    FileRefused
        Where the header line is not the expected one, with every column that is missing or not known.
    """
    lines = [line for line in (text or "").replace("\r", "").split("\n") if line.strip()]
    if not lines:
        raise DwellbookError("Nothing is pasted.", "Copy rows with their header line from the spreadsheet.")
    heads = [head.strip().lower().replace(" ", "_") for head in lines[0].split("\t")]
    offered = f"Use these: {', '.join(COLUMNS)}."
    problems = [Problem(0, "", head, "is not a column of a display.", offered) for head in heads if head not in COLUMNS]
    missing = [column for column in COLUMNS if column not in heads]
    problems += [Problem(0, "", column, "has no column.", "Add it to the header line.") for column in missing]
    problems += [
        Problem(0, "", head, "heads two columns.", "Keep one.") for head in sorted(set(heads)) if heads.count(head) > 1
    ]
    if not problems and len(lines) == 1:
        raise DwellbookError("Only the header line is pasted.", "Copy the rows below it too.")
    if problems:
        raise FileRefused("pasted rows", problems)
    rows = []
    for place, line in enumerate(lines[1:], start=1):
        cells = [cell.strip() for cell in line.split("\t")]
        if len(cells) > len(heads):
            problems.append(Problem(place, "", "", "has more cells than the header line.", "Look for a stray tab."))
        rows.append(dict(zip(heads, [*cells, *[""] * len(heads)], strict=False)))
    if problems:
        raise FileRefused("pasted rows", problems)
    return rows


def pasted(book: Book, text: str | None, *, by: str | None) -> tuple[Any, bool]:
    """What is shown after rows were pasted, and whether they were saved."""
    try:
        signature = book.sign(by)
        rows = pasted_rows(text)
        with open_study(book.study_file) as study:
            states = paste_displays(study, rows, signature=signature)
    except DwellbookError as error:
        return refused(error), False
    objects = "1 object is" if len(states) == 1 else f"{len(states)} objects are"
    return [saved(f"{objects} on show."), objects_table(states[:200], caption="The objects entered")], True


def register(app: Dash, book: Book) -> None:
    """Filling in what was tested, saving one, saving many."""

    @app.callback(
        Output({"kind": "entry", "column": "dots"}, "value"),
        Output({"kind": "entry", "column": "dot_diameter_mm"}, "value"),
        Output({"kind": "entry", "column": "load_n"}, "value"),
        Output({"kind": "entry", "column": "environment"}, "value"),
        Output("entry-confirmed", "checked"),
        Input({"kind": "entry", "column": "support_pairing"}, "value"),
        State("entry-tested", "data"),
        prevent_initial_call=True,
    )
    def fill(pairing: str | None, tested: dict[str, dict[str, str]]) -> Any:
        values = tested_as(tested, pairing)
        if not values:
            return [no_update] * 5
        return [*(values[name] for name in ("dots", "dot_diameter_mm", "load_n", "environment")), False]

    @app.callback(
        Output("entry-said", "children"),
        Output({"kind": "entry", "column": ALL}, "error"),
        Output({"kind": "entry", "column": "object"}, "value"),
        Input("entry-save", "n_clicks"),
        State({"kind": "entry", "column": ALL}, "value"),
        State("entry-confirmed", "checked"),
        State("entry-by", "value"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, _: list[str | None], confirmed: bool | None, by: str | None) -> Any:
        states = ctx.states_list[0]
        if not clicks:
            return no_update, [no_update] * len(states), no_update
        cells = values_by_column(states)
        shown, errors, done = entered(book, cells, confirmed=bool(confirmed), by=by)
        # After saving, the rest of the form stays for the next object of the same case; its number does not.
        return shown, [errors.get(entry["id"]["column"], "") for entry in states], "" if done else no_update

    @app.callback(
        Output("paste-said", "children"),
        Output("paste-text", "value"),
        Input("paste-save", "n_clicks"),
        State("paste-text", "value"),
        State("paste-by", "value"),
        prevent_initial_call=True,
    )
    def save_all(clicks: int | None, text: str | None, by: str | None) -> Any:
        if not clicks:
            return no_update, no_update
        shown, done = pasted(book, text, by=by)
        return shown, "" if done else no_update
