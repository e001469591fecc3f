"""Decide: for each pairing the duration its evidence carries, and the decision that stands under a name."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.cautions import cautions
from dashboard.components.frame import frame
from dashboard.components.messages import WORKING, empty, refused, saved, waiting, with_refusals
from dashboard.components.ribbons import legend, outcome, ribbon_table, tall_ribbon
from dashboard.pages.analyse import rows_of
from dashboard.pages.today import short_day
from study.commands.decide import Standing, issue_decision, stand_of, standing
from study.commands.opening import open_study
from study.errors import DwellbookError
from study.model.decision import Decision
from study.model.estimate import Duration
from study.model.units import duration_words, percent
from study.outputs.cautions import confidence_words
from study.outputs.tables import evidence_line

PATH, NAME = "/decide", "Decide"
PROVISIONAL = "Provisional: it rests on an assumption that the readings cannot yet confirm, and may shorten."


@with_refusals(NAME)
def layout(book: Book, pairing: str = "", **_: str) -> html.Div:
    """All standings, or one pairing with the form that issues its decision."""
    if not pairing:
        with open_study(book.study_file):
            pass  # a file that is no study is refused before anything is worked out
        return frame(book, active=NAME, title="Durations", status=WORKING, work=[waiting("all-standings")])
    with open_study(book.study_file) as study:
        one = stand_of(study, pairing)
    return frame(
        book,
        active=NAME,
        title=one.analysed.evidence.pairing.title,
        status=standing_words(one),
        work=one_standing(one),
    )


def status_line(found: list[Standing]) -> str:
    """How many pairings stand on a decision, in one sentence."""
    if not found:
        return "No pairing has coupons yet."
    issued = sum(s.decision is not None for s in found)
    overtaken = sum(bool(s.overtaken) for s in found)
    end = f", {overtaken} of them overtaken by newer readings." if overtaken else "."
    return f"{issued} of {len(found)} pairings have an issued decision{end}"


def all_standings(found: list[Standing]) -> list[Any]:
    """Ribbons with what was decided beside them."""
    if not found:
        return [
            empty(
                "Each pairing will stand here with the duration its evidence carries.",
                "Register coupon sets first, then pull and read them.",
                "dwellbook register --help",
            )
        ]
    by_key = {s.analysed.evidence.key: s for s in found}

    def decided(key: str) -> Any:
        one = by_key[key]
        if one.decision is None:
            return "none yet"
        told: list[Any] = [decision_words(one.decision)]
        if one.overtaken:
            told += [html.Br(), html.Strong("overtaken", className="harm")]
        return html.Span(told)

    rows = rows_of([s.analysed for s in found])
    link = lambda key: f"/decide?pairing={quote(key, safe='')}"  # noqa: E731
    return [ribbon_table(rows, href=link, more=decided, head="Decision"), legend(), cautions()]


def decision_words(decision: Decision) -> str:
    """A decision in a few words: what, by whom, when."""
    what = duration_words(decision.days) if decision.days is not None else decision.outcome
    what += ", provisional" if decision.outcome == "provisional" else ""
    interim = ", interim" if decision.interim else ""
    return f"{what}{interim}; {decision.issued_by}, {short_day(decision.issued_at.date())}"


def standing_words(one: Standing) -> str:
    """Where the pairing stands, in one sentence."""
    if one.overtaken:
        return one.overtaken
    if one.decision is None:
        return "No decision has been issued for this pairing."
    return f"Decision {one.decision.number} stands: {decision_words(one.decision)}."


def one_standing(one: Standing) -> list[Any]:
    """Ribbon, number, every step to it, what would extend it, and the form."""
    evidence, estimate = one.analysed.evidence, one.analysed.estimate
    key = quote(evidence.key, safe="")
    return [
        html.P(
            [
                dcc.Link("All durations", href=PATH),
                f" · {evidence.key} · {evidence.pairing.detail} · ",
                dcc.Link("figures", href=f"/analyse?pairing={key}"),
            ],
            className="quiet",
        ),
        html.Div([tall_ribbon(estimate), outcome(estimate)], className="card hero"),
        html.Section([html.H2("What it says"), *meaning(estimate.duration)]),
        html.Section([html.H2("How it was reached"), html.Ol([html.Li(step) for step in estimate.duration.steps])]),
        issue_form(evidence.key),
        html.Div(id="issued"),
        cautions(),
    ]


def meaning(duration: Duration) -> list[Any]:
    """The number in words, with n, confidence and reach, and what would extend it."""
    told = [html.P(duration.why)]
    if duration.days is not None:
        words = confidence_words(confidence=duration.confidence, permitted=duration.permitted_unacceptable_share)
        words = words if duration.outcome == "supported" else PROVISIONAL
        told.append(html.P([html.Strong(f"{duration.days}\u2009d"), f" ({duration_words(duration.days)}). {words}"]))
    told.append(html.P(f"Evidence: {evidence_line(duration)}."))
    seen = duration.any_failure
    if seen is not None:
        told.append(
            html.P(
                f"By any criterion, {seen.unacceptable} of {seen.read} coupons pulled at {seen.dwell_days:.0f}\u2009d "
                f"were unacceptable: a share of at most {percent(seen.share_upper)} with "
                f"{percent(duration.confidence)} confidence."
            )
        )
    if duration.extend:
        told.append(html.P(["What would extend it: ", duration.extend]))
    return told


def issue_form(key: str) -> html.Div:
    """The form that puts a name under the duration."""
    fields = html.Div(
        [
            dmc.TextInput(
                id="issue-by",
                label="Issued by",
                description="your name stands under the decision",
                persistence=True,
                inputWrapperOrder=["label", "input", "description", "error"],
            ),
            dmc.TextInput(
                id="issue-why",
                label="Reason",
                description="why now, or what it replaces",
                className="long",
                inputWrapperOrder=["label", "input", "description", "error"],
            ),
        ],
        className="row",
    )
    foot = html.Div(html.Button("Issue this decision", id="issue", className="primary"), className="foot")
    return html.Div([html.H2("Issue"), fields, foot, dcc.Store(id="issue-key", data=key)], className="card form")


def issued(book: Book, key: str, *, by: str | None, why: str | None) -> html.Div:
    """What is shown after a decision was asked for."""
    try:
        with open_study(book.study_file) as study:
            decision = issue_decision(study, key, signature=book.sign(by, why), on=book.today())
    except DwellbookError as error:
        return refused(error)
    return saved(f"Decision {decision.number} is issued: {decision_words(decision)}.")


def register(app: Dash, book: Book) -> None:
    """All durations, and issuing a decision."""

    @app.callback(Output("all-standings", "children"), Output("status", "children"), Input("all-standings", "id"))
    def show_all(_: str) -> Any:
        try:
            with book.estimating, open_study(book.study_file) as study:
                found = standing(study)
        except DwellbookError as error:
            return [refused(error)], "This cannot be shown."
        return all_standings(found), status_line(found)

    @app.callback(
        Output("issued", "children"),
        Input("issue", "n_clicks"),
        State("issue-by", "value"),
        State("issue-why", "value"),
        State("issue-key", "data"),
        prevent_initial_call=True,
    )
    def issue(clicks: int | None, by: str | None, why: str | None, key: str) -> Any:
        return issued(book, key, by=by, why=why) if clicks else no_update
