"""Scanning: a list ticked off code by code as the tiles come off, then recorded all at once under one name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote, urlencode

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import days_said, short_day, typed_day, window_words
from dashboard.components.fields import name_field, row, text_field
from dashboard.components.messages import empty, refused, saved
from dashboard.pull.due import WAITING, begin, counted, read_link
from study.commands.at_shelf import Scan, outside_windows, own_marks, scan
from study.commands.opening import open_study
from study.commands.pull import due_pulls, record_pulls
from study.errors import DwellbookError, FileRefused, NotPossible
from study.model.pull import LOOK_AHEAD_DAYS, DuePull

FURTHEST = 100 * 366
"""Days ahead within which a list that was asked for by name is found."""
HIDDEN, SHOWN = {"display": "none"}, {"display": "block"}


def wanted(book: Book, set_key: str, label: str) -> list[DuePull]:
    """The pulls to be scanned, in the order of the shelf: one by name, else all that wait."""
    named = bool(set_key and label)
    with open_study(book.study_file) as study:
        ahead = FURTHEST if named else LOOK_AHEAD_DAYS
        pulls = due_pulls(study, on=book.today(), ahead_days=ahead, shelf_order=True)
    if named:
        return [pull for pull in pulls if (pull.set_key, pull.pull_label) == (set_key, label)]
    return [pull for pull in pulls if pull.state in WAITING]


def status_line(pulls: Sequence[DuePull], set_key: str, label: str) -> str:
    """How many coupons wait on what is scanned: one list by name, or all that wait."""
    if not (set_key and label) or any(pull.state in WAITING for pull in pulls):
        return counted(pulls)
    if not pulls:
        return "No coupon of this pull is in its placement."
    return f"Not due yet: {len(listed(pulls))} coupons, window {window_words(pulls[0])}."


def marks_of(book: Book) -> dict[str, str]:
    """Own marks by code, as they stand on the pieces."""
    with open_study(book.study_file) as study:
        return own_marks(study)


def scanning(
    pulls: Sequence[DuePull], marks: Mapping[str, str], *, today: str, set_key: str = "", label: str = ""
) -> list[Any]:
    """The field, the tally, the list and the one button."""
    if not pulls:
        start = dcc.Link("Choose a pull from the list of what is due", href="/pull?ahead=366")
        return [begin("The coupons of a pull stand here until each is scanned.", start)]
    field = text_field(
        "scan", "Scan or type a coupon", "a scanner types the code and Enter; each scan ticks one off",
        className="code-field", spellCheck=False,
    )  # fmt: skip
    return [
        html.Div(
            [
                html.Div([field, html.P(id="tally", className="tally-now", role="status")], className="find scan"),
                html.Div(id="scan-said", className="said"),
            ],
            className="card scan-card",
        ),
        html.Div(tiles(pulls, marks), id="scan-tiles"),
        html.P(
            [
                "One is missing, damaged or has come off by itself? ",
                dcc.Link("Say so by its code", href="/pull"),
                "; the scans are kept meanwhile.",
            ],
            className="quiet",
        ),
        html.Div(
            [
                row(
                    text_field("pull-on", "Pulled on", "year-month-day", value=today),
                    name_field("pull-by", "Pulled by"),
                ),
                html.Div(
                    row(
                        text_field(
                            "pull-deviation", "Deviation note", "outside the window: what happened and why",
                            className="long",
                        )
                    ),
                    id="pull-late",
                    style=HIDDEN,
                ),
                html.Div(
                    [
                        html.Button("Record what is scanned", id="scan-save", className="primary"),
                        html.Button("Forget the scans", id="pull-forget", className="second"),
                    ],
                    className="foot",
                ),
            ],
            className="card form",
        ),
        dcc.Store(id="pull-list", data=listed(pulls)),
        dcc.Store(id="pull-asked", data=[set_key, label]),
        dcc.Store(id="scan-asked"),
    ]  # fmt: skip


def listed(pulls: Sequence[DuePull]) -> list[str]:
    """Codes on the list."""
    return [code for pull in pulls for code in pull.codes]


def tiles(pulls: Sequence[DuePull], marks: Mapping[str, str]) -> list[Any]:
    """Each pull with its coupons; a coupon is ticked by its scan, or by a click on it."""
    return [
        html.Section(
            [
                html.H2([f"{pull.set_key}, {pull.pull_label} ", _state(pull)]),
                html.P(f"{pull.title}; window {window_words(pull)}.", className="quiet"),
                html.Ul(
                    [
                        html.Li(html.Button(_named(code, marks, pull.places), className="tile", **_unticked(code)))
                        for code in pull.codes
                    ],
                    className="tiles",
                ),
            ],
            className="rack",
        )
        for pull in pulls
    ]


def _named(code: str, marks: Mapping[str, str], places: Mapping[str, str]) -> list[Any]:
    """A code with the mark on its piece and the place where it stands."""
    beside = [told[code] for told in (marks, places) if code in told]
    return [code, *(html.Span(f" {words}", className="piece-mark") for words in beside)]


def _unticked(code: str) -> dict[str, Any]:
    return {"data-code": code, "aria-pressed": "false"}


def _state(pull: DuePull) -> html.Span:
    return html.Span(pull.state, className="harm state" if pull.state == "overdue" else "quiet state")


def answer_shown(found: Scan) -> html.Div:
    """A scan that does not belong here, loudly, with what may be done about it."""
    links: list[Any] = []
    if found.other:
        href = f"/pull?{urlencode({'code': found.code, 'as': 'pulled in error'})}"
        links.append(dcc.Link(f"Record {found.code} as pulled in error, its effect said first", href=href))
    elif "which waits too" in found.words:
        links.append(dcc.Link("Scan all that waits", href="/pull?view=scan"))
    elif "off the shelf" in found.words:
        links.append(dcc.Link(f"Open {found.code}", href=f"/pull?code={quote(found.code)}"))
    said = [html.P([html.Strong(days_said(found.words)), f" {found.do}"]), *(html.P(link) for link in links)]
    return html.Div(said, className="message harm loud", role="alert")


def recorded(
    book: Book, codes: Sequence[str], *, on: str | None, by: str | None, deviation: str | None
) -> tuple[Any, dict[str, str], list[str] | None, list[str]]:
    """What is shown after the button, whether the note is asked, the codes saved (none if refused), and conflicts."""
    try:
        day = typed_day(on)
        if not codes:
            raise NotPossible("Nothing is scanned yet.", "Scan the coupons that came off, or click on their codes.")
        signature = book.sign(by)
        with open_study(book.study_file) as study:
            late = outside_windows(study, codes, on=day)
            if late and not (deviation or "").strip():
                words = days_said(" ".join(group.words(day) for group in late))
                error = NotPossible(words, "Write a deviation note below: what happened and why. The scans are kept.")
                return refused(error), SHOWN, None, []
            record_pulls(
                study, list(codes), kind="pulled", on=day, deviation=deviation or "", signature=signature
            )  # fmt: skip
    except FileRefused as error:
        gone = [problem.value for problem in error.problems if "already" in problem.what]
        return conflict(error, gone), SHOWN if (deviation or "").strip() else HIDDEN, None, gone
    except DwellbookError as error:
        return refused(error), SHOWN if (deviation or "").strip() else HIDDEN, None, []
    coupons = "1 coupon is" if len(codes) == 1 else f"{len(codes)} coupons are"
    said = [
        saved(f"{coupons} recorded as pulled on {short_day(day)} by {signature.by}."),
        html.P(["Read them now: ", dcc.Link("in a grid", href=f"/read?view=pull&on={day}"), ", or one by one:"]),
        html.P([html.Span([read_link(code), " "]) for code in codes], className="codes"),
    ]
    return said, HIDDEN, list(codes), []


def conflict(error: FileRefused, gone: Sequence[str]) -> html.Div:
    """What kept the whole list from being saved; coupons that somebody else recorded meanwhile can be taken off."""
    lines = [html.Li(days_said(f"{problem.value} {problem.what}")) for problem in error.problems]
    parts: list[Any] = [html.P("Nothing was saved; the scans are kept."), html.Ul(lines)]
    if gone:
        words = "Take it off my list" if len(gone) == 1 else f"Take these {len(gone)} off my list"
        parts.insert(1, html.P("Somebody else recorded this meanwhile:"))
        parts.append(html.Button(words, id="pull-drop", className="second"))
    return html.Div(parts, className="message harm", role="alert")


def register(app: Dash, book: Book) -> None:
    """A scan, its answer, the tally, saving and forgetting."""
    app.clientside_callback(
        ClientsideFunction("bench", "tally"),
        Output("tally", "children"),
        Input("scanned", "data"),
        Input("pull-list", "data"),
        Input("scan-tiles", "children"),
    )
    app.clientside_callback(
        ClientsideFunction("bench", "forget"),
        Output("scanned", "data"),
        Output("scan-said", "children"),
        Input("pull-forget", "n_clicks"),
        State("pull-list", "data"),
        State("scanned", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("scan-said", "children", allow_duplicate=True),
        Output("scanned", "data", allow_duplicate=True),
        Input("scan-asked", "data"),
        State("pull-list", "data"),
        State("scanned", "data"),
        prevent_initial_call=True,
    )
    def answer(asked: dict[str, Any] | None, codes: list[str], scanned: list[str] | None) -> Any:
        if not asked:
            return no_update, no_update
        try:
            with open_study(book.study_file) as study:
                found = scan(study, asked["typed"], on=book.today())
        except DwellbookError as error:
            return refused(error), no_update
        if found.code in codes:  # typed by its own mark
            kept = scanned or []
            return f"{found.code} scanned.", kept if found.code in kept else [*kept, found.code]
        return answer_shown(found), no_update

    @app.callback(
        Output("scan-said", "children", allow_duplicate=True),
        Output("pull-late", "style"),
        Output("scanned", "data", allow_duplicate=True),
        Output("pull-list", "data"),
        Output("scan-tiles", "children"),
        Output("pull-gone", "data"),
        Output("status", "children", allow_duplicate=True),
        Input("scan-save", "n_clicks"),
        State("scanned", "data"),
        State("pull-list", "data"),
        State("pull-asked", "data"),
        State("pull-on", "value"),
        State("pull-by", "value"),
        State("pull-deviation", "value"),
        prevent_initial_call=True,
    )
    def save(
        clicks: int | None, scanned: list[str] | None, codes: list[str], asked: list[str],
        on: str | None, by: str | None, deviation: str | None,
    ) -> Any:  # fmt: skip
        if not clicks:
            return (no_update,) * 7
        here = [code for code in scanned or [] if code in codes]
        shown, note, done, gone = recorded(book, here, on=on, by=by, deviation=deviation)
        if done is None:
            return shown, note, no_update, no_update, no_update, gone, no_update
        pulls = wanted(book, *asked)
        rest = [code for code in scanned or [] if code not in done]
        shelf = tiles(pulls, marks_of(book)) or all_done()
        return shown, note, rest, listed(pulls), shelf, [], status_line(pulls, *asked)

    @app.callback(
        Output("scan-said", "children", allow_duplicate=True),
        Output("scanned", "data", allow_duplicate=True),
        Output("pull-list", "data", allow_duplicate=True),
        Output("scan-tiles", "children", allow_duplicate=True),
        Input("pull-drop", "n_clicks"),
        State("pull-gone", "data"),
        State("scanned", "data"),
        State("pull-asked", "data"),
        prevent_initial_call=True,
    )
    def drop(clicks: int | None, gone: list[str] | None, scanned: list[str] | None, asked: list[str]) -> Any:
        if not clicks or not gone:
            return (no_update,) * 4
        pulls = wanted(book, *asked)
        words = f"{', '.join(gone)} taken off the list; nothing is saved yet."
        left = [code for code in scanned or [] if code not in gone]
        return html.P(words, className="quiet"), left, listed(pulls), tiles(pulls, marks_of(book)) or all_done()


def all_done() -> list[Any]:
    """What stands where the list stood once all of it is recorded."""
    return [empty("Every coupon of this list is recorded.", "They wait to be read: Today lists them too.")]
