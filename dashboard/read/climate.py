"""Climate and light on a page: each environment's days, its records, what its sets lived through, and a new file."""

from __future__ import annotations

import base64
import binascii
from typing import Any
from urllib.parse import urlencode

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.days import days_said, short_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field
from dashboard.components.frame import frame
from dashboard.components.graph import graph
from dashboard.components.messages import empty, refused, saved
from dashboard.components.tables import Column, table
from study.commands.opening import open_study
from study.commands.read_climate import (
    ClimatePreview,
    LoggerFile,
    PullClimate,
    climate_of_sets,
    list_climates,
    logged_places,
    preview_climate,
    record_climate,
    withdraw_climate,
)
from study.errors import DwellbookError, NotPossible
from study.model.climate_days import FiledClimate
from study.outputs.climate_report import (
    HEAT_CAUTION,
    SHORT,
    measure_lines,
    preview_lines,
    tabulate_stretches,
)
from study.outputs.figure_climate import climate_caption, draw_climate
from study.outputs.palette import Scheme

NAME = "Read"
ADDRESS = "/read?view=climate"
ORDERS = (("day", "day before month"), ("month", "month before day"))
_FOLLOWS: dict[str, Any] = {"data-scheme": "climate-scheme"}
_POLITE: dict[str, Any] = {"aria-live": "polite"}


def layout(book: Book, environment: str = "", **asked: str) -> html.Div:
    """The climate of one environment, the first logged one if none is named; one of its sets pull by pull."""
    with open_study(book.study_file) as study:
        places = logged_places(study)
    keys = [place.environment.key for place in places]
    logged = [place.environment.key for place in places if place.records]
    here = environment if environment in keys else (logged or keys or [""])[0]
    work: list[Any] = [
        html.P(dcc.Link("Read a coupon", href="/read"), className="quiet"),
        *([_choices(keys, here)] if len(keys) > 1 else []),
        html.Div(id="climate-figure", **_FOLLOWS),
        dcc.Store(id="climate-scheme"),
        dcc.Store(id="climate-here", data={"environment": here, "set": asked.get("set", "")}),
        keep_form(keys, here),
        off_form(),
        html.Div(shown(book, here, asked.get("set", "")), id="climate-work"),
    ]
    records = sum(place.records for place in places)
    count = "1 record is" if records == 1 else f"{records} records are"
    status = f"{count} on file, of {len(logged)} of {len(keys)} environments."
    return frame(book, active=NAME, title="Climate and light", status=status, work=work)


def _choices(keys: list[str], here: str) -> html.Nav:
    links = [
        dcc.Link(
            key, href=f"/read?{urlencode({'view': 'climate', 'environment': key})}",
            className="word here" if key == here else "word",
        )
        for key in keys
    ]  # fmt: skip
    return html.Nav(links, className="choices", **heard_as("Environments"))


def shown(book: Book, environment: str, set_key: str = "") -> list[Any]:
    """The records of an environment, what its sets lived through, and one of them pull by pull."""
    with open_study(book.study_file) as study:
        records = [one for one in list_climates(study) if one.environment == environment]
        sets = [one for one in climate_of_sets(study, today=book.today()) if one.environment == environment]
    if not records:
        return [
            empty(
                f"Climate and light of {environment or 'each environment'} will stand here, and what each set lived.",
                "Keep the first logger's file below.",
                f"dwellbook read climate FILE --environment {environment or 'KEY'}",
            )
        ]
    return [_records(records), *_sets(sets, set_key)]


def _records(records: list[FiledClimate]) -> html.Section:
    columns = (
        Column("number", "Record", number=True), Column("name", "File"), Column("span", "From – to", tight=True),
        Column("read", "Read", tight=True), Column("doubts", "In doubt"), Column("by", "Kept by", quiet=True),
    )  # fmt: skip
    rows = [
        {
            "number": str(one.number), "name": one.name,
            "span": days_said(f"{one.from_at[:10]} – {one.to_at[:10]}"),
            "read": ", ".join(SHORT[measure] for measure in one.days.days),
            "doubts": _doubts(one),
            "by": days_said(f"{one.by}, {one.at[:10]}"),
        }
        for one in records
    ]  # fmt: skip
    return html.Section([html.H2("Records"), table(columns, rows, caption="Climate records of this environment")])


def _doubts(one: FiledClimate) -> Any:
    if one.superseded_by is not None:
        return days_said(f"superseded by {one.superseded_by} on {(one.superseded_at or '')[:10]}: {one.why}")
    if not one.doubts:
        return "no gaps"
    return html.Ul([html.Li(days_said(doubt)) for doubt in one.doubts], className="plain")


def _sets(found: list[PullClimate], set_key: str) -> list[Any]:
    """Each set over all it lived through so far, and the chosen one pull by pull."""
    last = {one.set_key: one for one in found}  # in order of time, so that the furthest stays
    rows: list[dict[str, Any]] = []
    for cells, one in zip(tabulate_stretches(list(last.values())), last.values(), strict=True):
        asked = urlencode({"view": "climate", "environment": one.environment, "set": one.set_key})
        rows.append({**cells, "set": dcc.Link(one.set_key, href=f"/read?{asked}")})
    parts: list[Any] = [
        html.Section(
            [
                html.H2("What each set lived through"),
                html.P(
                    "From placement to its last pull, or so far, by what was logged. What was not logged is not filled "
                    "in: means speak of the logged time, and a dose is then “at least”. A set's key opens its pulls.",
                    className="quiet",
                ),
                table(_STRETCHES, rows, caption="Climate and light of each set"),
                *(html.P(words) for words in dict.fromkeys(one.bands.words() for one in found)),
                html.P(HEAT_CAUTION, className="quiet"),
            ]
        )
    ]
    chosen = [one for one in found if one.set_key == set_key]
    if chosen:
        title = f"{set_key}, {chosen[0].title}, pull by pull"
        parts.insert(0, html.Section([html.H2(title), table(_STRETCHES, tabulate_stretches(chosen), caption=title)]))
    return parts


_STRETCHES = (
    Column("set", "Set", tight=True), Column("pull", "Up to", tight=True),
    Column("days", "Dwell", unit="d", number=True),
    Column("temperature", "Temperature", unit="°C, mean (range)", tight=True),
    Column("kinetic", "Kinetic", unit="°C", number=True, spare=True),
    Column("humidity", "RH", unit="%, mean (range)", tight=True),
    Column("dose", "Light dose", unit="Mlx h", number=True, tight=True),
    Column("outside", "Outside band", unit="h", tight=True), Column("covered", "Logged", unit="% of dwell", tight=True),
)  # fmt: skip


def keep_form(keys: list[str], here: str) -> html.Details:
    """A logger's file, what it cannot say itself, and who keeps it."""
    places = [(key, key) for key in keys]
    chooser = dcc.Upload(
        [html.Span("Choose a file", className="chooser"), html.Span(" or drop it here")],
        id="logger-file", multiple=False, className="upload", className_active="upload over", style={},
        style_active={},
    )  # fmt: skip
    return html.Details(
        [
            html.Summary("Keep a logger's file"),
            html.Div(
                [
                    html.Div("Logger's file", id="logger-file-label", className="mantine-InputWrapper-label"),
                    chooser,
                    html.P(
                        "CSV, text or .xlsx with a time and temperature, humidity, lux or UV.",
                        id="logger-file-help",
                        className="mantine-InputWrapper-description",
                    ),
                    html.P("No file is chosen.", id="logger-chosen", className="quiet", role="status"),
                ]
            ),
            row(
                choice_field("logger-environment", "Environment", places, "where it stood", value=here or None),
                text_field("logger-zone", "Zone of its clock", "Europe/Vienna, +01:00 or UTC"),
                choice_field("logger-order", "Order in dates", ORDERS, "where 03/04/2025 may be either"),
            ),
            row(
                text_field("logger-instrument", "Logger", "its key, if it is registered"),
                text_field("logger-temperature", "Temperature band", "18 to 22; blank: as declared"),
                text_field("logger-humidity", "Humidity band", "45 to 55; blank: as declared"),
            ),
            row(
                text_field("logger-supersedes", "Supersedes record", "its number, if it replaces one"),
                text_field("logger-why", "Reason", "needed where it replaces one", className="long"),
                name_field("logger-by", "Kept by"),
            ),
            foot(
                "logger-look", "Look at it first", primary=False,
                beside=html.Button("Keep it", id="logger-keep", className="primary"),
            ),
            html.Div(id="logger-said", className="said", **_POLITE),
        ],
        className="card form act",
        open=not keys,
    )  # fmt: skip


def off_form() -> html.Details:
    """A record kept by mistake is taken back, with a reason."""
    return html.Details(
        [
            html.Summary("Take a record back"),
            html.P("Its file stays in the study and in the trail; it no longer counts.", className="quiet"),
            row(
                text_field("climate-off-number", "Record", "its number"),
                text_field("climate-off-why", "Reason", "what is wrong with it", className="long"),
                name_field("climate-off-by", "Taken back by"),
            ),
            foot("climate-off", "Take it back", primary=False),
            html.Div(id="climate-off-said", className="said", **_POLITE),
        ],
        className="card form act",
    )


def figure_shown(book: Book, environment: str, scheme: Scheme) -> Any:
    """The days of an environment as its records in force say them; nothing where there are none."""
    with open_study(book.study_file) as study:
        records = [one for one in list_climates(study, superseded=False) if one.environment == environment]
        place = next((place for place in logged_places(study) if place.environment.key == environment), None)
    if not records or place is None:
        return None
    days = [one.days for one in records]
    return graph(
        draw_climate(days, bands=place.bands.bands, scheme=scheme),
        key="climate-graph",
        title=f"Climate and light of {environment}",
        words=days_said(climate_caption(days, bands_words=place.bands.words())),
    )


def looked_at(found: ClimatePreview) -> html.Div:
    """What a file says, before it is kept."""
    summary = found.summary
    more = preview_lines(summary.kinetic, summary.light, summary.ultraviolet_uw_per_lm)
    lines = [*measure_lines(summary.measures), *more]
    doubts = [*found.filed.doubts, *found.overlaps]
    same = [html.P(html.Strong(f"This file {found.same}."))] if found.same else []
    doubted = [html.P("In doubt:"), html.Ul([html.Li(days_said(one)) for one in doubts])] if doubts else []
    return html.Div(
        [
            html.P([html.Strong(found.filed.name), " says this; nothing is kept yet."]),
            *same,
            html.Ul([html.Li(days_said(line)) for line in [*lines, found.bands.words()]]),
            *doubted,
            html.P(f"Understood: {'; '.join(found.filed.notes)}.", className="quiet"),
        ],
        className="message",
        role="status",
    )


def logger_file(content: str | None, name: str | None, zone: str, order: str, instrument: str) -> LoggerFile:
    """The chosen file with what was said of it.

    Raises
    ------
    NotPossible
        If no file is chosen, or it did not come through.
    """
    if not content or not name:
        raise NotPossible("No file is chosen.", "Choose the logger's file first.")
    head, comma, coded = content.partition(",")
    try:
        if not (comma and head.startswith("data:") and head.endswith("base64")):
            raise ValueError
        read = base64.b64decode(coded, validate=True)
    except (binascii.Error, ValueError):
        raise NotPossible(f"{name} did not come through whole.", "Choose it again.") from None
    day_first = {"day": True, "month": False}.get(order)
    return LoggerFile(name, read, zone.strip(), day_first, "", instrument.strip())


def _number(typed: str) -> int:
    text = typed.strip()
    if not text:
        return 0
    if not text.isdecimal():
        raise NotPossible(f"“{text}” is not the number of a record.", "Take it from the table of records.")
    return int(text)


_STATES = (
    State("logger-file", "contents"), State("logger-file", "filename"), State("logger-environment", "value"),
    State("logger-zone", "value"), State("logger-order", "value"), State("logger-instrument", "value"),
    State("logger-temperature", "value"), State("logger-humidity", "value"),
)  # fmt: skip


def register(app: Dash, book: Book) -> None:
    """Looking at a file, keeping it, taking a record back; the figure in the scheme of the page."""
    app.clientside_callback(
        ClientsideFunction("dwellbook", "scheme"), Output("climate-scheme", "data"), Input("climate-here", "data")
    )

    @app.callback(
        Output("climate-figure", "children"),
        Input("climate-scheme", "data"),
        Input("climate-work", "children"),
        State("climate-here", "data"),
    )
    def draw(scheme: str | None, _: Any, here: dict[str, str] | None) -> Any:
        if scheme not in ("light", "dark") or not here:
            return no_update
        try:
            return figure_shown(book, here["environment"], "dark" if scheme == "dark" else "light")
        except DwellbookError as error:
            return refused(error)

    @app.callback(Output("logger-chosen", "children"), Input("logger-file", "filename"), prevent_initial_call=True)
    def chosen(name: str | None) -> Any:
        return f"Chosen, not kept yet: {name}." if name else "No file is chosen."

    @app.callback(
        Output("logger-said", "children"), Input("logger-look", "n_clicks"), *_STATES, prevent_initial_call=True
    )
    def look(clicks: int | None, *typed: str | None) -> Any:
        return looked(book, *(part or "" for part in typed)) if clicks else no_update

    @app.callback(
        Output("logger-said", "children", allow_duplicate=True),
        Output("climate-work", "children"),
        Output("logger-file", "contents"),
        Output("logger-file", "filename"),
        Input("logger-keep", "n_clicks"),
        *_STATES,
        State("logger-supersedes", "value"),
        State("logger-why", "value"),
        State("logger-by", "value"),
        State("climate-here", "data"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, *typed: Any) -> Any:
        if not clicks:
            return no_update, no_update, no_update, no_update
        *asked, here = typed
        said, done = kept(book, *(part or "" for part in asked))
        return (
            (said, shown(book, here["environment"], here["set"]), None, None)
            if done
            else (said, no_update, no_update, no_update)
        )

    @app.callback(
        Output("climate-off-said", "children"),
        Output("climate-work", "children", allow_duplicate=True),
        Input("climate-off", "n_clicks"),
        State("climate-off-number", "value"),
        State("climate-off-why", "value"),
        State("climate-off-by", "value"),
        State("climate-here", "data"),
        prevent_initial_call=True,
    )
    def off(clicks: int | None, number: str | None, why: str | None, by: str | None, here: dict[str, str]) -> Any:
        if not clicks:
            return no_update, no_update
        said, done = taken_back(book, number or "", why or "", by or "")
        return said, shown(book, here["environment"], here["set"]) if done else no_update


def looked(
    book: Book, content: str, name: str, environment: str, zone: str, order: str, instrument: str, temperature: str,
    humidity: str,
) -> html.Div:  # fmt: skip
    """What a chosen file says; nothing is written."""
    try:
        file = logger_file(content, name, zone, order, instrument)
        bands = {"temperature": temperature, "humidity": humidity}
        with open_study(book.study_file) as study:
            return looked_at(preview_climate(study, file, environment=environment, bands=bands))
    except DwellbookError as error:
        return refused(error)


def kept(
    book: Book, content: str, name: str, environment: str, zone: str, order: str, instrument: str, temperature: str,
    humidity: str, supersedes: str, why: str, by: str,
) -> tuple[html.Div, bool]:  # fmt: skip
    """What is said once a file was kept or refused, and whether it was kept."""
    try:
        file = logger_file(content, name, zone, order, instrument)
        bands = {"temperature": temperature, "humidity": humidity}
        with open_study(book.study_file) as study:
            found = record_climate(
                study, file, environment=environment, signature=book.sign(by, why), supersedes=_number(supersedes),
                bands=bands,
            )  # fmt: skip
    except DwellbookError as error:
        return refused(error), False
    filed = found.filed
    return saved(
        " ".join(
            [
                f"{filed.name} is climate record {filed.number} of {filed.environment}, "
                f"{short_day(found.record.moment(0).date())} to {short_day(found.record.moment(-1).date())}.",
                *(days_said(words) for words in found.overlaps),
            ]
        )
    ), True


def taken_back(book: Book, number: str, why: str, by: str) -> tuple[html.Div, bool]:
    """What is said once a record was taken back or not, and whether it was."""
    try:
        with open_study(book.study_file) as study:
            old = withdraw_climate(study, _number(number), signature=book.sign(by, why))
    except DwellbookError as error:
        return refused(error), False
    return saved(f"Climate record {old.number} ({old.name}) is taken back; it stays in the trail."), True
