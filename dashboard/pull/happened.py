"""Happened: a lamp or chamber out for some days, and racks that were moved."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import days_said, short_day, typed_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field, typed_by
from dashboard.components.messages import durations_awaited, durations_said, refused, saved, would_be_refused
from dashboard.components.tables import Column, table
from dashboard.pull.due import begin
from study.commands.opening import open_study
from study.commands.pull_interrupt import (
    Interrupted,
    end_interruption,
    end_moves,
    foresee_end,
    foresee_interruption,
    interrupt,
    interruption_moves,
    interruptions,
)
from study.commands.pull_move import move_shelf, shelves
from study.commands.shelf import register_book
from study.errors import DwellbookError
from study.model.interruption import INTERRUPTION_KINDS, Interruption
from study.model.pairing import Environment

ACTS = ("interrupt", "back", "move")


def happened(book: Book) -> list[Any]:
    """What interrupted environments, and the ways to record it."""
    with open_study(book.study_file) as study:
        found, rooms, racks = interruptions(study), register_book(study).environments, shelves(study)
    today = book.today().isoformat()
    if not rooms:
        start = dcc.Link("Register an environment first", href="/register?what=environments")
        return [begin("Lamps that failed and racks that were moved are recorded here.", start)]
    kinds = [(kind, kind) for kind in INTERRUPTION_KINDS]
    return [
        html.Div(id="happened-said", className="said"),
        html.Section([html.H2("On record"), html.Div(listed(found, rooms), id="happened-listed")]),
        html.Div(
            [
                html.H2("A lamp or chamber was out"),
                html.P(
                    "Each set’s protocol says whether the clock of dwell stops for it; else it stands as a remark "
                    "beside the evidence. Both days count; days that overlap count once.", className="quiet",
                ),
                row(
                    choice_field(_at("interrupt", "environment"), "Where", [(r.key, r.name) for r in rooms],
                                 value=rooms[0].key, clearable=False),
                    choice_field(_at("interrupt", "kind"), "What", kinds, value=kinds[0][0], clearable=False),
                ),
                row(
                    text_field(_at("interrupt", "from"), "First day", "year-month-day", value=today, debounce=300),
                    text_field(_at("interrupt", "to"), "Last day", "year-month-day", value=today, debounce=300),
                ),
                html.Div(id="interrupt-effect", className="effect", role="status"),
                html.Div(id="interrupt-moves", className="effect", role="status"),
                dcc.Store(id="interrupt-asked"),
                row(text_field(_at("interrupt", "note"), "Note (optional)", "what happened", className="long")),
                row(name_field(_at("interrupt", "by"), "Entered by")),
                foot({"happen": "interrupt"}, "Record the interruption"),
            ],
            className="card form",
        ),
        html.Div(
            [
                html.H2("A rack was moved"),
                html.P(_racks_said(racks), className="quiet"),
                row(
                    text_field(_at("move", "from"), "From shelf", "as it was named"),
                    text_field(_at("move", "to"), "To shelf", "all keep their numbers"),
                    text_field(_at("move", "on"), "Moved on", "year-month-day", value=today),
                ),
                row(text_field(_at("move", "note"), "Note (optional)", "what is worth knowing", className="long")),
                row(name_field(_at("move", "by"), "Entered by")),
                foot({"happen": "move"}, "Record the move", primary=False),
            ],
            className="card form",
        ),
    ]  # fmt: skip


def _racks_said(racks: list[str]) -> str:
    if not racks:
        return "No coupon has a place on a shelf yet; record places from a file: dwellbook pull move FILE."
    return (
        f"Shelves with coupons: {', '.join(racks)}. The list of pulls follows their order. A move is remarked beside "
        "the evidence and stops no clock: days in another climate are an interruption, above."
    )


def _at(act: str, name: str) -> dict[str, str]:
    return {"happened": act, "field": name}


def listed(found: list[Interruption], rooms: Sequence[Environment]) -> list[Any]:
    """Interruptions in order of days, and the way to take one back."""
    names = {room.key: room.name for room in rooms}
    if not found:
        return [html.P("No interruption is on record.")]
    columns = (
        Column("number", "No.", number=True, tight=True),
        Column("what", "What", tight=True),
        Column("where", "Where"),
        Column("days", "From and to"),
        Column("count", "Days", number=True),
        Column("note", "Note", quiet=True),
    )
    rows = [
        {
            "number": str(one.number), "what": one.kind, "where": names[one.environment],
            "days": f"{short_day(one.from_on)} – {short_day(one.to_on)}", "count": str(one.days),
            "note": one.note or "–",
        }
        for one in found
    ]  # fmt: skip
    numbers = [(str(one.number), f"{one.number}: {one.kind}, {one.from_on}") for one in found]
    back = html.Details(
        [
            html.Summary("Take one back that was entered by mistake"),
            row(
                choice_field(_at("back", "number"), "Which", numbers, value=numbers[-1][0], clearable=False),
                text_field(_at("back", "why"), "Reason", "it stays in the trail"),
                name_field(_at("back", "by"), "Entered by"),
            ),
            html.Div(id="back-effect", className="effect", role="status"),
            html.Div(id="back-moves", className="effect", role="status"),
            dcc.Store(id="back-asked"),
            foot({"happen": "back"}, "Take it back", primary=False),
        ],
        className="steps",
    )
    return [table(columns, rows, caption="Interruptions, the earliest first"), back]


def _asked(typed: dict[str, str]) -> dict[str, Any]:
    return {
        "environment": typed.get("environment", ""), "kind": typed.get("kind", ""),
        "from_on": typed_day(typed.get("from")), "to_on": typed_day(typed.get("to")),
    }  # fmt: skip


def foreseen(book: Book, act: str, typed: dict[str, str]) -> tuple[list[Any], bool]:
    """What an interruption, or taking one back, would do to the clock and to the pulls, before it is recorded.

    Returns
    -------
    tuple of list and bool
        What is shown, and whether durations may move: the clock of a set stops for it.
    """
    nobody = book.sign("nobody yet")
    try:
        with open_study(book.study_file) as study:
            if act == "back":
                found = foresee_end(study, int(typed.get("number") or 0), signature=nobody)
            else:
                found = foresee_interruption(study, **_asked(typed), signature=nobody)
    except DwellbookError as error:
        return would_be_refused(error), False
    lines = [html.P(days_said(line)) for line in found.sentences(back=act == "back")]
    shown = [html.P("What follows, by each set’s protocol", className="quiet head"), *lines]
    return shown, bool(found.stopped)


def moves_shown(book: Book, act: str, typed: dict[str, str]) -> list[Any]:
    """Which durations an interruption, or taking one back, would move, and which would stay."""
    nobody = book.sign("nobody yet")
    try:
        with book.estimating, open_study(book.study_file) as study:
            if act == "back":
                moved = end_moves(study, int(typed.get("number") or 0), signature=nobody)
            else:
                moved = interruption_moves(study, **_asked(typed), signature=nobody)
    except DwellbookError as error:
        return would_be_refused(error)
    return durations_said(moved)


def outcome_said(done: Interrupted, *, back: bool = False) -> list[Any]:
    """What was recorded or taken back, and what follows."""
    words = done.interruption.words()
    told = f"{words[0].upper()}{words[1:]} {'is taken back' if back else 'is recorded'}."
    return [saved(days_said(told)), html.Ul([html.Li(days_said(line)) for line in done.sentences(back=back)])]


def done(book: Book, act: str, typed: dict[str, str]) -> tuple[Any, bool]:
    """What is shown after an act, and whether it was done."""
    try:
        signature = book.sign(typed.get("by"), typed.get("why"))
        with open_study(book.study_file) as study:
            if act == "interrupt":
                found = interrupt(study, **_asked(typed), note=typed.get("note", ""), signature=signature)
                return outcome_said(found), True
            if act == "back":
                found = end_interruption(study, int(typed.get("number") or 0), signature=signature)
                return outcome_said(found, back=True), True
            moved = move_shelf(
                study, typed.get("from", ""), typed.get("to", ""), on=typed_day(typed.get("on")),
                note=typed.get("note", ""), signature=signature,
            )  # fmt: skip
    except DwellbookError as error:
        return refused(error), False
    coupons = "1 coupon stands" if len(moved) == 1 else f"{len(moved)} coupons stand"
    return saved(f"{coupons} on shelf {typed['to']} now."), True


def _beside() -> bool:
    """Whether the field that was changed stands beside the effect and cannot alter it."""
    return isinstance(ctx.triggered_id, dict) and ctx.triggered_id["field"] in ("note", "why", "by")


def register(app: Dash, book: Book) -> None:
    """What an interruption would do, recording it or a move, and taking an interruption back."""
    for foreseeable in ("interrupt", "back"):
        _listen(app, book, foreseeable)

    @app.callback(
        Output("happened-said", "children"),
        Output("happened-listed", "children"),
        Input({"happen": ALL}, "n_clicks"),
        State({"happened": ALL, "field": ALL}, "value"),
        prevent_initial_call=True,
    )
    def save(clicks: list[int | None], _: list[Any]) -> Any:
        if not any(clicks) or not ctx.triggered_id:
            return no_update, no_update
        act = ctx.triggered_id["happen"]
        shown, kept = done(book, act, typed_by(ctx.states_list[0], "field", happened=act))
        if not kept:
            return shown, no_update
        with open_study(book.study_file) as study:
            return shown, listed(interruptions(study), register_book(study).environments)


def _listen(app: Dash, book: Book, act: str) -> None:
    @app.callback(
        Output(f"{act}-effect", "children"),
        Output(f"{act}-moves", "children", allow_duplicate=True),
        Output(f"{act}-asked", "data"),
        Input({"happened": act, "field": ALL}, "value"),
        prevent_initial_call="initial_duplicate",
    )
    def foresee(_: list[Any]) -> Any:
        if _beside():
            return (no_update,) * 3
        typed = typed_by(ctx.inputs_list[0], "field")
        shown, moving = foreseen(book, act, typed)
        return shown, durations_awaited(moving), typed if moving else None

    @app.callback(Output(f"{act}-moves", "children"), Input(f"{act}-asked", "data"), prevent_initial_call=True)
    def move(typed: dict[str, str] | None) -> Any:
        return moves_shown(book, act, typed) if typed else None
