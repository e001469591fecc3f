"""Cautions on a page: under every display duration and every hold result."""

from __future__ import annotations

from dash import html

from study.outputs.cautions import CAUTIONS, NOT_SHOWN


def cautions() -> html.Section:
    """The usual cautions, always open."""
    return html.Section(
        [
            html.H2("Before an object stands on it"),
            html.Ul([html.Li(text) for text in (*CAUTIONS, NOT_SHOWN)]),
        ],
        className="cautions",
    )
