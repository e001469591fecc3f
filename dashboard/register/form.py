"""One by form: the fields of a kind, what a set will be made of, and what was registered with its codes."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.fields import choice_field, foot, name_field, places, row, text_field, values_by_column
from dashboard.components.messages import refused, saved
from dashboard.components.tables import Column, table
from dashboard.register.fields import FIELDS, ONE, TITLES, WHAT, Field, options
from dashboard.register.keeping import keeping
from dashboard.register.lists import on_file
from study.commands.opening import open_study
from study.commands.register import Registered, coupon_plan, register_rows
from study.commands.shelf import Register, register_book
from study.errors import DwellbookError

PLAN_WAITS = "Choose a protocol to see what the set is made of."


def form(kind: str, book: Register) -> html.Div:
    """The form for one of a kind."""
    fields = FIELDS[kind]
    more = [field for field in fields if field.more]
    plan = [html.P(PLAN_WAITS, id="set-plan", className="quiet", role="status")] if kind == "sets" else []
    return html.Div(
        [
            html.P(WHAT[kind], className="quiet"),
            row(*(_field(field, book) for field in fields if not field.more)),
            *plan,
            *([html.Details([html.Summary("What else is known"), row(*(_field(f, book) for f in more))],
                            className="steps")] if more else []),
            row(name_field("one-by", "Entered by")),
            foot("one-save", f"Register the {ONE[kind]}", beside=keeping("one-kept")),
            dcc.Store(id="one-kind", data=kind),
            dcc.Store(id={"token": "form"}, data=uuid4().hex),
        ],
        className="card form wide-form",
    )  # fmt: skip


def _field(field: Field, book: Register) -> Any:
    ident = {"kind": "one", "column": field.column}
    look = {"className": "long"} if field.long else {}
    offered = options(field, book)
    label = field.label if field.needed or field.more else f"{field.label} (optional)"
    if offered or field.known:
        return choice_field(ident, label, offered, field.help, **look)
    return text_field(ident, label, field.help, unit=field.unit, value=field.value, **look)


def plan_words(kind: str, cells: dict[str, str]) -> str:
    """What a set will be made of, in one sentence, or what is missing to say it."""
    per_pull = cells.get("coupons_per_pull", "")
    if kind != "sets" or not cells.get("protocol"):
        return PLAN_WAITS
    if not per_pull.isdecimal() or not 1 <= int(per_pull) <= 100:
        return "No coupons are made with it: register them afterwards under Coupons." if not per_pull else PLAN_WAITS
    role = cells.get("role") or "test"
    plan = coupon_plan(cells["protocol"], role=role, per_pull=int(per_pull))
    tests, pulls = len({part.test for part in plan}), len({part.pull for part in plan})
    total = sum(part.count for part in plan)
    pulled = "no pull, read apart from the schedule" if plan[0].pull == "" else f"{pulls} pulls"
    words = f"{'1 test' if tests == 1 else f'{tests} tests'} × {pulled} × {per_pull}"
    return f"It makes {total} coupons: {words}. Their codes are shown once it is registered."


def registered(done: Registered, kind: str, *, by: str) -> list[Any]:
    """What was registered, its cautions, and the codes of its coupons."""
    keys = ", ".join(done.keys) if done.count <= 12 else f"{done.keys[0]} to {done.keys[-1]}"
    what = f"{done.count} coupons" if kind == "coupons" and done.count > 1 else keys
    noun = ONE[kind].removesuffix("s") if done.count == 1 else TITLES[kind].lower()
    verb = "is" if done.count == 1 else "are"
    head = f"{what if kind == 'coupons' else f'{noun.capitalize()} {keys}'} {verb} registered by {by}."
    shown: list[Any] = [saved(head)]
    shown += [html.Div(html.P(words), className="message harm", role="status") for words in done.warnings]
    if done.coupons:
        shown.append(codes_table(done))
    return shown


def codes_table(done: Registered) -> html.Section:
    """The codes of the coupons made, by set, test and pull; what tiles are labelled from."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for coupon in done.coupons:
        groups.setdefault((coupon.set_key, coupon.test, coupon.pull_label), []).append(coupon.code)
    columns = (
        Column("set", "Set", tight=True),
        Column("test", "Test", tight=True),
        Column("pull", "Pull", tight=True),
        Column("n", "Coupons", number=True),
        Column("codes", "Codes"),
    )
    rows = [
        {"set": key, "test": test, "pull": pull or "none", "n": str(len(codes)),
         "codes": html.Span(" ".join(codes), className="code")}
        for (key, test, pull), codes in groups.items()
    ]  # fmt: skip
    return html.Section(
        [
            html.H2(f"{len(done.coupons)} coupons with their codes"),
            html.P(["Label the pieces from this list, or from ", html.Code("dwellbook register labels"), "."]),
            table(columns, rows, caption="Coupons made, with their codes"),
        ]
    )


def entered(
    book: Book, kind: str, cells: dict[str, str], *, by: str | None, token: str
) -> tuple[Any, dict[str, str], Any]:
    """What is shown after one was entered, the refusals by field, and the list as it stands (nothing if refused)."""
    try:
        signature = book.sign(by)
        with open_study(book.study_file) as study:
            done = register_rows(study, kind, [cells], token=token, signature=signature)
            now = register_book(study)
    except DwellbookError as error:
        at = places(error, [field.column for field in FIELDS[kind]])
        if at:
            words = "Nothing was saved: see the marked fields."
            return html.Div(html.P(words), className="message harm", role="alert"), at, None
        return refused(error), {}, None
    return registered(done, kind, by=signature.by), {}, on_file(kind, now)


def register(app: Dash, book: Book) -> None:
    """What a set is made of while it is typed; saving one."""
    app.clientside_callback(
        ClientsideFunction("register", "kept"),
        Output("one-kept", "children"),
        Input({"kind": "one", "column": ALL}, "value"),
        Input({"token": "form"}, "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("set-plan", "children"),
        Input({"kind": "one", "column": "protocol"}, "value"),
        Input({"kind": "one", "column": "role"}, "value"),
        Input({"kind": "one", "column": "coupons_per_pull"}, "value"),
        prevent_initial_call=True,
    )
    def plan(protocol: str | None, role: str | None, per_pull: str | None) -> str:
        cells = {"protocol": protocol or "", "role": role or "", "coupons_per_pull": (per_pull or "").strip()}
        return plan_words("sets", cells)

    @app.callback(
        Output("one-said", "children"),
        Output({"kind": "one", "column": ALL}, "error"),
        Output({"kind": "one", "column": ALL}, "value"),
        Output({"token": "form"}, "data"),
        Output("on-file", "children", allow_duplicate=True),
        Input("one-save", "n_clicks"),
        State({"kind": "one", "column": ALL}, "value"),
        State("one-kind", "data"),
        State({"token": "form"}, "data"),
        State("one-by", "value"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, _: list[str | None], kind: str, token: str, by: str | None) -> Any:
        states = ctx.states_list[0]
        still = [no_update] * len(states)
        if not clicks:
            return no_update, still, still, no_update, no_update
        shown, errors, listed = entered(book, kind, values_by_column(states), by=by, token=token)
        marks = [errors.get(entry["id"]["column"], "") for entry in states]
        if listed is None:
            return shown, marks, still, no_update, no_update
        # The key goes, the rest stays: the next lot or set is usually like the last one.
        key = FIELDS[kind][0].column
        values = ["" if entry["id"]["column"] in (key, "code", "own_mark") and kind != "coupons" else no_update
                  for entry in states]  # fmt: skip
        return shown, marks, values, uuid4().hex, listed
