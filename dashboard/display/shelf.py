"""The shelf: every object on show by urgency, filtered and paged, and the question whether one may stay."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any
from urllib.parse import urlencode

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import days_said, short_day, typed_day
from dashboard.components.fields import choice_field, text_field
from dashboard.components.messages import empty, refused
from dashboard.components.objects import counted, object_link, objects_table
from study.commands.display import may
from study.commands.grounds import Standings
from study.commands.opening import open_study
from study.errors import DwellbookError
from study.model.display import Answer, DisplayState, shortest_first

LEAF = 200
"""Objects shown at once; more are a leaf further."""
CHANGED = "changed"
STATE_CHOICES = (
    ("", "all on show"),
    ("stopped", "stopped"),
    ("overdue", "overdue"),
    ("due", "due"),
    ("no evidence", "no evidence"),
    ("within", "within"),
    (CHANGED, "changed, not acknowledged"),
    ("removed", "removed"),
)


@dataclass(frozen=True)
class Wanted:
    """What the filters ask for; empty asks for nothing."""

    text: str = ""
    location: str = ""
    pairing: str = ""
    state: str = ""
    leaf: int = 0

    def address(self, **changed: Any) -> str:
        """The address of the list so filtered; turned to its first leaf unless another is named."""
        asked = {**asdict(self), "leaf": 0, **changed}
        query = urlencode({name: value for name, value in asked.items() if value})
        return f"/display?{query}" if query else "/display"


def chosen(now: Standings, wanted: Wanted) -> list[DisplayState]:
    """Objects that meet every filter, the most urgent first; removed ones only where they are asked for."""
    states: Iterable[DisplayState] = now.attention if wanted.state == CHANGED else now.states
    if wanted.state and wanted.state != CHANGED:
        states = (s for s in states if s.state == wanted.state)
    elif not wanted.state:
        states = (s for s in states if s.state != "removed")
    if wanted.location:
        states = (s for s in states if s.display.location == wanted.location)
    if wanted.pairing:
        states = (s for s in states if wanted.pairing in (s.display.object_pairing, s.display.support_pairing))
    if wanted.text:
        text = wanted.text.lower()
        states = (s for s in states if text in _words(s))
    return shortest_first(states)


def _words(state: DisplayState) -> str:
    display = state.display
    return f"{display.object_number}\n{display.location}\n{display.lot}\n{display.placed_by}\n{state.why}".lower()


def status_line(now: Standings) -> str:
    """How many objects are on show and how they stand, in one sentence."""
    on_show = [state for state in now.states if state.state != "removed"]
    if not on_show:
        return "No object is on show."
    objects = "1 object" if len(on_show) == 1 else f"{len(on_show)} objects"
    return f"{objects} on show: {counted(on_show)}."


def shelf(now: Standings, wanted: Wanted) -> list[Any]:
    """The question, the filters and the objects."""
    if not now.states:
        return [
            empty(
                "Objects standing on an adhesive will be listed here, those that need somebody first.",
                "Put the first one on show with “Add an object” above.",
            )
        ]
    return [
        may_form(),
        html.Section(
            [html.H2("Objects"), filters(now, wanted), html.Div(leaf(chosen(now, wanted), wanted), id="on-show")],
        ),
    ]


def filters(now: Standings, wanted: Wanted) -> html.Div:
    """Four filters; each changes the list at once."""
    places = sorted({state.display.location for state in now.states})
    keys = sorted({key for s in now.states for key in (s.display.object_pairing, s.display.support_pairing)})
    fields = [
        text_field("find-text", "Find", "object, place, lot or name; then Enter", value=wanted.text, debounce=True),
        choice_field("find-location", "Location", [(p, p) for p in places], value=wanted.location or None),
        choice_field("find-pairing", "Pairing", [(k, k) for k in keys], value=wanted.pairing or None),
        choice_field("find-state", "State", STATE_CHOICES[1:], placeholder="all on show", value=wanted.state or None),
    ]
    return html.Div([*fields, dcc.Store(id="found-now", data=wanted.address())], className="row filters")


def leaf(states: Sequence[DisplayState], wanted: Wanted) -> list[Any]:
    """One leaf of the list, with the way to the others."""
    if not states:
        return [empty("No object meets these filters.", "Clear a filter to see more.")]
    start = min(max(wanted.leaf, 0) * LEAF, (len(states) - 1) // LEAF * LEAF)
    part = states[start : start + LEAF]
    turn: list[Any] = []
    if len(states) > LEAF:
        turn = [html.Span(f"{start + 1} to {start + len(part)} of {len(states)}, the most urgent first")]
        if start:
            turn.append(dcc.Link("Earlier", href=wanted.address(leaf=start // LEAF - 1)))
        if start + len(part) < len(states):
            turn.append(dcc.Link("Further", href=wanted.address(leaf=start // LEAF + 1)))
    else:
        turn = [html.Span("1 object" if len(states) == 1 else f"{len(states)} objects, the most urgent first")]
    head = html.Div(turn, className="turn quiet", role="status")
    return [head, objects_table(part, caption="Objects by urgency")]


def may_form(object_number: str = "") -> html.Div:
    """May it stay until…? For an object that is open its number is not asked again."""
    fixed = bool(object_number)
    number: Any = (
        dcc.Store(id="may-object", data=object_number)
        if fixed
        else text_field("may-object", "Object number", "as it stands in the list")
    )
    state = dcc.Store(id="may-kind", data="data" if fixed else "value")
    until = text_field("may-until", "May it stay until…", "year-month-day")
    ask = html.Button("May it stay?", id="may", className="second")
    return html.Div(
        [html.Div([number, until, ask, state], className="find"), html.Div(id="may-said", className="said")],
        className="card form may",
    )


def answered(answer: Answer, object_number: str) -> html.Div:
    """Yes, no or not shown, with the reason and the last day it may."""
    latest = f" It may stay until {short_day(answer.latest)}." if answer.latest else " No day can be named."
    tone = "" if answer.may else "harm"
    what = f"Until {short_day(answer.until)}: "
    return html.Div(
        [
            html.P([object_link(object_number), " · ", what, html.Strong(answer.words, className=tone), "."]),
            html.P([f"{days_said(answer.reason)}.", latest]),
            html.P("It holds for what was tested only; the cautions are at the end of this page.", className="quiet"),
        ],
        className=f"message {'fine' if answer.may else 'harm'}",
        role="status",
    )


def may_said(book: Book, object_number: str | None, until: str | None) -> html.Div:
    """What is shown when the question was asked."""
    number = (object_number or "").strip()
    try:
        if not number:
            raise DwellbookError("No object number is given.", "Type it as it stands in the list.")
        day = typed_day(until)
        with open_study(book.study_file) as study:
            return answered(may(study, number, until=day, on=book.today()), number)
    except DwellbookError as error:
        return refused(error)


def register(app: Dash, book: Book) -> None:
    """Filtering, and the question."""

    @app.callback(
        Output("go", "href", allow_duplicate=True),
        Input("find-text", "value"),
        Input("find-location", "value"),
        Input("find-pairing", "value"),
        Input("find-state", "value"),
        State("found-now", "data"),
        prevent_initial_call=True,
    )
    def find(text: str | None, location: str | None, pairing: str | None, state: str | None, now: str) -> Any:
        # The list comes as a page of its own: replacing a few thousand parts in place takes the browser ten seconds.
        wanted = Wanted((text or "").strip(), location or "", pairing or "", state or "")
        return wanted.address() if wanted.address() != now else no_update

    @app.callback(
        Output("may-said", "children"),
        Input("may", "n_clicks"),
        State("may-object", "value"),
        State("may-object", "data"),
        State("may-until", "value"),
        prevent_initial_call=True,
    )
    def ask(clicks: int | None, typed: str | None, opened: str | None, until: str | None) -> Any:
        return may_said(book, typed or opened, until) if clicks else no_update
