"""The figure of readings against light dose or heat, with its words: a picture that never decides."""

from __future__ import annotations

import math
from collections.abc import Sequence

import plotly.graph_objects as go

from study.model.climate_days import THROUGHOUT
from study.model.dose import AGAINST, DosePicture, DosePoint
from study.outputs.climate_report import HEAT_CAUTION
from study.outputs.labels_beside import Beside, place_beside
from study.outputs.palette import Palette, Scheme, palette_of
from study.outputs.sheet import BOTTOM_PX, HEIGHT_PX, TOP_PX, sheet

DOSE_HEADS = {
    "pull": "pull", "dwell": "dwell [d]", "dose": "", "covered": "covered [%]", "read": "read", "middle": "middle",
}  # fmt: skip


def draw_dose(picture: DosePicture, *, scheme: Scheme) -> go.Figure:
    """Readings against dose or heat; a hollow arrow to the right had "at least" that much.

    Parameters
    ----------
    picture : DosePicture
        Only its own numbers are drawn.
    scheme : "light" or "dark"
    """
    colours = palette_of(scheme)
    figure = sheet(colours, months=1)
    name, unit = AGAINST[picture.against]
    furthest = max([point.dose for point in picture.points] + list(picture.draw_dose), default=0.0) or 1.0
    figure.update_xaxes(
        title={"text": f"{name} [{unit}]"}, range=[-0.02 * furthest, 1.06 * furthest], dtick=None, tickmode="auto"
    )
    log = picture.value_scale == "log"
    low, high = _range(picture, log=log)
    beside: list[Beside] = []
    if picture.draw_mean:
        _draw_line(figure, picture, colours)
        beside.append(Beside(picture.draw_mean[-1], "mean", colours.quiet))
        if picture.draw_bound:
            beside.append(Beside(picture.draw_bound[-1], "bound,<br>a picture", colours.quiet))
    for whole in (True, False):
        _draw_points(figure, [point for point in picture.points if point.whole is whole], picture, colours, whole=whole)
    if picture.limit is not None:
        figure.add_hline(y=picture.limit, line={"color": colours.harm, "width": 1.4})
        beside.append(Beside(picture.limit, f"limit<br>{picture.limit:g} {picture.unit}", colours.harm))
    figure.update_yaxes(
        title={"text": f"{picture.title} [{picture.unit}]", "standoff": 8, "font": {"size": 13}},
        type="log" if log else "linear",
        range=[math.log10(low), math.log10(high)] if log else [low, high],
        **_ticks(low, high, log=log),
    )
    place_beside(figure, beside, low=low, high=high, log=log, inside_px=HEIGHT_PX - TOP_PX - BOTTOM_PX)
    return figure


def _draw_line(figure: go.Figure, picture: DosePicture, colours: Palette) -> None:
    for values, name, dash in ((picture.draw_mean, "mean", "solid"), (picture.draw_bound, "bound", "dash")):
        if values:
            figure.add_scatter(
                x=picture.draw_dose, y=values, mode="lines",
                line={"color": colours.quiet, "width": 1.3, "dash": dash},
                hovertemplate=f"{name} %{{y:.3g}} {picture.unit}<br>%{{x:.4g}} {AGAINST[picture.against][1]}"
                "<extra></extra>",
            )  # fmt: skip


def _draw_points(
    figure: go.Figure, points: Sequence[DosePoint], picture: DosePicture, colours: Palette, *, whole: bool
) -> None:
    if not points:
        return
    unit = AGAINST[picture.against][1]
    tone = [colours.harm if point.unacceptable else colours.ink for point in points]
    least = "" if whole else "at least "
    exact = [point.lower == point.upper for point in points]
    figure.add_scatter(
        x=[point.dose for point in points],
        y=[point.lower if math.isfinite(point.lower) else point.upper for point in points],
        mode="markers",
        marker={
            "symbol": [
                "triangle-right-open" if not whole else "circle" if sure else "triangle-up-open"
                if math.isfinite(point.lower) else "triangle-down-open"
                for point, sure in zip(points, exact, strict=True)
            ],
            "size": 7 if whole else 10, "color": tone, "line": {"width": 1.4, "color": tone}, "opacity": 0.8,
        },
        customdata=[[point.code, point.dwell_days, 100 * point.covered] for point in points],
        hovertemplate="%{customdata[0]}: %{y:.3g} " + picture.unit + f"<br>{least}%{{x:.4g}} {unit}"
        "<br>%{customdata[1]:.0f} d, %{customdata[2]:.0f} % logged<extra></extra>",
    )  # fmt: skip


def _range(picture: DosePicture, *, log: bool) -> tuple[float, float]:
    values = [v for point in picture.points for v in (point.lower, point.upper) if math.isfinite(v)]
    if picture.limit is not None:
        values.append(picture.limit)
    reach = 1.6 * max(values, default=1.0)
    values += [v for v in (*picture.draw_mean, *picture.draw_bound) if math.isfinite(v) and abs(v) <= reach]
    low, high = min(values, default=0.0), max(values, default=1.0)
    if log:
        return min((v for v in values if v > 0), default=0.1) / 1.25, high * 1.2
    room = 0.08 * (high - low or 1.0)
    return (max(0.0, low - room) if low >= 0 else low - room), high + room


def _ticks(low: float, high: float, *, log: bool) -> dict[str, object]:
    if not log:
        return {}
    ticks = [step * 10.0**power for power in range(-4, 6) for step in (1, 2, 5)]
    shown = [tick for tick in ticks if low <= tick <= high]
    if len(shown) < 4:
        fine = [step * 10.0**power for power in range(-4, 6) for step in (1, 1.5, 2, 3, 4, 5, 7)]
        shown = [tick for tick in fine if low <= tick <= high]
    return {"tickvals": shown, "ticktext": [f"{tick:g}" for tick in shown]}


def dose_caption(picture: DosePicture) -> str:
    """What the picture shows, what it leaves out, and that it never decides."""
    name, unit = AGAINST[picture.against]
    told = [f"A picture only: the duration is decided against days, never against {name}."]
    if picture.draw_mean:
        told.append(
            f"Line and dashed bound are drawn as against days, through {picture.n} readings whose dwell was logged "
            "to at least 95 %."
        )
    else:
        told.append(f"No line: {picture.why}.")
    partly = sum(not point.whole for point in picture.points)
    if partly:
        told.append(
            f"{partly} readings at hollow arrows had at least that much: their dwell was not logged throughout."
        )
    if picture.left_out:
        told.append(f"{picture.left_out} readings are not shown: nothing was logged over their dwell.")
    if picture.against == "heat":
        told += [f"Heat is counted as {unit} that would have done as much. {HEAT_CAUTION}"]
    return " ".join(told)


def tabulate_dose(picture: DosePicture) -> list[dict[str, str]]:
    """One row a pull: dose, coverage, how many were read and their middle reading."""
    groups: dict[tuple[str, float], list[DosePoint]] = {}
    for point in picture.points:
        groups.setdefault((point.pull, point.dose), []).append(point)
    rows = []
    for (pull, dose), points in sorted(groups.items(), key=lambda entry: entry[1][0].dwell_days):
        values = sorted(point.lower if math.isfinite(point.lower) else point.upper for point in points)
        rows.append(
            {
                "pull": pull, "dwell": f"{min(point.dwell_days for point in points):.0f}",
                "dose": f"{'' if points[0].covered >= THROUGHOUT else 'at least '}{dose:.4g}",
                "covered": f"{100 * points[0].covered:.0f}", "read": str(len(points)),
                "middle": f"{values[len(values) // 2]:.3g}",
            }
        )  # fmt: skip
    return rows
