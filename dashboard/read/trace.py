"""Force traces on a page: a gauge's files looked at with their window and flags, then entered with the force."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any
from urllib.parse import quote

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.book import Book
from dashboard.components.days import days_said, typed_day
from dashboard.components.fields import choice_field, name_field, row, text_field, typed_by
from dashboard.components.frame import frame
from dashboard.components.graph import graph
from dashboard.components.messages import refused, saved, told
from dashboard.components.uploads import sent_bytes
from dashboard.read.saving import asked_shown
from study.commands.opening import open_study
from study.commands.read_trace import TraceLooked, enter_traces, look_at_traces
from study.commands.register_instruments import list_instruments
from study.commands.traces import GaugeFile, shown, trace_asked
from study.errors import DwellbookError, FileRefused, NotPossible, Unanswered
from study.model.trace_asked import GEOMETRIES, PULL_OFF
from study.outputs.figure_trace import draw_trace
from study.outputs.palette import Scheme

STATUS = "A gauge’s file becomes a removal force: the peak of a pull-off, the mean of a peel."
FIELD = {"trace": ALL}
ANSWER = {"kind": "trace-answer", "question": ALL}
_POLITE: dict[str, Any] = {"aria-live": "polite"}
_FOLLOWS: dict[str, Any] = {"data-scheme": "gauge-scheme"}
SIGNS = (("found", "found by itself"), ("as logged", "as logged"), ("flipped", "flipped"))
DECIMALS = ((".", "a point"), (",", "a comma"))
PARTS = (("before", "before it"), ("after", "after it"))
BESIDE = ("coupon", "observed")
"""Fields that are no plain part of how a trace is read."""


def layout(book: Book, code: str = "") -> html.Div:
    """The page: the files, the test it was, and below what they say."""
    with open_study(book.study_file) as study:
        gauges = [one.instrument for one in list_instruments(study, on=book.today())]
    tools = [(one.key, f"{one.key}, {one.name}") for one in gauges if one.measures in ("force", "other")]
    work = [
        _form(code, tools, today=book.today().isoformat()),
        html.Div(id="trace-said", className="said", **_POLITE),
        html.Div(id="gauge-figures", **_FOLLOWS),
        html.P(dcc.Link("Back to reading", href=f"/read?code={quote(code)}" if code else "/read")),
        dcc.Store(id="gauge-scheme"),
        dcc.Store(id="trace-looked"),
        dcc.Store(id="trace-answers"),
    ]
    return frame(book, active="Read", title="Force traces", status=STATUS, work=work)


def _at(field: str) -> dict[str, str]:
    return {"trace": field}


def _form(code: str, tools: Sequence[tuple[str, str]], *, today: str) -> html.Div:
    kept: dict[str, Any] = {"persistence": True, "persistence_type": "session"}
    chooser = dcc.Upload(
        [html.Span("Choose files", className="chooser"), html.Span(" or drop them here")],
        id="trace-files", multiple=True, className="upload", className_active="upload over", style={}, style_active={},
    )  # fmt: skip
    per_minute = html.Span("mm/min", className="quiet")
    more = [
        text_field(_at("force_unit"), "Unit of force", "N, gf, kgf, lbf"),
        choice_field(_at("decimal"), "Decimal sign", DECIMALS),
        text_field(_at("rate_hz"), "Samples per second", "where the file has no times", unit="Hz"),
        text_field(_at("capacity_n"), "End of the gauge’s scale", "a registered gauge knows it", unit="N"),
        text_field(_at("resolution_n"), "Smallest step", unit="N"),
        choice_field(_at("sign"), "Sign of tension", SIGNS, value="found", clearable=False),
        text_field(_at("window"), "Window of a peel", "25–75 mm if left blank; central 80 %, or 20–60 mm"),
        text_field(_at("observed"), "Seen", "backing broke; strip tore; slip in the grip"),
    ]
    pieces = [
        text_field(_at("segment"), "Stretch", "between restarts of the clock: 1, 2, …"),
        text_field(_at("split_at_s"), "Split at", "where a file holds two removals", unit="s"),
        choice_field(_at("part"), "Take the part", PARTS),
        text_field(_at("pause_s"), "Join after", "pause between files that are one removal", unit="s"),
    ]
    return html.Div(
        [
            html.Div("Gauge’s files", id="trace-files-label", className="mantine-InputWrapper-label"),
            chooser,
            html.P(
                "CSV, text or .xlsx, one removal each; a coupon’s code in the name finds the coupon.",
                id="trace-files-help", className="mantine-InputWrapper-description",
            ),
            html.P("No file is chosen.", id="trace-chosen", className="quiet", role="status"),
            row(
                choice_field(_at("geometry"), "Geometry", [(one, one) for one in GEOMETRIES], "of the test",
                             value=PULL_OFF, clearable=False, **kept),
                text_field(_at("speed_mm_per_min"), "Crosshead speed", rightSectionWidth=76, rightSection=per_minute,
                           **kept),
                text_field(_at("width_mm"), "Width of the strip", "actual mean width, of a peel", unit="mm", **kept),
                choice_field(_at("instrument"), "Gauge", tools, "registered; gives its end of scale", **kept),
            ),
            html.Details([html.Summary("What the file cannot say itself"), row(*more)], className="fold"),
            html.Details([html.Summary("A piece of a file, or one removal over two"), row(*pieces)], className="fold"),
            row(
                text_field(_at("coupon"), "Coupon", "code or own mark; blank: by each file’s name", value=code),
                text_field("trace-on", "Read on", "year-month-day", value=today),
                name_field("trace-by", "Read by"),
            ),
            html.Div(
                [
                    html.Button("Look at it first", id="trace-look", className="second"),
                    html.Button("Enter the forces", id="trace-enter", className="primary"),
                ],
                className="foot",
            ),
        ],
        className="card form wide-form",
    )  # fmt: skip


def looked_at(
    book: Book, contents: Sequence[str] | None, names: Sequence[str] | None, typed: Mapping[str, str]
) -> list[TraceLooked]:
    """What the chosen files say; nothing is written.

    Raises
    ------
    DwellbookError
        If none is chosen, or one cannot be understood.
    """
    files = _files(contents, names)
    with open_study(book.study_file) as study:
        return look_at_traces(study, files, _asked(typed), coupon=typed.get("coupon", ""))


def _files(contents: Sequence[str] | None, names: Sequence[str] | None) -> list[GaugeFile]:
    if not contents:
        raise NotPossible("No file is chosen.", "Choose the gauge’s file first.")
    return [GaugeFile(name, sent_bytes(text, name)) for text, name in zip(contents, names or (), strict=True)]


def _asked(typed: Mapping[str, str]) -> Any:
    seen = tuple(part.strip() for part in typed.get("observed", "").split(";") if part.strip())
    plain = {name: text for name, text in typed.items() if name not in BESIDE and text}
    return trace_asked(**plain, observed=seen)


def _refused(error: DwellbookError) -> html.Div:
    """A refusal in which each fault begins with the file it is about."""
    if not isinstance(error, FileRefused):
        return refused(error)
    lines = [html.Li(f"{problem.column}: {told(replace(problem, row=0))}") for problem in error.problems]
    return html.Div([html.P("Nothing was entered."), html.Ul(lines)], className="message harm", role="alert")


def looked_shown(found: Sequence[TraceLooked]) -> html.Div:
    """What each trace says, before it is entered."""
    parts: list[Any] = []
    for one in found:
        said = one.typed or "no force"
        lines = [*one.lines, *(f"Will be asked: {question}" for question in one.questions)]
        parts.append(html.P([html.Strong(f"{one.code}: {said}"), f", from {one.reduced.name}."]))
        parts.append(html.Ul([html.Li(days_said(line)) for line in lines]))
    return html.Div([*parts, html.P("Nothing is entered yet.", className="quiet")], className="message", role="status")


def entered(
    book: Book, contents: Sequence[str] | None, names: Sequence[str] | None, typed: Mapping[str, str], *, on: str,
    by: str, answers: Mapping[str, str],
) -> tuple[list[Any], bool]:  # fmt: skip
    """What is said once the forces were entered or refused, and whether they are in the study now."""
    try:
        files = _files(contents, names)
        with open_study(book.study_file) as study:
            readings = enter_traces(
                study, files, _asked(typed), coupon=typed.get("coupon", ""), read_on=typed_day(on),
                signature=book.sign(by), answers=answers,
            )  # fmt: skip
    except Unanswered as error:
        return [asked_shown(error, kind="trace-answer")], False
    except DwellbookError as error:
        return [_refused(error)], False
    forces = "1 force is" if len(readings) == 1 else f"{len(readings)} forces are"
    lines = [
        html.Li([dcc.Link(one.code, href=f"/read?code={quote(one.code)}", className="code"), f": {one.typed}"])
        for one in readings
    ]
    return [saved(f"{forces} entered, each with its trace."), html.Ul(lines)], True


def figures(
    book: Book, contents: Sequence[str] | None, names: Sequence[str] | None, typed: Mapping[str, str], *,
    scheme: Scheme,
) -> list[Any]:  # fmt: skip
    """One figure for each trace that was looked at; none where it is not understood."""
    try:
        found = looked_at(book, contents, names, typed)
    except DwellbookError:
        return []
    drawn = [(one, shown(one.reduced, words=" ".join(one.lines))) for one in found]
    return [
        graph(draw_trace(trace, scheme=scheme), key=f"gauge-{place}", title=f"{one.code}, {one.reduced.name}",
              words=trace.words)
        for place, (one, trace) in enumerate(drawn, start=1) if trace is not None
    ]  # fmt: skip


def register(app: Dash, book: Book) -> None:
    """Saying which files were chosen; looking, asking, entering; the figures in the scheme of the page."""
    app.clientside_callback(
        ClientsideFunction("dwellbook", "scheme"), Output("gauge-scheme", "data"), Input("trace-looked", "data")
    )

    @app.callback(Output("trace-chosen", "children"), Input("trace-files", "filename"), prevent_initial_call=True)
    def chosen(names: list[str] | None) -> Any:
        return f"Chosen, not entered yet: {', '.join(names)}." if names else "No file is chosen."

    sent = (State("trace-files", "contents"), State("trace-files", "filename"), State(FIELD, "value"))

    @app.callback(
        Output("trace-said", "children"),
        Output("trace-looked", "data"),
        Output("trace-files", "contents"),
        Output("trace-files", "filename"),
        Output("trace-answers", "data"),
        Input("trace-look", "n_clicks"),
        Input("trace-enter", "n_clicks"),
        Input(ANSWER, "n_clicks"),
        *sent,
        State("trace-on", "value"),
        State("trace-by", "value"),
        State("trace-looked", "data"),
        State("trace-answers", "data"),
        prevent_initial_call=True,
    )
    def act(*asked: Any) -> Any:
        if not any(one["value"] for one in ctx.triggered):
            raise PreventUpdate
        contents, names, _, on, by, looked, so_far = asked[3:]
        typed, still = typed_by(ctx.states_list[2], "trace"), (no_update, no_update)
        if ctx.triggered_id == "trace-look":
            try:
                return looked_shown(looked_at(book, contents, names, typed)), (looked or 0) + 1, *still, {}
            except DwellbookError as error:
                return _refused(error), None, *still, {}
        answers: dict[str, str] = {}
        if isinstance(ctx.triggered_id, dict):  # one of several questions; what was answered before stays answered
            question, _, answer = ctx.triggered_id["question"].partition("=")
            answers = {**(so_far or {}), question: answer}
        said, done = entered(book, contents, names, typed, on=on or "", by=by or "", answers=answers)
        return (said, None, None, None, {}) if done else (said, no_update, *still, answers)

    @app.callback(
        Output("gauge-figures", "children"), Input("gauge-scheme", "data"), Input("trace-looked", "data"), *sent
    )
    def draw(scheme: str | None, looked: int | None, contents: Any, names: Any, _: Any) -> Any:
        if not looked or scheme not in ("light", "dark"):
            return []
        typed = typed_by(ctx.states_list[2], "trace")
        return figures(book, contents, names, typed, scheme="dark" if scheme == "dark" else "light")
