"""The grade figure: share of coupons in each residue grade against dwell, modelled as areas, with marks as seen."""

from __future__ import annotations

from itertools import pairwise

import plotly.graph_objects as go

from study.model.estimate import Estimate, GradeShares
from study.outputs.labels_beside import Beside, place_beside
from study.outputs.palette import MARKERS, Palette, Scheme, palette_of
from study.outputs.pictured import class_name
from study.outputs.sheet import BOTTOM_PX, HEIGHT_PX, TOP_PX, in_months, sheet

FAINT, STRONG = 0.10, 0.42
"""Tint of an area, from the best grade of a side of the limit to the worst."""
SIGNS = ("●", "■", "◆", "▲", "▼")
"""The markers as they stand before a grade's name, in the order of ``MARKERS``."""


def has_grades(estimate: Estimate) -> bool:
    """Whether any coupon was given a grade."""
    return estimate.grades is not None and bool(estimate.grades.pulls)


def draw_grades(estimate: Estimate, *, scheme: Scheme, months: int) -> go.Figure:
    """Stacked shares: areas by the cumulative probit where there is one, their upper edges as seen at each pull.

    Parameters
    ----------
    estimate : Estimate
        One criterion whose readings are grades.
    scheme : "light" or "dark"
    months : int
        End of the time axis, shared by the figures that are compared.
    """
    colours = palette_of(scheme)
    figure = sheet(colours, months=months)
    grades = estimate.grades
    assert grades is not None
    beside = _draw_areas(figure, estimate, grades, colours)
    _draw_seen(figure, grades, colours)
    figure.update_yaxes(
        title={"text": "coupons in each grade [%]", "standoff": 8, "font": {"size": 13}},
        range=[-3, 104], tickvals=[0, 20, 40, 60, 80, 100],
    )  # fmt: skip
    place_beside(figure, beside, low=-3, high=104, log=False, inside_px=HEIGHT_PX - TOP_PX - BOTTOM_PX)
    return figure


def _tints(estimate: Estimate, grades: GradeShares, colours: Palette) -> list[str]:
    """A tint for each class: the accent where acceptable, the harm colour where not, stronger with the grade."""
    limit = estimate.limit if estimate.limit is not None else 5.0
    good = [last <= limit for _, last in grades.grades]
    tints = []
    for place, fine in enumerate(good):
        side = [i for i, other in enumerate(good) if other is fine]
        strength = FAINT + (STRONG - FAINT) * (side.index(place) + (not fine)) / max(len(side), 1)
        colour = colours.accent if fine else colours.harm
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        tints.append(f"rgba({red}, {green}, {blue}, {strength:.2f})")
    return tints


def _signed(grades: GradeShares, place: int) -> str:
    """A class by name, with the mark of its upper edge; the last one's edge is always all coupons."""
    name = class_name(grades.grades[place])
    return f"{SIGNS[place]} {name}" if place < len(grades.grades) - 1 else name


def _draw_areas(figure: go.Figure, estimate: Estimate, grades: GradeShares, colours: Palette) -> list[Beside]:
    """The areas from the best grade upwards; the names that stand at their ends."""
    shares = grades.draw_shares or _last_seen(grades)
    days, beside, below = in_months(grades.draw_days), [], [0.0] * len(shares[0])
    if grades.draw_shares:
        figure.add_scatter(x=days, y=below, mode="lines", line={"width": 0}, hoverinfo="skip")
    for place, (tint, share) in enumerate(zip(_tints(estimate, grades, colours), shares, strict=True)):
        top = [100 * part + under for part, under in zip(share, below, strict=True)]
        name = class_name(grades.grades[place])
        if grades.draw_shares:
            figure.add_scatter(
                x=days, y=top, mode="lines", fill="tonexty", fillcolor=tint, line={"width": 1, "color": colours.quiet},
                customdata=[[name, 100 * part, day] for part, day in zip(share, grades.draw_days, strict=True)],
                hovertemplate="%{customdata[0]}: %{customdata[1]:.0f}\u202f%, by the probit<br>"
                "%{customdata[2]:.0f}\u202fd<extra></extra>",
            )  # fmt: skip
        beside.append(Beside((top[-1] + below[-1]) / 2, _signed(grades, place), colours.ink))
        below = top
    return beside


def _last_seen(grades: GradeShares) -> tuple[tuple[float, ...], ...]:
    """Shares of each class at the last pull, where no areas can be drawn."""
    last = grades.pulls[-1]
    edges = (0, *last.surely, last.read)
    return tuple(((above - under) / last.read,) for under, above in pairwise(edges))


def _draw_seen(figure: go.Figure, grades: GradeShares, colours: Palette) -> None:
    """The upper edge of each area as seen at the pulls; a line up to where it may lie for readings of two grades."""
    months = in_months(tuple(pull.dwell_days for pull in grades.pulls))
    for place in reversed(range(len(grades.grades) - 1)):
        surely = [100 * pull.surely[place] / pull.read for pull in grades.pulls]
        perhaps = [100 * pull.perhaps[place] / pull.read for pull in grades.pulls]
        name = class_name(grades.grades[place])
        figure.add_scatter(
            x=months, y=surely, mode="markers",
            marker={"symbol": MARKERS[place], "size": 9, "color": colours.ink,
                    "line": {"width": 1, "color": colours.card}},
            error_y={"type": "data", "symmetric": False, "array": [p - s for p, s in zip(perhaps, surely, strict=True)],
                     "arrayminus": [0] * len(surely), "color": colours.ink, "thickness": 1, "width": 3},
            customdata=[[pull.surely[place], pull.read, name, pull.dwell_days] for pull in grades.pulls],
            hovertemplate="%{customdata[0]} of %{customdata[1]} coupons: %{customdata[2]} or better<br>"
            "%{customdata[3]:.0f}\u202fd<extra></extra>",
        )  # fmt: skip


def grade_caption(estimate: Estimate) -> str:
    """What the figure shows, and how little one coupon is."""
    grades = estimate.grades
    assert grades is not None
    read = sorted({pull.read for pull in grades.pulls})
    few = f"{read[0]}" if len(read) == 1 else f"{read[0]} to {read[-1]}"
    seen = (
        f"Marks: coupons of that grade or better, as seen at each pull; n = {few} is few, one coupon is "
        f"{100 / read[0]:.0f}\u202f%{' at the smallest' if len(read) > 1 else ''}."
    )
    seen += " A line above a mark: typed as two grades." if grades.spans else ""
    if grades.refused:
        return f"{seen} No areas are drawn: {grades.refused}. A picture only: it never decides."
    scale = "the square root of dwell" if grades.time_scale == "sqrt" else "dwell"
    return (
        f"Areas: share in each grade by a cumulative probit on {scale}, through {grades.n} coupons; red lies beyond "
        f"the limit. {seen} A picture only: it never decides, the verdicts do."
    )
