"""What a plan prints while its coupons are made, and what is on file of it and comes next once they are placed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from dashboard.components.fields import name_field, row, text_field
from dashboard.components.paper import calendar_address, paper_link
from dashboard.components.tables import Column, table
from dashboard.printing import MAP, SHEET
from dashboard.register.printing import PLAN
from study.commands.plan_dealt import set_keys
from study.commands.shelf import Register, SetOnFile
from study.model.plan import Plan, planned_groups
from study.model.pull import TIME_ZERO


def sets_of(plan: Plan, book: Register) -> list[SetOnFile]:
    """What was made of a plan; empty if nothing was."""
    wanted = set(set_keys(plan, planned_groups(plan)).values())
    return [one for one in book.sets if one.coupon_set.key in wanted]


def labels_of(plan: Plan) -> str:
    """Where the labels of this plan's coupons alone are printed."""
    return f"/register?what=sets&labels={quote(PLAN + plan.name)}"


def before_placing(plan: Plan) -> html.Section:
    """What is printed while the coupons are made: their labels and where each will stand."""
    return html.Section(
        [
            html.H2("Before they are placed"),
            html.P(
                "Codes and places are kept for this plan: label the pieces as they are made, and place them by the "
                "map. The day is written in by hand.", className="quiet",
            ),
            html.Ul(_labels_and_map(plan), className="next"),
        ]
    )  # fmt: skip


def _labels_and_map(plan: Plan) -> list[html.Li]:
    return [
        html.Li(dcc.Link("Print the labels of this plan", href=labels_of(plan), className="step")),
        html.Li(paper_link("Shelf map of this plan", MAP, plan=plan.name)),
    ]


def _sheets(plan: Plan, words: str, pull: str) -> html.Li:
    return html.Li(paper_link(words, SHEET, pull=pull, plan=plan.name))


def made_shown(plan: Plan, sets: Sequence[SetOnFile], *, seed: int) -> list[Any]:
    """What is on file of it, and what comes next: labels, the map, the first bench sheets, the calendar."""
    first = plan.pulls[0]
    zero = [one for one in sets if one.coupon_set.role == "time-zero" and one.placed]
    columns = (
        Column("set", "Set", tight=True), Column("title", "Stands on"), Column("role", "Role", tight=True),
        Column("environment", "Environment", spare=True), Column("coupons", "Coupons", number=True),
        Column("labels", "Labels", tight=True),
    )  # fmt: skip
    rows = [
        {
            "set": one.coupon_set.key, "title": one.title if one.coupon_set.pairing else one.coupon_set.substrate,
            "role": one.coupon_set.role, "environment": one.coupon_set.environment, "coupons": str(one.coupons),
            "labels": dcc.Link(["Print", html.Span(f" labels of {one.coupon_set.key}", className="unseen")],
                               href=f"/register?what=sets&labels={quote(one.coupon_set.key)}"),
        }
        for one in sets
    ]  # fmt: skip
    return [
        html.Section(
            [
                html.H2("Next"),
                html.Ul(
                    [
                        *_labels_and_map(plan),
                        *([_sheets(plan, "Bench sheets of time zero, to be read now", TIME_ZERO)] if zero else []),
                        _sheets(plan, f"Bench sheets of the first pull, {first}", first),
                        html.Li(calendar_address()),
                    ],
                    className="next",
                ),
            ]
        ),
        html.Section([html.H2("What was made"), table(columns, rows, caption="Sets made from the plan")]),
        html.Details(
            [
                html.Summary("Deal the places anew"),
                html.P(f"What each coupon is destined to stays; its place is dealt by another seed than {seed}.",
                       className="quiet"),
                row(text_field("again-seed", "New seed"), name_field("again-by", "Dealt by"),
                    text_field("again-why", "Reason", "such as: the shelves were moved", className="long")),
                html.Div(html.Button("Deal the places anew", id="again", className="second"), className="foot"),
                html.Div(id="again-said", className="said"),
            ],
            className="card form act",
        ),
    ]  # fmt: skip
