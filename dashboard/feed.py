"""The calendar feed: pulls and remove-by dates for a calendar program on this machine; it only reads."""

from __future__ import annotations

from dash import Dash
from flask import Response

from dashboard.answers import refusal_answer
from dashboard.book import Book
from study.commands.opening import open_study
from study.commands.today_calendar import calendar_events, calendar_name
from study.errors import DwellbookError
from study.outputs.calendar_feed import calendar_text

FEED = "/calendar.ics"


def serve_feed(app: Dash, book: Book) -> None:
    """Answer at ``/calendar.ics`` with the calendar as it stands."""

    @app.server.get(FEED)
    def calendar() -> Response:
        try:
            with open_study(book.study_file) as study:
                text = calendar_text(calendar_events(study, on=book.today()), name=calendar_name(study))
        except DwellbookError as error:
            return refusal_answer(error)
        answer = Response(text, mimetype="text/calendar")
        answer.headers["Cache-Control"] = "no-cache"
        return answer
