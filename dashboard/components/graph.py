"""Graphs: the one place where a plotly figure meets a page, with everything that leaves the machine turned off."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go
from dash import dcc, html

CONFIG: Any = {
    "showSendToCloud": False,  # plotly's default shows a button that hands the whole figure to another site
    "plotlyServerURL": "",
    "displaylogo": False,
    "displayModeBar": "hover",
    "modeBarButtonsToRemove": ["select2d", "lasso2d", "autoScale2d", "sendChartToCloud", "zoomIn2d", "zoomOut2d"],
    "responsive": True,
    "toImageButtonOptions": {"format": "svg", "filename": "dwellbook-figure"},
}


def graph(figure: go.Figure, *, key: str, title: str, words: str) -> html.Figure:
    """A figure with its title above and its meaning in words beneath."""
    return html.Figure(
        [
            html.H2(title),
            dcc.Graph(
                id=key,
                figure=figure,
                config=CONFIG,
                responsive=True,
                style={"height": f"{figure.layout.height}px"},
            ),
            html.Figcaption(words),
        ],
        className="graph",
    )
