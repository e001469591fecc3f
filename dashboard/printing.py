"""Printing: labels, bench sheets, the pull list and the shelf map as PDF files of the dashboard."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import Dash
from flask import Response, request

from dashboard.answers import refusal_answer
from dashboard.book import Book
from study.commands import pull_sheets
from study.commands.opening import open_study
from study.commands.register_labels import coupon_labels
from study.errors import DwellbookError
from study.model.label_grid import A4_24, label_grid
from study.outputs import bench_sheet
from study.outputs.label_sheet import label_sheet

LABELS, SHEET, LIST, MAP = "/print/labels.pdf", "/print/bench-sheet.pdf", "/print/pull-list.pdf", "/print/shelf-map.pdf"


def serve_prints(app: Dash, book: Book) -> None:
    """Answer at the four addresses; a refusal is said in words, with what to do."""

    def labels(study: Any) -> bytes:
        asked = request.args.get("grid", "").strip()
        found = coupon_labels(
            study, set_key=request.args.get("set", ""), plan=request.args.get("plan", ""),
            blind=request.args.get("blind") == "yes",
        )  # fmt: skip
        start = request.args.get("start", "1")
        first = int(start) if start.isdecimal() and len(start) < 6 else 0
        return label_sheet(found, grid=label_grid(asked) if asked else A4_24, start=first)

    def sheet(study: Any) -> bytes:
        pull, set_key, plan = (request.args.get(name, "") for name in ("pull", "set", "plan"))
        return bench_sheet.bench_sheet(pull_sheets.bench_sheets(study, set_key=set_key, pull=pull, plan=plan))

    def listed(study: Any) -> bytes:
        return bench_sheet.pull_list(pull_sheets.pull_list(study, on=book.today()))

    def mapped(study: Any) -> bytes:
        return bench_sheet.shelf_map(pull_sheets.shelf_map(study, plan=request.args.get("plan", "")))

    made: dict[str, Callable[[Any], bytes]] = {LABELS: labels, SHEET: sheet, LIST: listed, MAP: mapped}
    for address, make in made.items():
        app.server.add_url_rule(address, address, _answering(book, address, make))


def _answering(book: Book, address: str, make: Callable[[Any], bytes]) -> Callable[[], Response]:
    def answer() -> Response:
        try:
            with open_study(book.study_file) as study:
                content = make(study)
        except DwellbookError as refused:
            return refusal_answer(refused)
        found = Response(content, mimetype="application/pdf")
        found.headers["Content-Disposition"] = f'inline; filename="{address.rsplit("/", 1)[-1]}"'
        found.headers["Cache-Control"] = "no-store"
        return found

    return answer
