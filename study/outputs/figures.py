"""Figures: the decline of the readings and the acceptable share, under one door for pages and report."""

from study.outputs.figure_decline import draw_decline
from study.outputs.figure_probability import aic_words, draw_probability, has_probability_plot
from study.outputs.figure_share import draw_acceptable_share

__all__ = ["aic_words", "draw_acceptable_share", "draw_decline", "draw_probability", "has_probability_plot"]
