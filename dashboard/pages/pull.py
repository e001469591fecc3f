"""Pull: what is due at the shelf, pulled by scanning, and what else happens to a coupon, its effect said first."""

from __future__ import annotations

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, dcc, html

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.frame import frame
from dashboard.components.messages import refused, with_refusals
from dashboard.pull import changed, due, happened, in_charge, one_coupon, recorded, replanning, scanning
from study.commands.at_shelf import coupon_pull
from study.commands.opening import open_study
from study.commands.pull import due_pulls, recorded_pulls
from study.commands.shelf import register_book
from study.errors import DwellbookError
from study.model.pull import LOOK_AHEAD_DAYS

PATH, NAME = "/pull", "Pull"
VIEWS = (
    ("", "Due"), ("scan", "Scan"), ("recorded", "Recorded"), ("happened", "Lamps and racks"),
    ("changed", "Maker and protocol"), ("charge", "In charge"),
)  # fmt: skip


@with_refusals(NAME)
def layout(
    book: Book, view: str = "", code: str = "", ahead: str = "", set: str = "", pull: str = "", **more: str
) -> html.Div:
    """The due list, a list that is scanned, what is recorded, or one coupon."""
    if code:
        return _one(book, code, more.get("as", ""))
    if view == "scan":
        pulls = scanning.wanted(book, set, pull)
        title = f"Scan {set}, {pull}" if set and pull else "Scan what waits"
        work = scanning.scanning(
            pulls, scanning.marks_of(book), today=book.today().isoformat(), set_key=set, label=pull
        )
        return _framed(book, "scan", title, scanning.status_line(pulls, set, pull), work)
    if view == "happened":
        words = "What interrupts an environment, and where racks stand."
        return _framed(book, "happened", "Lamps and racks", words, happened.happened(book))
    if view == "changed":
        words = "Adhesives withdrawn or reformulated, successors compared, protocols amended."
        return _framed(book, "changed", "Maker and protocol", words, changed.changed(book))
    if view == "charge":
        words = "Who pulls, reads and decides; hand over when somebody leaves."
        return _framed(book, "charge", "In charge", words, in_charge.in_charge(book))
    with open_study(book.study_file) as study:
        if view == "recorded":
            found = recorded_pulls(study, newest=recorded.SHOWN)
            words = f"The latest {len(found)} records." if len(found) == recorded.SHOWN else f"{len(found)} on record."
            return _framed(book, "recorded", "Recorded pulls", words, [due.find_form(), *recorded.recorded(found)])
        days = min(int(ahead), 20_000) if ahead.isdecimal() else LOOK_AHEAD_DAYS
        pulls = due_pulls(study, on=book.today(), ahead_days=days, shelf_order=True)
        shelf = register_book(study)
    left = sum(one.placed for one in shelf.sets)
    work = due.due(pulls, ahead=days, coupons=shelf.coupons, left=left)
    return _framed(book, "", "Pull", due.counted(pulls), work)


def _one(book: Book, code: str, chosen: str) -> html.Div:
    try:
        with open_study(book.study_file) as study:
            one = coupon_pull(study, code)
    except DwellbookError as error:
        return _framed(book, "-", "One coupon", "No coupon is open.", [due.find_form(code), refused(error)])
    work = [
        html.Div(id="act-said", className="said"),
        html.Div(one_coupon.coupon_shown(one, chosen, book=book), id="coupon-now"),
        html.Div(id="place-now"),
        dcc.Store(id="place-code", data=one.coupon.code),
    ]
    return _framed(book, "-", f"Coupon {one.coupon.code}", one_coupon.status_line(one), work)


def _framed(book: Book, view: str, title: str, status: str, work: list[Any]) -> html.Div:
    links: list[Any] = []
    for name, words in VIEWS:
        inside: Any = [words, html.Span(" (this view)", className="unseen")] if name == view else words
        look = "word here" if name == view else "word"
        links.append(dcc.Link(inside, href=f"{PATH}?view={name}" if name else PATH, className=look))
    unsaved = [] if view == "scan" else [html.P(id="unsaved", className="unsaved", role="status")]
    nav = html.Nav(links, className="choices", **heard_as("Views"))
    # Scans stay in this browser tab until they are saved or forgotten, whatever page is opened meanwhile.
    scans = dcc.Store(id="scanned", storage_type="session")
    return frame(book, active=NAME, title=title, status=status,
                 work=[nav, *unsaved, *work, scans, dcc.Store(id="pull-gone")])  # fmt: skip


def register(app: Dash, book: Book) -> None:
    """Everything on this page that answers."""
    app.clientside_callback(
        ClientsideFunction("bench", "unsaved"), Output("unsaved", "children"), Input("scanned", "data")
    )
    for part in (due, scanning, one_coupon, replanning, happened, changed, in_charge):
        part.register(app, book)
