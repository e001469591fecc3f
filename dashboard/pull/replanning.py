"""Replanning: which coupon may take a missing one's place, each with its effect in numbers, and doing it."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import days_said, short_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field
from dashboard.components.messages import refused, saved
from dashboard.components.tables import Column, table
from study.commands.opening import open_study
from study.commands.pull_accidents import ReplanOption, ReplanOptions, replan, replan_options, undo_replan
from study.errors import DwellbookError, NotPossible

SHOWN = 8
"""Options shown at once; the best stand first."""
COLUMNS = (
    Column("code", "Coupon", tight=True),
    Column("what", "What it is now"),
    Column("due", "Would be due", tight=True),
    Column("gains", "That pull then has", number=True),
    Column("loses", "Its own then has", number=True),
)


def place_shown(book: Book, code: str) -> list[Any]:
    """Who can take a missing coupon's place; nothing where no place is free."""
    try:
        with open_study(book.study_file) as study:
            found = replan_options(study, code, on=book.today())
    except NotPossible:
        return []  # nothing is missing
    except DwellbookError as error:
        return [refused(error)]
    head = html.H2(f"Its place at {found.pull}")
    if found.already:
        return [html.Section([head, *_taken(found)])]
    if not found.options:
        return [html.Section([head, html.P(days_said(found.none))])]
    return [html.Section([head, *_offered(found)])]


def _taken(found: ReplanOptions) -> list[Any]:
    other = dcc.Link(found.already, href=f"/pull?code={quote(found.already)}", className="code")
    return [
        html.P([other, f" has taken it: {found.test}, {found.pull}."]),
        html.Div(
            [
                row(text_field(_at("why"), "Reason", "one sentence; it stays in the trail", className="long")),
                row(name_field(_at("by"), "Entered by")),
                dcc.Store(id="replan-now", data=[found.missing, found.already]),
                foot("replan-save", "Take that back", primary=False),
            ],
            className="card form",
        ),
    ]


def _offered(found: ReplanOptions) -> list[Any]:
    some = found.options[:SHOWN]
    more = f" The best {SHOWN} of {len(found.options)} are shown." if len(found.options) > SHOWN else ""
    least = some[0].minimum
    return [
        html.P(f"{found.missing} is missing there. Another coupon may take its test and pull.{more}"),
        table(COLUMNS, [_row(option) for option in some], caption=f"Who may take the place of {found.missing}"),
        html.P(
            f"{least} coupons are needed at a pull; a pull at which a decision is planned is never taken below that. "
            "Readings count at their real ages, whatever a coupon was destined to.",
            className="quiet",
        ),
        html.Div(
            [
                row(
                    choice_field(
                        _at("with"), "Takes its place", [(o.code, f"{o.code}: {o.kind}") for o in some],
                        value=some[0].code, clearable=False,
                    ),
                ),
                row(text_field(_at("why"), "Reason", "one sentence; it stays in the trail", className="long")),
                row(name_field(_at("by"), "Entered by")),
                dcc.Store(id="replan-now", data=[found.missing, ""]),
                foot("replan-save", "Give it the place"),
            ],
            className="card form",
        ),
    ]  # fmt: skip


def _at(name: str) -> dict[str, str]:
    return {"replan": name}


def _row(option: ReplanOption) -> dict[str, Any]:
    now = f"{option.test}, {option.pull}" if option.pull else f"made for {option.test}"
    loses = f"{option.loses[1]} instead of {option.loses[0]}" if option.pull else "–"
    short = option.pull and option.loses[1] < option.minimum
    return {
        "code": dcc.Link(option.code, href=f"/pull?code={quote(option.code)}", className="code"),
        "what": f"{option.kind} ({now}; set {option.set_key})",
        "due": short_day(option.due_on),
        "gains": f"{option.gains[1]} instead of {option.gains[0]}",
        "loses": html.Span(loses, className="harm" if short else ""),
    }


def done(book: Book, code: str, other: str, *, by: str | None, why: str | None, taken: bool) -> tuple[Any, bool]:
    """The message after the place was given, or taken back, and whether it was done."""
    try:
        with open_study(book.study_file) as study:
            if taken:
                back = undo_replan(study, other, signature=book.sign(by, why))
                return saved(f"{back.code} is destined again to what it was made for; the place is free."), True
            coupon, option = replan(study, code, other, signature=book.sign(by, why))
    except DwellbookError as error:
        return refused(error), False
    return saved(f"{coupon.code} takes the place: {coupon.test}, {coupon.pull_label}, "
                 f"due {short_day(option.due_on)}."), True  # fmt: skip


def register(app: Dash, book: Book) -> None:
    """The section follows whatever is recorded of the coupon; giving the place and taking it back."""

    @app.callback(Output("place-now", "children"), Input("coupon-now", "children"), State("place-code", "data"))
    def follow(_: Any, code: str) -> Any:
        return place_shown(book, code)

    @app.callback(
        Output("act-said", "children", allow_duplicate=True),
        Output("place-now", "children", allow_duplicate=True),
        Input("replan-save", "n_clicks"),
        State({"replan": ALL}, "value"),
        State("replan-now", "data"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, _: list[Any], now: list[str]) -> Any:
        if not clicks:
            return no_update, no_update
        typed = {state["id"]["replan"]: str(state.get("value") or "") for state in ctx.states_list[0]}
        code, taken = now
        other = taken or typed.get("with", "")
        shown, kept = done(book, code, other, by=typed.get("by"), why=typed.get("why"), taken=bool(taken))
        return shown, (place_shown(book, code) if kept else no_update)
