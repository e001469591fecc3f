"""Plan: what a study would cost and could show, before anything is made; then its coupons, dealt by a kept seed."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import urlencode

from dash import ALL, ClientsideFunction, Dash, Input, Output, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.days import short_day
from dashboard.components.frame import frame
from dashboard.components.messages import with_refusals
from dashboard.plan import decline, form, made, making, support
from dashboard.plan.size import WAITS, faults_shown, said_of, size_shown
from dashboard.plan.writing import LISTS, NAMELESS, Typed, blank, plan_text, pull_labels, typed_of, usual
from study.commands.opening import open_study
from study.commands.plan import PlanInHand, read_plan_text, saved_plan, saved_plans, schedules
from study.commands.shelf import Register, SetOnFile, register_book
from study.errors import DwellbookError, FileRefused
from study.model.plan import planned_groups, pull_days

PATH, NAME = "/plan", "Plan"
CHOSEN = "middling"
USUAL_SCHEDULE = "usual-three-years"


@with_refusals(NAME)
def layout(book: Book, name: str = "", **_: str) -> html.Div:
    """A plan by name, or a new one."""
    with open_study(book.study_file) as study:
        plans, found = saved_plans(study), register_book(study)
        held, saved = saved_plan(study, name) if name else (None, None)
    if held is None or saved is None:
        usual_one = schedules()[USUAL_SCHEDULE]
        typed = blank(usual_one.pulls, pull_labels(usual_one.decision_pulls))
        sets: list[SetOnFile] = []
    else:
        typed, sets = typed_of(held.plan), made.sets_of(held.plan, found)
    shown = [*_choices(list(plans), name), *_first(found, bool(plans), name)]
    if held is not None and saved is not None:
        shown += made.made_shown(held.plan, sets, seed=saved.seed) if sets else [made.before_placing(held.plan)]
    shown += _work(typed, found, saved, held, sets, today=book.today(), draft=name or f"new plan {len(plans)}")
    title = (held.plan.title or held.plan.name) if held is not None else "A new plan"
    return frame(book, active=NAME, title=title, status=status_line(held, saved, sets, bool(plans)), work=shown)


def status_line(held: PlanInHand | None, saved: Any, sets: list[SetOnFile], any_plan: bool) -> str:
    """Where it stands, in one sentence."""
    if held is None or saved is None:
        return "Nothing is saved or made until you say so." if any_plan else (
            "No plan is on file yet: count a study, try it out, and make its coupons when it is worth the work."
        )  # fmt: skip
    who = f"Plan {saved.name}, saved by {saved.by} on {short_day(date.fromisoformat(saved.at[:10]))}, seed {saved.seed}"
    if not sets:
        return f"{who}; its coupons are not made yet."
    coupons = sum(one.coupons for one in sets)
    return f"{who}; made: {coupons} coupons in {len(sets)} sets, placed on {short_day(sets[0].coupon_set.placed_on)}."


def _choices(plans: list[str], here: str) -> list[Any]:
    if not plans:
        return []
    links: list[Any] = []
    for name in [*plans, ""]:
        words = name or "New plan"
        inside: Any = [words, html.Span(" (this plan)", className="unseen")] if name == here else words
        href = f"{PATH}?{urlencode({'name': name})}" if name else PATH
        links.append(dcc.Link(inside, href=href, className="word here" if name == here else "word"))
    return [html.Nav(links, className="choices", **heard_as("Plans"))]


def _first(found: Register, any_plan: bool, name: str) -> list[Any]:
    if any_plan or name or found.adhesives:
        return []
    lines = [
        html.P("This page counts coupons, hours and shelves while you type, and tries the study out on invented ones."),
        html.P(["Begin with any names: they can be registered later. Or ",
                dcc.Link("register adhesives, substrates and environments first", href="/register"), "."]),
    ]  # fmt: skip
    return [html.Div(lines, className="empty first")]


def _work(
    typed: Typed, found: Register, saved: Any, held: PlanInHand | None, sets: list[SetOnFile], *,
    today: date, draft: str,
) -> list[Any]:  # fmt: skip
    methods = {test.method: usual().protocol.method(test.method).title for test in usual().protocol.tests}
    for test in usual().protocol.tests:
        methods |= {key: usual().protocol.method(key).title for key in test.then_read}
    pictures = decline.usual_pictures()
    pictures |= {str(one["key"]): dict(one) for one in typed.pictures}
    labels = pull_labels(str(typed.fields["pulls"]))
    wanted = typed.decisions[0] if typed.decisions else labels[-1]
    panel = html.Div(
        html.Div(WAITS, id="plan-size"),
        className="card size",
        role="region",
        tabIndex="0",
        **heard_as("Size of the plan"),
    )
    make_words = "Give it a name of its own: what was made stays as it is." if sets else ""
    work = [
        html.Div([html.Div(form.form(typed, found, methods=methods, draft=draft), className="card plan-form"), panel],
                 className="planning"),
        html.P(id="plan-sum", className="plan-sum", role="status"),
        html.Section(
            [
                html.H2("What could it support?"),
                html.P("Studies of a known decline are invented, and each is judged as a real one will be.",
                       className="quiet"),
                html.Div([*decline.decline(pictures, found.pairings, chosen=CHOSEN, months=60),
                          *support.asking(wanted)], className="card trial"),
            ]
        ),
        html.Section(
            [
                html.H2("Allocate and register"),
                *([html.P(make_words, className="quiet")] if make_words else []),
                making.making(typed, today=today.isoformat(), seed=str(saved.seed) if saved else "", draft=draft,
                              again=False),
            ]
        ),
    ]  # fmt: skip
    stores = [
        dcc.Store(id="plan-text"),
        dcc.Store(id="plan-typed"),
        dcc.Store(id="plan-counted"),
        dcc.Store(id="plan-last", data=60),
        dcc.Store(id="plan-name", data=saved.name if saved else ""),
        dcc.Store(id="plan-before", data=held.plan.text() if held else ""),
    ]
    if sets:
        return [html.Details([html.Summary("Change it as a plan of its own"), *work], className="variant"), *stores]
    return [*work, *stores]


def counted(typed: Typed, book: Register, before: str) -> tuple[list[Any], dict[str, str], dict[str, Any], str, str]:
    """What stands beside the form: the numbers, the faults by field, the text kept, and two sentences."""
    named = bool(str(typed.fields.get("name") or "").strip())
    text = plan_text(typed, nameless=NAMELESS)
    if not all(typed.fields.get(key) for key in LISTS):
        return (
            [html.P(WAITS, className="quiet")],
            {},
            {},
            "",
            "Typed, not saved yet." if named else "Nothing saved yet.",
        )
    try:
        held = read_plan_text(text)
    except FileRefused as refusal:
        at: dict[str, str] = {}
        rest = []
        for problem in refusal.problems:
            key = _place(problem.column, list(typed.tests)) or problem.column.split("[")[0]
            if key in typed.fields or key.startswith("test:"):
                at.setdefault(key, said_of(problem))  # the first; what follows from it is told once it is right
            else:
                rest.append(problem)
        return [faults_shown(rest)], at, {}, "", "Typed, not whole yet."
    same = before and held.plan.text() == before
    groups = planned_groups(held.plan)
    cells = dict.fromkeys(f"{g.adhesive}|{g.substrate}|{g.environment}" for g in groups if g.role == "test")
    size = held.size
    kept = {"text": text, "named": named, "cells": list(cells), "last": pull_days(held.plan.schedule.pulls[-1])}
    line = f"{size.coupons} coupons, {size.hours:.0f}\u202fh, {size.metres:.1f}\u202fm of shelf"
    return size_shown(held, book), {}, kept, line, "Saved." if same else "Typed, not saved yet."


def _place(column: str, tests: list[str]) -> str:
    if column.startswith("coupons."):
        return f"test:{column.removeprefix('coupons.')}"
    if column.startswith("tests[") and column.endswith(".per_pull"):
        return f"test:{tests[int(column[6 : column.index(']')]) - 1]}"
    return ""


def register(app: Dash, book: Book) -> None:
    """Everything on this page that answers."""
    for part in (form, decline, support, making):
        part.register(app, book)

    app.clientside_callback(
        ClientsideFunction("planning", "gather"),
        Output("plan-typed", "data"),
        Input({"plan": ALL}, "value"),
        Input({"plan-test": ALL}, "value"),
        Input({"plan-cell": ALL}, "value"),
        Input({"plan-at": ALL}, "value"),
        Input({"plan-lot": ALL}, "value"),
        Input("plan-decisions", "value"),
        Input("plan-pictures", "data"),
        Input("plan-changes", "data"),
        Input("plan-before", "data"),
    )

    app.clientside_callback(
        ClientsideFunction("planning", "counted"), Output("plan-counted", "data"), Input("plan-text", "data")
    )

    @app.callback(
        Output("plan-size", "children"),
        Output({"plan": ALL}, "error"),
        Output({"plan-test": ALL}, "error"),
        Output("plan-text", "data"),
        Output("plan-sum", "children"),
        Output("plan-keeping", "children"),
        Input("plan-typed", "data"),
        prevent_initial_call=True,
    )
    def count(gathered: dict[str, Any] | None) -> Any:
        at_fields, at_tests = ctx.outputs_list[1], ctx.outputs_list[2]
        still = [no_update] * len(at_fields), [no_update] * len(at_tests)
        if not gathered:
            return no_update, *still, no_update, no_update, no_update
        fields, tests, cells, at, lots, decisions, pictures, changes, before = gathered["typed"]
        typed_pulls = next((entry.get("value") for entry in fields if entry["id"]["plan"] == "pulls"), "")
        # What is ticked follows the pulls a moment later; a tick of a pull that is gone counts no more.
        labels = pull_labels(str(typed_pulls or ""))
        typed = Typed(
            {entry["id"]["plan"]: entry.get("value") for entry in fields},
            {entry["id"]["plan-test"]: str(entry.get("value") or "") for entry in tests},
            {tuple(e["id"]["plan-cell"].split("|")): str(e.get("value") or "") for e in cells
             if e["id"]["plan-cell"].count("|") == 3},
            {tuple(e["id"]["plan-at"].split("|")): str(e.get("value") or "") for e in at},
            {entry["id"]["plan-lot"]: str(entry.get("value") or "") for entry in lots},
            [label for label in decisions.get("value") or [] if label in labels],
            decline.edited((pictures.get("value") or {"all": {}})["all"]),
            changes.get("value") or [],
        )  # fmt: skip
        try:
            with open_study(book.study_file) as study:
                found = register_book(study)
        except DwellbookError:
            return no_update, *still, no_update, no_update, no_update
        shown, faults, kept, line, keeping = counted(typed, found, before.get("value") or "")
        field_errors = [faults.get(entry["id"]["plan"], "") for entry in at_fields]
        test_errors = [faults.get(f"test:{entry['id']['plan-test']}", "") for entry in at_tests]
        return shown, field_errors, test_errors, {**kept, "n": gathered["n"]}, line, keeping
