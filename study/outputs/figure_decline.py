"""The decline figure: the readings of one criterion against dwell, with mean, bound, limit and crossing."""

from __future__ import annotations

import math

import numpy as np
import plotly.graph_objects as go

from study.model.estimate import CensoredPicture, Estimate, Observation
from study.model.units import DAYS_PER_MONTH, duration_words
from study.outputs.labels_beside import Beside, place_beside
from study.outputs.palette import Palette, Scheme, palette_of
from study.outputs.sheet import BOTTOM_PX, HEIGHT_PX, TOP_PX, in_months, sheet


def draw_decline(estimate: Estimate, *, scheme: Scheme, months: int) -> go.Figure:
    """Readings against dwell, with mean, bound, limit and crossing where the estimate carries them.

    Parameters
    ----------
    estimate : Estimate
        One criterion; only its own numbers are drawn.
    scheme : "light" or "dark"
        Which colours.
    months : int
        End of the time axis, shared by the figures that are compared.
    """
    colours = palette_of(scheme)
    figure = sheet(colours, months=months)
    fit = estimate.decline
    tobit = estimate.picture if estimate.picture is not None and estimate.picture.draw_days else None
    drawn = fit if fit is not None else tobit
    log = drawn is not None and drawn.value_scale == "log"
    low, high = _value_range(estimate, log=log)
    beside: list[Beside] = []
    if fit is not None and fit.draw_days:
        _draw_mean_and_bound(figure, estimate, colours)
        beside.append(Beside(fit.draw_mean[-1], "mean", colours.quiet))
        if fit.draw_bound:
            beside.append(Beside(fit.draw_bound[-1], "bound on the<br>worst coupons", colours.accent))
    if tobit is not None:
        _draw_tobit(figure, estimate, tobit, colours)
        beside.append(Beside(tobit.draw_mean[-1], "mean, bounds<br>used (Tobit)", colours.quiet))
    _draw_readings(figure, estimate, colours)
    if estimate.limit is not None:
        figure.add_hline(y=estimate.limit, line={"color": colours.harm, "width": 1.4})
        beside.append(Beside(estimate.limit, _limit_label(estimate), colours.harm))
    if fit is not None and fit.lower_days and estimate.limit is not None:
        _draw_crossing(figure, colours, days=fit.lower_days, value=estimate.limit, low=low, log=log, months=months)
    figure.update_yaxes(
        title={"text": _value_title(estimate), "standoff": 8, "font": {"size": 13}},
        type="log" if log else "linear",
        range=[math.log10(low), math.log10(high)] if log else [low, high],
        **_value_ticks(estimate, low, high, log=log),
    )
    place_beside(figure, beside, low=low, high=high, log=log, inside_px=HEIGHT_PX - TOP_PX - BOTTOM_PX)
    return figure


def _unit(estimate: Estimate) -> str:
    return "°" if estimate.unit == "°" else f"\u202f{estimate.unit}" if estimate.unit else ""


def _limit_label(estimate: Estimate) -> str:
    assert estimate.limit is not None
    if estimate.unit == "grade":
        return f"limit: grade {estimate.limit:g}"
    return (
        f"limit<br>{estimate.limit:g}{_unit(estimate)}"
        if len(estimate.unit) > 3
        else f"limit {estimate.limit:g}{_unit(estimate)}"
    )


def _value_title(estimate: Estimate) -> str:
    return f"{estimate.title} [{estimate.unit}]" if estimate.unit else estimate.title


def _values(observation: Observation) -> list[float]:
    return [value for value in (observation.lower, observation.upper) if math.isfinite(value)]


def _value_range(estimate: Estimate, *, log: bool) -> tuple[float, float]:
    values = [value for observation in estimate.observations for value in _values(observation)]
    if estimate.limit is not None:
        values.append(estimate.limit)
    if estimate.decline is not None:
        # The bound may run far off; it is followed a little beyond the limit and the readings, no further.
        reach = 1.6 * max(values, default=1.0)
        values += [value for value in estimate.decline.draw_mean if math.isfinite(value)]
        values += [value for value in estimate.decline.draw_bound if math.isfinite(value) and abs(value) <= reach]
    if estimate.unit == "grade":
        return -0.4, 5.4
    low, high = min(values, default=0.0), max(values, default=1.0)
    if log:
        positive = [value for value in values if value > 0]
        return min(positive, default=0.1) / 1.25, high * 1.2
    room = 0.08 * (high - low or 1.0)
    floor = low - room
    return (max(0.0, floor) if low >= 0 else floor), high + room


def _value_ticks(estimate: Estimate, low: float, high: float, *, log: bool) -> dict[str, object]:
    if estimate.unit == "grade":
        return {"tickvals": [0, 1, 2, 3, 4, 5]}
    if not log:
        return {}
    ticks = [step * 10.0**power for power in range(-4, 5) for step in (1, 2, 5)]
    shown = [tick for tick in ticks if low <= tick <= high]
    if len(shown) < 4:
        fine = [step * 10.0**power for power in range(-4, 5) for step in (1, 1.5, 2, 3, 4, 5, 7)]
        shown = [tick for tick in fine if low <= tick <= high]
    return {"tickvals": shown, "ticktext": [f"{tick:g}" for tick in shown]}


def _draw_mean_and_bound(figure: go.Figure, estimate: Estimate, colours: Palette) -> None:
    fit = estimate.decline
    assert fit is not None
    days = np.asarray(fit.draw_days)
    if fit.draw_bound:
        bound = np.asarray(fit.draw_bound, dtype=float)
        figure.add_scatter(
            x=in_months(fit.draw_days), y=fit.draw_mean, mode="lines", line={"width": 0}, hoverinfo="skip"
        )
        figure.add_scatter(
            x=in_months(fit.draw_days), y=bound, mode="lines", fill="tonexty", fillcolor=colours.wash,
            line={"color": colours.accent, "width": 1.6}, customdata=days,
            hovertemplate="bound %{y:.3g}" + _unit(estimate) + "<br>%{customdata:.0f}\u202fd<extra></extra>",
        )  # fmt: skip
    figure.add_scatter(
        x=in_months(fit.draw_days), y=fit.draw_mean, mode="lines", line={"color": colours.quiet, "width": 1.2},
        customdata=days,
        hovertemplate="mean %{y:.3g}" + _unit(estimate) + "<br>%{customdata:.0f}\u202fd<extra></extra>",
    )  # fmt: skip


def _draw_tobit(figure: go.Figure, estimate: Estimate, line: CensoredPicture, colours: Palette) -> None:
    """The line through readings of which some are only bounds: dashed, since normal scatter is assumed."""
    figure.add_scatter(
        x=in_months(line.draw_days), y=line.draw_mean, mode="lines", customdata=line.draw_days,
        line={"color": colours.quiet, "width": 1.4, "dash": "dash"},
        hovertemplate="mean (Tobit) %{y:.3g}" + _unit(estimate) + "<br>%{customdata:.0f}\u202fd<extra></extra>",
    )  # fmt: skip


def _draw_readings(figure: go.Figure, estimate: Estimate, colours: Palette) -> None:
    if estimate.unit == "grade":
        _draw_grades(figure, estimate, colours)
        return
    for name, symbol, pick in (
        ("", "circle-open", _is_exact),
        ("at least ", "triangle-up-open", lambda o: math.isfinite(o.lower) and not math.isfinite(o.upper)),
        ("at most ", "triangle-down-open", lambda o: math.isfinite(o.upper) and not math.isfinite(o.lower)),
    ):
        chosen = [o for o in estimate.observations if pick(o)]
        if not chosen:
            continue
        tone = [colours.harm if o.unacceptable else colours.ink for o in chosen]
        exact = symbol == "circle-open"
        figure.add_scatter(
            x=in_months(tuple(o.dwell_days for o in chosen)),
            y=[o.lower if math.isfinite(o.lower) else o.upper for o in chosen],
            mode="markers",
            marker={
                "symbol": "circle" if exact else symbol, "size": 7 if exact else 11, "color": tone,
                "opacity": 0.75 if exact else 1, "line": {"width": 0 if exact else 1.6, "color": tone},
            },
            customdata=[[o.code, o.dwell_days, _verdict(o)] for o in chosen],
            hovertemplate="%{customdata[0]}: " + name + "%{y:.3g}" + _unit(estimate)
            + ", %{customdata[2]}<br>%{customdata[1]:.0f}\u202fd<extra></extra>",
        )  # fmt: skip
    _draw_intervals(figure, estimate, colours)


def _draw_intervals(figure: go.Figure, estimate: Estimate, colours: Palette) -> None:
    """Readings known only as "between": a bar from one value to the other."""
    for o in estimate.observations:
        if math.isfinite(o.lower) and math.isfinite(o.upper) and o.lower != o.upper:
            month = o.dwell_days / DAYS_PER_MONTH
            figure.add_scatter(
                x=[month, month], y=[o.lower, o.upper], mode="lines+markers", line={"color": colours.ink, "width": 1.2},
                marker={"symbol": "circle-open", "size": 7, "color": colours.ink},
                hovertemplate=f"{o.code}: {o.lower:g} to {o.upper:g}, {_verdict(o)}<br>"
                f"{o.dwell_days:.0f}\u202fd<extra></extra>",
            )  # fmt: skip


def _is_exact(observation: Observation) -> bool:
    return math.isfinite(observation.lower) and observation.lower == observation.upper


def _verdict(observation: Observation) -> str:
    return {True: "unacceptable", False: "acceptable", None: "undecided"}[observation.unacceptable]


def _draw_grades(figure: go.Figure, estimate: Estimate, colours: Palette) -> None:
    """One disc per pull and grade, its area telling how many coupons were given that grade."""
    groups: dict[tuple[str, float], list[Observation]] = {}
    for o in filter(_is_exact, estimate.observations):
        groups.setdefault((o.pull_group, o.lower), []).append(o)
    discs = list(groups.values())
    tone = [colours.harm if group[0].unacceptable else colours.ink for group in discs]
    figure.add_scatter(
        x=in_months(tuple(min(o.dwell_days for o in group) for group in discs)),
        y=[group[0].lower for group in discs],
        mode="markers",
        marker={
            "size": [6.5 * math.sqrt(len(group)) for group in discs], "color": tone, "opacity": 0.85,
            "line": {"width": 1, "color": colours.card},
        },
        customdata=[[_coupons(len(group)), group[0].pull_group, _verdict(group[0])] for group in discs],
        hovertemplate="%{customdata[0]} of grade %{y:g}, %{customdata[2]}<br>%{customdata[1]}<extra></extra>",
    )  # fmt: skip
    _draw_intervals(figure, estimate, colours)


def _coupons(count: int) -> str:
    return "1 coupon" if count == 1 else f"{count} coupons"


def _draw_crossing(
    figure: go.Figure, colours: Palette, *, days: float, value: float, low: float, log: bool, months: int
) -> None:
    month = days / DAYS_PER_MONTH
    line = {"color": colours.accent, "width": 1.4, "dash": "dot"}
    figure.add_scatter(x=[month, month], y=[low, value], mode="lines", line=line, hoverinfo="skip")
    figure.add_annotation(
        x=month, y=math.log10(low) if log else low, text=f"{duration_words(days)} ({days:.0f}\u202fd)",
        xanchor="right" if month > months / 2 else "left", yanchor="bottom", xshift=-4 if month > months / 2 else 4,
        yshift=3, showarrow=False, font={"color": colours.accent, "size": 13}, bgcolor=colours.card, borderpad=2,
    )  # fmt: skip
