"""Recorded: pulls on file, the latest first, each one click from its correction."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from dash import dcc

from dashboard.components.days import moment_said, short_day
from dashboard.components.messages import empty
from dashboard.components.tables import Column, table
from study.model.pull import PullEvent

SHOWN = 100


def recorded(found: Sequence[tuple[PullEvent, dict[str, Any]]]) -> list[Any]:
    """The latest records, each with who entered it."""
    if not found:
        return [empty("What left its placement stands here, the latest first.", "Scan the first pull under “Due”.")]
    columns = (
        Column("code", "Coupon", tight=True),
        Column("kind", "As"),
        Column("on", "On", tight=True),
        Column("by", "Entered by"),
        Column("at", "Entered", tight=True),
        Column("note", "Note", quiet=True),
    )
    rows = [
        {
            "code": dcc.Link(event.code, href=f"/pull?code={quote(event.code)}", className="code"),
            "kind": event.kind,
            "on": short_day(event.on),
            "by": who["by"],
            "at": moment_said(who["at"]),
            "note": event.note or "–",
        }
        for event, who in found
    ]
    return [table(columns, rows, caption="Pulls recorded, the latest first")]
