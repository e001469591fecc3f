"""Decide: for each pairing the duration its evidence carries, and the decision that stands under a name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.acts import issue_form, other_acts
from dashboard.components.beside import on_record
from dashboard.components.cautions import cautions
from dashboard.components.days import days_said, short_day
from dashboard.components.frame import frame
from dashboard.components.messages import WORKING, empty, refused, saved, waiting, with_refusals
from dashboard.components.objects import changes_table, counted
from dashboard.components.ribbons import legend, outcome, ribbon_table, tall_ribbon
from dashboard.pages.analyse import rows_of
from study.commands.decide import (
    Standing,
    carry_result,
    issue_decision,
    later_protocols,
    lift_stop,
    stand_of,
    standing,
    withdraw_decision,
)
from study.commands.display import FieldEvidence, field_evidence, standings
from study.commands.grounds import Standings, gather_grounds, ground_of
from study.commands.opening import open_study
from study.commands.shelf import remarks
from study.commands.showing import choices
from study.errors import DwellbookError
from study.model.decision import Decision
from study.model.display import DisplayState, shortest_first
from study.model.estimate import Duration
from study.model.pairing import Adhesive
from study.model.units import duration_words, percent
from study.outputs.cautions import confidence_words
from study.outputs.tables import evidence_line

PATH, NAME = "/decide", "Decide"
ACTS = {"issue": "", "withdraw": "", "lift": "lift-second", "carry": "carry-to"}
"""What may be done to a pairing, each with the field it needs beside name and reason."""
TOUCHED = 30
"""Touched objects listed at once; the rest stands on Today and Display."""
PROVISIONAL = "Provisional: it rests on an assumption that the readings cannot yet confirm, and may shorten."


@with_refusals(NAME)
def layout(book: Book, pairing: str = "", **_: str) -> html.Div:
    """All standings, or one pairing with the acts upon it."""
    if not pairing:
        with open_study(book.study_file):
            pass  # a file that is no study is refused before anything is worked out
        return frame(book, active=NAME, title="Durations", status=WORKING, work=[waiting("all-standings")])
    found = pairing_book(book, pairing)
    work = [
        html.Div(one_standing(found), id="standing-now"),
        html.Div(acts(found), id="acts-now"),
        html.Div(id="issued", className="said"),
        dcc.Store(id="open-pairing", data=found.standing.analysed.evidence.key),
        cautions(),
    ]
    title = found.standing.analysed.evidence.pairing.title
    return frame(book, active=NAME, title=title, status=standing_words(found.standing), work=work)


@dataclass(frozen=True)
class PairingBook:
    """Everything shown of one pairing."""

    standing: Standing
    stopped: str
    """Why it is stopped, by coupons or by harm at a removal, or empty."""
    later: tuple[str, ...]
    """What later versions of the decision's protocol judge differently."""
    field: FieldEvidence
    displays: Standings
    adhesives: tuple[Adhesive, ...]
    told: tuple[str, ...] = ()
    """What else is on record; criteria changed after readings were seen are among it for good."""

    @property
    def on_show(self) -> list[DisplayState]:
        """Objects on show that touch this pairing, the most urgent first."""
        key = self.standing.analysed.evidence.pairing.key
        return shortest_first(
            state
            for state in self.displays.states
            if state.state != "removed" and key in (state.display.object_pairing, state.display.support_pairing)
        )

    @property
    def touched(self) -> list[DisplayState]:
        """Those of them of which something changed since somebody last acknowledged it."""
        waiting = {state.display.number for state in self.displays.attention}
        return [state for state in self.on_show if state.display.number in waiting]


def pairing_book(book: Book, key: str) -> PairingBook:
    """One pairing as it stands now."""
    with open_study(book.study_file) as study:
        one = stand_of(study, key)
        evidence = one.analysed.evidence
        grounds = gather_grounds(study)
        ground = ground_of(grounds, evidence.pairing.key, evidence.lot)
        return PairingBook(
            standing=one,
            stopped=ground.stopped if ground else "",
            later=tuple(later_protocols(study, one.decision)) if one.decision else (),
            field=field_evidence(study, evidence.pairing.key),
            displays=standings(study, on=book.today()),
            adhesives=choices(study).adhesives,
            told=tuple(remarks(study, evidence.pairing.key)),
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


def one_standing(found: PairingBook, *, listed: bool = True) -> list[Any]:
    """Ribbon, number, decision, every step, field evidence and the objects on it; ``listed`` names those touched."""
    one = found.standing
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
        html.Section([html.H2("Decision in force"), *in_force(found)]),
        *[part for part in [on_record(found.told)] if part is not None],
        html.Section([html.H2("From objects that came off"), html.P(found.field.words)]),
        html.Section([html.H2("Objects on show"), *objects_on(found, listed=listed)]),
        html.Details(
            [html.Summary("How the number was reached"), html.Ol([html.Li(s) for s in estimate.duration.steps])],
            className="steps",
            open=True,
        ),
    ]


def acts(found: PairingBook) -> list[Any]:
    """What may be done to the pairing now."""
    return [issue_form(), *other_acts(found.standing, stopped=found.stopped, adhesives=found.adhesives)]


def in_force(found: PairingBook) -> list[Any]:
    """The decision with its reason, what overtook it, a stop, and later versions of its protocol."""
    decision = found.standing.decision
    told: list[Any] = []
    if found.stopped:
        told.append(html.P([html.Strong("Stopped. ", className="harm"), f"{days_said(found.stopped)}."]))
    if decision is None:
        return [*told, html.P("None. Objects standing on this pairing are without evidence.")]
    words = f"Decision {decision.number}: {decision_words(decision)}. Reason: {decision.reason.rstrip('.')}."
    told.append(html.P(words))
    if decision.interim:
        told.append(html.P([html.Strong("Interim: "), "issued at a pull the protocol did not name for a decision."]))
    if found.later:
        told.append(html.P("Later versions of its protocol judge differently; the decision keeps its own:"))
        told.append(html.Ul([html.Li(f"{line.rstrip('.')}.") for line in found.later]))
    return told


def objects_on(found: PairingBook, *, listed: bool) -> list[Any]:
    """How many stand on it and how, and those that changed with their days before and after."""
    key = found.standing.analysed.evidence.pairing.key
    if not found.on_show:
        return [html.P("No object on show touches this pairing.")]
    objects = "1 object" if len(found.on_show) == 1 else f"{len(found.on_show)} objects"
    link = dcc.Link("Show them", href=f"/display?pairing={quote(key, safe='')}")
    walk = dcc.Link("walking list", href=f"/display?view=walk&pairing={quote(key, safe='')}")
    told: list[Any] = [html.P([f"{objects}: {counted(found.on_show)}. ", link, " · ", walk])]
    if found.touched and listed:
        told += touched_shown(found)
    return told


def touched_shown(found: PairingBook) -> list[Any]:
    """Objects that changed and wait for somebody, with what was acknowledged and what stands now."""
    number = len(found.touched)
    key = quote(found.standing.analysed.evidence.pairing.key, safe="")
    every = dcc.Link(f"all {number}", href=f"/display?state=changed&pairing={key}")
    some: list[Any] = [f" The first {TOUCHED}; ", every, "."] if number > TOUCHED else []
    waits = "1 object changed and waits" if number == 1 else f"{number} objects changed and wait"
    return [
        html.P([f"{waits} to be acknowledged on ", dcc.Link("Today", href="/"), ".", *some]),
        changes_table(
            found.touched[:TOUCHED], found.displays.acknowledged, caption="Objects that changed with this pairing"
        ),
    ]


def meaning(duration: Duration) -> list[Any]:
    """The number in words, with n, confidence and reach, and what would extend it."""
    told = [html.P(duration.why)]
    if duration.days is not None:
        words = confidence_words(confidence=duration.confidence, permitted=duration.permitted_unacceptable_share)
        words = words if duration.outcome == "supported" else PROVISIONAL
        told.append(html.P([html.Strong(f"{duration.days}\u202fd"), f" ({duration_words(duration.days)}). {words}"]))
    told.append(html.P(f"Evidence: {evidence_line(duration)}."))
    seen = duration.any_failure
    if seen is not None:
        told.append(
            html.P(
                f"By any criterion, {seen.unacceptable} of {seen.read} coupons pulled at {seen.dwell_days:.0f}\u202fd "
                f"were unacceptable: a share of at most {percent(seen.share_upper)} with "
                f"{percent(duration.confidence)} confidence."
            )
        )
    if duration.extend:
        told.append(html.P(["What would extend it: ", duration.extend]))
    return told


def act_on(book: Book, act: str, key: str, *, by: str | None, why: str | None, other: str | None = None) -> str:
    """One act upon a pairing, and the sentence that says it is done.

    Parameters
    ----------
    act : str
        issue, withdraw, lift or carry.
    other : str, optional
        The second person of a lifted stop, or the adhesive a result is carried to.
    """
    signature = book.sign(by, why)
    if act == "carry" and not other:
        raise DwellbookError("No formulation is chosen.", "Choose for which one the result counts too.")
    with open_study(book.study_file) as study:
        if act == "issue":
            decision = issue_decision(study, key, signature=signature, on=book.today())
            return f"Decision {decision.number} is issued: {decision_words(decision)}."
        if act == "withdraw":
            decision = withdraw_decision(study, key, signature=signature)
            return f"Decision {decision.number} is withdrawn; none stands in its place."
        if act == "lift":
            lifted = lift_stop(study, key, second_person=other or "", signature=signature)
            return f"The stop is lifted by {signature.by} and {other} for {', '.join(lifted)}."
        bridge = carry_result(study, key, adhesive=other or "", signature=signature)
        return f"Results of {key} count for {other} too. {f'Cited: {bridge}' if bridge else ''}".rstrip()


def acted(
    book: Book, act: str, key: str, *, by: str | None, why: str | None, other: str | None = None
) -> tuple[Any, Any, Any, Any]:
    """What is shown after an act: the message, the pairing as it stands then, its acts, and its sentence."""
    try:
        said = act_on(book, act, key, by=by, why=why, other=other)
        found = pairing_book(book, key)
    except DwellbookError as error:
        return refused(error), no_update, no_update, no_update
    shown = [saved(said), *(touched_shown(found) if found.touched else [])]
    # The objects touched stand in the message; once is enough.
    return shown, one_standing(found, listed=False), acts(found), standing_words(found.standing)


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

    for act, other in ACTS.items():
        more = [State(other, "value")] if other else []

        @app.callback(
            Output("issued", "children", allow_duplicate=True),
            Output("standing-now", "children", allow_duplicate=True),
            Output("acts-now", "children", allow_duplicate=True),
            Output("status", "children", allow_duplicate=True),
            Input(act, "n_clicks"),
            State(f"{act}-by", "value"),
            State(f"{act}-why", "value"),
            State("open-pairing", "data"),
            *more,
            prevent_initial_call=True,
        )
        def done(
            clicks: int | None, by: str | None, why: str | None, key: str, other: str | None = None, act: str = act
        ) -> Any:
            return acted(book, act, key, by=by, why=why, other=other) if clicks else (no_update,) * 4
