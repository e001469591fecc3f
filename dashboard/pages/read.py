"""Read, by address: one coupon, a whole pull in a grid, a correction, a coupon's history, readings from a file."""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import Dash

from dashboard.book import Book
from dashboard.components.messages import with_refusals
from dashboard.read import bench, climate, correcting, grid, history, importing, trace
from study.commands.opening import open_study
from study.errors import DwellbookError

PATH, NAME = "/read", "Read"


@with_refusals(NAME)
def layout(book: Book, view: str = "", code: str = "", **asked: str) -> Any:
    """The page that an address asks for; without a view, one coupon or none yet."""
    if view == "import":
        return importing.layout(book, **asked)
    if view == "climate":
        return climate.layout(book, **asked)
    if view == "trace":
        return trace.layout(book, code)
    with open_study(book.study_file) as study:
        if view == "pull":
            return grid.page(
                book, study, set_key=asked.get("set", ""), pull=asked.get("pull", ""), on=_day(asked.get("on", ""))
            )
        if view == "history":
            return history.page(book, study, code)
        if view == "correct":
            return correcting.page(book, study, code, asked.get("kind", ""), back=asked.get("act") == "back")
        return bench.page(book, study, code)


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise DwellbookError(f"“{text}” is not a day.", "Open the pull from the Read page.") from None


def register(app: Dash, book: Book) -> None:
    """Everything on these pages that answers."""
    for part in (bench, grid, correcting, climate, trace, importing):
        part.register(app, book)
