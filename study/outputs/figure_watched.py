"""The watched figure: acceptable share where each end was seen on its day, with approximate limits."""

from __future__ import annotations

import plotly.graph_objects as go

from study.model.estimate import Estimate, ObservedCurve
from study.model.units import DAYS_PER_MONTH, percent
from study.outputs.labels_beside import Beside, place_beside
from study.outputs.palette import Scheme, palette_of
from study.outputs.sheet import BOTTOM_PX, HEIGHT_PX, TOP_PX, in_months, sheet


def draw_watched(estimate: Estimate, *, scheme: Scheme, months: int, permitted: float) -> go.Figure:
    """Kaplan-Meier steps with their limits; a tick where a coupon was last seen acceptable.

    ``permitted`` is the permitted unacceptable share of the rule.
    """
    colours = palette_of(scheme)
    figure = sheet(colours, months=months)
    curve = estimate.watched
    assert curve is not None
    still = sorted(o.after_days for o in estimate.observations if o.unacceptable is False and o.after_days > 0)
    last = max([*still, *curve.days])
    days = [0.0, *curve.days, last]

    def held(values: tuple[float, ...]) -> list[float]:
        return [100 * v for v in (1.0, *values, values[-1])]

    flat = {"mode": "lines", "line": {"width": 0, "shape": "hv"}, "hoverinfo": "skip"}
    x = in_months(tuple(days))
    figure.add_scatter(x=x, y=held(curve.lower), **flat)
    figure.add_scatter(x=x, y=held(curve.upper), fill="tonexty", fillcolor=colours.wash, **flat)
    figure.add_scatter(
        x=x, y=held(curve.acceptable), mode="lines", customdata=days,
        line={"shape": "hv", "color": colours.accent, "width": 2},
        hovertemplate="%{y:.0f}\u202f% acceptable<br>%{customdata:.0f}\u202fd<extra></extra>",
    )  # fmt: skip
    figure.add_scatter(
        x=in_months(tuple(still)), y=[100 * share_at(curve, day) for day in still], mode="markers",
        marker={"symbol": "line-ns-open", "size": 9, "color": colours.accent, "line": {"width": 1.6}},
        customdata=still, hovertemplate="last seen acceptable<br>%{customdata:.0f}\u202fd<extra></extra>",
    )  # fmt: skip
    figure.add_hline(y=100 * (1 - permitted), line={"color": colours.harm, "width": 1.2})
    figure.update_yaxes(
        title={"text": "acceptable coupons [%]", "standoff": 8, "font": {"size": 13}},
        range=[-3, 106], tickvals=[0, 20, 40, 60, 80, 100],
    )  # fmt: skip
    figure.update_xaxes(range=[-0.02 * months, 1.03 * max(months, last / DAYS_PER_MONTH)])
    beside = [
        Beside(100 * (1 - permitted), f"{100 * (1 - permitted):g}\u202f% must stay<br>acceptable", colours.harm),
        Beside(100 * curve.acceptable[-1], "Kaplan-Meier", colours.accent),
    ]
    place_beside(figure, beside, low=-3, high=106, log=False, inside_px=HEIGHT_PX - TOP_PX - BOTTOM_PX)
    return figure


def share_at(curve: ObservedCurve, day: float) -> float:
    """The share acceptable just after a day."""
    passed = [share for end, share in zip(curve.days, curve.acceptable, strict=True) if end <= day]
    return passed[-1] if passed else 1.0


def watched_caption(estimate: Estimate, *, confidence: float) -> str:
    """What the figure shows and what its limits are worth."""
    curve = estimate.watched
    assert curve is not None
    return (
        f"n = {curve.n} coupons watched every day, {curve.ended} became unacceptable. Steps: Kaplan-Meier. Wash: "
        f"approximate limits at {percent(confidence)} confidence, each by itself and one-sided. Ticks: last seen "
        "acceptable. A picture only: it never decides."
    )
