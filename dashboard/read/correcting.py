"""Correcting a reading or taking it back: what it moves is shown first, then it is confirmed, with name and reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.fields import foot, name_field, row, text_field
from dashboard.components.frame import frame
from dashboard.components.messages import empty, refused, saved
from dashboard.components.tables import Column, table
from dashboard.read.fields import MANY, beside_fields, reading_field, ticked
from dashboard.read.saving import asked_shown
from dashboard.read.words import details_words, entered_words, place_words, value_words
from study.commands.moved import Moved
from study.commands.opening import open_study
from study.commands.read_correct import (
    EXCLUDED,
    correct_reading,
    correction_effect,
    value_text,
    withdraw_reading,
)
from study.commands.read_form import CouponForm, OpenStudy, beside_cells, coupon_form
from study.errors import DwellbookError, NotPossible, Unanswered
from study.model.reading import Reading

HOW = {
    "removal_force": "with its unit, such as 5.10 N",
    "failure_pattern": "letters and side, such as CF object; or shares: CF 60 object; AF 40 mount",
    "hold_angle": "degrees from horizontal, or >90",
}
COLOUR_HOW = "L*, a*, b* with spaces between, such as 82.1 -0.4 3.3; of several readings all L*, then all a*, all b*"
BUSY = "Working out which durations move; this may take some seconds."


def page(book: Book, study: OpenStudy, code: str, key: str, *, back: bool) -> html.Div:
    """One reading in force, and the form that supersedes it or takes it back."""
    form = coupon_form(study, code)
    here, reading = form.coupon.code, form.in_force.get(key)
    title = f"{'Take back' if back else 'Correct'} {place_words(key)} of {here}"
    home = html.P(dcc.Link(f"Back to coupon {here}", href=f"/read?code={quote(here)}"))
    if reading is None:
        work = [empty(f"{here} has no such reading in force.", "Look at the coupon for what is."), home]
        return frame(book, active="Read", title=title, status="Nothing can be corrected here.", work=work)
    entered = entered_words(*form.entered.get(key, ("", "")))
    how = details_words(reading)
    status = f"“{value_words(reading)}” stands, entered by {entered}{f' ({how})' if how else ''}."
    work = [_form(form, key, reading, back=back), html.Div(id="corrected", className="said"), home]
    told = {"code": here, "kind": key, "seen": reading.number, "back": back, "value": value_text(reading),
            "beside": {} if back else _beside(reading)}  # fmt: skip
    return frame(book, active="Read", title=title, status=status, work=[*work, dcc.Store(id="correcting", data=told)])


def _beside(reading: Reading) -> dict[str, str]:
    """What stands beside a reading, as the browser compares it: several ticked words in the order of letters."""
    cells = beside_cells(reading)
    cells |= {column: "; ".join(sorted(ticked(cells[column]))) for column in MANY if column in cells}
    return cells


def _form(form: CouponForm, key: str, reading: Reading, *, back: bool) -> html.Div:
    kind = key.partition(" ")[0]
    help_line = HOW.get(kind, COLOUR_HOW if kind.startswith("colour") else "3-4 when in doubt")
    value = text_field("new-value", "New value", help_line, value=value_text(reading), className="long")
    told = (
        "It goes out of force and stays in the history. Take back what belongs to another coupon or was never made."
        if back
        else "The first version stays in the history. What is not said anew stays as it was typed."
    )
    cells = beside_cells(reading)
    fields = [reading_field(one, kind="beside", value=cells[one.kind]) for one in beside_fields(form, kind)]
    more = html.Details(
        [html.Summary("What stands beside it, if that is wrong too"), html.Div(fields, className="row")],
        className="fold", id={"kind": "fold", "group": "beside"},
    )  # fmt: skip
    return html.Div(
        [
            html.P(told, className="quiet"),
            *([] if back else [row(value), more]),
            # Unseen where it is taken back: the browser asks for it either way.
            *([html.Div(row(value), hidden=True)] if back else []),
            row(
                name_field("correct-by", "Taken back by" if back else "Corrected by"),
                text_field("correct-why", "Reason", "what was wrong, in one sentence", className="long"),
            ),
            foot("show-effect", "Show what it moves", primary=False),
            html.P(id="effect-busy", className="quiet late", role="status"),
            html.Div(id="effect", role="status"),
            # Beside the effect and unseen until it is shown, so that nothing is confirmed that was not looked at.
            html.Div(
                html.Button("Take it back" if back else "Correct it", id="confirm", className="primary"),
                className="foot", id="confirm-foot", hidden=True,
            ),
            dcc.Store(id="effect-of"),
            dcc.Store(id="confirm-this"),
        ],
        className="card form reading-form",
    )  # fmt: skip


def moved_shown(moved: Sequence[Moved]) -> list[Any]:
    """Which durations move, from what to what; what stays is said too."""
    if not moved:
        return [html.H2("What it moves"), html.P("No duration rests on this coupon.")]
    columns = (
        Column("what", "Pairing"),
        Column("before", "Now", tight=True),
        Column("after", "With it", tight=True),
        Column("limiting", "Limited by", quiet=True),
        Column("decision", "Decision in force", quiet=True),
    )
    rows = [
        {
            "what": [one.title, html.Span(one.key, className="quiet key")],
            "before": one.before,
            "after": html.Strong(one.after) if one.moves else "stays",
            "limiting": one.limiting or "nothing",
            "decision": one.decision or "none",
        }
        for one in moved
    ]
    overtaken = [one for one in moved if one.moves and one.decision]
    note = [html.P("The decision stays as it was issued and will stand on Today as overtaken.")] if overtaken else []
    return [html.H2("What it moves"), table(columns, rows, caption="Durations that this correction touches"), *note]


def effect_of(book: Book, asked: dict[str, Any]) -> tuple[list[Any], bool]:
    """What a correction would move, and whether it can be confirmed."""
    answers = {"unusual": "as typed"} if asked.get("as_typed") else {}
    try:
        with open_study(book.study_file) as study:
            value = EXCLUDED if asked["back"] else asked["value"].strip()
            if not asked["back"] and not value:
                raise NotPossible("No new value is typed.", "To take it out, take it back instead.")
            moved = correction_effect(
                study, asked["code"], asked["kind"], value, beside=asked["beside"],
                signature=book.sign(asked["by"].strip() or "nobody yet"), answers=answers,
            )  # fmt: skip
    except Unanswered as error:
        return [asked_shown(error, kind="correct-answer")], False
    except DwellbookError as error:
        return [refused(error)], False
    return moved_shown(moved), True


def confirmed(book: Book, asked: dict[str, Any]) -> tuple[list[Any], bool]:
    """What is said once it was confirmed, and whether it is in the study now."""
    answers = {"unusual": "as typed"} if asked.get("as_typed") else {}
    try:
        signature = book.sign(asked["by"], asked["why"])
        more = {"signature": signature, "seen": asked["seen"], "token": asked["token"]}
        with open_study(book.study_file) as study:
            if asked["back"]:
                old = withdraw_reading(study, asked["code"], asked["kind"], **more)
                words = f"“{value_words(old)}” is taken back; it stays in the history."
            else:
                old, new = correct_reading(
                    study, asked["code"], asked["kind"], asked["value"], beside=asked["beside"], answers=answers, **more
                )
                words = f"“{value_words(old)}” is superseded by “{value_words(new)}”{_with(new)}."
    except DwellbookError as error:
        return [refused(error)], False
    return [saved(words)], True


def _with(new: Reading) -> str:
    how = details_words(new)
    return f", with {how}" if how else ""


def register(app: Dash, book: Book) -> None:
    """Showing the effect, and confirming what was shown."""
    app.clientside_callback(
        ClientsideFunction("reading", "effect"),
        Output("effect-of", "data"),
        Output("confirm-foot", "hidden"),
        Input("show-effect", "n_clicks"),
        Input({"kind": "correct-answer", "question": ALL}, "n_clicks"),
        Input("new-value", "value"),
        Input({"kind": "beside", "column": ALL}, "value"),
        State({"kind": "beside", "column": ALL}, "id"),
        State("correct-by", "value"),
        State("correcting", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("reading", "confirm"),
        Output("confirm-this", "data"),
        Input("confirm", "n_clicks"),
        State("effect-of", "data"),
        State("correct-by", "value"),
        State("correct-why", "value"),
        State("correcting", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("effect", "children"),
        Output("confirm-foot", "hidden", allow_duplicate=True),
        Input("effect-of", "data"),
        running=[(Output("effect-busy", "children"), BUSY, "")],
        prevent_initial_call=True,
    )
    def show(asked: dict[str, Any] | None) -> Any:
        if not asked:
            return [], True
        shown, may = effect_of(book, asked)
        return shown, not may

    @app.callback(
        Output("corrected", "children"),
        Output("confirm-foot", "hidden", allow_duplicate=True),
        Output("effect", "children", allow_duplicate=True),
        Input("confirm-this", "data"),
        prevent_initial_call=True,
    )
    def confirm(asked: dict[str, Any] | None) -> Any:
        if not asked:
            return no_update, no_update, no_update
        said, done = confirmed(book, asked)
        return said, True if done else no_update, [] if done else no_update
