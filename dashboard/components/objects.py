"""Objects on a page: where each stands, by urgency, and what changed since somebody last acknowledged it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from dashboard.components.days import days_said, short_day
from dashboard.components.tables import Column, table
from study.model.display import STATES, DisplayState

URGENT = ("stopped", "overdue")


def object_link(object_number: str) -> dcc.Link:
    """An object, one click from all that is on record of it."""
    return dcc.Link(object_number, href=f"/display?object={quote(object_number, safe='')}")


def pairing_link(key: str) -> dcc.Link:
    """A pairing, one click from its decision."""
    return dcc.Link(key, href=f"/decide?pairing={quote(key, safe='')}")


def state_words(state: DisplayState) -> html.Span | str:
    """The state in its word; what needs somebody at once is in the one colour for harm."""
    return html.Span(state.state, className="harm") if state.state in URGENT else state.state


def remove_by(state: DisplayState) -> str:
    """The day it must be off by, or a dash."""
    return short_day(state.remove_by) if state.remove_by else "–"


def counted(states: Sequence[DisplayState]) -> str:
    """How many objects stand in each state, in the order of urgency: "1 stopped, 12 overdue"."""
    order = ("stopped", "overdue", "due", "no evidence", "within", "removed")
    assert set(order) == set(STATES)
    counts = {word: sum(state.state == word for state in states) for word in order}
    return ", ".join(f"{count} {word}" for word, count in counts.items() if count)


COLUMNS = (
    Column("object", "Object", tight=True),
    Column("state", "State", tight=True),
    Column("by", "Remove by", tight=True),
    Column("why", "Why", quiet=True),
    Column("at_object", "At object"),
    Column("at_support", "At support"),
    Column("lot", "Lot", tight=True, spare=True),
    Column("location", "Location"),
    Column("placed", "Placed", tight=True, spare=True),
)


SHORT = tuple(column for column in COLUMNS if column.key in ("object", "by", "why", "location"))
"""Where the state stands in the head and little room is left."""


def objects_table(states: Sequence[DisplayState], *, caption: str, columns: Sequence[Column] = COLUMNS) -> html.Div:
    """Objects, one a line, in the order given."""
    rows = [
        {
            "object": object_link(state.display.object_number),
            "state": state_words(state),
            "by": remove_by(state),
            "why": days_said(state.why),
            "at_object": pairing_link(state.display.object_pairing),
            "at_support": pairing_link(state.display.support_pairing),
            "lot": state.display.lot,
            "location": state.display.location,
            "placed": short_day(state.display.placed_on),
        }
        for state in states
    ]
    return table(columns, rows, caption=caption)


def basis_words(basis: str) -> str:
    """What was acknowledged, or stands now, as it is read: "remove by 1 May 2026"."""
    return _unbroken(days_said(basis)) or "nothing seen yet"


def changes_table(
    states: Sequence[DisplayState],
    acknowledged: Mapping[int, str],
    *,
    caption: str,
    button: Callable[[DisplayState], Any] | None = None,
) -> html.Div:
    """Objects of which something changed: what was last acknowledged, what is now, and why."""
    columns = [
        Column("object", "Object", tight=True),
        Column("location", "Location"),
        Column("was", "Was", quiet=True),
        Column("now", "Is now"),
        Column("why", "Why", quiet=True),
    ]
    if button:
        columns.append(Column("seen", "Seen", tight=True))
    rows = [
        {
            "object": object_link(state.display.object_number),
            "location": state.display.location,
            "was": basis_words(acknowledged.get(state.display.number, "")),
            "now": html.Span(now_words(state), className="harm") if state.state in URGENT else now_words(state),
            "why": days_said(state.why),
            "seen": button(state) if button else None,
        }
        for state in states
    ]
    return table(columns, rows, caption=caption)


def now_words(state: DisplayState) -> str:
    """What stands now: the day, with the state where that is more than the day says."""
    return days_said(f"{state.basis}, {state.state}") if state.remove_by else _unbroken(state.state)


def _unbroken(words: str) -> str:
    # "no" above "evidence" in a narrow column would be read as two answers.
    return words.replace("no evidence", "no\u00a0evidence")
