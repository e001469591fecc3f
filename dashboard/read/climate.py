"""Climate and light on a page: each environment's days, its records, and what its sets lived through."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.days import days_said
from dashboard.components.frame import frame
from dashboard.components.graph import graph
from dashboard.components.messages import empty, refused
from dashboard.components.tables import Column, table
from dashboard.read.climate_keep import keep_form, kept, looked, off_form, taken_back
from study.commands.opening import open_study
from study.commands.read_climate import (
    PullClimate,
    climate_of_sets,
    list_climates,
    logged_places,
)
from study.errors import DwellbookError
from study.model.climate_days import FiledClimate
from study.outputs.climate_report import (
    HEAT_CAUTION,
    SHORT,
    tabulate_stretches,
)
from study.outputs.figure_climate import climate_caption, draw_climate
from study.outputs.palette import Scheme

NAME = "Read"
ADDRESS = "/read?view=climate"
_FOLLOWS: dict[str, Any] = {"data-scheme": "climate-scheme"}


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
        html.Div(shown(book, here, asked.get("set", "")), id="climate-work"),
        keep_form(keys, here),
        *([off_form()] if logged else []),
    ]
    records = sum(place.records for place in places)
    count = "1 record is" if records == 1 else f"{records} records are"
    status = (
        f"{count} on file, of {len(logged)} of {len(keys)} environments." if records else "No record is on file yet."
    )
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
    Column("outside", "Outside band", unit="h", tight=True), Column("covered", "Logged", unit="%", tight=True),
)  # fmt: skip


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
