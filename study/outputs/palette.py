"""Colours: the paper, ink and accent of both schemes, and the series with their markers and dashes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Scheme = Literal["light", "dark"]


@dataclass(frozen=True)
class Palette:
    """The colours of one scheme, as hexadecimal text."""

    ground: str
    card: str
    rule: str
    ink: str
    quiet: str
    accent: str
    harm: str
    wash: str
    """The light wash between a mean and its bound, or of a band."""
    series: tuple[str, ...]


@dataclass(frozen=True)
class Series:
    """How one adhesive or substrate is drawn on every page of a study; marker and dash survive a grey print."""

    colour: str
    marker: str
    dash: str


OKABE_ITO = ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#D55E00", "#56B4E9")
"""Colour-blind-safe set of Okabe and Ito (2008), in fixed order."""
MARKERS = ("circle", "square", "diamond", "triangle-up", "triangle-down", "cross")
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")

LIGHT = Palette(
    ground="#FBFAF7",
    card="#FFFFFF",
    rule="#E4E1DA",
    ink="#1F2933",
    quiet="#5B6670",
    accent="#0F6B6B",
    harm="#B3401F",
    wash="rgba(15, 107, 107, 0.10)",
    series=OKABE_ITO,
)
DARK = Palette(
    ground="#14181C",
    card="#1B2127",
    rule="#2E363E",
    ink="#E8E6E1",
    quiet="#A9B1B8",
    accent="#5CC2BE",
    harm="#FF8A66",
    wash="rgba(92, 194, 190, 0.14)",
    series=("#4BA3D8", "#E69F00", "#2FBF98", "#DD9BC2", "#F0803C", "#7CC7F2"),
)
"""The series lie a step lighter on the dark card, in the same order and hue, so that marks keep 3:1."""
PAPER = Palette(
    ground="#FFFFFF",
    card="#FFFFFF",
    rule="#D5D1C8",
    ink="#1F2933",
    quiet="#5B6670",
    accent="#0F6B6B",
    harm="#B3401F",
    wash="rgba(15, 107, 107, 0.10)",
    series=OKABE_ITO,
)

FONT = "Inter, Noto Sans, DejaVu Sans, system-ui, sans-serif"
"""System fonts only: nothing is fetched."""


def palette_of(scheme: Scheme) -> Palette:
    """The palette of a scheme."""
    return DARK if scheme == "dark" else LIGHT


def series_of(place: int, *, scheme: Scheme = "light") -> Series:
    """Colour, marker and dash of the ``place``-th adhesive or substrate of a study (0-based)."""
    colours = palette_of(scheme).series
    return Series(
        colour=colours[place % len(colours)],
        marker=MARKERS[place % len(MARKERS)],
        dash=DASHES[place % len(DASHES)],
    )
