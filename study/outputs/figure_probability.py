"""Probability plot: the unacceptable share on a scale on which a Weibull life is a straight line."""

from __future__ import annotations

import math

import numpy as np
import plotly.graph_objects as go

from study.model.estimate import Estimate
from study.outputs.figure_share import SHAPES
from study.outputs.palette import Scheme, palette_of
from study.outputs.sheet import sheet

SHARES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.8, 0.95, 0.99)


def has_probability_plot(estimate: Estimate) -> bool:
    """Whether there is a fitted shape to lay beside the steps."""
    return any(fit.draw_days and not fit.refused for fit in estimate.lifetimes)


def draw_probability(estimate: Estimate, *, scheme: Scheme) -> go.Figure:
    """Steps of the curve as points, fitted shapes as lines; both axes stretched so that a Weibull life is straight."""
    colours = palette_of(scheme)
    figure = sheet(colours, months=36)
    days = [pull.dwell_days for pull in estimate.pulls]
    low, high = math.log10(min(days) * 0.8), math.log10(max(days) * 1.25)
    for fit in estimate.lifetimes:
        if fit.draw_days and not fit.refused:
            name, dash = SHAPES.get(fit.family.lower(), (fit.family, "dash"))
            x, share = np.array(fit.draw_days), 1 - np.array(fit.draw_acceptable)
            kept = (x > 0) & (share > 0.002) & (share < 0.998)
            figure.add_scatter(
                x=x[kept], y=_stretched(share[kept]), mode="lines", hoverinfo="skip",
                line={"color": colours.quiet, "width": 1.2, "dash": dash}, name=name,
            )  # fmt: skip
    steps = zip(estimate.curve.by_days, estimate.curve.acceptable, strict=True) if estimate.curve else ()
    seen = [(by, 1 - acceptable) for by, acceptable in steps if math.isfinite(by) and 0 < acceptable < 1]
    figure.add_scatter(
        x=[by for by, _ in seen], y=_stretched(np.array([share for _, share in seen])), mode="markers",
        marker={"color": colours.accent, "size": 8}, customdata=[100 * share for _, share in seen],
        hovertemplate="%{customdata:.0f}\u202f% unacceptable<br>by %{x:.0f}\u202fd<extra></extra>",
    )  # fmt: skip
    figure.update_layout(margin={"r": 24})
    figure.update_xaxes(
        type="log", range=[low, high], dtick=None, tick0=None, showgrid=True,
        tickvals=[7, 30, 91, 182, 365, 1095], tickangle=0, title={"text": "dwell [d], log scale"},
    )  # fmt: skip
    figure.update_yaxes(
        tickvals=_stretched(np.array(SHARES)).tolist(), ticktext=[f"{100 * share:g}" for share in SHARES],
        range=_stretched(np.array([0.008, 0.995])).tolist(),
        title={"text": "unacceptable coupons [%]", "standoff": 8, "font": {"size": 13}},
    )  # fmt: skip
    return figure


def aic_words(estimate: Estimate) -> str:
    """AIC of each fitted shape, smallest first; it never chooses the family of a bound."""
    fits = sorted(
        (fit.aic, SHAPES.get(fit.family.lower(), (fit.family, ""))[0]) for fit in estimate.lifetimes if fit.aic
    )
    return "AIC: " + ", ".join(f"{name} {aic:.1f}" for aic, name in fits) if fits else ""


def _stretched(share: np.ndarray) -> np.ndarray:
    return np.log(-np.log1p(-share)) if share.size else share
