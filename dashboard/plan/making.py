"""Saving a plan under its name, and making it: sets, coupons and places enter the register on one confirmation."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import short_day, typed_day
from dashboard.components.fields import name_field, row, text_field
from dashboard.components.messages import refused, saved, told
from dashboard.plan.form import kept
from dashboard.plan.writing import Typed
from study.commands.opening import open_study
from study.commands.plan import KeptPlan, PlanInHand, foresee_plan, read_plan_text, save_plan
from study.commands.plan_dealt import set_keys
from study.commands.plan_make import arrange_again, make_study_from_plan
from study.errors import DwellbookError, FileRefused, NotPossible
from study.model.plan import planned_groups

HIDDEN, SEEN = {"display": "none"}, {"display": "block"}
KINDS = {"adhesive": "adhesives", "substrate": "substrates", "environment": "environments", "lots": "lots"}


def making(typed: Typed, *, today: str, seed: str, draft: str, again: bool) -> html.Div:
    """Name, day, seed and who; then save, or make at once."""
    why = text_field("plan-why", "Reason", "why it supersedes the plan saved before", className="long")
    return html.Div(
        [
            row(
                text_field({"plan": "name"}, "Name", "small letters, digits, dots, dashes",
                           value=str(typed.fields.get("name", "")), debounce=250, **kept(draft)),
                text_field({"plan": "title"}, "Title (optional)", "what the study is to answer", className="long",
                           value=str(typed.fields.get("title", "")), debounce=250, **kept(draft)),
            ),
            row(
                text_field("plan-on", "Placed on", "year-month-day; dwell begins", value=today),
                text_field("plan-seed", "Seed (optional)", "of the allocation; drawn and kept if blank", value=seed),
                name_field("plan-by", "Planned by"),
            ),
            html.Div(row(why), style=SEEN if again else HIDDEN, id="plan-why-row"),
            html.Div(
                [
                    html.Button("Allocate and register", id="plan-make", className="primary"),
                    html.Button("Save the plan", id="plan-save", className="second"),
                    html.Span("Nothing typed yet.", id="plan-keeping", className="quiet", role="status"),
                ],
                className="foot",
            ),
            html.Div(id="plan-said", className="said"),
            html.Div(
                [
                    html.Div(id="plan-confirm-words"),
                    html.Div(
                        [
                            html.Button("Yes, make them", id="plan-yes", className="primary"),
                            html.Button("Not yet", id="plan-no", className="second"),
                        ],
                        className="foot",
                    ),
                ],
                id="plan-confirm", className="message", style=HIDDEN,
            ),
        ],
        className="card form wide-form",
    )  # fmt: skip


def held_of(text: dict[str, Any] | None) -> PlanInHand:
    """The plan that stands in the form.

    Raises
    ------
    DwellbookError
        If it is not whole, or has no name.
    """
    if not text or not text.get("text"):
        raise NotPossible("The plan is not whole yet.", "Fill in what is marked above, until its coupons are counted.")
    if not text.get("named"):
        raise NotPossible("The plan has no name.", "Write one above: small letters, digits, dots and dashes.")
    return read_plan_text(str(text["text"]))


def typed_seed(typed: str | None) -> int | None:
    """The seed as typed, or None for one that is drawn.

    Raises
    ------
    NotPossible
    """
    text = (typed or "").strip()
    if text and not text.isdecimal():
        raise NotPossible(f"“{text}” is not a seed.", "Write a whole number, or leave it blank.")
    return int(text) if text else None


def kept_plan(
    book: Book, held: PlanInHand, *, seed: str | None, by: str | None, why: str | None, only_look: bool = False
) -> KeptPlan:
    """The plan saved under its name, or, only to look, as it would be saved.

    Raises
    ------
    DwellbookError
        If another plan of that name is in force and no reason was written, or coupons were made from it.
    """
    signature = book.sign(by, why)
    with open_study(book.study_file) as study:
        try:
            keep = foresee_plan if only_look else save_plan
            return keep(study, held, signature=signature, seed=typed_seed(seed))
        except NotPossible as error:
            if "--why" in error.do:
                raise NotPossible(error.what, "Write a reason, or give the plan another name.") from None
            raise


def saved_said(done: KeptPlan) -> list[Any]:
    """That a plan is saved, and what may have been printed of the one before and is not true any more."""
    untrue = [html.Div([html.P(warning) for warning in done.warnings], className="message harm", role="alert")]
    return [
        saved(f"Plan {done.name} is saved by {done.by} with seed {done.seed}."), *(untrue if done.warnings else ())
    ]  # fmt: skip


def confirm_words(held: PlanInHand, on: str) -> str:
    """What making will do, in one sentence."""
    sets = len(set_keys(held.plan, planned_groups(held.plan)))
    return (
        f"This saves plan {held.plan.name} and registers {held.size.coupons} coupons in {sets} sets, placed on "
        f"{short_day(typed_day(on))}, each dealt by the seed to its pull and its place. The plan is then fixed."
    )


def made(book: Book, held: PlanInHand, *, on: str | None, seed: str | None, by: str | None, why: str | None) -> str:
    """Save and make; the address of what was made.

    Raises
    ------
    DwellbookError
    """
    day = typed_day(on)
    signature = book.sign(by, why)
    kept_plan(book, held, seed=seed, by=by, why=why)
    with open_study(book.study_file) as study:
        make_study_from_plan(study, held.plan.name, placed_on=day, signature=signature)
    # Another address than that of the plan alone, so that a page which is open there already is drawn anew.
    return f"/plan?{urlencode({'name': held.plan.name, 'made': 'yes'})}"


def making_refused(error: DwellbookError) -> html.Div:
    """Why it was not made, what is missing one click away."""
    if not isinstance(error, FileRefused):
        return refused(error)
    lines = []
    for problem in error.problems:
        kind = KINDS.get(problem.column.split(".")[0])
        link: list[Any] = (
            [" ", dcc.Link(f"Register {kind}", href=f"/register?what={kind}&by=paste"), "."] if kind else []
        )
        lines.append(html.Li([told(problem), *link]))
    head = "The plan is saved; nothing is registered yet."
    return html.Div([html.P(head), html.Ul(lines)], className="message harm", role="alert")


def register(app: Dash, book: Book) -> None:
    """Saving, asking once, making, and dealing places anew."""
    typed = (State("plan-text", "data"), State("plan-on", "value"), State("plan-seed", "value"),
             State("plan-by", "value"), State("plan-why", "value"))  # fmt: skip

    @app.callback(
        Output("plan-said", "children"),
        Output("plan-confirm", "style"),
        Output("plan-why-row", "style"),
        Output("plan-before", "data"),
        Output("go", "href", allow_duplicate=True),
        Input("plan-save", "n_clicks"),
        *typed,
        State("plan-name", "data"),
        prevent_initial_call=True,
    )
    def save(
        clicks: int | None, text: dict[str, Any] | None, _: str, seed: str | None, by: str | None, why: str | None,
        here: str,
    ) -> Any:  # fmt: skip
        if not clicks:
            return (no_update,) * 5
        try:
            held = held_of(text)
            done = kept_plan(book, held, seed=seed, by=by, why=why)
        except DwellbookError as error:
            return refused(error), HIDDEN, _why(error), no_update, no_update
        address = f"/plan?{urlencode({'name': done.name})}"
        if done.name == here:
            return saved_said(done), HIDDEN, HIDDEN, held.plan.text(), no_update
        if done.warnings:  # what is not true any more is read here, before the page of that plan is opened
            return [*saved_said(done), dcc.Link("Open the plan", href=address)], HIDDEN, HIDDEN, no_update, no_update
        return saved_said(done), HIDDEN, HIDDEN, no_update, address

    @app.callback(
        Output("plan-said", "children", allow_duplicate=True),
        Output("plan-confirm", "style", allow_duplicate=True),
        Output("plan-confirm-words", "children", allow_duplicate=True),
        Output("plan-why-row", "style", allow_duplicate=True),
        Input("plan-make", "n_clicks"),
        Input("plan-no", "n_clicks"),
        *typed,
        prevent_initial_call=True,
    )
    def once(
        clicks: int | None, no: int | None, text: dict[str, Any] | None, on: str | None, seed: str | None,
        by: str | None, why: str | None,
    ) -> Any:  # fmt: skip
        if ctx.triggered_id == "plan-no" or not clicks:
            return None, HIDDEN, "", no_update
        try:
            held = held_of(text)
            foreseen = kept_plan(book, held, seed=seed, by=by, why=why, only_look=True)
            untrue = [html.P(warning, className="harm") for warning in foreseen.warnings]
            words = [html.P(confirm_words(held, on or "")), *untrue]
        except DwellbookError as error:
            return refused(error), HIDDEN, "", _why(error)
        return None, SEEN, words, no_update

    @app.callback(
        Output("plan-said", "children", allow_duplicate=True),
        Output("plan-confirm", "style", allow_duplicate=True),
        Output("go", "href", allow_duplicate=True),
        Input("plan-yes", "n_clicks"),
        *typed,
        prevent_initial_call=True,
    )
    def make(
        clicks: int | None,
        text: dict[str, Any] | None,
        on: str | None,
        seed: str | None,
        by: str | None,
        why: str | None,
    ) -> Any:
        if not clicks:
            return (no_update,) * 3
        try:
            address = made(book, held_of(text), on=on, seed=seed, by=by, why=why)
        except DwellbookError as error:
            return making_refused(error), HIDDEN, no_update
        return saved("Made."), HIDDEN, address

    @app.callback(
        Output("again-said", "children"), Input("again", "n_clicks"), State("plan-name", "data"),
        State("again-seed", "value"), State("again-by", "value"), State("again-why", "value"),
        prevent_initial_call=True,
    )  # fmt: skip
    def deal(clicks: int | None, name: str, seed: str | None, by: str | None, why: str | None) -> Any:
        if not clicks:
            return no_update
        try:
            wanted = typed_seed(seed)
            if wanted is None:
                raise NotPossible("No seed is given.", "Write a whole number.")
            with open_study(book.study_file) as study:
                done = arrange_again(study, name, seed=wanted, signature=book.sign(by, why))
        except DwellbookError as error:
            return refused(
                NotPossible(error.what, error.do.split(", such as --why")[0].replace("Add one", "Write one"))
            )
        return saved(f"Places are dealt anew by seed {done.seed}: print the shelf map again.")


def _why(error: DwellbookError) -> Any:
    return SEEN if "is in force" in error.what else no_update
