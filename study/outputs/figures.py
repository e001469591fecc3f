"""Figures: the decline of the readings and the acceptable share, under one door for pages and report."""

from study.outputs.figure_decline import draw_decline
from study.outputs.figure_share import draw_acceptable_share

__all__ = ["draw_acceptable_share", "draw_decline"]
