"""The figure of a force trace: its samples, the window whose mean counts, its peaks, and that the gauge ran out."""

from __future__ import annotations

import plotly.graph_objects as go

from study.model.trace_asked import ShownTrace
from study.outputs.palette import Scheme, palette_of
from study.outputs.sheet import sheet

HEIGHT_PX = 300


def draw_trace(trace: ShownTrace, *, scheme: Scheme) -> go.Figure:
    """Force against peeled length, travel or time, zeroed; the window shaded, its mean drawn, peaks ringed.

    Parameters
    ----------
    trace : ShownTrace
    scheme : "light" or "dark"
    """
    colours = palette_of(scheme)
    figure = sheet(colours, months=1)
    figure.update_layout(height=HEIGHT_PX, margin={"r": 24})
    low, high = min(trace.at), max(trace.at)
    room = 0.03 * (high - low or 1.0)
    figure.update_xaxes(title={"text": trace.axis}, range=[low - room, high + room], dtick=None, tickmode="auto")
    figure.update_yaxes(title={"text": "force [N]", "standoff": 8, "font": {"size": 13}}, rangemode="tozero")
    if trace.window is not None:
        figure.add_shape(
            type="rect", x0=trace.window[0], x1=trace.window[1], y0=0, y1=1, yref="y domain", fillcolor=colours.wash,
            line={"width": 0}, layer="below",
        )  # fmt: skip
    figure.add_scatter(
        x=trace.at, y=trace.force_n, mode="lines", line={"color": colours.ink, "width": 1.1},
        hovertemplate="%{y:.3g} N at %{x:.4g}<extra></extra>",
    )  # fmt: skip
    if trace.window is not None and trace.mean_n is not None:
        figure.add_scatter(
            x=trace.window, y=[trace.mean_n] * 2, mode="lines", line={"color": colours.accent, "width": 1.8},
            hovertemplate=f"mean {trace.mean_n:.4g} N<extra></extra>",
        )  # fmt: skip
    if trace.peaks:
        figure.add_scatter(
            x=[at for at, _ in trace.peaks], y=[height for _, height in trace.peaks], mode="markers",
            marker={"symbol": "circle-open", "size": 7, "color": colours.accent, "line": {"width": 1.4}},
            hovertemplate="peak %{y:.4g} N at %{x:.4g}<extra></extra>",
        )  # fmt: skip
    if trace.at_least:
        figure.add_hline(y=trace.peak_n, line={"color": colours.harm, "width": 1.2, "dash": "dash"})
        figure.add_annotation(
            x=1, xref="x domain", y=trace.peak_n, text="the gauge was at its end", xanchor="right", yanchor="bottom",
            showarrow=False, font={"size": 13, "color": colours.harm},
        )  # fmt: skip
    return figure
