"""Figures: the decline of the readings, the shares and the pictures beside them, one door for pages and report."""

from study.outputs.figure_decline import draw_decline
from study.outputs.figure_grades import draw_grades, grade_caption, has_grades
from study.outputs.figure_probability import aic_words, draw_probability, has_probability_plot
from study.outputs.figure_share import band_words, draw_acceptable_share
from study.outputs.figure_watched import draw_watched, watched_caption

__all__ = [
    "aic_words",
    "band_words",
    "draw_acceptable_share",
    "draw_decline",
    "draw_grades",
    "draw_probability",
    "draw_watched",
    "grade_caption",
    "has_grades",
    "has_probability_plot",
    "watched_caption",
]
