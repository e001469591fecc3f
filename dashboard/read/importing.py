"""Read from a file: a sheet of any layout, or a whole study, looked at as understood and then taken whole."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from uuid import uuid4

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.fields import choice_field
from dashboard.components.frame import frame
from dashboard.components.messages import refused, saved
from dashboard.components.uploads import sent_bytes
from dashboard.read.sheet_shown import (
    Shown,
    paste_field,
    problems_shown,
    questions_form,
    sheet_parts,
    shown_readings,
    shown_whole,
)
from study.commands.opening import open_study
from study.commands.read import verdict_counts
from study.commands.read_import import LEAVE_OUT, import_file, layouts, preview
from study.commands.read_whole import begin_from, preview_whole
from study.errors import DwellbookError, FileRefused, NotPossible, Unanswered
from study.model.attachment import tidy_name

LARGEST_BYTES = 8 * 1024 * 1024
LIMIT_WORDS = "8\u202fMB"
ACCEPTED = ".csv,.txt,.tsv,.dat,.asc,.xlsx"
WIDE, PLAIN = "study", "readings"
_POLITE: dict[str, Any] = {"aria-live": "polite"}
TITLES = {PLAIN: "Readings from a file", WIDE: "A study already under way"}
STATUS = {
    PLAIN: "A sheet of a gauge, an instrument or your own; it is shown as understood before anything is saved.",
    WIDE: "One wide sheet, a row a coupon: adhesives, placements, pulls and readings enter together.",
}


def layout(book: Book, what: str = "", **_: str) -> html.Div:
    """The page: where the sheet comes from; what it was understood as follows below."""
    kind = WIDE if what == WIDE else PLAIN
    with open_study(book.study_file) as study:
        names = list(layouts(study))
    work = [_choices(kind), _source(kind, names), html.Div(id="sheet-said", className="sheet-said", **_POLITE)]
    stores = [
        dcc.Store(id="sheet-kind", data=kind),
        dcc.Store(id="sheet-answers", data={}),
        dcc.Store(id="sheet-mapping", data={}),
        dcc.Store(id="sheet-token", data=uuid4().hex),
    ]
    return frame(book, active="Read", title=TITLES[kind], status=STATUS[kind], work=[*work, *stores])


def _choices(kind: str) -> html.Div:
    links = []
    for key, words in TITLES.items():
        here = [html.Span(" (this page)", className="unseen")] if key == kind else []
        href = "/read?view=import" + (f"&what={key}" if key == WIDE else "")
        links.append(dcc.Link([words, *here], href=href, className="word here" if key == kind else "word"))
    return html.Div(links, className="choices")


def _source(kind: str, names: list[str]) -> html.Div:
    chooser = dcc.Upload(
        # The keyboard reaches the file input that lies unseen over it; import.js gives that input its name.
        [html.Span("Choose a file", className="chooser"), html.Span(" or drop it here")],
        id="sheet-file",
        accept=ACCEPTED,
        className="upload",
        className_active="upload over",
        style={},
        style_active={},
    )
    template = "dwellbook read template --wide > sheet.csv" if kind == WIDE else "dwellbook read template > sheet.csv"
    known = [choice_field("sheet-layout", "Layout", [(name, name) for name in names], "remembered from earlier sheets")]
    return html.Div(
        [
            html.Div("File", id="sheet-file-label", className="mantine-InputWrapper-label"),
            chooser,
            html.P(
                [
                    "CSV, text or .xlsx, at most ",
                    LIMIT_WORDS,
                    ". An empty sheet: ",
                    html.Code(template, className="wraps"),
                ],
                id="sheet-file-help",
                className="mantine-InputWrapper-description",
            ),
            html.P("No file is chosen.", id="sheet-chosen", className="quiet", role="status"),
            html.Details([html.Summary("Or paste the rows"), paste_field()], className="fold"),
            html.Div(known if names else [dcc.Input(id="sheet-layout", type="hidden", value="")]),
            html.Div(
                html.Button("Look at the sheet", id={"kind": "sheet-do", "what": "look"}, className="primary"),
                className="foot",
            ),
        ],
        className="card form wide-form",
    )


def register(app: Dash, book: Book) -> None:
    """Saying which file was chosen; looking, asking, taking."""
    app.clientside_callback(
        ClientsideFunction("importing", "chosen"),
        Output("sheet-chosen", "children"),
        Output("sheet-chosen", "className"),
        Input("sheet-file", "contents"),
        Input("sheet-said", "children"),
        State("sheet-file", "filename"),
    )

    @app.callback(
        Output("sheet-said", "children"),
        Output("sheet-answers", "data"),
        Output("sheet-mapping", "data"),
        Output("sheet-token", "data"),
        Input({"kind": "sheet-do", "what": ALL}, "n_clicks"),
        State("sheet-file", "contents"),
        State("sheet-file", "filename"),
        State("sheet-text", "value"),
        State("sheet-layout", "value"),
        State("sheet-kind", "data"),
        State("sheet-answers", "data"),
        State("sheet-mapping", "data"),
        State("sheet-token", "data"),
        State({"kind": "sheet-answer", "key": ALL}, "value"),
        State({"kind": "sheet-free", "key": ALL}, "value"),
        State({"kind": "sheet-column", "heading": ALL}, "value"),
        State({"kind": "sheet-sign", "what": ALL}, "value"),
        prevent_initial_call=True,
        running=[(Output({"kind": "sheet-do", "what": ALL}, "disabled"), True, False)],
    )
    def act(
        clicks: list[int | None], contents: str | None, name: str | None, text: str | None, known: str | None,
        kind: str, answers: dict[str, str], mapping: dict[str, str], token: str, *_: Any,
    ) -> Any:  # fmt: skip
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, no_update, no_update, no_update
        do = ctx.triggered_id["what"]
        chosen, free, columns, signed = ctx.states_list[-4:]
        if do in ("look", "forget"):
            answers = {}
        answers = {**answers, **_answered(chosen), **_answered(free)}
        if do == "map":
            answers |= _mapped(columns, mapping)
        asked = {entry["id"]["what"]: str(entry.get("value") or "").strip() for entry in signed}
        if do == "import":
            shown = taken(book, kind, contents, name, text, layout=known or "", answers=answers, token=token, **asked)
            return shown, answers, mapping, uuid4().hex if _went(shown) else token
        shown, now = looked_at(book, kind, contents, name, text, layout=known or "", answers=answers)
        return shown, answers, now, token


def _went(shown: list[Any]) -> bool:
    return "fine" in str(getattr(shown[0], "className", ""))


def _answered(states: list[Any]) -> dict[str, str]:
    return {
        entry["id"]["key"]: str(entry["value"]).strip() for entry in states if str(entry.get("value") or "").strip()
    }


def _mapped(states: list[Any], mapping: Mapping[str, str]) -> dict[str, str]:
    """Headings that were given another column, as answers."""
    found = {}
    for entry in states:
        heading, column = entry["id"]["heading"], entry.get("value") or LEAVE_OUT
        if column != (mapping.get(heading) or LEAVE_OUT):
            found[f"column {heading}"] = column
    return found


def looked_at(
    book: Book, kind: str, contents: str | None, name: str | None, text: str | None, *, layout: str,
    answers: Mapping[str, str],
) -> tuple[list[Any], dict[str, str]]:  # fmt: skip
    """What a sheet was understood as, and our column by heading."""
    try:
        with tempfile.TemporaryDirectory() as folder, open_study(book.study_file) as study:
            path = _written(Path(folder), contents, name, text)
            signature = book.sign("nobody yet")
            one: Shown
            if kind == WIDE:
                one = shown_whole(preview_whole(study, path, layout=layout, answers=answers, signature=signature))
            else:
                one = shown_readings(preview(study, path, layout=layout, answers=answers, signature=signature))
    except FileRefused as error:
        return [problems_shown(error.problems)], {}
    except DwellbookError as error:
        return [refused(error)], {}
    return sheet_parts(one, answers), dict(one.mapping)


def taken(
    book: Book, kind: str, contents: str | None, name: str | None, text: str | None, *, layout: str,
    answers: Mapping[str, str], token: str, by: str = "", why: str = "", remember: str = "",
) -> list[Any]:  # fmt: skip
    """What is said after a sheet was taken, or what kept it from it."""
    try:
        with tempfile.TemporaryDirectory() as folder, open_study(book.study_file) as study:
            path = _written(Path(folder), contents, name, text)
            signature = book.sign(by, why)
            asked: dict[str, Any] = {"layout": layout, "answers": answers, "remember": remember, "token": token}
            if kind == WIDE:
                entered = begin_from(study, path, signature=signature, **asked)
                said = f"Entered {entered.words()}"
                told = ["Marks of the sheet are taken wherever a code is typed.", "Today lists what is due."]
            else:
                done = import_file(study, path, signature=signature, **asked)
                said = f"{len(done.readings)} readings of {len(done.coupons)} coupons are saved."
                if done.corrected:
                    said += f" {len(done.corrected)} were corrected; the old values stay in the history."
                told = [*done.passed, *(verdict_counts(study, done.coupons) if done.coupons else [])]
    except FileRefused as error:
        return [problems_shown(error.problems)]
    except Unanswered as error:
        return [questions_form(error.questions)]
    except DwellbookError as error:
        return [refused(error)]
    if remember:
        told.append(f"The layout is remembered as “{remember}”.")
    return [saved(said), html.Ul([html.Li(line) for line in told])]


def _written(folder: Path, contents: str | None, name: str | None, text: str | None) -> Path:
    """The sheet as a file of its own for the moment of one request; nothing stays on the server.

    Raises
    ------
    NotPossible
        Without a sheet, beyond the size that a page takes, or if what came is no file.
    """
    if contents:
        file = tidy_name(name or "sheet.csv")
        content = sent_bytes(contents, file)
    elif (text or "").strip():
        content = (text or "").encode()
        file = f"pasted-{hashlib.sha256(content).hexdigest()[:8]}.csv"
    else:
        raise NotPossible(
            "No file is chosen and no rows are pasted.", "Choose a file, or paste rows with their header."
        )
    if len(content) > LARGEST_BYTES:
        do = "Split it, or import it with: dwellbook read import"
        raise NotPossible(f"{file} is larger than {LIMIT_WORDS}.", do)
    path = folder / file
    path.write_bytes(content)
    return path
