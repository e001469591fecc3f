"""Placing: sets that were placed on another day than was entered; what it moves is said before it is recorded."""

from __future__ import annotations

from datetime import date
from typing import Any

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import days_said, short_day, typed_day
from dashboard.components.fields import ORDER, foot, name_field, row, text_field
from dashboard.components.messages import durations_awaited, durations_said, refused, saved, would_be_refused
from dashboard.register.lists import on_file
from study.commands.opening import open_study
from study.commands.register_placing import correct_placing, foresee_placing, placing_moves
from study.commands.shelf import Register, register_book
from study.errors import DwellbookError


def placing_form(book: Register) -> html.Details:
    """Which sets, the day they were really placed, and why."""
    return html.Details(
        [
            html.Summary("Correct a day of placing"),
            html.P(
                "Every dwell of the set becomes longer or shorter. The first day stays on file; decisions made before "
                "recompute by it.", className="quiet",
            ),
            row(
                html.Div(
                    dmc.MultiSelect(
                        id="placing-sets", label="Sets", description="all that were placed on that day",
                        data=choices(book),
                        searchable=True, clearable=True, inputWrapperOrder=ORDER,
                    ),
                    className="long",
                ),
                text_field("placing-on", "Really placed on", "year-month-day", debounce=300),
            ),
            html.Div(id="placing-effect", className="effect", role="status"),
            html.Div(id="placing-moves", className="effect", role="status"),
            dcc.Store(id="placing-asked"),
            dcc.Store(id="placing-seen"),
            row(
                name_field("placing-by", "Done by"),
                text_field("placing-why", "Reason", "one sentence", className="long"),
            ),
            foot("placing-save", "Correct the day", primary=False),
        ],
        className="card form act",
    )  # fmt: skip


def choices(book: Register) -> list[dict[str, str]]:
    """Every set with the day on record."""
    sets = [one.coupon_set for one in book.sets]
    return [{"value": one.key, "label": f"{one.key}, {one.placed_on}"} for one in sets]


def foreseen(book: Book, sets: list[str] | None, day: str | None) -> tuple[list[Any], bool, dict[str, str]]:
    """What another day would do, whether durations may move by it, and the days on record that were looked at."""
    if not sets or not (day or "").strip():
        return [], False, {}
    try:
        with open_study(book.study_file) as study:
            found = foresee_placing(study, sets, typed_day(day), signature=book.sign("nobody yet"))
    except DwellbookError as error:
        return would_be_refused(error), False, {}
    lines = [html.P(days_said(words)) for one in found for words in one.sentences()]
    shown = [html.P("What follows for the analysis", className="quiet head"), *lines]
    return shown, any(one.readings_seen for one in found), {one.set_key: one.before.isoformat() for one in found}


def moves_shown(book: Book, sets: list[str], day: str) -> list[Any]:
    """Which durations would move, and which would stay."""
    try:
        with book.estimating, open_study(book.study_file) as study:
            moved = placing_moves(study, sets, typed_day(day), signature=book.sign("nobody yet"))
    except DwellbookError as error:
        return would_be_refused(error)
    return durations_said(moved)


def done(
    book: Book, sets: list[str] | None, day: str | None, by: str | None, why: str | None,
    seen: dict[str, str] | None = None,
) -> tuple[Any, Register | None]:  # fmt: skip
    """What is shown after correcting, and the register as it stands then (nothing if refused)."""
    try:
        with open_study(book.study_file) as study:
            shown = {key: date.fromisoformat(on) for key, on in (seen or {}).items()}
            found = correct_placing(study, sets or [], typed_day(day), seen=shown, signature=book.sign(by, why))
            now = register_book(study)
    except DwellbookError as error:
        return refused(error), None
    keys = ", ".join(one.set_key for one in found)
    return saved(f"{keys}: placed on {short_day(found[0].after)}."), now


def register(app: Dash, book: Book) -> None:
    """A correction foreseen and recorded."""

    @app.callback(
        Output("placing-effect", "children"),
        Output("placing-moves", "children", allow_duplicate=True),
        Output("placing-asked", "data"),
        Output("placing-seen", "data"),
        Input("placing-sets", "value"),
        Input("placing-on", "value"),
        prevent_initial_call=True,
    )
    def foresee(sets: list[str] | None, day: str | None) -> Any:
        shown, moving, seen = foreseen(book, sets, day)
        return shown, durations_awaited(moving), moving, seen

    @app.callback(
        Output("placing-moves", "children"),
        Input("placing-asked", "data"),
        State("placing-sets", "value"),
        State("placing-on", "value"),
        prevent_initial_call=True,
    )
    def move(moving: bool | None, sets: list[str] | None, day: str | None) -> Any:
        return moves_shown(book, sets or [], day or "") if moving else None

    @app.callback(
        Output("act-said", "children", allow_duplicate=True),
        Output("on-file", "children", allow_duplicate=True),
        Output("placing-sets", "data"),
        Output("placing-sets", "value"),
        Input("placing-save", "n_clicks"),
        State("placing-sets", "value"),
        State("placing-on", "value"),
        State("placing-by", "value"),
        State("placing-why", "value"),
        State("placing-seen", "data"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, sets: list[str] | None, day: str | None, *signed: Any) -> Any:
        if not clicks:
            return (no_update,) * 4
        shown, now = done(book, sets, day, *signed)
        if now is None:
            return shown, no_update, no_update, no_update
        return shown, on_file("sets", now), choices(now), []
