"""Register: adhesives, lots, substrates, environments, coupon sets and coupons, by form, in a grid or by paste."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from dash import ALL, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.frame import frame
from dashboard.components.messages import with_refusals
from dashboard.register import acts, form, grid, instruments, paste, placing, printing
from dashboard.register.fields import KINDS, NEEDS, ONE, TITLES
from dashboard.register.lists import on_file
from study.commands.opening import open_study
from study.commands.plan_dealt import printable_plans
from study.commands.shelf import Register, register_book

PATH, NAME = "/register", "Register"
ARTICLES = {"adhesives": "an", "environments": "an", "coupons": "more"}
WAYS = (("", "One by form"), ("grid", "Several in a grid"), ("paste", "Paste from a spreadsheet"))


@with_refusals(NAME)
def layout(book: Book, what: str = "", by: str = "", labels: str = "", **_: str) -> html.Div:
    """One kind: entering it, what is on file, and the acts on it."""
    if what == instruments.KEY:
        return _instruments(book)
    with open_study(book.study_file) as study:
        found, plans = register_book(study), printable_plans(study)
    kind = what if what in KINDS else next_kind(found)
    way = by if by in dict(WAYS) else ""
    printed = _printing(kind, found, plans, labels)
    work = [
        html.Div(kinds(kind, found, tools=len(instruments.stands_of(book))), id="register-kinds"),
        *(printed if labels else ()),
        *entering(kind, way, found),
        html.Section(on_file(kind, found), id="on-file"),
        *(() if labels else printed),
        html.Section(acts.acts(kind, found, today=book.today().isoformat()), id="register-acts"),
        html.Div(id="act-said", className="said"),
        dcc.Store(id="register-kind", data=kind),
    ]
    return frame(book, active=NAME, title=TITLES[kind], status=status_line(found), work=work)


def _printing(kind: str, found: Register, plans: list[str], labels: str) -> list[Any]:
    if kind != "sets" or not (found.coupons or plans):
        return []
    return [html.Section([html.H2("On paper"), printing.print_form(found, plans, labels)])]


def next_kind(found: Register) -> str:
    """What a new study registers next; the first kind where all are begun."""
    return next((kind for kind in KINDS[:5] if not found.count(kind)), "adhesives" if found.sets else "sets")


def status_line(found: Register) -> str:
    """How much is on file, or where to begin, in one sentence."""
    if not found.adhesives:
        return "Nothing is registered yet: begin with an adhesive, then its lot, substrates, environments and sets."
    one = {"adhesives": "adhesive", "lots": "lot", "substrates": "substrate", "environments": "environment",
           "sets": "coupon set", "coupons": "coupon"}  # fmt: skip
    parts = [f"{n} {one[kind] if n == 1 else TITLES[kind].lower()}" for kind in KINDS if (n := found.count(kind))]
    return f"{', '.join(parts)} on file."


def _instruments(book: Book) -> html.Div:
    stands = instruments.stands_of(book)
    with open_study(book.study_file) as study:
        nav = kinds(instruments.KEY, register_book(study), tools=len(stands))
    line, work = instruments.status_line(stands), [nav, *instruments.work(stands)]
    return frame(book, active=NAME, title=instruments.TITLE, status=line, work=work)


def kinds(here: str, found: Register, *, tools: int) -> html.Nav:
    """What can be registered, in the order in which one needs the other, each with how many are on file.

    ``tools`` is how many instruments there are; they need nothing else.
    """
    counted = [(kind, TITLES[kind], found.count(kind)) for kind in KINDS]
    links: list[Any] = []
    for kind, words, count in [*counted, (instruments.KEY, instruments.TITLE, tools)]:
        inside: list[Any] = [words, html.Span(f" {count}", className="quiet tally")]
        if kind == here:
            inside.append(html.Span(" (this one)", className="unseen"))
        links.append(dcc.Link(inside, href=f"{PATH}?what={kind}", className="word here" if kind == here else "word"))
    return html.Nav(links, className="choices", **heard_as("What is registered"))


def entering(kind: str, way: str, found: Register) -> list[Any]:
    """The three ways to enter, or what must be registered first."""
    missing = [need for need in NEEDS.get(kind, ()) if not found.count(need)]
    if missing:
        parts = [TITLES[need].lower() for need in NEEDS[kind]]
        made = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
        first = missing[0]
        link = dcc.Link(f"Register {TITLES[first].lower()} first", href=f"{PATH}?what={first}")
        return [html.Div([html.P(f"{TITLES[kind]} are made of {made}."), html.P([link, "."])], className="empty first")]
    said = {"": "one-said", "grid": "grid-said", "paste": "block-said"}[way]
    part = {
        "": lambda: form.form(kind, found),
        "grid": lambda: grid.grid(kind, found),
        "paste": lambda: paste.paste(kind),
    }[way]()
    links: list[Any] = []
    for name, words in WAYS:
        href = f"{PATH}?{urlencode({'what': kind, **({'by': name} if name else {})})}"
        inside: Any = [words, html.Span(" (this way)", className="unseen")] if name == way else words
        links.append(dcc.Link(inside, href=href, className="way here" if name == way else "way"))
    return [
        html.Section(
            [
                html.H2(f"Register {ARTICLES.get(kind, 'a')} {ONE[kind]}"),
                html.Nav(links, className="ways", **heard_as("Ways to enter")),
                part,
                html.Div(id=said, className="said"),
            ]
        )
    ]


def register(app: Dash, book: Book) -> None:
    """Everything on this page that answers."""
    for part in (form, grid, paste, acts, placing, printing, instruments):
        part.register(app, book)

    @app.callback(
        Output("register-kinds", "children"),
        Output("status", "children", allow_duplicate=True),
        Input({"token": ALL}, "data"),
        State("register-kind", "data"),
        prevent_initial_call=True,
    )
    def count_anew(tokens: list[str], kind: str) -> Any:
        # A token is spent with each registration, so its change says that there is more on file than before.
        if not any(tokens):
            return no_update, no_update
        with open_study(book.study_file) as study:
            found = register_book(study)
        return kinds(kind, found, tools=len(instruments.stands_of(book))), status_line(found)
