"""Labels beside a figure: each line named at its end in the right margin, none covering another."""

from __future__ import annotations

import math
from dataclasses import dataclass

import plotly.graph_objects as go

LINE_PX = 16


@dataclass(frozen=True)
class Beside:
    """A name for a line that ends at ``value`` on the vertical axis."""

    value: float
    text: str
    colour: str

    @property
    def height_px(self) -> int:
        """How tall the label stands."""
        return LINE_PX * (1 + self.text.count("<br>")) + 2


def spread(centres: list[float], heights: list[float], *, top: float, bottom: float) -> list[float]:
    """Centres moved as little as keeps labels apart and inside ``top`` (small) to ``bottom`` (large), in order."""
    if not centres:
        return []
    order = sorted(range(len(centres)), key=lambda place: centres[place])
    placed = list(centres)
    edge = top
    for place in order:
        placed[place] = max(placed[place], edge + heights[place] / 2)
        edge = placed[place] + heights[place] / 2
    edge = bottom
    for place in reversed(order):
        placed[place] = min(placed[place], edge - heights[place] / 2)
        edge = placed[place] - heights[place] / 2
    return placed


def place_beside(
    figure: go.Figure, labels: list[Beside], *, low: float, high: float, log: bool, inside_px: float
) -> None:
    """Write the labels into the right margin at the height of their lines; ``low`` to ``high`` is the axis."""
    kept = [label for label in labels if math.isfinite(label.value)]

    def pixel(value: float) -> float:
        value = min(max(value, low), high)
        share = math.log(value / low) / math.log(high / low) if log else (value - low) / (high - low)
        return (1 - share) * inside_px

    true = [pixel(label.value) for label in kept]
    placed = spread(true, [float(label.height_px) for label in kept], top=-8, bottom=inside_px + 8)
    for label, at_px, wanted_px in zip(kept, placed, true, strict=True):
        value = min(max(label.value, low), high)
        figure.add_annotation(
            x=1, xref="paper", y=math.log10(value) if log else value, yref="y", xanchor="left", yanchor="middle",
            xshift=8, yshift=wanted_px - at_px, text=label.text, align="left", showarrow=False,
            font={"size": 13, "color": label.colour},
        )  # fmt: skip
