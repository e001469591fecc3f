"""Analyse: every pairing on its ribbon; for one pairing the decline and the acceptable share by criterion."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.against import against_links, dose_shown, known_against
from dashboard.components.aria import heard_as
from dashboard.components.beside import coupons_why, never_deciding, on_record
from dashboard.components.cautions import cautions
from dashboard.components.frame import frame
from dashboard.components.graph import graph
from dashboard.components.messages import WORKING, empty, refused, waiting, with_refusals
from dashboard.components.ribbons import TONES, legend, outcome, ribbon_table, tall_ribbon
from dashboard.components.tables import Column, table
from study.commands.analyse import across_environments, analyse_all, analyse_one
from study.commands.analyse_dose import dose_pictures
from study.commands.estimates import Analysed
from study.commands.opening import open_study
from study.commands.shelf import remarks
from study.errors import DwellbookError
from study.model.estimate import Estimate, GroupDifference, PairingEstimate
from study.model.units import percent
from study.outputs.figures import (
    aic_words,
    band_words,
    draw_acceptable_share,
    draw_decline,
    draw_grades,
    draw_probability,
    draw_watched,
    grade_caption,
    has_grades,
    has_probability_plot,
    watched_caption,
)
from study.outputs.palette import Scheme
from study.outputs.ribbon import axis_months, duration_line
from study.outputs.tables import DurationRow, evidence_line, limit_words, tabulate_pulls

PATH, NAME = "/analyse", "Analyse"


@with_refusals(NAME)
def layout(book: Book, pairing: str = "", criterion: str = "", against: str = "", **_: str) -> html.Div:
    """All pairings, or one of them by one criterion."""
    if pairing:
        with open_study(book.study_file) as study:
            analysed = analyse_one(study, pairing)
            told = remarks(study, analysed.evidence.pairing.key)
            elsewhere = across_environments(study, analysed)
        return one_pairing(book, analysed, criterion, told=told, elsewhere=elsewhere, against=against)
    with open_study(book.study_file):
        pass  # a file that is no study is refused before anything is worked out
    return frame(book, active=NAME, title="Pairings", status=WORKING, work=[waiting("all-pairings")])


def rows_of(found: list[Analysed]) -> list[DurationRow]:
    """Evidence groups as table rows."""
    return [
        DurationRow(
            group_key=analysed.evidence.key,
            title=analysed.evidence.pairing.title,
            detail=analysed.evidence.pairing.detail,
            estimate=analysed.estimate,
        )
        for analysed in found
    ]


def status_line(found: list[Analysed]) -> str:
    """How many pairings carry a duration, in one sentence."""
    if not found:
        return "No pairing has coupons yet."
    counts = {word: sum(a.estimate.duration.outcome == word for a in found) for word in TONES}
    pairings = "1 pairing" if len(found) == 1 else f"{len(found)} pairings"
    # Those without a duration are what somebody comes here to find.
    without = [f"{counts[word]} {word}" for word in ("not shown", "stopped") if counts[word]]
    return (
        f"Of {pairings} {counts['supported']} carry a supported duration, {counts['provisional']} a provisional one"
        f"{'; ' if without else ''}{', '.join(without)}."
    )


def all_pairings(found: list[Analysed]) -> list[Any]:
    """The ribbons of all pairings, or what starts them."""
    if not found:
        return [
            empty(
                "Each pairing of adhesive and surface will stand here on its dwell ribbon.",
                "Register coupon sets first, then pull and read them.",
                "dwellbook register --help",
            )
        ]
    return [
        ribbon_table(rows_of(found), href=address),
        legend(),
        html.Section([html.H2("Adhesives by surface"), matrix(found)], className="apart"),
        cautions(),
    ]


def address(key: str) -> str:
    """Where one pairing is shown."""
    return f"/analyse?pairing={quote(key, safe='')}"


def matrix(found: list[Analysed]) -> html.Div:
    """Adhesives down, surfaces across; a blank was not tested."""
    surfaces = list(dict.fromkeys(a.evidence.pairing.substrate.name for a in found))
    adhesives = list(dict.fromkeys(a.evidence.pairing.adhesive.name for a in found))
    columns = [Column("adhesive", "Adhesive"), *(Column(surface, surface) for surface in surfaces)]
    rows = []
    for adhesive in adhesives:
        row: dict[str, Any] = {"adhesive": adhesive, **dict.fromkeys(surfaces, "")}
        for surface in surfaces:
            cell = [
                html.Div(
                    dcc.Link(
                        duration_line(a.estimate.duration),
                        href=address(a.evidence.key),
                        className=TONES[a.estimate.duration.outcome],
                    )
                )
                for a in found
                if (a.evidence.pairing.adhesive.name, a.evidence.pairing.substrate.name) == (adhesive, surface)
            ]
            row[surface] = cell or html.Span("not tested", className="quiet")
        rows.append(row)
    return table(columns, rows, caption="Maximum display duration of each adhesive on each surface")


def one_pairing(
    book: Book, analysed: Analysed, criterion: str, *, told: Sequence[str] = (),
    elsewhere: Mapping[str, GroupDifference] | None = None, against: str = "",
) -> html.Div:  # fmt: skip
    """One pairing: its ribbon, then the figures of the chosen criterion against days, light dose or heat."""
    pairing, estimate = analysed.evidence.pairing, analysed.estimate
    chosen = choose(estimate, criterion)
    work: list[Any] = [
        html.P(
            [dcc.Link("All pairings", href=PATH), f" · {analysed.evidence.key} · {pairing.detail}"], className="quiet"
        ),
        html.Div([tall_ribbon(estimate), outcome(estimate)], className="card hero"),
    ]
    if chosen is None:
        work.append(empty("The figures of each criterion will stand here.", "No coupon of this pairing is read yet."))
    else:
        work += [
            criteria_links(analysed.evidence.key, estimate, chosen),
            html.P(chosen.statement, className="statement"),
            against_links(analysed.evidence.key, chosen.criterion, known_against(against)),
            html.Div(id="figures", className="figures"),
            dcc.Store(id="page-scheme"),
            dcc.Store(
                id="drawn",
                data={"pairing": analysed.evidence.key, "criterion": chosen.criterion, "against": against},
            ),
            html.Section([html.H2("What each pull showed"), pulls_shown(estimate, chosen)]),
            never_deciding(chosen, elsewhere=(elsewhere or {}).get(chosen.criterion)),
            coupons_why(chosen),
        ]
    work += [on_record(told), cautions()]
    status = f"{evidence_line(estimate.duration)}. {estimate.duration.why}"
    return frame(book, active=NAME, title=pairing.title, status=status, work=work)


def choose(estimate: PairingEstimate, criterion: str) -> Estimate | None:
    """The criterion asked for, else the limiting one, else the first."""
    for found in estimate.estimates:
        if found.criterion == criterion:
            return found
    for found in estimate.estimates:
        if found.title == estimate.duration.limiting:
            return found
    return estimate.estimates[0] if estimate.estimates else None


def criteria_links(key: str, estimate: PairingEstimate, chosen: Estimate) -> html.Nav:
    """One link per criterion, the chosen one marked."""
    links = [
        dcc.Link(
            found.title,
            href=f"/analyse?pairing={quote(key, safe='')}&criterion={quote(found.criterion)}",
            className="word here" if found is chosen else "word",
        )
        for found in estimate.estimates
    ]
    return html.Nav(links, className="choices", **heard_as("Criteria"))


def pulls_shown(estimate: PairingEstimate, chosen: Estimate) -> html.Div:
    """The counts at each pull with their exact limits."""
    if not chosen.pulls:
        return empty("The coupons read at each pull will be counted here.", "None is judged by this criterion yet.")
    columns = (
        Column("pull", "Pull"),
        Column("dwell", "Dwell", unit="d", number=True),
        Column("read", "Read", unit="coupons", number=True),
        Column("unacceptable", "Unacceptable", unit="coupons", number=True),
        Column("at_least", "Acceptable, at least", unit=percent_head(estimate), number=True),
    )
    caption = f"{chosen.title}: coupons read and unacceptable at each pull"
    return html.Div(
        [
            table(columns, tabulate_pulls(chosen), caption=caption),
            html.P(
                f"Unacceptable is {limit_words(chosen)}. The last column is the exact one-sided limit at "
                f"{percent(estimate.duration.confidence)} confidence, of that pull by itself; n = {chosen.n}"
                f"{f', {chosen.dropped} not counted: {chosen.dropped_why}' if chosen.dropped else ''}.",
                className="quiet",
            ),
        ]
    )


def percent_head(estimate: PairingEstimate) -> str:
    """The unit line above exact limits: percent, at the rule's confidence."""
    return f"%, at {percent(estimate.duration.confidence)} confidence"


def figures_shown(analysed: Analysed, criterion: str, *, scheme: Scheme) -> list[Any]:
    """The two figures of one criterion in the colours of the page."""
    estimate = analysed.estimate
    chosen = choose(estimate, criterion)
    if chosen is None:
        return []
    months = axis_months([estimate])
    duration = estimate.duration
    figures = []
    if any(o.lower == o.lower for o in chosen.observations):  # a criterion without numbers carries only NaN
        figures.append(
            graph(
                draw_decline(chosen, scheme=scheme, months=months),
                key="decline",
                title=f"{chosen.title} against dwell",
                words=decline_words(
                    chosen, confidence=duration.confidence, permitted=duration.permitted_unacceptable_share
                ),
            )
        )
    figures.append(
        graph(
            draw_acceptable_share(
                chosen, scheme=scheme, months=months, permitted=duration.permitted_unacceptable_share
            ),
            key="share",
            title="Acceptable share against dwell",
            words="Steps: no shape assumed; a dotted box is where the share fell, at some time between two pulls. "
            f"{band_words(chosen, confidence=duration.confidence)}"
            f"Whiskers: exact lower limits at {percent(duration.confidence)} confidence, of each pull by itself. "
            "Dashed: assumed shapes, pictures only.",
        )
    )
    if has_grades(chosen):
        figures.append(
            graph(
                draw_grades(chosen, scheme=scheme, months=months),
                key="grades",
                title="Share in each grade against dwell",
                words=grade_caption(chosen),
            )
        )
    if chosen.watched is not None:
        figures.append(
            graph(
                draw_watched(chosen, scheme=scheme, months=months, permitted=duration.permitted_unacceptable_share),
                key="watched",
                title="Watched every day",
                words=watched_caption(chosen, confidence=duration.confidence),
            )
        )
    if has_probability_plot(chosen):
        figures.append(
            graph(
                draw_probability(chosen, scheme=scheme),
                key="probability",
                title="Probability plot",
                words="Points: the steps of the curve. On these axes a Weibull life is a straight line; the other "
                f"assumed shapes bend. A picture only: no shape is chosen by it. {aic_words(chosen)}.",
            )
        )
    return figures


def decline_words(chosen: Estimate, *, confidence: float, permitted: float) -> str:
    """What the decline figure shows, with n and confidence."""
    fit = chosen.decline
    shown = f"n = {chosen.n} coupons, {chosen.n_unacceptable} unacceptable."
    bounds = [o for o in chosen.observations if o.lower != o.upper and o.lower == o.lower]
    if chosen.unit == "grade":
        joined = " A line joins two grades given together." if bounds else ""
        return f"{shown} The area of a disc tells how many coupons were given that grade.{joined}"
    if bounds:
        shown += " Triangles are “at least” or “at most”."
    if chosen.picture is not None and chosen.picture.draw_days:
        shown += " Dashed: a line that uses bounds as they are (Tobit), a picture only; it never decides."
    if fit is None or not fit.draw_days:
        return f"{shown} No bound is drawn{f': {fit.why}' if fit is not None and fit.why else ''}."
    return (
        f"{shown} The bound holds all but {percent(permitted)} of such coupons with {percent(confidence)} confidence; "
        "where it meets the limit, the duration by this criterion ends."
    )


def register(app: Dash, book: Book) -> None:
    """The figures follow the scheme of the page."""

    @app.callback(Output("all-pairings", "children"), Output("status", "children"), Input("all-pairings", "id"))
    def show_all(_: str) -> Any:
        try:
            with book.estimating, open_study(book.study_file) as study:
                found = analyse_all(study)
        except DwellbookError as error:
            return [refused(error)], "This cannot be shown."
        return all_pairings(found), status_line(found)

    app.clientside_callback(
        ClientsideFunction("dwellbook", "scheme"), Output("page-scheme", "data"), Input("drawn", "data")
    )

    @app.callback(Output("figures", "children"), Input("page-scheme", "data"), State("drawn", "data"))
    def draw(scheme: str | None, drawn: dict[str, str] | None) -> Any:
        if scheme not in ("light", "dark") or not drawn:
            return no_update
        colours: Scheme = "dark" if scheme == "dark" else "light"
        against = known_against(drawn.get("against", ""))
        try:
            with open_study(book.study_file) as study:
                analysed = analyse_one(study, drawn["pairing"])
                pictures = dose_pictures(study, analysed, against=against) if against else {}
        except DwellbookError as error:
            return [refused(error)]
        if against:
            return dose_shown(pictures.get(drawn["criterion"]), against, scheme=colours)
        return figures_shown(analysed, drawn["criterion"], scheme=colours)
