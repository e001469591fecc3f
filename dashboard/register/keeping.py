"""Keeping: the words beside a button that say whether what is typed is saved."""

from __future__ import annotations

from dash import html


def keeping(ident: str) -> html.Span:
    """Where it stands, beginning with nothing."""
    return html.Span("Nothing typed yet.", id=ident, className="quiet", role="status")
