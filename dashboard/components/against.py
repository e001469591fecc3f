"""Against: the readings of a criterion against days, logged light dose or heat; the two others are pictures only."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from dash import dcc, html

from dashboard.components.aria import heard_as
from dashboard.components.graph import graph
from dashboard.components.messages import empty
from dashboard.components.tables import Column, table
from study.model.dose import AGAINST, Against, DosePicture
from study.outputs.figure_dose import dose_caption, draw_dose, tabulate_dose
from study.outputs.palette import Scheme

CHOICES: tuple[tuple[str, str], ...] = (("", "days of dwell"), ("dose", "light dose"), ("heat", "heat"))


def known_against(asked: str) -> Against | None:
    """What the address asks for; None for days, and for what is none of them."""
    return "dose" if asked == "dose" else "heat" if asked == "heat" else None


def against_links(key: str, criterion: str, here: Against | None) -> html.Nav:
    """One link for each axis, the chosen one marked."""
    links = [
        dcc.Link(
            words,
            href="/analyse?"
            + urlencode({"pairing": key, "criterion": criterion, **({"against": name} if name else {})}),
            className="word here" if name == (here or "") else "word",
        )
        for name, words in CHOICES
    ]
    return html.Nav([html.Span("Against", className="quiet lead"), *links], className="choices", **heard_as("Against"))


def dose_shown(picture: DosePicture | None, against: Against, *, scheme: Scheme) -> list[Any]:
    """The picture of one criterion against light dose or heat, with its pulls; or why there is none."""
    name, unit = AGAINST[against]
    if picture is None or not picture.points:
        why = (
            "This criterion has no readings on a scale: it is shown against days alone."
            if picture is None
            else f"Nothing was logged over the dwell of its coupons, so that there is no {name} to show."
        )
        return [
            empty(
                f"Readings against {name} will stand here. {why}",
                "Keep a logger's file on the page Climate and light.",
                "dwellbook read climate FILE --environment KEY",
            )
        ]
    columns = (
        Column("pull", "Pull"), Column("dwell", "Dwell", unit="d", number=True),
        Column("dose", name.capitalize(), unit=unit, number=True),
        Column("covered", "Logged", unit="% of dwell", number=True),
        Column("read", "Read", unit="coupons", number=True),
        Column("middle", "Middle reading", unit=picture.unit, number=True),
    )  # fmt: skip
    title = f"{picture.title} against {name}"
    return [
        graph(draw_dose(picture, scheme=scheme), key="against-dose", title=title, words=dose_caption(picture)),
        html.Div([html.H2(f"{name.capitalize()} of each pull"), table(columns, tabulate_dose(picture), caption=title)]),
    ]
