"""One coupon at the bench: found by code or scan, read, judged while it is typed, saved once."""

from __future__ import annotations

from datetime import date
from threading import Thread
from typing import Any
from urllib.parse import quote, urlencode

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components import attachments
from dashboard.components.days import short_day
from dashboard.components.frame import frame
from dashboard.components.messages import empty, refused
from dashboard.components.tables import Column, table
from dashboard.components.trace_figure import register_traces, traces_shown
from dashboard.read import saving
from dashboard.read.fields import field_rows, find_form, folded, letters, open_fields, sitting
from dashboard.read.words import colour_shown, in_force_shown
from study.commands.pull import recorded_pulls
from study.commands.read_colour import coupon_colour
from study.commands.read_form import CouponForm, OpenStudy, coupon_form
from study.commands.read_grid import WaitingPull, next_of_pull, waiting_pulls
from study.commands.read_try import get_ready
from study.errors import DwellbookError
from study.model.pull import GONE_KINDS

NAME = "Read"


def page(book: Book, study: OpenStudy, code: str) -> html.Div:
    """The page for a coupon, or for none yet."""
    if not code.strip():
        waiting, pulled = waiting_pulls(study), bool(recorded_pulls(study, newest=1))
        work = [find_form(""), draft(), opened_store(book, ""), *waiting_shown(waiting, pulled=pulled), import_link()]
        return frame(book, active=NAME, title="Read a coupon", status=waiting_line(waiting, pulled=pulled), work=work)
    try:
        form = coupon_form(study, code)
    except DwellbookError as error:
        work = [find_form(code), draft(), opened_store(book, ""), refused(error)]
        return frame(book, active=NAME, title="Read a coupon", status="No coupon is open.", work=work)
    Thread(target=get_ready, daemon=True).start()
    here = form.coupon.code
    work = [
        find_form(here),
        draft(),
        html.Div(id="verdict", className="said"),
        html.Div(coupon_parts(book, study, form), id="coupon"),
        traces_shown(here),
        attachments.attachments_shown(book, here),
    ]
    return frame(book, active=NAME, title=f"Coupon {here}", status=status_line(form), work=work)


def status_line(form: CouponForm) -> str:
    """Which coupon this is and where it stands, in one sentence."""
    mark = f" (own mark {form.coupon.own_mark})" if form.coupon.own_mark else ""
    where = f"{form.title}, set {form.coupon.set_key}{mark}"
    if form.pulled_on is None:
        return f"{where}: not pulled yet."
    return f"{where}: {form.pull_kind} on {short_day(form.pulled_on)} after {form.dwell_days}\u202fd."


def waiting_line(waiting: list[WaitingPull], *, pulled: bool = True) -> str:
    """How much waits to be read, in one sentence; ``pulled`` says whether anything was pulled at all."""
    count = sum(pull.unread for pull in waiting)
    if not pulled:
        return "No coupon is open, and none is pulled yet."
    if not count:
        return "No coupon is open, and every pulled coupon is read."
    coupons = "1 coupon waits" if count == 1 else f"{count} coupons wait"
    return f"No coupon is open. {coupons} to be read, of {len(waiting)} pull{'s' if len(waiting) > 1 else ''}."


def waiting_shown(waiting: list[WaitingPull], *, pulled: bool = True) -> list[Any]:
    """Pulls that wait: coupon by coupon, or the whole pull in a grid; where nothing was pulled, the way to it."""
    if not pulled:
        start: list[Any] = [
            dcc.Link("Pull the first coupons", href="/pull"),
            ", or type a code above to read a colour in place.",
        ]
        return [html.Div([html.P("Pulls that wait to be read will stand here."), html.P(start)], className="empty")]
    if not waiting:
        shows = "The coupon's fields will stand here, with their units and the values read before it."
        return [empty(shows, "Scan or type a coupon code above; a pull stands here until it is read.")]
    columns = (
        Column("pulled", "Pulled", tight=True),
        Column("pull", "Pull", tight=True),
        Column("set", "Set", tight=True),
        Column("what", "Pairing"),
        Column("unread", "Unread", number=True),
        Column("read", "Read", tight=True),
    )
    rows = [
        {
            "pulled": short_day(pull.pulled_on), "pull": pull.pull or "none", "set": pull.set_key, "what": pull.title,
            "unread": str(pull.unread),
            "read": [
                dcc.Link("one by one", href=f"/read?code={quote(pull.first)}"), " · ",
                dcc.Link("in a grid", href=grid_address(pull.set_key, pull.pull)),
            ],
        }
        for pull in waiting
    ]  # fmt: skip
    days = sorted({pull.pulled_on for pull in waiting})
    links: list[Any] = []
    for day in days:
        if sum(pull.pulled_on == day for pull in waiting) > 1:
            links += [dcc.Link(f"All pulled on {short_day(day)}", href=f"/read?view=pull&on={day}"), " "]
    return [
        html.Section(
            [
                html.H2("Pulled, to be read"),
                table(columns, rows, caption="Pulls that wait to be read"),
                *([html.P(["In one grid over all sets: ", *links])] if links else []),
            ]
        )
    ]


def import_link() -> html.P:
    """The way to readings that lie in a file."""
    return html.P(
        [
            dcc.Link("Read from a file", href="/read?view=import"), " of an instrument or a sheet. ",
            dcc.Link("Force traces", href="/read?view=trace"), " of a gauge. ",
            dcc.Link("Climate and light", href="/read?view=climate"), " of the shelves.",
        ]
    )  # fmt: skip


def grid_address(set_key: str, pull: str) -> str:
    """The grid of one set and pull."""
    return f"/read?{urlencode({'view': 'pull', 'set': set_key, 'pull': pull})}"


def opened_store(book: Book, code: str, *, saved: str = "", following: str = "") -> dcc.Store:
    """Tells the browser which coupon is open, and which attempt was saved, so that its draft goes."""
    told = {"code": code, "study": book.study_file.stem, "saved": saved, "next": following}
    return dcc.Store(id="open-code", data=told)


def draft() -> html.P:
    """Says that what was typed before and not saved is back."""
    return html.P(id="draft-said", className="draft-said", role="status")


def coupon_parts(book: Book, study: OpenStudy, form: CouponForm, *, saved: str = "") -> list[Any]:
    """What is in force, the fields still to fill, and the ways on."""
    code = form.coupon.code
    following = next_of_pull(study, code)
    parts = [
        *form_shown(form, today=book.today()),
        in_force_shown(form),
        colour_shown(coupon_colour(study, code)),
        ways_on(form, following),
        opened_store(book, code, saved=saved, following=following),
    ]
    return [part for part in parts if part is not None]


def ways_on(form: CouponForm, following: str) -> html.P:
    """The next coupon of this pull, the whole pull, and this coupon's history."""
    code = form.coupon.code
    links: list[Any] = []
    if not following and form.pull and form.pulled_on is not None:
        links.append("No other coupon of this pull waits to be read. ")
    if following:
        links += [dcc.Link(f"Next of this pull: {following}", href=f"/read?code={quote(following)}", id="next"), " · "]
    if form.pulled_on is not None:
        grid = grid_address(form.coupon.set_key, form.pull) if form.pull else f"/read?view=pull&on={form.pulled_on}"
        links += [dcc.Link("This pull in a grid", href=grid), " · "]
    if any(field.kind == "removal_force" for field in open_fields(form)):
        links += [dcc.Link("Its force trace", href=f"/read?view=trace&code={quote(code)}"), " · "]
    links.append(dcc.Link("History of this coupon", href=f"/read?view=history&code={quote(code)}"))
    return html.P(links, className="ways-on")


def form_shown(form: CouponForm, *, today: date) -> list[Any]:
    """The fields still to fill and the one button, or why there are none."""
    fields = open_fields(form)
    if form.pull_kind in GONE_KINDS:
        return [empty(f"This coupon is {form.pull_kind}: it can tell nothing.", "Check the code on the label.")]
    if not fields and form.in_place:
        command = f"dwellbook pull record {form.coupon.code}"
        return [empty("Its fields will stand here once it is pulled.", "Record the pull first.", command)]
    if not any(not field.optional for field in fields) and not form.in_place:
        done = html.P("Everything its protocol asks for is read.", className="quiet")
        if not fields:
            return [done]
        return [done, html.Details([html.Summary("Add a second look"), *_card(form, fields, today)], className="act")]
    place = (
        [html.P("It still stays placed: only its colour may be read. Record the pull first for the rest.")]
        if form.in_place
        else []
    )
    return [*place, *_card(form, fields, today)]


def _card(form: CouponForm, fields: list[Any], today: date) -> list[Any]:
    patterns = [letters()] if any(field.kind == "failure_pattern" for field in fields) else []
    foot = html.Div(
        [
            # Until the page listens, so that no click goes unanswered.
            html.Button("Save readings", id="save", className="primary", title="Ctrl+Enter", disabled=True),
            html.Span("Nothing typed yet.", id="keeping", className="quiet", role="status"),
        ],
        className="foot",
    )
    return [
        html.Div(
            [
                *field_rows(fields),
                *patterns,
                *folded(fields),
                sitting(form.instruments, form.climate, today=today),
                html.Div(id="marks", role="status"),
                html.Div(id="provisional", role="status", className="provisional"),
                foot,
                html.P("Enter goes to the next field, Ctrl+Enter saves.", className="quiet keys"),
                dcc.Store(id="try-this"),
                dcc.Store(id="send"),
            ],
            className="card form reading-form",
        )
    ]


def open_coupon(clicks: int | None, code: str | None) -> Any:
    """The address of a typed code's form; Enter is answered in the browser (read.js), in the same way."""
    if not clicks or not (code or "").strip():
        return no_update
    return f"/read?code={quote((code or '').strip().replace(' ', ''), safe='')}"


def register(app: Dash, book: Book) -> None:
    """Opening a coupon; trying and saving."""
    app.callback(
        Output("go", "href"),
        Input("find", "n_clicks"),
        State("find-code", "value"),
        prevent_initial_call=True,
    )(open_coupon)
    saving.register(app, book, coupon_parts)
    attachments.register_attachments(app, book)
    register_traces(app, book)
