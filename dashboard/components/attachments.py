"""Attachments of a coupon: a strip of thumbnails with names, and the field that takes new files."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.days import short_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field
from dashboard.components.messages import empty, refused, saved
from dashboard.components.uploads import sent_bytes
from dashboard.files import file_address, thumbnail_address
from study.commands.opening import open_study
from study.commands.read_attachments import Hung, NewFile, attach_files, coupon_attachments, detach_file
from study.errors import DwellbookError, NotPossible
from study.model.attachment import ENDINGS, LARGEST_FILE_BYTES, ending_of, size_words
from study.model.reading import READING_KINDS, kind_words

ACCEPTED = ",".join(f".{ending}" for endings in ENDINGS.values() for ending in endings)
_POLITE: dict[str, Any] = {"aria-live": "polite"}
_UNHEARD: dict[str, Any] = {"aria-hidden": "true"}
LIMIT_WORDS = f"{LARGEST_FILE_BYTES // 1024**2}\u202fMB"


def attachments_shown(book: Book, code: str) -> html.Section:
    """The strip and the form of one coupon; ``code`` as the study spells it."""
    try:
        shown = strip_of(book, code)
    except DwellbookError as error:
        shown = [refused(error)]
    return html.Section(
        [
            html.H2("Photographs and files"),
            html.Div(id="detached", className="said", **_POLITE),
            html.Div(shown, id="attachment-strip"),
            attach_form(),
            dcc.Store(id="attach-code", data=code),
        ],
        className="attachments",
    )


def attach_form() -> html.Details:
    """Which files, what they show, and who attaches them."""
    kinds = [(kind, kind_words(kind)) for kind in READING_KINDS]
    chooser = dcc.Upload(
        # The keyboard reaches the file input that lies unseen over it; attach.js gives that input its name.
        [html.Span("Choose files", className="chooser"), html.Span(" or drop them here")],
        id="attach-files",
        multiple=True,
        accept=ACCEPTED,
        className="upload",
        className_active="upload over",
        style={},
        style_active={},
    )
    help_line = (
        f"JPEG, PNG, TIFF, WebP, PDF, CSV or text; at most {LIMIT_WORDS} together. A photograph loses the place "
    )
    return html.Details(
        [
            html.Summary("Attach photographs or files"),
            row(
                choice_field("attach-kind", "They show", kinds, "a kind of reading; blank: the coupon"),
                text_field("attach-note", "Note", "what is to be seen, in a few words", className="long"),
                name_field("attach-by", "Attached by"),
            ),
            html.Div(
                [
                    html.Div("Files", id="attach-files-label", className="mantine-InputWrapper-label"),
                    chooser,
                    html.P(
                        [help_line, "it was taken at when it leaves the study."],
                        id="attach-files-help",
                        className="mantine-InputWrapper-description",
                    ),
                    html.P("No file is chosen.", id="attach-chosen", className="quiet", role="status"),
                ]
            ),
            html.Div(html.Button("Attach", id="attach", className="second", disabled=True), className="foot"),
            html.Div(id="attached", className="said", **_POLITE),
        ],
        className="card form act",
    )


def strip_of(book: Book, code: str) -> list[Any]:
    """What is attached now, a thumbnail or a sheet with its ending each."""
    with open_study(book.study_file) as study:
        found = coupon_attachments(study, code)
    if not found:
        return [empty("Photographs and files of this coupon will stand here.", "Attach the first below.")]
    strip = html.Ul([html.Li(_shown(hung)) for hung in found], className="strip", **heard_as("Attached to this coupon"))
    return [strip, off_form(found)]


def off_form(found: Sequence[Hung]) -> html.Details:
    """What was attached by mistake is taken off, with a reason."""
    names = [(str(hung.attachment.number), f"{hung.attachment.name}, {hung.attachment.about}") for hung in found]
    return html.Details(
        [
            html.Summary("Take one off"),
            html.P("The file stays in the study and in the history; it no longer hangs here.", className="quiet"),
            row(
                choice_field("detach-number", "Which", names),
                text_field("detach-why", "Reason", "one sentence", className="long"),
                name_field("detach-by", "Taken off by"),
            ),
            foot("detach", "Take it off", primary=False),
        ],
        className="card form act",
    )


def detached(book: Book, code: str, number: str, *, why: str, by: str) -> tuple[html.Div, list[Any] | None]:
    """What is said once one was taken off or not, and the strip as it is then; no strip where nothing changed."""
    try:
        if not number:
            raise NotPossible("Nothing is chosen.", "Choose which one is taken off.")
        with open_study(book.study_file) as study:
            one = detach_file(study, int(number), signature=book.sign(by, why))
        strip = strip_of(book, code)
    except DwellbookError as error:
        return refused(error), None
    return saved(f"{one.name} is taken off; it stays in the history."), strip


def register_attachments(app: Dash, book: Book) -> None:
    """Saying which files were chosen, attaching them, taking one off."""
    _listen_for_taking_off(app, book)
    app.clientside_callback(
        ClientsideFunction("attachments", "chosen"),
        Output("attach-chosen", "children"),
        Output("attach-chosen", "className"),
        Output("attach", "disabled"),
        Input("attach-files", "contents"),
        State("attach-files", "filename"),
    )

    @app.callback(
        Output("attached", "children"),
        Output("attachment-strip", "children"),
        Output("attach-files", "contents"),
        Output("attach-files", "filename"),
        Input("attach", "n_clicks"),
        State("attach-files", "contents"),
        State("attach-files", "filename"),
        State("attach-kind", "value"),
        State("attach-note", "value"),
        State("attach-by", "value"),
        State("attach-code", "data"),
        prevent_initial_call=True,
    )
    def attach(
        clicks: int | None,
        contents: list[str] | None,
        names: list[str] | None,
        kind: str | None,
        note: str | None,
        by: str | None,
        code: str,
    ) -> Any:
        if not clicks:
            return no_update, no_update, no_update, no_update
        said, strip = attached(book, code, contents or [], names or [], kind=kind or "", note=note or "", by=by or "")
        if strip is None:
            return said, no_update, no_update, no_update
        return said, strip, None, None


def _listen_for_taking_off(app: Dash, book: Book) -> None:
    @app.callback(
        Output("detached", "children"),
        Output("attachment-strip", "children", allow_duplicate=True),
        Input("detach", "n_clicks"),
        State("detach-number", "value"),
        State("detach-why", "value"),
        State("detach-by", "value"),
        State("attach-code", "data"),
        prevent_initial_call=True,
    )
    def detach(clicks: int | None, number: str | None, why: str | None, by: str | None, code: str) -> Any:
        if not clicks:
            return no_update, no_update
        said, strip = detached(book, code, number or "", why=why or "", by=by or "")
        return said, no_update if strip is None else strip


def attached(
    book: Book, code: str, contents: Sequence[str], names: Sequence[str], *, kind: str, note: str, by: str
) -> tuple[html.Div, list[Any] | None]:
    """What is said once files were given, and the strip as it is then; no strip where nothing was attached."""
    try:
        files = [NewFile(name, sent_bytes(text, name)) for text, name in zip(contents, names, strict=True)]
        with open_study(book.study_file) as study:
            done = attach_files(study, code, files, kind=kind, note=note, signature=book.sign(by))
        strip = strip_of(book, code)
    except DwellbookError as error:
        return refused(error), None
    things = f"{done[0].name} is" if len(done) == 1 else f"{len(done)} files are"
    return saved(f"{things} attached to {done[0].code}."), strip


def _shown(hung: Hung) -> list[Any]:
    one = hung.attachment
    if one.thumbnail:
        # Beside its name the picture tells nothing more to who hears the page.
        face: Any = html.Img(src=thumbnail_address(one.sha256), alt="")
    else:
        face = html.Span((ending_of(one.name) or "file").upper(), className="sheet", **_UNHEARD)
    day = short_day(date.fromisoformat(hung.entered_at[:10]))
    return [
        html.A([face, html.Span(one.name, className="name")], href=file_address(one.sha256), target="_blank"),
        html.Span(f"{one.about}, {size_words(one.bytes)}", className="quiet"),
        html.Span(f"{hung.entered_by}, {day}", className="quiet"),
        *([html.Span(one.note)] if one.note else []),
    ]
