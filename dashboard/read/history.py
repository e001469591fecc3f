"""The history of a coupon on a page: made, placed, pulled, read, corrected, attached, lifted, noted."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from dashboard.book import Book
from dashboard.components.days import days_said, moment_said, short_day
from dashboard.components.frame import frame
from dashboard.components.tables import Column, table
from study.commands.read_form import OpenStudy, coupon_form
from study.commands.read_history import Happening, coupon_history

COLUMNS = (
    Column("day", "Day", tight=True),
    Column("what", "What"),
    Column("old", "Before"),
    Column("new", "Then"),
    Column("by", "By", tight=True),
    Column("at", "Entered", tight=True, quiet=True),
    Column("why", "Why", quiet=True),
)


def page(book: Book, study: OpenStudy, code: str) -> html.Div:
    """One coupon's history, oldest first."""
    form, found = coupon_form(study, code), coupon_history(study, code)
    here = form.coupon.code
    back = html.P(dcc.Link(f"Back to coupon {here}", href=f"/read?code={quote(here)}"))
    things = "1 thing" if len(found) == 1 else f"{len(found)} things"
    status = f"{form.title}, set {form.coupon.set_key}: {things} happened to it, in the order they were entered."
    work = [table(COLUMNS, [_row(one) for one in found], caption=f"History of coupon {here}"), back]
    return frame(book, active="Read", title=f"History of {here}", status=status, work=work)


def _beside(words: str) -> html.Span:
    """What stays with a reading, under its value: instrument, room, flags, note, file."""
    return html.Span(days_said(words), className="key quiet")


def _row(one: Happening) -> dict[str, Any]:
    return {
        "day": short_day(date.fromisoformat(one.day or one.at[:10])),
        "what": [html.Strong(one.what), f" {days_said(one.about)}"],
        "old": days_said(one.old),
        "new": [days_said(one.new), *([_beside(one.beside)] if one.beside else [])],
        "by": one.by or "nobody named",
        "at": moment_said(one.at),
        "why": days_said(one.why),
    }
