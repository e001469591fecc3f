"""Colours: the paper, ink and accent of both schemes, and the markers that survive a grey print."""

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


MARKERS = ("circle", "square", "diamond", "triangle-up", "triangle-down", "cross")

LIGHT = Palette(
    ground="#FBFAF7",
    card="#FFFFFF",
    rule="#E4E1DA",
    ink="#1F2933",
    quiet="#5B6670",
    accent="#0F6B6B",
    harm="#B3401F",
    wash="rgba(15, 107, 107, 0.10)",
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
)
PAPER = Palette(
    ground="#FFFFFF",
    card="#FFFFFF",
    rule="#D5D1C8",
    ink="#1F2933",
    quiet="#5B6670",
    accent="#0F6B6B",
    harm="#B3401F",
    wash="rgba(15, 107, 107, 0.10)",
)

FONT = "Inter, Noto Sans, DejaVu Sans, system-ui, sans-serif"
"""System fonts only: nothing is fetched."""


def palette_of(scheme: Scheme) -> Palette:
    """The palette of a scheme."""
    return DARK if scheme == "dark" else LIGHT
