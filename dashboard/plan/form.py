"""The form of a plan: what is tested, when it is pulled, how many coupons, and what stands behind hours and shelves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.components.aria import heard_as
from dashboard.components.fields import ORDER, choice_field, row, text_field
from dashboard.plan.cells import cell_matrix, pull_matrix
from dashboard.plan.writing import Typed, pull_labels, usual
from study.commands.plan import schedules
from study.commands.shelf import Register

NAMES_HELP = "choose, or type a name still to be registered and press Enter"
BENCH = (
    ("bench.making", "Making", "a coupon", "min"),
    ("bench.placing", "Placing", "a coupon", "min"),
    ("bench.pulling", "Pulling", "a coupon", "min"),
    ("bench.setup_per_pull", "Setting up", "each pull of each environment", "min"),
)
SHELF = (
    ("shelf.width_mm", "Coupon, along the shelf", "", "mm"),
    ("shelf.depth_mm", "Coupon, front to back", "", "mm"),
    ("shelf.gap_mm", "Between coupons", "", "mm"),
    ("shelf.shelf_length_mm", "Shelf, length", "", "mm"),
    ("shelf.shelf_depth_mm", "Shelf, depth", "", "mm"),
)
DOTS = (
    ("dots", "Dots", "on each coupon", ""),
    ("dot_diameter_mm", "Diameter of a dot", "as pressed", "mm"),
    ("dwell_load_n", "Dwell load", "0 for none", "N"),
)


def form(typed: Typed, book: Register, *, methods: Mapping[str, str], draft: str) -> list[Any]:
    """Every field, filled as ``typed``; ``draft`` names what is kept in the browser tab until it is saved."""
    labels = pull_labels(str(typed.fields["pulls"]))
    lists = {key: list(typed.fields[key]) for key in ("adhesives", "substrates", "environments")}
    own_cells = any(typed.cells.values()) or any(typed.pulls.values())
    return [
        html.Section(
            [
                html.H2("What is tested"),
                *(_names(key, lists[key], book, draft) for key in lists),
                html.Div(lot_fields(lists["adhesives"], typed.lots, book), id="plan-lots"),
            ]
        ),
        html.Section(
            [
                html.H2("When it is pulled"),
                _schedules(),
                _field(typed, "pulls", "Pulls", "such as 1 week, 1, 3, 6, 12 months, or every 3 months to 12 months",
                       draft=draft, className="long"),
                html.Div(decision_ticks(labels, typed.decisions), id="plan-decided"),
            ]
        ),
        html.Section(
            [
                html.H2("How many coupons"),
                html.P("A coupon serves one destructive test; numbers are for each cell at each pull.",
                       className="quiet"),
                row(*(_test(key, methods.get(key, key), count, draft) for key, count in typed.tests.items())),
                row(
                    _field(typed, "controls.blanks_per_pull", "Blanks", "bare substrate, at each pull", draft=draft),
                    _field(typed, "controls.time_zero", "Time zero", "of each cell and test", draft=draft),
                    _field(typed, "controls.spare_share", "Spares", "10 to 20 % is usual", unit="%", draft=draft),
                ),
                row(
                    _glass(typed, book, draft),
                    _field(typed, "controls.glass_per_pull", "On inert glass", "at each pull; 0 for none", draft=draft),
                ),
            ]
        ),
        html.Details(
            [
                html.Summary("Cells left out, or with other numbers"),
                html.Div(cell_matrix(lists, list(typed.tests), typed.cells), id="plan-cells"),
                html.Div(pull_matrix(labels, list(typed.tests), typed.pulls), id="plan-at"),
                _others(typed.changes),
            ],
            className="steps",
            open=own_cells or bool(typed.changes),
        ),
        html.Details(
            [
                html.Summary("Dots, minutes and shelf"),
                html.P("Minutes are common practice: put your own.", className="quiet"),
                *(row(*(_field(typed, key, label, say, unit=unit, draft=draft) for key, label, say, unit in group))
                  for group in (DOTS, BENCH)),
                row(*(_field(typed, key, methods.get(key.removeprefix("bench.minutes."), key), "reading a coupon",
                             unit="min", draft=draft) for key in typed.fields if key.startswith("bench.minutes.")
                      and key.removeprefix("bench.minutes.") in methods)),
                row(*(_field(typed, key, label, say, unit=unit, draft=draft) for key, label, say, unit in SHELF)),
            ],
            className="steps",
        ),
        dcc.Store(id="plan-changes", data=list(typed.changes)),
    ]  # fmt: skip


def _field(typed: Typed, key: str, label: str, say: str, *, unit: str = "", draft: str, **more: Any) -> Any:
    # Debounced, so that a number half typed is no fault yet.
    return text_field({"plan": key}, label, say, unit=unit, value=str(typed.fields.get(key, "")), debounce=250,
                      **kept(draft), **more)  # fmt: skip


def kept(draft: str) -> dict[str, Any]:
    """What keeps a typed value in this browser tab until the plan is saved."""
    return {"persistence": draft, "persistence_type": "session"}


def _names(key: str, value: list[str], book: Register, draft: str) -> Any:
    title = {"adhesives": "Adhesives", "substrates": "Substrates", "environments": "Environments"}[key]
    known = [one.key for one in getattr(book, key)]
    return dmc.TagsInput(
        id={"plan": key}, label=title, description=NAMES_HELP, data=known, value=value, inputWrapperOrder=ORDER,
        splitChars=[",", ";"], acceptValueOnBlur=True, className="names", **kept(draft),
    )  # fmt: skip


def _test(method: str, title: str, count: str, draft: str) -> Any:
    return text_field({"plan-test": method}, title, "each cell, each pull", value=count, debounce=250, **kept(draft))


def _glass(typed: Typed, book: Register, draft: str) -> Any:
    return dmc.Autocomplete(
        id={"plan": "controls.glass"}, label="Inert-glass control", description="its substrate; blank for none",
        data=[one.key for one in book.substrates], value=str(typed.fields.get("controls.glass", "")),
        inputWrapperOrder=ORDER, debounce=250, **kept(draft),
    )  # fmt: skip


def _schedules() -> html.Div:
    found = schedules()
    return html.Div(
        [
            html.Span("Begin with", className="quiet"),
            *(
                html.Button(one.title, id={"schedule": key}, className="second small", title=one.pulls)
                for key, one in found.items()
            ),
        ],
        className="ways", role="group", **heard_as("Common schedules"),
    )  # fmt: skip


def _others(changes: Sequence[Mapping[str, Any]]) -> Any:
    if not changes:
        return None
    lines = []
    for change in changes:
        names = [
            str(change[key]) for key in ("adhesive", "substrate", "environment", "test", "pull") if change.get(key)
        ]
        lines.append(html.Li(f"{', '.join(names)}: {change['per_pull']}"))
    words = "Kept from the plan file, under what is typed above:"
    return html.Div([html.P(words, className="quiet"), html.Ul(lines)])


def decision_ticks(labels: Sequence[str], chosen: Sequence[str]) -> Any:
    """Which pulls are decision pulls; the last one where none is ticked."""
    here = [label for label in chosen if label in labels] or list(labels[-1:])
    boxes = [dmc.Checkbox(label=label, value=label, size="sm") for label in labels]
    return dmc.CheckboxGroup(
        html.Div(boxes, className="ticks"), id="plan-decisions", label="Decision pulls",
        description="pulls at which a duration is to be decided", inputWrapperOrder=ORDER, value=here,
    )  # fmt: skip


def lot_fields(adhesives: Sequence[str], chosen: Mapping[str, str], book: Register) -> Any:
    """Which lot, for an adhesive that has more than one in use."""
    fields = []
    for adhesive in adhesives:
        lots = [lot.key for lot in book.lots if lot.adhesive == adhesive and lot.key not in book.withdrawn]
        if len(lots) > 1:
            options = [(lot, lot) for lot in lots]
            fields.append(choice_field({"plan-lot": adhesive}, f"Lot of {adhesive}", options, "it has several",
                                       value=chosen.get(adhesive) or None))  # fmt: skip
    return row(*fields) if fields else None


def register(app: Dash, book: Any) -> None:
    """Schedules to begin with, and everything that follows the names and the pulls."""
    from study.commands.opening import open_study
    from study.commands.shelf import register_book

    @app.callback(
        Output({"plan": "pulls"}, "value"),
        Output("plan-decided", "children"),
        Output("plan-at", "children"),
        Input({"schedule": ALL}, "n_clicks"),
        Input({"plan": "pulls"}, "value"),
        State("plan-decisions", "value"),
        State({"plan-at": ALL}, "value"),
    )
    def pulls(clicks: list[int | None], typed: str | None, decided: list[str] | None, _: list[str]) -> Any:
        begun = ctx.triggered_id.get("schedule") if isinstance(ctx.triggered_id, dict) else None
        if begun and not any(clicks):
            return no_update, no_update, no_update
        words, chosen = typed or "", list(decided or [])
        if begun:
            one = schedules()[begun]
            words, chosen = one.pulls, list(pull_labels(one.decision_pulls))
        labels = pull_labels(words)
        if not labels:
            return no_update, no_update, no_update  # half typed: what follows stays until it can be read
        at = {tuple(entry["id"]["plan-at"].split("|")): entry.get("value") or "" for entry in ctx.states_list[1]}
        tests = list(dict.fromkeys(test for test, _ in at)) or [test.method for test in usual().protocol.tests]
        return words if begun else no_update, decision_ticks(labels, chosen), pull_matrix(labels, tests, at)

    @app.callback(
        Output("plan-cells", "children"),
        Output("plan-lots", "children"),
        *(Input({"plan": key}, "value") for key in ("adhesives", "substrates", "environments")),
        State({"plan-test": ALL}, "id"),
        State({"plan-cell": ALL}, "value"),
        State({"plan-lot": ALL}, "value"),
    )
    def names(
        adhesives: list[str] | None, substrates: list[str] | None, environments: list[str] | None,
        tests: list[dict[str, str]], _: list[str], __: list[str],
    ) -> Any:  # fmt: skip
        lists = {"adhesives": adhesives or [], "substrates": substrates or [], "environments": environments or []}
        cells = {tuple(entry["id"]["plan-cell"].split("|")): entry.get("value") or "" for entry in ctx.states_list[1]}
        lots = {entry["id"]["plan-lot"]: entry.get("value") or "" for entry in ctx.states_list[2]}
        with open_study(book.study_file) as study:
            found = register_book(study)
        made = cell_matrix(lists, [ident["plan-test"] for ident in tests], cells)
        return made, lot_fields(lists["adhesives"], lots, found)
