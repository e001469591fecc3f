"""Display: objects standing on an adhesive, may each stay, what comes off, and the walk from one to the next."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from dash import Dash, dcc, html

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.cautions import cautions
from dashboard.components.frame import frame
from dashboard.components.messages import refused, with_refusals
from dashboard.display import entry, one_object, shelf, taking_down, walk
from study.commands.display import standings
from study.commands.opening import open_study
from study.commands.showing import choices, object_book
from study.errors import DwellbookError

PATH, NAME = "/display", "Display"
VIEWS = (("", "On show"), ("add", "Add an object"), ("paste", "Paste from a spreadsheet"), ("walk", "Walking list"))


@with_refusals(NAME)
def layout(
    book: Book,
    view: str = "",
    object: str = "",
    location: str = "",
    pairing: str = "",
    state: str = "",
    text: str = "",
    leaf: str = "",
    **_: str,
) -> html.Div:
    """The shelf, an entry form, a walk, or one object."""
    if object:
        return _one(book, object)
    if view == "walk":
        return _walk(book, location, pairing, int(leaf) if leaf.isdecimal() else 0)
    with open_study(book.study_file) as study:
        now = standings(study, on=book.today())
        found = choices(study) if view == "add" else None
    if found is not None:
        work = [*entry.entry_form(found, today=book.today().isoformat()), cautions()]
    elif view == "paste":
        work = [*entry.paste_form(), cautions()]
    else:
        view = ""
        wanted = shelf.Wanted(text, location, pairing, state, int(leaf) if leaf.isdecimal() else 0)
        work = [*shelf.shelf(now, wanted), cautions()]
    words = dict(VIEWS)[view] if view else "Objects on show"
    return frame(book, active=NAME, title=words, status=shelf.status_line(now), work=[views(view), *work])


def views(here: str) -> html.Nav:
    """The four views of this page."""
    links: list[Any] = []
    for view, words in VIEWS:
        inside: Any = [words, html.Span(" (this view)", className="unseen")] if view == here else words
        href = f"{PATH}?view={view}" if view else PATH
        links.append(dcc.Link(inside, href=href, className="word here" if view == here else "word"))
    return html.Nav(links, className="choices", **heard_as("Views"))


def _one(book: Book, object_number: str) -> html.Div:
    try:
        with open_study(book.study_file) as study:
            found = object_book(study, object_number, on=book.today())
    except DwellbookError as error:
        return frame(
            book, active=NAME, title="Objects on show", status="No object is open.", work=[views("-"), refused(error)]
        )
    number = found.state.display.object_number
    work = [
        html.Div(one_object.object_shown(found), id="object-now"),
        html.Div(taking_down.forms(found, today=book.today().isoformat()), id="object-acts"),
        html.Div(id="object-said", className="said"),
        dcc.Store(id="open-object", data=number),
        cautions(),
    ]
    return frame(book, active=NAME, title=f"Object {number}", status=one_object.status_line(found), work=work)


def _walk(book: Book, location: str, pairing: str, sheet: int) -> html.Div:
    states = walk.states_for(book, location=location, pairing=pairing)
    named = bool(location or pairing)
    title = walk.title(location, pairing) if named else "Walking list"
    address = f"{PATH}?{urlencode({'view': 'walk', 'location': location, 'pairing': pairing})}"
    day = book.today().isoformat()
    part = walk.walk(states, today=day, heading=title, sheet=sheet, address=address) if named else walk.choose(states)
    return frame(
        book, active=NAME, title=title, status=walk.status_line(states), work=[views("walk"), *part, cautions()]
    )


def register(app: Dash, book: Book) -> None:
    """Everything on this page that answers."""
    for part in (shelf, entry, taking_down, walk):
        part.register(app, book)
