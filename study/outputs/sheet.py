"""The sheet a figure is drawn on: size, margins, months of dwell along the bottom."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from study.model.units import DAYS_PER_MONTH
from study.outputs.palette import FONT, Palette

HEIGHT_PX = 380
TOP_PX, BOTTOM_PX, LEFT_PX, RIGHT_PX = 16, 52, 56, 116


def sheet(colours: Palette, *, months: int) -> go.Figure:
    """An empty sheet in the colours of a scheme, its time axis ending at ``months``."""
    figure = go.Figure()
    axis = {
        "gridcolor": colours.rule, "linecolor": colours.quiet, "zeroline": False, "ticks": "outside", "ticklen": 4,
        "tickcolor": colours.quiet, "color": colours.quiet, "showline": True, "fixedrange": False,
    }  # fmt: skip
    figure.update_layout(
        height=HEIGHT_PX,
        margin={"t": TOP_PX, "b": BOTTOM_PX, "l": LEFT_PX, "r": RIGHT_PX},
        paper_bgcolor=colours.card,
        plot_bgcolor=colours.card,
        font={"family": FONT, "size": 13, "color": colours.ink},
        showlegend=False,
        hovermode="closest",
        hoverlabel={"bgcolor": colours.card, "bordercolor": colours.rule, "font": {"color": colours.ink}},
        xaxis={
            **axis,
            "title": {"text": "months of dwell", "standoff": 8, "font": {"size": 13}},
            "range": [-0.02 * months, 1.03 * months],
            "dtick": 6 if months > 12 else 3 if months > 6 else 1,
            "tick0": 0,
            "showgrid": False,
        },
        yaxis=axis,
    )
    return figure


def in_months(days: float | tuple[float, ...]) -> np.ndarray:
    """Days on the month axis."""
    return np.asarray(days, dtype=float) / DAYS_PER_MONTH
