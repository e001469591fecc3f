"""Due: what waits at the shelf, in the order of the shelf, and how far ahead to look."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote, urlencode

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.days import window_words
from dashboard.components.fields import text_field
from dashboard.components.messages import empty
from dashboard.components.paper import calendar_address, paper_link
from dashboard.components.tables import Column, table
from dashboard.printing import LIST, MAP, SHEET
from study.model.pull import LOOK_AHEAD_DAYS, DuePull

AHEAD = ((LOOK_AHEAD_DAYS, "a month"), (92, "3 months"), (183, "6 months"), (366, "a year"))
WAITING = ("overdue", "due")


def counted(pulls: Sequence[DuePull]) -> str:
    """How many coupons of how many pulls wait, in one sentence."""
    waiting = [pull for pull in pulls if pull.state in WAITING]
    overdue = sum(pull.state == "overdue" for pull in pulls)
    if not waiting:
        return "No coupon has to come off today."
    coupons = sum(len(pull.codes) for pull in waiting)
    late = "" if not overdue else ", overdue" if len(waiting) == 1 else f", {overdue} of them overdue"
    pulls_said = "1 pull waits" if len(waiting) == 1 else f"{len(waiting)} pulls wait"
    return f"{pulls_said}{late}: {'1 coupon' if coupons == 1 else f'{coupons} coupons'}."


def due(pulls: Sequence[DuePull], *, ahead: int, coupons: int, left: int) -> list[Any]:
    """The list, the way to scan it, and the way to one coupon.

    Parameters
    ----------
    pulls : sequence of DuePull
        In the order of the shelf.
    ahead : int
        How many days were looked ahead.
    coupons, left : int
        Coupons of the study, and those still in their placement.
    """
    if not coupons:
        return [
            begin(
                "Coupons whose window has opened stand here in the order of the shelf, each with its code.",
                dcc.Link("Register a coupon set with its coupons first", href="/register?what=sets"),
            )
        ]
    listed = _list(pulls) if pulls else [_none(ahead, left)]
    return [
        html.Section([html.H2("At the shelf"), _ahead(ahead), *listed]),
        on_paper(),
        html.Section([html.H2("Something happened to a coupon"), find_form()]),
    ]


def on_paper() -> html.Section:
    """What can be taken to the shelf, and the calendar that follows the pulls."""
    papers = [paper_link("Print the list", LIST), paper_link("Shelf map", MAP), calendar_address()]
    return html.Section([html.H2("On paper"), html.Ul([html.Li(paper) for paper in papers], className="papers")])


def begin(shows: str, link: dcc.Link) -> html.Div:
    """An empty place: what it will show, and the one click that begins it."""
    return html.Div([html.P(shows), html.P([link, "."])], className="empty")


def _none(ahead: int, left: int) -> html.Div:
    if not left:
        return empty("Every coupon has left its placement.", "Register another set to go on.")
    return empty(f"No pull begins within {ahead} days.", "Look further ahead above; spares have no day.")


def _list(pulls: Sequence[DuePull]) -> list[Any]:
    waiting = sum(len(pull.codes) for pull in pulls if pull.state in WAITING)
    shown: list[Any] = []
    if waiting:
        words = "Scan the coupon that waits" if waiting == 1 else f"Scan the {waiting} coupons that wait"
        shown.append(html.P(dcc.Link(words, href="/pull?view=scan", className="primary"), className="start"))
    columns = (
        Column("state", "State", tight=True),
        Column("set", "Set", tight=True),
        Column("pull", "Pull", tight=True),
        Column("window", "Window", tight=True),
        Column("title", "Pairing", spare=True),
        Column("codes", "Coupons"),
        Column("scan", "Take off", tight=True),
    )
    return [*shown, table(columns, [_row(pull) for pull in pulls], caption="Pulls in the order of the shelf")]


def _row(pull: DuePull) -> dict[str, Any]:
    title: Any = pull.title
    if pull.pairing:
        title = dcc.Link(pull.title, href=f"/analyse?pairing={quote(pull.pairing, safe='')}")
    scan = urlencode({"view": "scan", "set": pull.set_key, "pull": pull.pull_label})
    unseen = html.Span(f" {pull.set_key}, {pull.pull_label}", className="unseen")
    return {
        "state": html.Span(pull.state, className="harm" if pull.state == "overdue" else ""),
        "set": pull.set_key,
        "pull": pull.pull_label,
        "window": window_words(pull),
        "title": html.Div([title, html.Div(pull.in_charge, className="quiet")]) if pull.in_charge else title,
        "codes": html.Div([read_link(code) for code in pull.codes], className="codes"),
        "scan": html.Div(
            [
                html.Div(dcc.Link(["Scan", unseen], href=f"/pull?{scan}")),
                paper_link(
                    "Bench sheet",
                    SHEET,
                    unseen=f"of {pull.set_key}, {pull.pull_label}",
                    set=pull.set_key,
                    pull=pull.pull_label,
                ),
            ]
        ),
    }


def read_link(code: str) -> dcc.Link:
    """A coupon, one click from its readings."""
    return dcc.Link(code, href=f"/read?code={quote(code)}", className="code")


def _ahead(here: int) -> html.Nav:
    links: list[Any] = [html.Span("Look ahead", className="quiet")]
    for days, words in AHEAD:
        inside: Any = [words, html.Span(" (now)", className="unseen")] if days == here else words
        href = "/pull" if days == LOOK_AHEAD_DAYS else f"/pull?ahead={days}"
        links.append(dcc.Link(inside, href=href, className="way here" if days == here else "way"))
    return html.Nav(links, className="ways", **heard_as("How far to look ahead"))


def find_form(code: str = "") -> html.Div:
    """One coupon by its code: lost, damaged, released by itself, pulled in error, or recorded wrongly."""
    field = text_field(
        "one-code", "Coupon code", "lost, damaged, released, pulled in error, found again, or recorded wrongly",
        value=code, className="code-field", spellCheck=False,
    )  # fmt: skip
    return html.Div([field, html.Button("Open coupon", id="one-open", className="second")], className="find")


def opened(clicks: int | None, submits: int | None, code: str | None) -> Any:
    """The address of a typed code's acts."""
    if not (clicks or submits) or not (code or "").strip():
        return no_update
    return f"/pull?code={quote((code or '').strip(), safe='')}"


def register(app: Dash, book: Book) -> None:
    """Opening one coupon."""
    del book
    app.callback(
        Output("go", "href", allow_duplicate=True),
        Input("one-open", "n_clicks"),
        Input("one-code", "n_submit"),
        State("one-code", "value"),
        prevent_initial_call=True,
    )(opened)
