"""Today: pulls due and overdue, coupons pulled but not read, decisions that newer readings overtook."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import quote

from dash import Dash, dcc, html

from dashboard.book import Book
from dashboard.components.frame import frame
from dashboard.components.messages import empty, with_refusals
from dashboard.components.tables import Column, table
from study.commands.opening import open_study
from study.commands.today import DaySheet, day_sheet
from study.model.pull import DuePull

PATH, NAME = "/", "Today"
STATES = ("overdue", "due", "next")


@with_refusals(NAME)
def layout(book: Book, **_: str) -> html.Div:
    """The page as it stands now."""
    with open_study(book.study_file) as study:
        sheet = day_sheet(study, on=book.today())
    return frame(book, active=NAME, title=day_words(sheet.on), status=status_line(sheet), work=work(sheet))


def register(app: Dash, book: Book) -> None:
    """Nothing on this page answers by itself; each line leads to its work."""


def day_words(on: date) -> str:
    """A day as a person says it."""
    return f"{on:%A}, {on.day} {on:%B %Y}"


def status_line(sheet: DaySheet) -> str:
    """Where things stand, in one sentence."""
    overdue = sum(pull.state == "overdue" for pull in sheet.pulls)
    due = sum(pull.state == "due" for pull in sheet.pulls)
    parts = [
        _count(overdue, "pull overdue", "pulls overdue"),
        _count(due, "pull due", "pulls due"),
        _count(len(sheet.unread), "coupon waiting to be read", "coupons waiting to be read"),
        _count(len(sheet.overtaken), "decision overtaken", "decisions overtaken"),
    ]
    said = [part for part in parts if part]
    if not said:
        return "Nothing is due today."
    return f"{', '.join(said[:-1])} and {said[-1]}." if len(said) > 1 else f"{said[0]}."


def work(sheet: DaySheet) -> list[Any]:
    """The three lists of the day."""
    return [
        html.Section([html.H2("To pull"), *pulls_shown(sheet)]),
        html.Section([html.H2("Pulled, to be read"), unread_shown(sheet)]),
        html.Section([html.H2("Decisions to look at again"), overtaken_shown(sheet)]),
    ]


def pulls_shown(sheet: DaySheet) -> list[Any]:
    """Due and overdue pulls in one table, oldest first."""
    rows = [_pull_row(pull) for state in STATES for pull in sheet.pulls if pull.state == state]
    if not rows and sheet.coupons:
        return [empty("No pull is due, overdue or near.", "A pull stands here from a month before its day.")]
    if not rows:
        return [
            empty(
                "Coupons whose window has opened will stand here, each set with its pull.",
                "Coupon sets and their pulls come from the register.",
                "dwellbook register --help",
            )
        ]
    columns = (
        Column("state", "State"),
        Column("due", "Due", tight=True),
        Column("window", "Window"),
        Column("pull", "Pull", tight=True),
        Column("title", "Pairing"),
        Column("set", "Set", tight=True),
        Column("coupons", "Coupons", number=True),
    )
    return [
        table(columns, rows, caption="Pulls due, overdue and next"),
        html.P(["Record what was pulled, lost or damaged with ", html.Code("dwellbook pull"), "."], className="quiet"),
    ]


def unread_shown(sheet: DaySheet) -> html.Div:
    """Coupons pulled but not fully read; each code opens its form."""
    if not sheet.unread:
        return empty("Every pulled coupon is read.", "A coupon stands here from its pull until its last reading.")
    columns = (
        Column("code", "Coupon"),
        Column("pulled", "Pulled", tight=True),
        Column("pairing", "Pairing"),
        Column("set", "Set", tight=True),
        Column("missing", "Still to read"),
    )
    rows = [
        {
            "code": dcc.Link(unread.code, href=f"/read?code={quote(unread.code)}", className="code"),
            "pulled": short_day(unread.pulled_on),
            "pairing": unread.pairing,
            "set": unread.set_key,
            "missing": ", ".join(kind.replace("_", " ") for kind in unread.missing),
        }
        for unread in sheet.unread
    ]
    return table(columns, rows, caption="Coupons pulled and not read")


def overtaken_shown(sheet: DaySheet) -> html.Div:
    """Decisions that newer readings overtook, each with the reason."""
    if not sheet.overtaken:
        return empty(
            "No issued decision is overtaken by newer readings.", "A decision stands here when its evidence changes."
        )
    columns = (Column("pairing", "Pairing"), Column("why", "What changed"))
    rows = []
    for standing in sheet.overtaken:
        evidence = standing.analysed.evidence
        link = dcc.Link(evidence.pairing.title, href=f"/decide?pairing={quote(evidence.key, safe='')}")
        rows.append(
            {"pairing": html.Span([link, html.Span(evidence.key, className="quiet key")]), "why": standing.overtaken}
        )
    return table(columns, rows, caption="Decisions overtaken by newer readings")


def short_day(on: date) -> str:
    """A day in a table: 4 Mar 2026."""
    return f"{on.day}\u2009{on:%b}\u2009{on.year}"


def window_words(pull: DuePull) -> str:
    """The days within which a pull counts, the year said once where it is the same."""
    start = short_day(pull.window_from)
    if pull.window_from.year == pull.window_to.year:
        start = f"{pull.window_from.day}\u2009{pull.window_from:%b}"
    return f"{start} – {short_day(pull.window_to)}"


def _pull_row(pull: DuePull) -> dict[str, Any]:
    return {
        "state": html.Span(pull.state, className="harm" if pull.state == "overdue" else ""),
        "due": short_day(pull.due_on),
        "window": window_words(pull),
        "pull": pull.pull_label,
        "title": pull.title,
        "set": pull.set_key,
        "coupons": html.Span(str(len(pull.codes)), title=" ".join(pull.codes)),
    }


def _count(number: int, one: str, many: str) -> str:
    return "" if not number else f"1 {one}" if number == 1 else f"{number} {many}"
