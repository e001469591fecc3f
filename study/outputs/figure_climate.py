"""The climate of one environment day by day: mean and range of each measure, its band, and gaps left open."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import plotly.graph_objects as go

from study.model.climate import Measure
from study.model.climate_days import BandsOf, ClimateDays, DayOf
from study.outputs.palette import FONT, Palette, Scheme, palette_of

PANEL_PX = 150
TOP_PX, BOTTOM_PX, LEFT_PX, RIGHT_PX, BETWEEN_PX = 16, 44, 64, 24, 18
_TITLES: dict[Measure, str] = {
    "temperature_c": "temperature [°C]", "humidity_percent": "RH [%]", "lux": "light [klx h a day]",
    "uv_uw_per_lm": "UV [µW/lm]",
}  # fmt: skip
_TICKS = [
    {"dtickrange": [None, "M1"], "value": "%-d %b\n%Y"}, {"dtickrange": ["M1", None], "value": "%b\n%Y"},
]  # fmt: skip
"""Days where ticks stand closer than a month, so that no two read the same."""
_ONE_DAY = timedelta(days=1)
_WHOLE_DAY_HOURS = 22.9
"""A day logged so long is whole, on the day the clocks go forward too; the dose of a shorter one would mislead."""


def draw_climate(records: Sequence[ClimateDays], *, bands: BandsOf, scheme: Scheme) -> go.Figure:
    """A panel for each measure: daily mean as a line in the wash of its daily range; light as the dose of each day.

    Parameters
    ----------
    records : sequence of ClimateDays
        Of one environment, in the order they count: of a day that two have read, the fuller is drawn.
    bands : dict of measure to (lowest, highest)
        Drawn as two hairlines.
    scheme : "light" or "dark"
    """
    colours = palette_of(scheme)
    merged = {measure: _merged(records, measure) for measure in _TITLES}
    shown = [measure for measure, days in merged.items() if days]
    figure = go.Figure()
    count = max(1, len(shown))
    inside = count * PANEL_PX + (count - 1) * BETWEEN_PX
    axis = {
        "gridcolor": colours.rule, "linecolor": colours.quiet, "zeroline": False, "ticks": "outside", "ticklen": 4,
        "tickcolor": colours.quiet, "color": colours.quiet, "showline": True,
    }  # fmt: skip
    figure.update_layout(
        height=inside + TOP_PX + BOTTOM_PX, margin={"t": TOP_PX, "b": BOTTOM_PX, "l": LEFT_PX, "r": RIGHT_PX},
        paper_bgcolor=colours.card, plot_bgcolor=colours.card, showlegend=False, hovermode="closest",
        font={"family": FONT, "size": 13, "color": colours.ink},
        hoverlabel={"bgcolor": colours.card, "bordercolor": colours.rule, "font": {"color": colours.ink}},
        xaxis={**axis, "showgrid": False, "anchor": f"y{count if count > 1 else ''}", "tickformatstops": _TICKS},
    )  # fmt: skip
    for place, measure in enumerate(shown, start=1):
        top = 1 - (place - 1) * (PANEL_PX + BETWEEN_PX) / inside
        name = f"y{place if place > 1 else ''}"
        figure.update_layout(
            {
                f"yaxis{place if place > 1 else ''}": {
                    **axis, "domain": [max(0.0, top - PANEL_PX / inside), top], "anchor": "x", "nticks": 5,
                    "title": {"text": _TITLES[measure], "standoff": 6, "font": {"size": 13}},
                    **({"rangemode": "tozero"} if measure == "lux" else {}),
                }
            }
        )  # fmt: skip
        _draw_days(figure, merged[measure], measure, name, colours)
        for edge in bands.get(measure, ()):
            figure.add_shape(
                type="line", x0=0, x1=1, xref="x domain", y0=edge, y1=edge, yref=name,
                line={"color": colours.accent, "width": 1, "dash": "dot"},
            )  # fmt: skip
    return figure


def _merged(records: Sequence[ClimateDays], measure: Measure) -> dict[date, DayOf]:
    days: dict[date, DayOf] = {}
    for record in records:
        for day, one in record.days.get(measure, {}).items():
            if day not in days or one.hours > days[day].hours:
                days[day] = one
    return days


def _draw_days(figure: go.Figure, days: dict[date, DayOf], measure: Measure, axis: str, colours: Palette) -> None:
    """Each run of days without a gap is drawn by itself."""
    dose = measure == "lux"
    least = _WHOLE_DAY_HOURS if dose else 0.0
    for run in _runs(sorted(day for day, one in days.items() if one.hours > least)):
        found = [days[day] for day in run]
        middle = [one.total / 1000 if dose else one.total / one.hours for one in found]
        if not dose:
            for values, fill in (([one.lowest for one in found], None), ([one.highest for one in found], "tonexty")):
                figure.add_scatter(
                    x=run, y=values, mode="lines", line={"width": 0}, fill=fill, fillcolor=colours.wash,
                    hoverinfo="skip", yaxis=axis,
                )  # fmt: skip
        figure.add_scatter(
            x=run, y=middle, mode="lines" if len(run) > 1 else "markers", line={"color": colours.ink, "width": 1.1},
            marker={"color": colours.ink, "size": 4}, yaxis=axis,
            customdata=[[one.lowest, one.highest, one.hours] for one in found],
            hovertemplate="%{x|%-d %b %Y}: %{y:.3g}<br>"
            + ("" if dose else "%{customdata[0]:.3g} to %{customdata[1]:.3g}<br>")
            + "%{customdata[2]:.3g} h logged<extra></extra>",
        )  # fmt: skip


def _runs(days: Sequence[date]) -> list[list[date]]:
    runs: list[list[date]] = []
    for day in days:
        if runs and day - runs[-1][-1] == _ONE_DAY:
            runs[-1].append(day)
        else:
            runs.append([day])
    return runs


def climate_caption(records: Sequence[ClimateDays], *, bands_words: str) -> str:
    """What the figure shows."""
    days = {day for record in records for found in record.days.values() for day in found}
    if not days:
        return "Nothing is logged yet."
    return (
        "Line: mean of each day; wash: from its lowest to its highest reading; light: what each day logged throughout "
        "added. "
        f"{len(days)} days logged, {min(days)} to {max(days)}; where the line stops, nothing was read. {bands_words}"
    )
