"""The acceptable-share figure: steps, exact limits at the pulls, the permitted share, assumed shapes by name."""

from __future__ import annotations

import math

import plotly.graph_objects as go

from study.model.estimate import Estimate, LifetimeFit
from study.model.units import DAYS_PER_MONTH, percent
from study.outputs.labels_beside import Beside, place_beside
from study.outputs.palette import Palette, Scheme, palette_of
from study.outputs.sheet import BOTTOM_PX, HEIGHT_PX, TOP_PX, in_months, sheet

STRIP = 0.21
"""Share of the figure's height kept for "n of m" beneath the curve."""
LIKELY_WIDTH_PX = 280
"""Least width of a plot's inside, by which labels are kept apart."""
SHAPES = {"weibull": ("Weibull", "dash"), "lognormal": ("lognormal", "dot"), "loglogistic": ("log-logistic", "dashdot")}
"""Name and dash of an assumed shape."""


def draw_acceptable_share(estimate: Estimate, *, scheme: Scheme, months: int, permitted: float) -> go.Figure:
    """Share of coupons still acceptable against dwell: steps, exact limits at the pulls, the permitted share.

    ``permitted`` is the permitted unacceptable share of the rule; the curve must stay above its complement.
    """
    colours = palette_of(scheme)
    figure = sheet(colours, months=months)
    beside = [Beside(100 * (1 - permitted), f"{100 * (1 - permitted):g}\u202f% must stay<br>acceptable", colours.harm)]
    _draw_band(figure, estimate, colours)
    _draw_steps(figure, estimate, colours, months=months)
    for fit in estimate.lifetimes:
        if fit.draw_days and not fit.refused:
            _draw_shape(figure, fit, colours)
            last = [s for d, s in zip(fit.draw_days, fit.draw_acceptable, strict=True) if d <= months * DAYS_PER_MONTH]
            beside.append(Beside(100 * last[-1], f"if {_shape_name(fit)}", colours.quiet))
    figure.add_hline(y=100 * (1 - permitted), line={"color": colours.harm, "width": 1.2})
    _draw_pulls(figure, estimate, colours)
    _write_counts(figure, estimate, colours, months=months)
    figure.update_yaxes(
        title={"text": "acceptable coupons [%]", "standoff": 8, "font": {"size": 13}},
        range=[-3, 106],
        tickvals=[0, 20, 40, 60, 80, 100],
        domain=[STRIP, 1],
    )
    figure.update_xaxes(anchor="free", position=0)
    figure.add_annotation(
        x=1, xref="paper", y=STRIP / 2, yref="paper", xanchor="left", yanchor="middle", xshift=22, showarrow=False,
        align="left", text="acceptable<br>of read", font={"size": 13, "color": colours.quiet},
    )  # fmt: skip
    inside = (HEIGHT_PX - TOP_PX - BOTTOM_PX) * (1 - STRIP)
    place_beside(figure, beside, low=-3, high=106, log=False, inside_px=inside)
    return figure


def _draw_band(figure: go.Figure, estimate: Estimate, colours: Palette) -> None:
    curve = estimate.curve
    if curve is None or not curve.band_days:
        return
    days = in_months((0.0, *curve.band_days))
    # Between two days a lower limit is the later day's and an upper one the earlier day's: the share never rises.
    for values, shape, fill in (
        ((curve.band_lower[0], *curve.band_lower), "vh", {}),
        ((1.0, *curve.band_upper), "hv", {"fill": "tonexty", "fillcolor": colours.wash}),
    ):
        figure.add_scatter(
            x=days, y=[100 * share for share in values], mode="lines", line={"width": 0, "shape": shape},
            hoverinfo="skip", **fill,
        )  # fmt: skip


def band_words(estimate: Estimate, *, confidence: float) -> str:
    """What the wash of the acceptable-share figure is; empty where there is none."""
    if estimate.curve is None or not estimate.curve.band_days:
        return ""
    if estimate.curve.band_method == "all limits together":
        return (
            f"Wash: its band at {percent(confidence)} confidence on each side, all dwells together, which counts what "
            "is not known against the coupons below and for them above, and is therefore wide. "
        )
    return (
        f"Wash: its band at {percent(confidence)} confidence, which assumes nothing about how the share falls and is "
        "therefore wider than the bound in words. "
    )


def _draw_steps(figure: go.Figure, estimate: Estimate, colours: Palette, *, months: int) -> None:
    """The steps, each dropping where the fall is complete; a dotted box says that it fell somewhere before."""
    curve = estimate.curve
    if curve is None:
        return
    last = max((pull.dwell_days for pull in estimate.pulls), default=months * DAYS_PER_MONTH)
    days, share = [0.0], [1.0]
    for after, by, left in zip(curve.after_days, curve.by_days, curve.acceptable, strict=True):
        if not math.isfinite(by):
            continue
        figure.add_shape(
            type="rect", x0=after / DAYS_PER_MONTH, x1=by / DAYS_PER_MONTH, y0=100 * left, y1=100 * share[-1],
            line={"width": 1, "dash": "dot", "color": colours.quiet}, layer="below",
        )  # fmt: skip
        days.append(by)
        share.append(left)
    days.append(max(last, days[-1]))
    share.append(share[-1])
    figure.add_scatter(
        x=in_months(tuple(days)), y=[100 * s for s in share], mode="lines", customdata=days,
        line={"shape": "hv", "color": colours.accent, "width": 2},
        hovertemplate="%{y:.0f}\u202f% acceptable<br>%{customdata:.0f}\u202fd<extra></extra>",
    )  # fmt: skip


def _shape_name(fit: LifetimeFit) -> str:
    return SHAPES.get(fit.family.lower(), (fit.family, ""))[0]


def _draw_shape(figure: go.Figure, fit: LifetimeFit, colours: Palette) -> None:
    figure.add_scatter(
        x=in_months(fit.draw_days), y=[100 * share for share in fit.draw_acceptable], mode="lines",
        line={"color": colours.quiet, "width": 1.2, "dash": SHAPES.get(fit.family.lower(), ("", "dash"))[1]},
        hovertemplate=f"if {_shape_name(fit)}: %{{y:.0f}}\u202f%<extra></extra>",
    )  # fmt: skip


def _draw_pulls(figure: go.Figure, estimate: Estimate, colours: Palette) -> None:
    if not estimate.pulls:
        return
    figure.add_scatter(
        x=in_months(tuple(pull.dwell_days for pull in estimate.pulls)),
        y=[100 * pull.acceptable for pull in estimate.pulls],
        mode="markers",
        marker={"size": 7, "color": colours.card, "line": {"color": colours.ink, "width": 1.4}},
        error_y={
            "type": "data", "symmetric": False, "array": [0] * len(estimate.pulls),
            "arrayminus": [100 * max(0.0, pull.acceptable - pull.acceptable_lower) for pull in estimate.pulls],
            "color": colours.ink, "thickness": 1, "width": 4,
        },
        customdata=[
            [pull.label, pull.dwell_days, pull.read - pull.unacceptable, pull.read, 100 * pull.acceptable_lower]
            for pull in estimate.pulls
        ],
        hovertemplate="%{customdata[0]}: %{customdata[2]} of %{customdata[3]} acceptable,<br>"
        "at least %{customdata[4]:.0f}\u202f% (exact)<br>%{customdata[1]:.0f}\u202fd<extra></extra>",
    )  # fmt: skip


def _write_counts(figure: go.Figure, estimate: Estimate, colours: Palette, *, months: int) -> None:
    """ "n of m" beneath each pull; a label steps down a row rather than touch its neighbour."""
    ends = [-math.inf] * 3
    for pull in estimate.pulls:
        month = pull.dwell_days / DAYS_PER_MONTH
        centre = month / months * LIKELY_WIDTH_PX
        half = 3.1 * len(f"{pull.read - pull.unacceptable} of {pull.read}") + 2
        row = next((row for row, end in enumerate(ends) if centre - half > end), len(ends) - 1)
        ends[row] = centre + half
        figure.add_annotation(
            x=month, y=STRIP * (0.96 - 0.27 * row), yref="paper", yanchor="top", showarrow=False,
            text=f"{pull.read - pull.unacceptable} of {pull.read}", font={"size": 11, "color": colours.quiet},
        )  # fmt: skip
