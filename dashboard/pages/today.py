"""Today: what changed for objects on show, what comes off, pulls due, coupons to read, decisions overtaken."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import quote, urlencode

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.cautions import cautions
from dashboard.components.days import short_day, window_words
from dashboard.components.fields import name_field
from dashboard.components.frame import frame
from dashboard.components.messages import empty, refused, saved, with_refusals
from dashboard.components.objects import SHORT, changes_table, object_link, objects_table
from dashboard.components.tables import Column, table
from study.commands.display import acknowledge
from study.commands.opening import open_study
from study.commands.today import DaySheet, day_sheet
from study.errors import DwellbookError
from study.model.display import DisplayState
from study.model.pull import DuePull

PATH, NAME = "/", "Today"
STATES = ("overdue", "due", "next")
LINES = 40
"""Lines of a list of objects on this page; the rest is one click away on Display."""
OFF = ("stopped", "overdue", "due")


@with_refusals(NAME)
def layout(book: Book, **_: str) -> html.Div:
    """The page as it stands now."""
    with open_study(book.study_file) as study:
        sheet = day_sheet(study, on=book.today())
    return frame(book, active=NAME, title=day_words(sheet.on), status=status_line(sheet), work=work(sheet))


def day_words(on: date) -> str:
    """A day as a person says it."""
    return f"{on:%A}, {on.day} {on:%B %Y}"


def status_line(sheet: DaySheet) -> str:
    """Where things stand, in one sentence."""
    overdue = sum(pull.state == "overdue" for pull in sheet.pulls)
    due = sum(pull.state == "due" for pull in sheet.pulls)
    stand = {state: len(sheet.objects(state)) for state in OFF}
    changed = len(sheet.displays.attention)
    parts = [
        _count(changed, "object changed", "objects changed"),
        _count(len(sheet.falling), "object loose or fallen", "objects loose or fallen"),
        _count(stand["stopped"], "object stopped", "objects stopped"),
        _count(stand["overdue"], "object overdue", "objects overdue"),
        _count(stand["due"], "object due off display", "objects due off display"),
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
    """The lists of the day, objects first."""
    return [
        html.Section(
            [
                html.H2("Needs you"),
                html.Div(id="seen-said", className="said"),
                html.Div(needs_you(sheet), id="needs-you"),
            ]
        ),
        *([html.Section([html.H2("Loose or fallen"), falling_shown(sheet)])] if sheet.falling else []),
        html.Section([html.H2("Off display"), *coming_off(sheet)]),
        html.Section([html.H2("To pull"), *pulls_shown(sheet)]),
        html.Section([html.H2("Pulled, to be read"), unread_shown(sheet)]),
        html.Section([html.H2("Decisions to look at again"), overtaken_shown(sheet)]),
        *([cautions()] if sheet.displays.states else []),
    ]


def needs_you(sheet: DaySheet) -> list[Any]:
    """Objects of which something changed since somebody last put a name under it; each waits for one."""
    waiting = sheet.attention
    if not waiting:
        return [
            empty(
                "Nothing has changed for an object on show.",
                "An object stands here when a decision, a stop or a lot changes its day, until somebody acknowledges.",
            )
        ]
    listed = waiting[:LINES]
    every = "Acknowledge this one" if len(listed) == 1 else f"Acknowledge all {len(listed)} listed"

    def one(state: DisplayState) -> Any:
        words: list[Any] = ["Acknowledge", html.Span(f" {state.display.object_number}", className="unseen")]
        return html.Button(words, id={"part": "seen", "display": state.display.number}, className="second small")

    return [
        *_rest(len(waiting), "/display?state=changed"),
        changes_table(listed, sheet.displays.acknowledged, caption="Objects that changed", button=one),
        html.Div(
            [
                name_field("seen-by", "Seen by", "your name stands under what you have seen"),
                html.Button(every, id="seen-all", className="primary"),
                dcc.Store(id="seen-listed", data=[state.display.number for state in listed]),
            ],
            className="find",
        ),
    ]


def falling_shown(sheet: DaySheet) -> html.Div:
    """Objects on show that were loose or fallen when last looked at; each leads to what is on record of it."""
    columns = (
        Column("object", "Object", tight=True),
        Column("location", "Location"),
        Column("found", "Found", tight=True),
        Column("on", "On", tight=True),
        Column("after", "After"),
        Column("note", "Note", quiet=True),
    )
    rows = [
        {
            "object": object_link(one.object_number),
            "location": one.location,
            "found": html.Span(one.found, className="harm"),
            "on": f"{short_day(one.on)}, {one.by}",
            "after": one.after,
            "note": one.note or "–",
        }
        for one in sheet.falling[:LINES]
    ]
    return table(columns, rows, caption="Objects loose or fallen when last looked at")


def coming_off(sheet: DaySheet) -> list[Any]:
    """Objects stopped, overdue or due within the lead time, the most urgent first."""
    walk = html.P([dcc.Link("Walking list", href="/display?view=walk"), " by location or pairing."], className="quiet")
    if not sheet.displays.states:
        return [
            empty(
                "Objects on show stand here from a month before the day they must come off.",
                "Put the first one on show on the page Display.",
            )
        ]
    if not sheet.objects(*OFF):
        return [empty("No object is stopped, overdue or due off display.", "Each stands here a month ahead."), walk]
    shown: list[Any] = []
    for state, words in (("stopped", "Stopped"), ("overdue", "Overdue"), ("due", "Due within the lead time")):
        found = sheet.objects(state)
        if found:
            shown += [
                html.H3(f"{words}: {len(found)}"),
                *_rest(len(found), f"/display?state={state}"),
                objects_table(found[:LINES], caption=f"Objects {state}", columns=SHORT),
            ]
    return [*shown, walk]


def _rest(number: int, href: str) -> list[Any]:
    if number <= LINES:
        return []
    link = dcc.Link(f"all {number} on the page Display", href=href)
    return [html.P([f"The first {LINES}; ", link, "."], className="quiet")]


def seen(book: Book, numbers: list[int], *, by: str | None) -> tuple[Any, DaySheet | None]:
    """What is shown after something was acknowledged, and the day as it stands then."""
    try:
        signature = book.sign(by)
        with open_study(book.study_file) as study:
            count = acknowledge(study, numbers, on=book.today(), signature=signature)
            sheet = day_sheet(study, on=book.today())
    except DwellbookError as error:
        return refused(error), None
    objects = "1 object" if count == 1 else f"{count} objects"
    return saved(f"Acknowledged for {objects} by {signature.by}."), sheet


def pulls_shown(sheet: DaySheet) -> list[Any]:
    """Due and overdue pulls in one table, oldest first."""
    rows = [_pull_row(pull) for state in STATES for pull in sheet.pulls if pull.state == state]
    if not rows and sheet.coupons:
        return [empty("No pull is due, overdue or near.", "A pull stands here from a month before its day.")]
    if not rows:
        return [
            empty(
                "Coupons whose window has opened will stand here, each set with its pull.",
                "Coupon sets and their pulls come from the page Register.",
            )
        ]
    columns = (
        Column("state", "State"),
        Column("due", "Due", tight=True),
        Column("window", "Window", tight=True),
        Column("pull", "Pull", tight=True),
        Column("title", "Pairing"),
        Column("set", "Set", tight=True),
        Column("coupons", "Coupons", number=True),
    )
    return [
        table(columns, rows, caption="Pulls due, overdue and next"),
        html.P(
            [
                dcc.Link("Pull", href="/pull"),
                " them by scanning; what was lost, damaged or released is said there too.",
            ],
            className="quiet",
        ),
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


def _pull_row(pull: DuePull) -> dict[str, Any]:
    return {
        "state": html.Span(pull.state, className="harm" if pull.state == "overdue" else ""),
        "due": short_day(pull.due_on),
        "window": window_words(pull),
        "pull": dcc.Link(
            [pull.pull_label, html.Span(f" of {pull.set_key}: scan", className="unseen")],
            href=f"/pull?{urlencode({'view': 'scan', 'set': pull.set_key, 'pull': pull.pull_label})}",
        ),
        "title": pull.title,
        "set": pull.set_key,
        "coupons": html.Span(str(len(pull.codes)), title=" ".join(pull.codes)),
    }


def _count(number: int, one: str, many: str) -> str:
    return "" if not number else f"1 {one}" if number == 1 else f"{number} {many}"


def register(app: Dash, book: Book) -> None:
    """Acknowledging one object or all that are listed; everything else leads to its work."""

    @app.callback(
        Output("seen-said", "children"),
        Output("needs-you", "children"),
        Output("status", "children", allow_duplicate=True),
        Input("seen-all", "n_clicks"),
        Input({"part": "seen", "display": ALL}, "n_clicks"),
        State("seen-listed", "data"),
        State("seen-by", "value"),
        prevent_initial_call=True,
    )
    def acknowledged(clicks: int | None, ones: list[int | None], listed: list[int], by: str | None) -> Any:
        pressed = ctx.triggered_id
        if not (clicks if pressed == "seen-all" else any(ones)):
            return no_update, no_update, no_update  # the buttons have only just come, nobody pressed one
        numbers = [pressed["display"]] if isinstance(pressed, dict) else listed
        shown, sheet = seen(book, numbers, by=by)
        if sheet is None:
            return shown, no_update, no_update
        return shown, needs_you(sheet), status_line(sheet)
