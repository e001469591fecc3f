"""The frame of a page: the rail of job words, the title, where things stand, then the work."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.book import Book
from dashboard.components.aria import heard_as

RAIL = (
    ("Today", "/"),
    ("Plan", "/plan"),
    ("Register", "/register"),
    ("Pull", "/pull"),
    ("Read", "/read"),
    ("Analyse", "/analyse"),
    ("Decide", "/decide"),
    ("Display", "/display"),
)


def frame(book: Book, *, active: str, title: str, status: str, work: list[Any]) -> html.Div:
    """One page.

    Parameters
    ----------
    book : Book
        Whose name and note stand in the rail.
    active : str
        The job word of this page.
    title, status : str
        What the page is about, and where things stand in one sentence.
    work : list
        What follows.
    """
    return html.Div(
        [
            html.A("Skip to the work", href="#work", className="skip"),
            html.Header(
                [
                    html.Div([html.Span("Dwellbook", className="name"), html.Span(book.name)], className="book"),
                    html.Nav([_word(word, path, active) for word, path in RAIL], **heard_as("Jobs")),
                    dmc.ColorSchemeToggle(
                        id="scheme",
                        lightIcon="Dark view",
                        darkIcon="Light view",
                        variant="subtle",
                        className="scheme",
                    ),
                ],
                className="rail",
            ),
            html.Main(
                [
                    *([html.P(book.note, className="note")] if book.note else []),
                    html.H1(title),
                    html.P(status, className="status", role="status", id="status"),
                    *work,
                ],
                id="work",
                tabIndex="-1",
            ),
        ],
        className="page",
    )


def _word(word: str, path: str, active: str) -> dcc.Link:
    # aria-current is not among dcc.Link's properties; the words "you are here" are given to readers instead
    here = word == active
    inside: Any = [word, html.Span(" (this page)", className="unseen")] if here else word
    return dcc.Link(inside, href=path, className="word here" if here else "word")
