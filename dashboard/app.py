"""The dashboard: one application on one study file, its pages and its guards."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import date
from functools import partial
from pathlib import Path

import dash
import dash_mantine_components as dmc
from dash import Dash, dcc, html

from dashboard.book import Book
from dashboard.feed import serve_feed
from dashboard.files import serve_files
from dashboard.pages import analyse, decide, display, plan, pull, read, register, today
from dashboard.printing import serve_prints
from dashboard.security import guard
from study.commands.analyse import analyse_all
from study.commands.opening import open_study
from study.errors import DwellbookError
from study.outputs.palette import FONT

PAGES = (today, plan, register, pull, read, analyse, decide, display)

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark"><title>{%title%}</title>{%favicon%}{%css%}</head>
<body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""

ESTUARY = ["#E9F5F4", "#D3EAE9", "#A6D6D3", "#7ECBC7", "#5CC2BE", "#2F9A97", "#1B8080", "#0F6B6B", "#0A5858", "#064545"]
"""Ten steps of the accent: the fourth on dark, the seventh on light."""
THEME = {
    "fontFamily": FONT,
    "primaryColor": "estuary",
    "colors": {"estuary": ESTUARY},
    "primaryShade": {"light": 7, "dark": 4},
    "defaultRadius": "sm",
}


def work_ahead(book: Book) -> None:
    """Work out all pairings once, so that the first page that needs them does not wait."""
    with suppress(DwellbookError), book.estimating, open_study(book.study_file) as study:
        analyse_all(study)


def create_app(study_file: Path, *, today: Callable[[], date], demo_note: str = "") -> Dash:
    """The application on ``study_file``; ``today`` gives the day at each request.

    ``demo_note`` is said on every page, so that invented numbers are never taken for real ones.
    """
    book = Book(study_file=study_file, today=today, note=demo_note)
    app = Dash(
        "dashboard",
        use_pages=True,
        pages_folder="",
        index_string=INDEX,
        title="Dwellbook",
        update_title="",
        suppress_callback_exceptions=True,
        serve_locally=True,
    )
    dash.page_registry.clear()  # one registry a process: a second application must not see the first one's pages
    for order, page in enumerate(PAGES):
        dash.register_page(
            page.__name__,
            path=page.PATH,
            name=page.NAME,
            title=f"{page.NAME} · Dwellbook",
            order=order,
            layout=partial(page.layout, book),
        )
        page.register(app, book)
    app.layout = dmc.MantineProvider(
        html.Div([dcc.Location(id="go", refresh="callback-nav"), dash.page_container]),
        theme=THEME,
        defaultColorScheme="auto",
    )
    serve_feed(app, book)
    serve_prints(app, book)
    serve_files(app.server, book)
    guard(app.server, script_hashes=app.csp_hashes)
    app.server.config["WORK_AHEAD"] = partial(work_ahead, book)
    return app
