"""In charge: who pulls, reads and decides, and a hand-over when a colleague leaves, with everything that is open."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard.book import Book
from dashboard.components.days import days_said, short_day, typed_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field, typed_by
from dashboard.components.messages import refused, saved
from dashboard.components.tables import Column, table
from study.commands.keep_duties import OpenMatters, duties, hand_over, put_in_charge
from study.commands.opening import open_study
from study.commands.shelf import register_book
from study.errors import DwellbookError
from study.model.duty import DUTIES, PULLS_OF, Duty


def in_charge(book: Book) -> list[Any]:
    """Who is in charge of what, naming somebody, and handing over."""
    with open_study(book.study_file) as study:
        held, sets = duties(study), register_book(study).sets
    today = book.today().isoformat()
    choices = [(name, name) for name in DUTIES]
    choices += [(name, name) for name in (f"{PULLS_OF}{one.coupon_set.key}" for one in sets)]
    people = sorted({one.person for one in held})
    parts: list[Any] = [
        html.Div(id="charge-said", className="said"),
        html.Section([html.H2("Who is in charge"), html.Div(listed(held), id="charge-listed")]),
        html.Div(
            [
                html.H2("Name somebody"),
                row(
                    choice_field(_at("name", "duty"), "For", choices, value="pulls", clearable=False),
                    text_field(_at("name", "person"), "Person", "pulls of one set go before all pulls"),
                    text_field(_at("name", "on"), "From", "year-month-day", value=today),
                ),
                row(name_field(_at("name", "by"), "Entered by")),
                foot({"charge": "name"}, "Put in charge"),
            ],
            className="card form",
        ),
    ]  # fmt: skip
    if people:
        parts.append(
            html.Div(
                [
                    html.H2("Hand over"),
                    html.P("Every duty of one person goes to another; what is open is listed.", className="quiet"),
                    row(
                        choice_field(_at("over", "from"), "Who leaves", [(p, p) for p in people], value=people[0],
                                     clearable=False),
                        text_field(_at("over", "to"), "Who takes over"),
                        text_field(_at("over", "on"), "On", "year-month-day", value=today),
                    ),
                    row(text_field(_at("over", "why"), "Reason", "it stays in the trail", className="long")),
                    row(name_field(_at("over", "by"), "Entered by")),
                    foot({"charge": "over"}, "Hand over", primary=False),
                ],
                className="card form",
            )
        )  # fmt: skip
    return parts


def _at(act: str, name: str) -> dict[str, str]:
    return {"charging": act, "field": name}


def listed(held: Sequence[Duty]) -> list[Any]:
    """Duties with their people."""
    if not held:
        return [html.P("Nobody is named yet. The list of pulls shows who is in charge of each.")]
    columns = (
        Column("duty", "Duty", tight=True),
        Column("person", "Person"),
        Column("since", "Since", tight=True),
        Column("note", "Note", quiet=True),
    )
    rows = [
        {"duty": one.duty, "person": one.person, "since": short_day(one.from_on), "note": one.note or "–"}
        for one in held
    ]  # fmt: skip
    return [table(columns, rows, caption="Duties and who is in charge of them")]


def matters_said(matters: OpenMatters, person: str) -> html.Section:
    """What is open, to be read by whoever takes over: what is theirs first, then what is whose."""
    shown: list[Any] = [html.H2("Open, to be read by whoever takes over")]
    for head, sentences in matters.parts(person):
        shown += [html.H3(head), html.Ul([html.Li(days_said(sentence)) for sentence in sentences])]
    return html.Section(shown if len(shown) > 1 else [*shown, html.P("Nothing is open.")])


def done(book: Book, act: str, typed: dict[str, str]) -> tuple[list[Any], bool]:
    """What is shown after naming somebody or handing over, and whether it was done."""
    try:
        signature, day = book.sign(typed.get("by"), typed.get("why")), typed_day(typed.get("on"))
        with open_study(book.study_file) as study:
            if act == "name":
                one = put_in_charge(
                    study, typed.get("duty", ""), typed.get("person", ""), from_on=day, signature=signature
                )  # fmt: skip
                return [saved(f"{one.person} is in charge of {one.duty} from {short_day(one.from_on)}.")], True
            with book.estimating:
                over = hand_over(study, typed.get("from", ""), typed.get("to", ""), on=day, signature=signature)
    except DwellbookError as error:
        return [refused(error)], False
    names = ", ".join(one.duty for one in over.duties)
    return [
        saved(f"{over.duties[0].person} is in charge of {names}."),
        matters_said(over.matters, over.duties[0].person),
    ], True


def register(app: Dash, book: Book) -> None:
    """Naming somebody, and handing over."""

    @app.callback(
        Output("charge-said", "children"),
        Output("charge-listed", "children"),
        Input({"charge": ALL}, "n_clicks"),
        State({"charging": ALL, "field": ALL}, "value"),
        prevent_initial_call=True,
    )
    def save(clicks: list[int | None], _: list[Any]) -> Any:
        if not any(clicks) or not ctx.triggered_id:
            return no_update, no_update
        act = ctx.triggered_id["charge"]
        shown, kept = done(book, act, typed_by(ctx.states_list[0], "field", charging=act))
        if not kept:
            return shown, no_update
        with open_study(book.study_file) as study:
            return shown, listed(duties(study))
