"""Taking down: what was found when an object came off, sticking it again, and taking a wrong entry back."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.cautions import removal_cautions
from dashboard.components.days import typed_day
from dashboard.components.fields import (
    choice_field,
    foot,
    name_field,
    places,
    row,
    text_field,
    values_by_column,
)
from dashboard.components.messages import refused, saved
from dashboard.components.objects import objects_table
from dashboard.display.one_object import object_shown, status_line
from study.commands.display import Removed, record_removal, stick_again, take_display_back
from study.commands.opening import open_study
from study.commands.showing import ObjectBook, object_book
from study.errors import DwellbookError
from study.model.display import REPLACING_NOTE
from study.model.protocol import PATTERN_WORDS, RESIDUE_GRADES, SIDES

OTHERS_SHOWN = 200
HARM_UNSAID = DwellbookError("Harm is not answered.", "Say whether the object or its support came to harm: yes or no.")


def forms(found: ObjectBook, *, today: str) -> list[Any]:
    """The forms that the object's state allows."""
    if found.removal is not None:
        return [again_form(found, today=today)]
    return [removal_form(today=today), undo_form()]


def removal_form(*, today: str) -> html.Div:
    """What was found at removal; harm must be answered."""
    low, high = RESIDUE_GRADES
    grades = [(str(grade), str(grade)) for grade in range(low, high + 1)]
    patterns = [(letters, f"{letters}: {words}") for letters, words in PATTERN_WORDS.items()]
    return html.Div(
        [
            html.H2("Record its removal"),
            removal_cautions(),
            row(
                text_field(_removal("on"), "Removed on", "year-month-day", value=today),
                choice_field(_removal("harm"), "Harm to object or support", [("no", "no"), ("yes", "yes")],
                             "yes stops the pairing at once"),
                choice_field(_removal("residue"), "Residue left", grades, "0 none … 5 heavy, before any cleaning"),
            ),
            row(
                choice_field(_removal("pattern"), "Failure pattern", patterns, "ISO 10365 letters", className="long"),
                choice_field(_removal("side"), "Side", [(s, s) for s in SIDES], "mount is the support"),
            ),
            row(
                text_field(_removal("force"), "Force", "felt, or measured with its unit"),
                text_field(_removal("tool"), "Tool", "hand, thread, spatula, …"),
                text_field(_removal("note"), "Note", className="long"),
            ),
            row(name_field("removal-by", "Removed by")),
            foot("removal-save", "Record the removal"),
        ],
        className="card form",
    )  # fmt: skip


def again_form(found: ObjectBook, *, today: str) -> html.Div:
    """The same object put up anew: what may differ is asked, the rest stays as it was."""
    last = found.state.display
    return html.Div(
        [
            html.H2("Stick it again"),
            html.P(
                [
                    html.Strong(REPLACING_NOTE),
                    f" Lot {last.lot}, pairings {last.object_pairing} and {last.support_pairing}, environment and "
                    f"diameter stay as they were; where one of these differs, add it as a new display instead.",
                ]
            ),
            row(
                text_field(_again("location"), "Location", value=last.location),
                text_field(_again("dots"), "Dots", value=str(last.dots)),
                text_field(_again("load_n"), "Load", unit="N", value=f"{last.load_n:g}"),
            ),
            row(
                text_field(_again("placed_on"), "Placed on", "year-month-day", value=today),
                text_field(_again("placed_by"), "Placed by", "who stuck it"),
                name_field("again-by", "Entered by"),
            ),
            foot("again-save", "Stick it again"),
        ],
        className="card form",
    )


def undo_form() -> html.Details:
    """Taking an entry back that was a mistake; it stays in the trail."""
    return html.Details(
        [
            html.Summary("The entry was a mistake"),
            row(
                name_field("undo-by", "Taken back by"),
                text_field("undo-why", "Reason", "it stays in the trail with this reason", className="long"),
            ),
            foot("undo-save", "Take the entry back", primary=False),
        ],
        className="card form act",
    )


def removal_said(done: Removed, object_number: str) -> list[Any]:
    """That it is recorded; where it stopped a pairing, the others standing there."""
    shown: list[Any] = [saved(f"{object_number} is recorded as removed.")]
    if not done.stopped:
        return shown
    number = len(done.others)
    others = "No other object stands there." if not number else "1 other object is" if number == 1 else (
        f"{number} other objects are"
    )  # fmt: skip
    said = others if not number else f"{others} stopped now; look at each, and plan how it comes off."
    stop = html.P([html.Strong(f"Harm stops {' and '.join(done.stopped)}. "), said])
    shown.append(html.Div(stop, className="message harm", role="alert"))
    if number:
        shown.append(objects_table(done.others[:OTHERS_SHOWN], caption="Others standing on a pairing just stopped"))
    return shown


def _removal(column: str) -> dict[str, str]:
    return {"kind": "removal", "column": column}


def _again(column: str) -> dict[str, str]:
    return {"kind": "again", "column": column}


def removal_recorded(book: Book, number: str, cells: dict[str, str], *, by: str | None) -> Removed:
    """The removal as it was typed, recorded."""
    signature = book.sign(by)
    if cells["harm"] not in ("yes", "no"):
        raise HARM_UNSAID
    on = typed_day(cells["on"])
    rest = {name: value for name, value in cells.items() if name not in ("harm", "on")}
    with open_study(book.study_file) as study:
        return record_removal(study, number, on=on, harm=cells["harm"] == "yes", **rest, signature=signature)


def register(app: Dash, book: Book) -> None:
    """Recording a removal, sticking again, taking back; each shows the object as it stands then."""

    def now(number: str) -> tuple[list[Any], list[Any], str]:
        with open_study(book.study_file) as study:
            found = object_book(study, number, on=book.today())
        return object_shown(found), forms(found, today=book.today().isoformat()), status_line(found)

    def refusal(error: DwellbookError, states: list[Any]) -> Any:
        at = places(error, [entry["id"]["column"] for entry in states])
        marked = html.Div(html.P("Nothing was saved: see the marked fields."), className="message harm", role="alert")
        errors = [at.get(entry["id"]["column"], "") for entry in states]
        return marked if at else refused(error), no_update, no_update, no_update, errors

    @app.callback(
        Output("object-said", "children"),
        Output("object-now", "children"),
        Output("object-acts", "children"),
        Output("status", "children"),
        Output({"kind": "removal", "column": ALL}, "error"),
        Input("removal-save", "n_clicks"),
        State({"kind": "removal", "column": ALL}, "value"),
        State("removal-by", "value"),
        State("open-object", "data"),
        prevent_initial_call=True,
    )
    def remove(clicks: int | None, _: list[str | None], by: str | None, number: str) -> Any:
        states = ctx.states_list[0]
        if not clicks:
            return no_update, no_update, no_update, no_update, [no_update] * len(states)
        try:
            done = removal_recorded(book, number, values_by_column(states), by=by)
        except DwellbookError as error:
            return refusal(error, states)
        return removal_said(done, number), *now(number), [no_update] * len(states)

    @app.callback(
        Output("object-said", "children", allow_duplicate=True),
        Output("object-now", "children", allow_duplicate=True),
        Output("object-acts", "children", allow_duplicate=True),
        Output("status", "children", allow_duplicate=True),
        Output({"kind": "again", "column": ALL}, "error"),
        Input("again-save", "n_clicks"),
        State({"kind": "again", "column": ALL}, "value"),
        State("again-by", "value"),
        State("open-object", "data"),
        prevent_initial_call=True,
    )
    def again(clicks: int | None, _: list[str | None], by: str | None, number: str) -> Any:
        states = ctx.states_list[0]
        if not clicks:
            return no_update, no_update, no_update, no_update, [no_update] * len(states)
        try:
            signature = book.sign(by)
            with open_study(book.study_file) as study:
                state = stick_again(study, number, values_by_column(states), signature=signature)
        except DwellbookError as error:
            return refusal(error, states)
        said = saved(f"{number} is on show again: {state.state}. {REPLACING_NOTE}")
        return said, *now(number), [no_update] * len(states)

    @app.callback(
        Output("object-said", "children", allow_duplicate=True),
        Output("object-now", "children", allow_duplicate=True),
        Output("object-acts", "children", allow_duplicate=True),
        Output("status", "children", allow_duplicate=True),
        Input("undo-save", "n_clicks"),
        State("undo-by", "value"),
        State("undo-why", "value"),
        State("open-object", "data"),
        prevent_initial_call=True,
    )
    def undo(clicks: int | None, by: str | None, why: str | None, number: str) -> Any:
        if not clicks:
            return (no_update,) * 4
        try:
            signature = book.sign(by, why)
            with open_study(book.study_file) as study:
                take_display_back(study, number, signature=signature)
        except DwellbookError as error:
            return refused(error), no_update, no_update, no_update
        said = saved(f"The entry of {number} is taken back; it stays in the trail.")
        return said, html.P(dcc.Link("All objects", href="/display")), [], "The entry is taken back."
