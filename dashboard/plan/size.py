"""Beside the form: coupons, hours and shelves of what is typed, counted anew on every change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from dashboard.components.tables import Column, table
from study.commands.plan import PlanInHand
from study.commands.shelf import Register
from study.errors import Problem
from study.model.plan import planned_groups
from study.outputs.plan_tables import HOURS_CAUTION, tabulate_counts, tabulate_plan_pulls, tabulate_rooms

WEEK_HOURS = 40.0
WAITS = "Name an adhesive, a substrate and an environment: coupons, hours and shelves are counted here at once."


def size_shown(held: PlanInHand, book: Register) -> list[Any]:
    """The plan in numbers that add up, and what is worth considering."""
    size = held.size
    weeks = f" – {size.hours / WEEK_HOURS:.0f} weeks of one person" if size.hours >= 2 * WEEK_HOURS else ""
    counts = [
        {"what": html.Span(row["what"], className="sum") if row["what"] == "in all" else row["what"],
         "coupons": html.Span(row["coupons"], className="sum") if row["what"] == "in all" else row["coupons"]}
        for row in tabulate_counts(size)
    ]  # fmt: skip
    by_test = [
        {"what": html.Span(f"of these, {test}", className="quiet"), "coupons": html.Span(str(n), className="quiet")}
        for test, n in size.by_test.items()
        if len(size.by_test) > 1
    ]
    shown: list[Any] = [
        html.P([html.Strong(f"{size.coupons} coupons"), f", {size.hours:.0f}\u202fh, {size.metres:.1f}\u202fm"],
               className="headline"),
        html.P(f"{size.formula}.", className="quiet"),
        table((Column("what", "Coupons"), Column("coupons", "Number", number=True)),
              [counts[0], *by_test, *counts[1:]], caption="Coupons by what they are for"),
        html.P(
            f"{size.making_hours:.0f}\u202fh to make and place, {size.reading_hours:.0f}\u202fh to pull and read"
            f"{weeks}. {HOURS_CAUTION.replace('; put your own into the plan under [bench]', '; put your own')}",
            className="quiet",
        ),
        table((Column("pull", "Pull"), Column("coupons", "Coupons", number=True),
               Column("hours", "Bench", unit="h", number=True)),
              tabulate_plan_pulls(size), caption="Work at each pull"),
        table((Column("environment", "Environment"), Column("coupons", "Coupons", number=True),
               Column("shelves", "Shelves", number=True), Column("metres", "Length", unit="m", number=True)),
              tabulate_rooms(size), caption="Room in each environment"),
    ]  # fmt: skip
    if size.warnings:
        heavy = [words for words in size.warnings if "longer than a working week" in words]
        rest = [words for words in size.warnings if words not in heavy]
        lines = [html.Li(words, className="harm") for words in heavy] + [html.Li(words) for words in rest]
        shown.append(html.Div([html.H3("Consider"), html.Ul(lines)], className="consider"))
    return [*shown, missing_shown(missing(held, book))]


def missing(held: PlanInHand, book: Register) -> dict[str, list[str]]:
    """Names of the plan that are not registered yet, by kind; an adhesive without a lot that may be used counts too."""
    plan = held.plan
    glass = [plan.controls.glass] if plan.controls.glass else []
    named = {"adhesives": plan.adhesives, "substrates": (*plan.substrates, *glass), "environments": plan.environments}
    found = {
        kind: [name for name in names if name not in {one.key for one in getattr(book, kind)}]
        for kind, names in named.items()
    }
    used = {group.adhesive for group in planned_groups(plan) if group.adhesive}
    with_lots = {lot.adhesive for lot in book.lots if lot.key not in book.withdrawn}
    found["lots"] = [f"one of {name}" for name in plan.adhesives if name in used and name not in with_lots]
    return {kind: names for kind, names in found.items() if names}


def missing_shown(found: Mapping[str, list[str]]) -> Any:
    """What must be registered before coupons can be made, each kind one click away."""
    if not found:
        return None
    lines = [
        html.Li([dcc.Link(kind.capitalize(), href=f"/register?what={kind}&by=paste"), f": {', '.join(names)}"])
        for kind, names in found.items()
    ]
    return html.Div([html.H3("Still to be registered, before coupons are made"), html.Ul(lines)], className="consider")


def faults_shown(rest: Sequence[Problem]) -> Any:
    """What keeps the plan from being counted; what stands at its field is not said twice."""
    if not rest:
        return html.P("Counted again once the marked fields are right.", className="quiet")
    return html.Ul([html.Li(said_of(problem)) for problem in rest], className="harm")


def said_of(problem: Problem) -> str:
    """A fault of a plan as a page says it."""
    value = f"“{problem.value}”{' ' if problem.what.startswith('is ') else ': '}" if "[" in problem.column else ""
    if "valid integer" in problem.what or "valid number" in problem.what:
        return f"“{problem.value}” is not a number."
    return f"{value}{problem.what} {problem.do}".replace("Correct it in the file.", "").strip()
