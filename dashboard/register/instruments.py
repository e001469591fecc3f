"""Instruments: gauges and loggers with their calibrations, which is past or due, and the forms that keep them so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.book import Book
from dashboard.components.days import days_said, short_day
from dashboard.components.fields import choice_field, foot, name_field, places, row, text_field, typed_by
from dashboard.components.messages import empty, refused, saved
from dashboard.components.tables import Column, table
from study.commands.opening import open_study
from study.commands.register_instruments import (
    Stand,
    list_instruments,
    record_calibration,
    register_instrument,
    supersede_calibration,
)
from study.errors import DwellbookError, NotPossible
from study.model.instrument import DUE_WITHIN_DAYS, MEASURES, Calibration

KEY, TITLE = "instruments", "Instruments"
DAY = "year-month-day"
NEW, CALIBRATED, SUPERSEDED = "new", "calibrated", "superseded"
COLUMNS = (
    Column("key", "Key", tight=True),
    Column("name", "Name"),
    Column("measures", "Measures", tight=True, spare=True),
    Column("capacity", "Up to", tight=True),
    Column("state", "State"),
    Column("calibrations", "Calibrations"),
)
DAYS_ORDER = "From the certificate: the day it was made, and the day it is valid until."


def stands_of(book: Book) -> list[Stand]:
    """Every instrument, what is past calibration first."""
    with open_study(book.study_file) as study:
        return list_instruments(study, on=book.today())


def status_line(stands: Sequence[Stand]) -> str:
    """How many there are and what needs somebody, in one sentence."""
    if not stands:
        return "No instrument is registered yet; a reading may name one once it is."
    count = "1 instrument" if len(stands) == 1 else f"{len(stands)} instruments"
    late = sum(stand.state.state in ("past", "never calibrated", "not yet") for stand in stands)
    due = sum(stand.state.state == "due" for stand in stands)
    said = [f"{late} without a calibration that covers today"] if late else []
    said += [f"{due} due within {DUE_WITHIN_DAYS}\u202fd"] if due else []
    return f"{count}: {', '.join(said) or 'all in calibration'}."


def work(stands: Sequence[Stand]) -> list[Any]:
    """Entering one, what is on file, and the acts on calibrations."""
    return [
        html.Section([html.H2("Register an instrument"), html.Div(new_form(), id="tool-new")]),
        html.Div(id="tool-said", className="said"),
        html.Section(on_file(stands), id="tools-on-file"),
        html.Section(acts(stands), id="tool-acts"),
    ]


def new_form() -> html.Div:
    """One instrument."""
    kinds = [(kind, kind) for kind in MEASURES]
    return html.Div(
        [
            html.P(
                "A reading names its gauge; one past calibration is taken, with a flag that stays.", className="quiet"
            ),
            row(
                text_field(_at(NEW, "instrument"), "Key", "short, without spaces; stands beside each reading"),
                text_field(_at(NEW, "name"), "Name", "what it is, with its serial number"),
                choice_field(_at(NEW, "measures"), "Measures", kinds),
                text_field(_at(NEW, "capacity"), "Up to (optional)", "largest value with its unit, such as 50\u202fN"),
            ),
            row(name_field(_at(NEW, "by"), "Entered by")),
            foot({"tool-do": NEW}, "Register the instrument"),
        ],
        className="card form wide-form",
    )


def on_file(stands: Sequence[Stand]) -> list[Any]:
    """Every instrument with where it stands today and its calibrations in force."""
    head = html.H2(f"On file: {len(stands)}")
    if not stands:
        return [head, empty("Instruments will be listed here, those past calibration first.", "Register one above.")]
    rows = [
        {
            "key": stand.instrument.key,
            "name": stand.instrument.name,
            "measures": stand.instrument.measures,
            "capacity": stand.instrument.capacity or "–",
            "state": html.Span(
                days_said(stand.state.words()),
                className="" if stand.state.state in ("in calibration", "due") else "harm",
            ),
            "calibrations": [html.Div(_said(one)) for one in in_force(stand)] or "none on record",
        }
        for stand in stands
    ]
    return [head, table(COLUMNS, rows, caption="Instruments on file")]


def acts(stands: Sequence[Stand]) -> list[Any]:
    """A calibration recorded, a wrong one superseded; folded until they are wanted."""
    if not stands:
        return []
    keys = [(stand.instrument.key, f"{stand.instrument.key}, {stand.instrument.name}") for stand in stands]
    record = html.Details(
        [
            html.Summary("Record a calibration"),
            html.P(DAYS_ORDER, className="quiet"),
            row(choice_field(_at(CALIBRATED, "instrument"), "Instrument", keys), *_days(CALIBRATED)),
            row(name_field(_at(CALIBRATED, "by"), "Recorded by")),
            foot({"tool-do": CALIBRATED}, "Record the calibration", primary=False),
        ],
        className="card form act",
    )
    found = [(str(one.number), f"{one.instrument}, {_said(one)}") for stand in stands for one in in_force(stand)]
    return [html.H2("Acts"), record, *([_supersede(found)] if found else [])]


def _supersede(found: Sequence[tuple[str, str]]) -> html.Details:
    return html.Details(
        [
            html.Summary("Supersede a wrong calibration"),
            html.P(
                "What is left blank stays as it was; all blank, it is only taken back. Flags on readings stay as they "
                "were entered.",
                className="quiet",
            ),
            row(choice_field(_at(SUPERSEDED, "number"), "Calibration", found, className="long")),
            row(*_days(SUPERSEDED)),
            row(
                name_field(_at(SUPERSEDED, "by"), "Done by"),
                text_field(_at(SUPERSEDED, "why"), "Reason", "one sentence", className="long"),
            ),
            foot({"tool-do": SUPERSEDED}, "Supersede it", primary=False),
        ],
        className="card form act",
    )


def in_force(stand: Stand) -> list[Calibration]:
    """Its calibrations that were not superseded, newest first."""
    kept = [one for one, who in stand.trail if who["superseded_by"] is None]
    return sorted(kept, key=lambda one: (one.calibrated_on, one.number), reverse=True)


def _said(one: Calibration) -> str:
    certificate = f", certificate {one.certificate}" if one.certificate else ""
    return f"{short_day(one.calibrated_on)} to {short_day(one.valid_until)}{certificate}"


def _days(act: str) -> list[Any]:
    return [
        text_field(_at(act, "calibrated_on"), "Calibrated on", DAY),
        text_field(_at(act, "valid_until"), "Valid until", DAY),
        text_field(_at(act, "certificate"), "Certificate (optional)", "its number"),
    ]


def _at(act: str, field: str) -> dict[str, str]:
    return {"tool": act, "field": field}


def done(book: Book, act: str, typed: Mapping[str, str]) -> tuple[Any, dict[str, str], bool]:
    """What is said after an act, the refusals by field, and whether it is in the study now."""
    cells = {name: text for name, text in typed.items() if name not in ("by", "why", "number")}
    try:
        signature = book.sign(typed.get("by"), typed.get("why"))
        with open_study(book.study_file) as study:
            if act == NEW:
                new = register_instrument(study, cells, signature=signature)
                said = f"Instrument {new.key} is registered. Record its calibration below."
            elif act == CALIBRATED:
                made = record_calibration(study, cells, signature=signature)
                said = f"{made.instrument} is covered from {made.calibrated_on} to {made.valid_until}."
            else:
                if not typed.get("number"):
                    raise NotPossible("Nothing is chosen.", "Choose the calibration that is wrong.")
                given = {name: text for name, text in cells.items() if text}
                found = supersede_calibration(study, int(typed["number"]), given, signature=signature)
                said = f"Calibration {found.old.number} of {found.old.instrument} is "
                said += f"superseded by {found.new.number}." if found.new else "taken back."
                if found.readings:
                    name = "reading names" if found.readings == 1 else "readings name"
                    said += f" {found.readings} {name} it within those days; flags stay as they were entered."
    except DwellbookError as error:
        at = places(error, tuple(cells))
        if at:
            words = html.P("Nothing was saved: see the marked fields.")
            return html.Div(words, className="message harm", role="alert"), at, False
        return refused(error), {}, False
    return saved(days_said(said)), {}, True


def register(app: Dash, book: Book) -> None:
    """Each act with its button; what is on file follows it."""

    @app.callback(
        Output("tool-said", "children"),
        Output({"tool": ALL, "field": ALL}, "error"),
        Output("tools-on-file", "children"),
        Output("tool-acts", "children"),
        Output("tool-new", "children"),
        Output("status", "children", allow_duplicate=True),
        Input({"tool-do": ALL}, "n_clicks"),
        State({"tool": ALL, "field": ALL}, "value"),
        prevent_initial_call=True,
    )
    def act(clicks: list[int | None], _: list[Any]) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            raise PreventUpdate
        chosen = ctx.triggered_id["tool-do"]
        said, wrong, kept = done(book, chosen, typed_by(ctx.states_list[0], "field", tool=chosen))
        ids = [entry["id"] for entry in ctx.outputs_list[1]]
        errors = [wrong.get(one["field"], "") if one["tool"] == chosen else "" for one in ids]
        if not kept:
            return said, errors, no_update, no_update, no_update, no_update
        stands, anew = stands_of(book), new_form() if chosen == NEW else no_update
        return said, [no_update] * len(ids), on_file(stands), acts(stands), anew, status_line(stands)
