"""The chance figure: the chance that a plan shows each duration, in months, with the error of the simulation."""

from __future__ import annotations

import math

import plotly.graph_objects as go

from study.commands.plan import chance_at, wanted_days
from study.model.plan import MONTH_DAYS
from study.model.support import Support
from study.outputs.labels_beside import Beside, place_beside
from study.outputs.palette import Scheme, palette_of
from study.outputs.sheet import BOTTOM_PX, HEIGHT_PX, TOP_PX, sheet


def draw_chances(support: Support, *, wanted: str, scheme: Scheme) -> go.Figure:
    """Chance [%] to show at least each duration, at whole months, with a wash for the simulation's error."""
    colours = palette_of(scheme)
    last = max(*(chance.days for chance in support.chances), wanted_days(wanted), *support.days) / MONTH_DAYS
    months = math.ceil(last / 6 - 1e-9) * 6 if last > 12 else max(3, math.ceil(last - 1e-9))
    # At whole months and at the pulls, the first of which may be a week.
    known = {
        chance.days: chance for chance in (chance_at(support, f"{month} months") for month in range(1, months + 1))
    }
    known |= {chance.days: chance for chance in support.chances}
    found = [known[days] for days in sorted(known)]
    x = [chance.days / MONTH_DAYS for chance in found]
    figure = sheet(colours, months=months)
    for low, fill in ((True, {}), (False, {"fill": "tonexty", "fillcolor": colours.wash})):
        edge = [100 * (chance.shown_from if low else chance.shown_to) for chance in found]
        figure.add_scatter(x=x, y=edge, mode="lines", line={"width": 0}, hoverinfo="skip", **fill)
    figure.add_scatter(
        x=x, y=[100 * chance.supported for chance in found], mode="lines",
        line={"color": colours.quiet, "width": 1.4, "dash": "dash"},
        hovertemplate="%{x:.0f} months: %{y:.0f}\u202f% supported<extra></extra>",
    )  # fmt: skip
    figure.add_scatter(
        x=x, y=[100 * chance.shown for chance in found], mode="lines", line={"color": colours.accent, "width": 2},
        customdata=[[100 * chance.shown_from, 100 * chance.shown_to] for chance in found],
        hovertemplate="%{x:.0f} months: %{y:.0f}\u202f%<br>%{customdata[0]:.0f} to %{customdata[1]:.0f}<extra></extra>",
    )  # fmt: skip
    figure.add_scatter(
        x=[chance.days / MONTH_DAYS for chance in support.chances],
        y=[100 * chance.shown for chance in support.chances], mode="markers",
        marker={"size": 7, "color": colours.card, "line": {"color": colours.ink, "width": 1.4}},
        text=[chance.label for chance in support.chances],
        hovertemplate="pull at %{text}: %{y:.0f}\u202f%<extra></extra>",
    )  # fmt: skip
    figure.add_vline(
        x=wanted_days(wanted) / MONTH_DAYS, line={"color": colours.ink, "width": 1, "dash": "dot"},
        annotation={"text": "wanted", "font": {"size": 12, "color": colours.quiet}, "yshift": 2},
    )  # fmt: skip
    figure.update_yaxes(title={"text": "chance [%]", "standoff": 8, "font": {"size": 13}}, range=[-3, 106],
                        tickvals=[0, 20, 40, 60, 80, 100])  # fmt: skip
    place_beside(
        figure,
        [Beside(100 * found[-1].shown, "shown", colours.accent),
         Beside(100 * found[-1].supported, "supported", colours.quiet)],
        low=-3, high=106, log=False, inside_px=HEIGHT_PX - TOP_PX - BOTTOM_PX,
    )  # fmt: skip
    return figure


CAPTION = (
    "Line: share of the invented studies that show at least so long. Wash: the error of the simulation, 95 %. Rings: "
    "the pulls. Dashed: what would be supported; the rest would be provisional, since nothing unacceptable would have "
    "been seen yet."
)
