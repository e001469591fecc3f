"""Changed: a maker's adhesive withdrawn or reformulated, successors compared, and protocols amended under way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import days_said, short_day, typed_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field, typed_by
from dashboard.components.messages import durations_awaited, durations_said, refused, saved, would_be_refused
from dashboard.components.tables import Column, table
from dashboard.components.uploads import sent_bytes
from dashboard.pull.due import begin
from study.commands.bridges import bridges
from study.commands.opening import open_study
from study.commands.register_amend import (
    Amended,
    amend_protocol,
    amendment_moves,
    amendments_told,
    foresee_amendment,
)
from study.commands.register_status import AdhesiveStanding, adhesives_standing, status_words
from study.commands.shelf import Register, register_book
from study.errors import DwellbookError, NotPossible

COMPARED_NOTE = (
    "A bridging set has another adhesive on the same surface, environment, dots and load. Its comparison carries no "
    "duration: whether results of one count for the other is decided by a person, with a reason, on the page Decide."
)


def changed(book: Book) -> list[Any]:
    """What became of each adhesive, successors beside predecessors, and the form for a protocol's new version."""
    with open_study(book.study_file) as study:
        found, told = register_book(study), amendments_told(study)
        standing = adhesives_standing(study, on=book.today())
    if not found.adhesives:
        start = dcc.Link("Register an adhesive first", href="/register?what=adhesives")
        return [begin("What a maker changes, and what a protocol changes, stands here.", start)]
    return [
        html.Div(id="changed-said", className="said"),
        html.Section(
            [
                html.H2("Withdrawn or reformulated"),
                adhesives_listed(standing),
                html.P(["A new status is entered on ", dcc.Link("Register, adhesives", href="/register?what=adhesives"),
                        "; so is a successor."], className="quiet"),
            ]
        ),
        html.Section([html.H2("A successor beside its predecessor"), html.P(COMPARED_NOTE, className="quiet"),
                      html.Div(id="bridges-shown")]),
        html.Section([html.H2("Protocols amended"), html.Div(amendments_listed(told), id="amended-listed")]),
        amend_form(found, today=book.today().isoformat()),
    ]  # fmt: skip


def adhesives_listed(standing: Sequence[AdhesiveStanding]) -> Any:
    """Each adhesive with its status and what that means for objects and evidence."""
    columns = (Column("adhesive", "Adhesive"), Column("status", "Status", tight=True), Column("means", "What it means"))
    rows = [
        {
            "adhesive": one.adhesive.name,
            "status": f"{one.adhesive.status}, {short_day(one.adhesive.status_on)}" if one.adhesive.status_on
            else one.adhesive.status,
            "means": " ".join(status_words(one, one.adhesive.status)),
        }
        for one in standing
    ]  # fmt: skip
    return table(columns, rows, caption="Adhesives and what rests on them")


def bridges_shown(book: Book) -> list[Any]:
    """Every successor that can be compared, in sentences."""
    try:
        with book.estimating, open_study(book.study_file) as study:
            found = bridges(study)
            titles = {pairing.key: pairing.title for pairing in register_book(study).pairings}
    except DwellbookError as error:
        return [refused(error)]
    if not found:
        return [html.P("No successor stands on the same surface as its predecessor yet.")]
    shown: list[Any] = []
    for one in found:
        # The last sentence is the note that stands above them all.
        lines = [html.Li(days_said(words)) for words in one.sentences()[: -1 if one.pulls else None]]
        named = [f"{key}, {titles[key.split('/')[0]]}" for key in (one.new, one.old)]
        shown += [html.H3(" beside ".join(named)), html.Ul(lines)]
    return shown


def amendments_listed(told: Sequence[tuple[str, str]]) -> list[Any]:
    """Amendments on record, the newest first."""
    if not told:
        return [html.P("No protocol was amended.")]
    columns = (Column("what", "Of", tight=True), Column("words", "What was changed"))
    rows = [{"what": what, "words": days_said(words)} for what, words in told]
    return [table(columns, rows, caption="Amendments, the newest first")]


def amend_form(found: Register, *, today: str) -> html.Div:
    """Which sets, the file of the new version, from when, and why; what it does is said before it is done."""
    protocols = dict.fromkeys(one.protocol for one in found.sets)
    choices = [(key, f"every set under {key}") for key in protocols]
    choices += [(one.key, f"{one.key} {one.title}, all its lots") for one in found.pairings]
    choices += [(one.coupon_set.key, f"set {one.coupon_set.key}") for one in found.sets]
    chooser = dcc.Upload(
        [html.Span("Choose a file", className="chooser"), html.Span(" or drop it here")],
        id="amend-file", multiple=False, className="upload", className_active="upload over", style={}, style_active={},
    )  # fmt: skip
    return html.Div(
        [
            html.H2("Amend a protocol"),
            html.P(
                "Another version of the same protocol holds for sets under way. Criteria changed after readings were "
                "seen stay visible beside every estimate and decision for good.", className="quiet",
            ),
            row(
                choice_field(_at("subject"), "For", choices, "a pairing is amended with all its lots",
                             value=choices[0][0] if choices else None, className="long"),
                text_field(_at("on"), "Holds from", "year-month-day", value=today, debounce=300),
            ),
            html.Div(
                [
                    html.Div("New version", id="amend-file-label", className="mantine-InputWrapper-label"),
                    chooser,
                    html.P("The protocol’s TOML file with another version number.", id="amend-file-help",
                           className="mantine-InputWrapper-description"),
                    html.P("No file is chosen.", id="amend-chosen", className="quiet", role="status"),
                ]
            ),
            html.Div(id="amend-effect", className="effect", role="status"),
            html.Div(id="amend-moves", className="effect", role="status"),
            dcc.Store(id="amend-asked"),
            row(text_field(_at("why"), "Reason", "one sentence; it stays in the trail", className="long")),
            row(name_field(_at("by"), "Entered by")),
            foot("amend-save", "Amend the protocol"),
        ],
        className="card form",
    )  # fmt: skip


def _at(name: str) -> dict[str, str]:
    return {"amend": name}


def _text(content: str | None, name: str | None) -> str:
    if not content or not name:
        raise NotPossible("No file is chosen.", "Choose the protocol's new version first.")
    try:
        return sent_bytes(content, name).decode("utf-8")
    except UnicodeDecodeError:
        raise NotPossible(f"{name} is no text in UTF-8.", "Choose the protocol's TOML file.") from None


def foreseen(book: Book, typed: dict[str, str], content: str | None, name: str | None) -> tuple[list[Any], bool]:
    """What the amendment would do, before it is recorded, and whether durations may move by it."""
    if not content:
        return [], False
    try:
        with open_study(book.study_file) as study:
            found = foresee_amendment(
                study, typed.get("subject", ""), name or "", content=_text(content, name),
                from_on=typed_day(typed.get("on")), today=book.today(),
            )  # fmt: skip
    except DwellbookError as error:
        return would_be_refused(error), False
    return said_of(found), bool(found.readings_seen and found.changed)


def moves_shown(book: Book, typed: dict[str, str], content: str | None, name: str | None) -> list[Any]:
    """Which durations would move, and which would stay."""
    try:
        with book.estimating, open_study(book.study_file) as study:
            moved = amendment_moves(
                study, typed.get("subject", ""), name or "", content=_text(content, name),
                from_on=typed_day(typed.get("on")), signature=book.sign("nobody yet"),
            )  # fmt: skip
    except DwellbookError as error:
        return would_be_refused(error)
    return durations_said(moved)


def said_of(found: Amended) -> list[Any]:
    """An amendment in sentences; what is judged otherwise after readings were seen in the one colour for harm."""
    late = bool(found.readings_seen and found.changed)
    lines = [
        html.P(words, className="harm" if late and words.startswith("Judged differently") else "")
        for words in found.sentences()
    ]
    return [html.P("What follows for the analysis", className="quiet head"), *lines]


def done(book: Book, typed: dict[str, str], content: str | None, name: str | None) -> tuple[Any, bool]:
    """What is shown after amending, and whether it was done."""
    try:
        with open_study(book.study_file) as study:
            found = amend_protocol(
                study, typed.get("subject", ""), name or "", content=_text(content, name),
                from_on=typed_day(typed.get("on")), signature=book.sign(typed.get("by"), typed.get("why")),
            )  # fmt: skip
    except DwellbookError as error:
        return refused(error), False
    sets = "1 set" if len(found.sets) == 1 else f"{len(found.sets)} sets"
    return saved(f"{found.after} holds for {sets} from {short_day(typed_day(typed.get('on')))}."), True


def register(app: Dash, book: Book) -> None:
    """Bridges worked out beside the page; an amendment foreseen and recorded."""
    app.callback(Output("bridges-shown", "children"), Input("bridges-shown", "id"))(lambda _: bridges_shown(book))

    @app.callback(
        Output("amend-effect", "children"),
        Output("amend-chosen", "children"),
        Output("amend-moves", "children", allow_duplicate=True),
        Output("amend-asked", "data"),
        Input({"amend": ALL}, "value"),
        Input("amend-file", "contents"),
        State("amend-file", "filename"),
        prevent_initial_call=True,
    )
    def foresee(_: list[Any], content: str | None, name: str | None) -> Any:
        if isinstance(ctx.triggered_id, dict) and ctx.triggered_id["amend"] in ("why", "by"):
            return (no_update,) * 4
        shown, moving = foreseen(book, typed_by(ctx.inputs_list[0], "amend"), content, name)
        return shown, name or "No file is chosen.", durations_awaited(moving), moving

    @app.callback(
        Output("amend-moves", "children"),
        Input("amend-asked", "data"),
        State({"amend": ALL}, "value"),
        State("amend-file", "contents"),
        State("amend-file", "filename"),
        prevent_initial_call=True,
    )
    def move(moving: bool | None, _: list[Any], content: str | None, name: str | None) -> Any:
        return moves_shown(book, typed_by(ctx.states_list[0], "amend"), content, name) if moving else None

    @app.callback(
        Output("changed-said", "children"),
        Output("amended-listed", "children"),
        Input("amend-save", "n_clicks"),
        State({"amend": ALL}, "value"),
        State("amend-file", "contents"),
        State("amend-file", "filename"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, _: list[Any], content: str | None, name: str | None) -> Any:
        if not clicks:
            return no_update, no_update
        shown, kept = done(book, typed_by(ctx.states_list[0], "amend"), content, name)
        if not kept:
            return shown, no_update
        with open_study(book.study_file) as study:
            return shown, amendments_listed(amendments_told(study))
