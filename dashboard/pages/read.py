"""Read: one coupon at the bench, the fields its protocol asks for, and the verdict at once."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import quote

import dash_mantine_components as dmc
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import short_day
from dashboard.components.frame import frame
from dashboard.components.messages import empty, refused, saved, told, with_refusals
from study.commands.bench import CriterionWord
from study.commands.opening import open_study
from study.commands.read import record_reading
from study.commands.read_form import CouponForm, FormField, coupon_form
from study.errors import DwellbookError, FileRefused
from study.model.protocol import PATTERN_WORDS
from study.model.pull import GONE_KINDS
from study.outputs.cautions import CAUTIONS

PATH, NAME = "/read", "Read"

KIND_OF = {
    "removal_force": "removal_force",
    "force_unit": "removal_force",
    "failure_pattern": "failure_pattern",
    "side": "failure_pattern",
    "residue_grade": "residue_grade",
    "L_before": "colour_before",
    "a_before": "colour_before",
    "b_before": "colour_before",
    "L_after": "colour_after",
    "a_after": "colour_after",
    "b_after": "colour_after",
    "hold_angle_deg": "hold_angle",
}
"""Which reading a field belongs to: fields of one reading stand in one row."""


@with_refusals(NAME)
def layout(book: Book, code: str = "", **_: str) -> html.Div:
    """The page for a coupon, or for none yet."""
    if not code:
        waiting = empty(
            "The coupon's fields will stand here, with their units and the values read before it.",
            "Type or scan a coupon code above; Today lists the coupons that wait.",
        )
        return frame(
            book, active=NAME, title="Read a coupon", status="No coupon is open.", work=[find_form(""), waiting]
        )
    try:
        with open_study(book.study_file) as study:
            form = coupon_form(study, code)
    except DwellbookError as error:
        return frame(
            book,
            active=NAME,
            title="Read a coupon",
            status="No coupon is open.",
            work=[find_form(code), refused(error)],
        )
    return frame(
        book,
        active=NAME,
        title=f"Coupon {form.coupon.code}",
        status=status_line(form),
        work=[find_form(form.coupon.code), *form_shown(form, today=book.today())],
    )


def status_line(form: CouponForm) -> str:
    """Which coupon this is and where it stands, in one sentence."""
    where = f"{form.title}, set {form.coupon.set_key}"
    if form.pulled_on is None:
        return f"{where}: not pulled yet."
    return f"{where}: {form.pull_kind} on {short_day(form.pulled_on)} after {form.dwell_days}\u2009d."


def find_form(code: str) -> html.Div:
    """Where a code is typed or scanned."""
    return html.Div(
        [
            dmc.TextInput(
                id="find-code",
                label="Coupon code",
                description="Four characters, a dash and a check character; press Enter.",
                value=code,
                className="code-field",
                spellCheck=False,
                autoComplete="off",
                inputWrapperOrder=["label", "input", "description"],
            ),
            html.Button("Open coupon", id="find", className="second"),
        ],
        className="find",
    )


def form_shown(form: CouponForm, *, today: date) -> list[Any]:
    """The fields still to fill, what was read already, and the one button."""
    open_fields = [
        field
        for field in form.fields
        if KIND_OF.get(field.kind, field.kind) not in form.in_force and not field.optional
    ]
    shown: list[Any] = [already_read(form)] if form.in_force else []
    if form.pulled_on is None:
        return [
            *shown,
            empty(
                "Its fields will stand here once it is pulled.",
                "Record the pull first.",
                f"dwellbook pull record {form.coupon.code}",
            ),
        ]
    if form.pull_kind in GONE_KINDS:
        return [*shown, empty(f"This coupon is {form.pull_kind}: it can tell nothing.", "Check the code on the label.")]
    if not open_fields:
        return [
            *shown,
            empty(
                "Everything its protocol asks for is read.",
                "A mistyped reading is superseded, with a reason, never overwritten.",
                f'dwellbook read correct {form.coupon.code} removal_force "5.10 N" --why "…"',
            ),
        ]
    kinds = list(dict.fromkeys(KIND_OF.get(field.kind, field.kind) for field in open_fields))
    rows = [
        html.Div([_field(f) for f in open_fields if KIND_OF.get(f.kind, f.kind) == kind], className="row")
        for kind in kinds
    ]
    sign = html.Div(
        [
            _text("read-on", "Read on", "year-month-day", value=today.isoformat()),
            _text("read-by", "Read by", "your name stands beside each reading", persistence=True),
        ],
        className="row",
    )
    foot = html.Div(
        [
            html.Button("Save readings", id="save", className="primary"),
            html.Span("Nothing typed yet.", id="keeping", className="quiet", role="status"),
        ],
        className="foot",
    )
    store = dcc.Store(id="open-code", data=form.coupon.code)
    return [
        *shown,
        html.Div([*rows, sign, foot, store, dcc.Store(id="kept")], className="card form"),
        html.Div(id="verdict"),
    ]


def already_read(form: CouponForm) -> html.P:
    """What is in force for this coupon, in one line."""
    lines = [
        f"{kind.replace('_', ' ')} {reading.typed}"
        + (f" {reading.unit}" if reading.unit not in (*reading.typed.split(), "grade") else "")
        for kind, reading in form.in_force.items()
    ]
    return html.P(f"Read already: {'; '.join(lines)}.", className="quiet")


def verdict_shown(verdicts: list[CriterionWord]) -> list[Any]:
    """What each criterion says, in words and one mark."""
    words = {True: "unacceptable", False: "acceptable", None: "undecided"}
    lines = [
        html.Li(
            [
                html.Strong(
                    f"{verdict.criterion}: {words[verdict.unacceptable]}",
                    className="harm" if verdict.unacceptable else "",
                ),
                html.Span(" This stops the pairing." if verdict.stop else "", className="harm"),
                html.Span(f" {verdict.words}", className="quiet"),
            ]
        )
        for verdict in verdicts
    ]
    caution = [html.P(CAUTIONS[0], className="quiet")] if any(v.criterion == "Hold" for v in verdicts) else []
    return [html.H2("Verdict"), html.Ul(lines, className="verdicts"), *caution]


def register(app: Dash, book: Book) -> None:
    """Opening a coupon, saying that typed is not saved, saving."""
    app.callback(
        Output("go", "href"),
        Input("find", "n_clicks"),
        Input("find-code", "n_submit"),
        State("find-code", "value"),
        prevent_initial_call=True,
    )(open_coupon)
    app.clientside_callback(
        ClientsideFunction("dwellbook", "keeping"),
        Output("keeping", "children"),
        Input({"kind": "reading", "column": ALL}, "value"),
        Input("kept", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("verdict", "children"),
        Output({"kind": "reading", "column": ALL}, "error"),
        Output("kept", "data"),
        Input("save", "n_clicks"),
        State({"kind": "reading", "column": ALL}, "value"),
        State("read-on", "value"),
        State("read-by", "value"),
        State("open-code", "data"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, values: list[str | None], read_on: str, read_by: str, code: str) -> Any:
        columns = [entry["id"]["column"] for entry in ctx.states_list[0]]
        if not clicks:
            return no_update, [no_update] * len(columns), no_update
        typed = {column: value or "" for column, value in zip(columns, values, strict=True)}
        shown, errors, kept = saved_reading(book, code, typed, read_on=read_on, read_by=read_by)
        return shown, [errors.get(column, "") for column in columns], kept or no_update


def open_coupon(clicks: int | None, submits: int | None, code: str | None) -> Any:
    """The address of a typed code's form."""
    if not (clicks or submits) or not (code or "").strip():
        return no_update
    return f"/read?code={quote((code or '').strip().replace(' ', ''), safe='')}"


def saved_reading(
    book: Book, code: str, typed: dict[str, str], *, read_on: str, read_by: str
) -> tuple[list[Any], dict[str, str], str]:
    """What is shown after saving was asked for, the errors by field, and a word that it was kept (or nothing)."""
    try:
        day = date.fromisoformat((read_on or "").strip())
    except ValueError:
        return (
            [refused(DwellbookError(f"“{read_on}” is not a day.", "Write it as year-month-day, such as 2026-03-01."))],
            {},
            "",
        )
    try:
        with open_study(book.study_file) as study:
            fresh = _not_yet_saved(coupon_form(study, code), typed)
            if not any(fresh.values()) and any(typed.values()):
                return [saved(f"Everything typed for {code} was saved already.")], {}, f"Saved: {code}."
            verdicts = record_reading(study, code, fresh, read_on=day, signature=book.sign(read_by))
    except FileRefused as error:
        places = {problem.column: told(problem) for problem in error.problems}
        elsewhere = not set(places) <= set(typed)
        message = (
            refused(error)
            if elsewhere
            else html.Div(html.P("Nothing was saved: see the marked fields."), className="message harm", role="alert")
        )
        return [message], places, ""
    except DwellbookError as error:
        return [refused(error)], {}, ""
    said = saved(f"Readings of {code} are saved.")
    return [said, html.Div(verdict_shown(verdicts), className="card")], {}, f"Saved: {code}."


def _not_yet_saved(form: CouponForm, typed: dict[str, str]) -> dict[str, str]:
    """What was typed without the readings that are in force with just this text: saving twice saves once."""
    kept = {kind: reading.typed.split() for kind, reading in form.in_force.items()}
    cells: dict[str, list[str]] = {}
    for column, text in typed.items():
        if text.strip() and column != "force_unit":
            cells.setdefault(KIND_OF.get(column, column), []).extend(text.split())
    same = {kind for kind, parts in cells.items() if kept.get(kind) == parts}
    return {column: text for column, text in typed.items() if KIND_OF.get(column, column) not in same}


def _field(field: FormField) -> Any:
    ident = {"kind": "reading", "column": field.kind}
    last = f"last: {field.last}" if field.last else ""
    help_line = " · ".join(part for part in (field.help, last) if part)
    if field.choices:
        return dmc.Select(
            id=ident,
            label=field.label,
            description=help_line,
            data=[{"value": choice, "label": _choice_words(choice)} for choice in field.choices],
            # The unit of the coupon before is offered; where there is none, nothing is taken for granted.
            value=field.last if field.kind == "force_unit" and field.last in field.choices else None,
            searchable=True,
            clearable=True,
            inputWrapperOrder=["label", "input", "description", "error"],
        )
    return dmc.TextInput(
        id=ident,
        label=field.label,
        description=help_line,
        rightSection=html.Span(field.unit, className="quiet") if field.unit else None,
        rightSectionWidth=90 if len(field.unit) > 3 else 36,
        autoComplete="off",
        inputWrapperOrder=["label", "input", "description", "error"],
    )


def _choice_words(choice: str) -> str:
    return f"{choice} · {PATTERN_WORDS[choice]}" if choice in PATTERN_WORDS else choice


def _text(ident: str, label: str, help_line: str, **more: Any) -> dmc.TextInput:
    return dmc.TextInput(
        id=ident,
        label=label,
        description=help_line,
        inputWrapperOrder=["label", "input", "description", "error"],
        **more,
    )
