"""Paper: links to what is printed, and the calendar's address to copy into a calendar program."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import html
from flask import has_request_context, request

from dashboard.feed import FEED


def paper_link(words: str, address: str, *, unseen: str = "", **asked: str) -> html.A:
    """A PDF file, opened beside the page."""
    href = f"{address}?{urlencode(asked)}" if asked else address
    more = [html.Span(f" {unseen}", className="unseen")] if unseen else []
    return html.A([words, *more], href=href, target="_blank")


def calendar_address() -> html.Span:
    """Where a calendar program on this machine finds pulls and remove-by dates, to copy."""
    base = request.host_url.rstrip("/") if has_request_context() else ""
    address = f"{base}{FEED}"
    parts: list[Any] = [
        "Calendar of this machine: ",
        html.Code(address, className="wraps"),
        " ",
        dmc.CopyButton("Copy", value=address, copiedChildren="Copied", variant="default", size="compact-sm"),
    ]
    return html.Span(parts, className="calendar")
