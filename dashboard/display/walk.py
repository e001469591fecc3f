"""The walk: a list of one location or pairing to print or tick, after a tremor, a move or a cleaning."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import short_day, typed_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field
from dashboard.components.messages import empty, refused, saved
from dashboard.components.objects import counted, object_link, remove_by, state_words
from dashboard.components.tables import Column, table
from study.commands.display import RECHECK_CAUSES, RECHECK_FOUND, recheck_list, record_recheck
from study.commands.opening import open_study
from study.errors import DwellbookError
from study.model.display import DisplayState

MOST = 150
"""Objects on one sheet of a walk; a longer walk has several."""
FALLING = ("loose", "fallen")


def title(location: str, pairing: str) -> str:
    """What is walked."""
    return f"Walking list: {location}" if location else f"Walking list: pairing {pairing}"


def status_line(states: Sequence[DisplayState]) -> str:
    """How many objects are to be looked at, in one sentence."""
    if not states:
        return "No object is on show there."
    objects = "1 object" if len(states) == 1 else f"{len(states)} objects"
    return f"{objects} to look at: {counted(states)}."


def choose(states: Sequence[DisplayState]) -> list[Any]:
    """Which walk: each location, and each pairing, with what stands there."""
    if not states:
        return [empty("A walking list of each location will stand here.", "Put an object on show first.")]
    places, pairings = defaultdict(list), defaultdict(list)
    for state in states:
        places[state.display.location].append(state)
        for key in {state.display.object_pairing, state.display.support_pairing}:
            pairings[key].append(state)
    return [
        html.Section([html.H2("By location"), _groups("location", places)]),
        html.Section([html.H2("By pairing"), _groups("pairing", pairings)]),
    ]


def _groups(kind: str, groups: dict[str, list[DisplayState]]) -> html.Div:
    columns = (Column("name", kind.capitalize()), Column("n", "Objects", number=True), Column("states", "States"))
    rows = [
        {
            "name": dcc.Link(name, href=f"/display?view=walk&{kind}={quote(name, safe='')}"),
            "n": str(len(found)),
            "states": html.Span(counted(found), className="quiet"),
        }
        for name, found in sorted(groups.items(), key=lambda pair: _natural(pair[0]))
    ]
    return table(columns, rows, caption=f"Walks by {kind}")


def _natural(name: str) -> list[tuple[int, str]]:
    # Case 2 comes before Case 10, as on the floor.
    return [(int(part), "") if part.isdigit() else (-1, part.lower()) for part in name.split()]


def walk(states: Sequence[DisplayState], *, today: str, heading: str, sheet: int = 0, address: str = "") -> list[Any]:
    """The list with a mark for each object, and what the marks are for."""
    if not states:
        return [empty("Objects on show there will stand here.", "Choose another location."), _back()]
    sheets = -(-len(states) // MOST)
    sheet = min(sheet, sheets - 1)
    part = states[sheet * MOST : (sheet + 1) * MOST]
    columns = (
        Column("object", "Object", tight=True),
        Column("location", "Location"),
        Column("state", "State", tight=True),
        Column("by", "Remove by", tight=True),
        Column("on", "Stands on", spare=True),
        Column("found", "Found"),
    )
    rows = [
        {
            "object": object_link(state.display.object_number),
            "location": state.display.location,
            "state": state_words(state),
            "by": remove_by(state),
            "on": f"{state.display.dots} × {state.display.dot_diameter_mm:g}\u202fmm, lot {state.display.lot}",
            "found": _marks(state),
        }
        for state in part
    ]
    more: list[Any] = []
    if sheets > 1:
        others = [dcc.Link(str(n + 1), href=f"{address}&leaf={n}") for n in range(sheets) if n != sheet]
        turn: list[Any] = [part for link in others for part in (" ", link)]
        more = [html.P([f"Sheet {sheet + 1} of {sheets}, {len(states)} objects in all; the others:", *turn])]
    form = html.Div(
        [
            html.H2("What was found"),
            row(
                choice_field("walk-after", "After", [(cause, cause) for cause in RECHECK_CAUSES], "why you looked"),
                text_field("walk-on", "Looked at on", "year-month-day", value=today),
                name_field("walk-by", "Looked at by"),
                text_field("walk-note", "Note", "for all that are marked now", className="long"),
            ),
            foot("walk-save", "Record what is marked"),
        ],
        className="card form wide-form",
    )
    sign = html.P("Walked on ______________   by ____________________   after ______________", className="on-paper")
    return [
        _back(),
        html.P("Where the floor is unsafe or an object hangs over heads, let nobody walk before it is cleared."),
        *more,
        sign,
        table(columns, rows, caption=heading),
        form,
        html.Div(id="walk-said", className="said"),
    ]


def _back() -> html.P:
    return html.P(dcc.Link("All walks", href="/display?view=walk"), className="quiet")


def _marks(state: DisplayState) -> dmc.RadioGroup:
    number = state.display.object_number
    return dmc.RadioGroup(
        html.Div([dmc.Radio(label=found, value=found, size="xs") for found in RECHECK_FOUND], className="marks"),
        id={"part": "walk", "object": number},
        label=f"Found at {number}",
        className="found",
    )


def recorded(
    book: Book, marks: dict[str, str | None], *, after: str | None, on: str | None, note: str | None, by: str | None
) -> list[Any]:
    """What is shown after the marks were recorded."""
    groups: dict[str, list[str]] = defaultdict(list)
    for number, found in marks.items():
        if found:
            groups[found].append(number)
    try:
        signature = book.sign(by)
        if not groups:
            raise DwellbookError("Nothing is marked.", "Mark what you found at each object you looked at.")
        if not after:
            raise DwellbookError("Why you looked is not said.", f"Choose one of: {', '.join(RECHECK_CAUSES)}.")
        day = typed_day(on)
        with open_study(book.study_file) as study, study.writing():
            # One writing for the whole walk: either all marks are on record or none.
            for found, numbers in groups.items():
                record_recheck(
                    study, numbers, on=day, after=after, found=found, note=(note or "").strip(), signature=signature
                )
    except DwellbookError as error:
        return [refused(error)]
    told = ", ".join(f"{len(numbers)} {found}" for found, numbers in groups.items())
    shown: list[Any] = [saved(f"Recorded on {short_day(day)} after {after}: {told}.")]
    falling = [number for found in FALLING for number in groups.get(found, [])]
    if falling:
        links = [part for number in falling for part in (object_link(number), " ")]
        words = html.P([html.Strong("Take down and record the removal: "), *links])
        shown.append(html.Div(words, className="message harm", role="alert"))
    return shown


def register(app: Dash, book: Book) -> None:
    """Recording the marks of a walk."""

    @app.callback(
        Output("walk-said", "children"),
        Output({"part": "walk", "object": ALL}, "value"),
        Input("walk-save", "n_clicks"),
        State({"part": "walk", "object": ALL}, "value"),
        State("walk-after", "value"),
        State("walk-on", "value"),
        State("walk-note", "value"),
        State("walk-by", "value"),
        prevent_initial_call=True,
    )
    def save(
        clicks: int | None, values: list[str | None], after: str | None, on: str | None, note: str | None,
        by: str | None,
    ) -> Any:  # fmt: skip
        if not clicks:
            return no_update, [no_update] * len(values)
        marks = {entry["id"]["object"]: entry.get("value") for entry in ctx.states_list[0]}
        shown = recorded(book, marks, after=after, on=on, note=note, by=by)
        done = "harm" not in shown[0].className.split()
        return shown, [None if done else no_update] * len(values)


def states_for(book: Book, *, location: str, pairing: str) -> list[DisplayState]:
    """Objects on show in a location or on a pairing; all where neither is named."""
    with open_study(book.study_file) as study:
        return recheck_list(study, on=book.today(), location=location, pairing=pairing)
