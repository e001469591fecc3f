"""Printing labels: of which set or plan, on which sheet, from which place; the measures are kept in this browser."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, html, no_update

from dashboard.components.fields import choice_field, row, text_field
from dashboard.components.messages import refused
from dashboard.printing import LABELS
from study.commands.shelf import Register
from study.errors import DwellbookError, NotPossible
from study.model.label_grid import A4_24, LabelGrid, label_grid

EVERY, PLAN = "all", "plan:"
USUAL = "3 x 8 of 63.5 x 33.9 mm, margins 7.2 x 12.9, gaps 2.5 x 0"


def print_form(book: Register, plans: Sequence[str], chosen: str) -> html.Details:
    """The form, open where labels were asked for by address: of all, of a set, or of a plan (``plan:NAME``)."""
    keys = [f"{PLAN}{name}" for name in plans] + [one.coupon_set.key for one in book.sets if one.placed]
    names = [(EVERY, "every coupon still in its placement")]
    names += [(key, f"plan {key.removeprefix(PLAN)}" if key.startswith(PLAN) else key) for key in keys]
    held: dict[str, Any] = {"persistence": True, "persistence_type": "local"}
    return html.Details(
        [
            html.Summary("Print labels"),
            row(
                choice_field("label-set", "Labels of", names, value=chosen if chosen in keys else EVERY,
                             clearable=False, className="long"),
                text_field("label-start", "First place", "1 on a fresh sheet", value="1"),
            ),
            row(
                text_field("label-grid", "Sheet", "columns x rows of label, margins, gaps; kept in this browser",
                           value=USUAL, className="long", **held),
            ),
            html.Div(
                dmc.Checkbox(
                    id="label-blind", label="Blind: without adhesive and lot, for whoever grades", size="sm", **held
                ),
                className="confirm",
            ),
            html.Div(
                [
                    html.A("Print labels", id="label-print", className="second", target="_blank"),
                    html.Span(id="label-count", className="quiet", role="status"),
                ],
                className="foot",
            ),
            html.Div(id="label-said", className="said"),
        ],
        className="card form act", id="print-labels", open=bool(chosen),
    )  # fmt: skip


def sheet_of(grid: str, start: str) -> tuple[LabelGrid, int]:
    """The sheet and the first place as typed.

    Raises
    ------
    DwellbookError
        If the sheet cannot be read or the place is not on it.
    """
    found = label_grid(grid) if grid else A4_24
    if not start.isdecimal() or not 1 <= int(start) <= found.a_sheet:
        raise NotPossible(f"“{start}” is no place of the sheet.", f"Begin at 1 to {found.a_sheet}.")
    return found, int(start)


def counted(labels: int, grid: LabelGrid, start: int) -> str:
    """How many labels on how many sheets."""
    sheets = -(-(labels + start - 1) // grid.a_sheet)
    return f"{'1 label' if labels == 1 else f'{labels} labels'} on {'1 sheet' if sheets == 1 else f'{sheets} sheets'}."


def register(app: Dash, book: Any) -> None:
    """The address follows what is chosen; a sheet that does not fit is said before anything is printed."""
    from study.commands.opening import open_study
    from study.commands.register_labels import coupon_labels
    from study.commands.shelf import register_book

    @app.callback(
        Output("label-print", "href"),
        Output("label-count", "children"),
        Output("label-said", "children"),
        Input("label-set", "value"),
        Input("label-start", "value"),
        Input("label-grid", "value"),
        Input("label-blind", "checked"),
        State("register-kind", "data"),
    )
    def follow(chosen: str | None, start: str | None, grid: str | None, blind: bool | None, _: str) -> Any:
        key, typed = "" if chosen in (None, EVERY) else str(chosen), (grid or "").strip()
        plan = key.removeprefix(PLAN) if key.startswith(PLAN) else ""
        try:
            sheet, first = sheet_of(typed, (start or "").strip())
            with open_study(book.study_file) as study:
                sets = register_book(study).sets
                planned = len(coupon_labels(study, plan=plan)) if plan else 0
        except DwellbookError as error:
            return None, "", refused(error)
        labels = planned if plan else sum(one.placed for one in sets if key in ("", one.coupon_set.key))
        wanted = {"plan": plan} if plan else {"set": key}
        asked = {**wanted, "blind": "yes" if blind else "", "grid": typed, "start": str(first)}
        href = f"{LABELS}?{urlencode({name: value for name, value in asked.items() if value})}"
        return href if labels else no_update, counted(labels, sheet, first), None
