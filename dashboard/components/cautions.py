"""Cautions on a page: under every display duration and every hold result."""

from __future__ import annotations

from dash import html

from study.outputs.cautions import CAUTIONS, NOT_SHOWN, REMOVING


def cautions() -> html.Section:
    """The usual cautions, always open."""
    return html.Section(
        [
            html.H2("Before an object stands on it"),
            html.Ul([html.Li(text) for text in (*CAUTIONS, NOT_SHOWN)]),
        ],
        className="cautions",
    )


def removal_cautions() -> html.Section:
    """What to mind before an object is taken off, above the form that records it."""
    return html.Section(
        [
            html.H3("Before it is taken off"),
            html.Ul([html.Li(text) for text in REMOVING]),
            html.P("Common practice; the maker's advice and local rules come first."),
        ],
        className="cautions inner",
    )
