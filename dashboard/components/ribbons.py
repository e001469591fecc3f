"""Dwell ribbons on a page: one image per scheme, and the table of pairings they stand in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from study.model.estimate import PairingEstimate
from study.model.units import percent
from study.outputs.palette import Scheme
from study.outputs.ribbon import (
    axis_months,
    draw_axis,
    draw_ribbon,
    duration_line,
    limiting_line,
    ribbon_sentence,
)
from study.outputs.tables import DurationRow, evidence_line

TONES = {"supported": "shown", "provisional": "shown", "not shown": "plain", "stopped": "harm"}
SCHEMES: tuple[Scheme, ...] = ("light", "dark")


def _images(draw: Callable[[Scheme], str], *, words: str, height_px: int, kind: str) -> html.Div:
    # An image cannot see the page's colours, so one lies ready for each scheme and the style sheet shows one.
    return html.Div(
        [
            html.Img(
                src=f"data:image/svg+xml,{quote(draw(scheme))}",
                alt=words,
                className=f"only-{scheme}",
                style={"height": f"{height_px}px"},
            )
            for scheme in SCHEMES
        ],
        className=kind,
    )


def ribbon(estimate: PairingEstimate, *, months: int, height_px: int = 30, least_px: int = 300) -> html.Div:
    """The ribbon of one pairing, as wide as its place."""

    def draw(scheme: Scheme) -> str:
        return draw_ribbon(estimate, months=months, scheme=scheme, width_px=least_px, height_px=height_px, fluid=True)

    return _images(draw, words=ribbon_sentence(estimate), height_px=height_px, kind="ribbon")


def axis(months: int) -> html.Div:
    """The months above a column of ribbons."""
    return _images(
        lambda scheme: draw_axis(months=months, scheme=scheme),
        words=f"Months of dwell, 0 to {months}",
        height_px=18,
        kind="ribbon",
    )


def tall_ribbon(estimate: PairingEstimate) -> html.Div:
    """The ribbon of one pairing at full width, with its months."""
    months = axis_months([estimate])
    return html.Div(
        [
            axis(months),
            ribbon(estimate, months=months, height_px=56, least_px=640),
            html.P("months of dwell", className="under"),
        ],
        className="tall",
    )


def outcome(estimate: PairingEstimate) -> html.Div:
    """The outcome in words, with what limits it."""
    duration = estimate.duration
    return html.Div(
        [
            html.Strong(duration_line(duration), className=TONES[duration.outcome]),
            html.Span(limiting_line(duration), className="quiet"),
        ],
        className="outcome",
    )


def ribbon_table(
    rows: Sequence[DurationRow], *, href: Callable[[str], str], more: Callable[[str], Any] | None = None, head: str = ""
) -> html.Table:
    """Pairings one under another on a shared axis; ``more`` adds a last column headed ``head``."""
    months = axis_months([row.estimate for row in rows])
    heads = [
        html.Th("Pairing", scope="col"),
        html.Th(["Months of dwell", axis(months)], scope="col", className="wide"),
        html.Th("Maximum display duration", scope="col"),
        html.Th("Evidence", scope="col", className="spare"),
        *([html.Th(head, scope="col")] if more else []),
    ]
    return html.Table(
        [
            html.Thead(html.Tr(heads)),
            html.Tbody(
                [
                    html.Tr(
                        [
                            html.Th([dcc.Link(row.title, href=href(row.group_key)), _key(row)], scope="row"),
                            html.Td(ribbon(row.estimate, months=months), className="wide"),
                            html.Td(outcome(row.estimate)),
                            html.Td(evidence_line(row.estimate.duration), className="quiet spare"),
                            *([html.Td(more(row.group_key), className="quiet")] if more else []),
                        ]
                    )
                    for row in rows
                ]
            ),
        ],
        className="ribbons",
    )


def _key(row: DurationRow) -> html.Span:
    duration = row.estimate.duration
    # On a narrow page the evidence column is gone; n, pulls and confidence stand here instead.
    short = f" · n = {duration.coupons}, {duration.pulls} pulls, {percent(duration.confidence)}"
    return html.Span([row.group_key, html.Span(short, className="narrow")], className="quiet key")


LEGEND = (
    "Each small square is one coupon read at a pull, filled where any criterion found it unacceptable. A solid bar is "
    "the supported duration, a hatched one is provisional; a ring means not shown, a cross stopped. The thin line ends "
    "at the last pull."
)


def legend() -> html.P:
    """How a ribbon is read."""
    return html.P(LEGEND, className="legend")
