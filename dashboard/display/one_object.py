"""One object: what its faces rest on, its history, how it was found, and what may be done next."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from dash import dcc, html

from dashboard.components.days import days_said, short_day
from dashboard.components.objects import pairing_link, remove_by, state_words
from dashboard.components.tables import Column, table
from dashboard.display.shelf import may_form
from study.commands.showing import ObjectBook
from study.model.display import Display, DisplayState, Face, Removal
from study.model.units import duration_words


def status_line(found: ObjectBook) -> str:
    """Where the object stands, in one sentence."""
    state, display = found.state, found.state.display
    if found.removal is not None:
        return f"Removed on {short_day(found.removal.removed_on)}; it stood in {display.location}."
    if state.remove_by is not None:
        return (
            f"{state.state.capitalize()}: to be off by {short_day(state.remove_by)}. It stands in {display.location}."
        )
    return f"{state.state.capitalize()}. It stands in {display.location}."


def object_shown(found: ObjectBook) -> list[Any]:
    """All that is on record, the question first."""
    display = found.state.display
    walk = f"/display?view=walk&location={quote(display.location, safe='')}"
    return [
        html.P([dcc.Link("All objects", href="/display"), " · ", dcc.Link("walking list of its place", href=walk)],
               className="quiet"),
        *([may_form(display.object_number)] if found.removal is None else []),
        html.Section([html.H2("Where it stands"), facts(found.state), faces_table(found)]),
        html.Section([html.H2("History"), *history(found)]),
    ]  # fmt: skip


def facts(state: DisplayState) -> html.Dl:
    """The facts of the display, each with its name."""
    display = state.display
    told: list[tuple[str, Any]] = [
        ("State", state_words(state)),
        ("Remove by", remove_by(state)),
        ("Why", days_said(state.why)),
        ("Stands on", adhesive_line(display)),
        ("Environment", display.environment),
        ("Placed", f"{short_day(display.placed_on)} by {display.placed_by}"),
    ]
    return html.Dl([part for name, value in told for part in (html.Dt(name), html.Dd(value))], className="facts")


def adhesive_line(display: Display) -> str:
    """Lot, dots and load in a few words."""
    dots = "1 dot" if display.dots == 1 else f"{display.dots} dots"
    return f"{dots} of {display.dot_diameter_mm:g}\u202fmm, lot {display.lot}, load {display.load_n:g}\u202fN"


def faces_table(found: ObjectBook) -> html.Div:
    """Each face with the pairing it touches and what that rests on."""
    rows = [
        {
            "face": f"at the {face.name}",
            "pairing": html.Span([pairing_link(face.pairing), f" {found.titles.get(face.pairing, '')}"]),
            "rests": face_words(face),
        }
        for face in found.state.faces
    ]
    columns = (Column("face", "Face", tight=True), Column("pairing", "Pairing"), Column("rests", "What it rests on"))
    return table(columns, rows, caption="The two faces")


def face_words(face: Face) -> Any:
    """Decided days, a stop, or everything in which it differs from what was tested."""
    if face.stopped:
        return html.Span(days_said(f"stopped: {face.stopped}"), className="harm")
    if face.no_evidence:
        return f"no evidence: {'; '.join(face.no_evidence)}"
    return f"{duration_words(face.days)} ({face.days}\u202fd) decided" if face.days is not None else "no duration"


def history(found: ObjectBook) -> list[Any]:
    """Rechecks, the removal, and displays before this one."""
    told: list[Any] = []
    if found.removal is not None:
        told.append(html.P(removal_words(found.removal)))
    told += [html.P(f"{short_day(check.on)}: {check.found} after {check.after} ({check.by})."
                    + (f" {check.note}" if check.note else "")) for check in found.rechecks]  # fmt: skip
    for state, removal in found.earlier:
        display = state.display
        stood = f"Before: placed {short_day(display.placed_on)} in {display.location}, lot {display.lot}."
        told.append(html.P(f"{stood} {removal_words(removal) if removal else ''}".strip()))
    return told or [html.P("Nothing else is on record: no recheck, no display before this one.", className="quiet")]


def removal_words(removal: Removal) -> str:
    """What was found when it came off, in one sentence."""
    parts = [
        "HARM" if removal.harm else "no harm",
        f"residue grade {removal.residue_grade}" if removal.residue_grade is not None else "",
        f"failure pattern {removal.pattern}" if removal.pattern else "",
        f"at the {removal.side}" if removal.side else "",
        f"force {removal.force}" if removal.force else "",
        f"tool {removal.tool}" if removal.tool else "",
        removal.note,
    ]
    found = "; ".join(part for part in parts if part)
    return f"Removed {short_day(removal.removed_on)} by {removal.removed_by}: {found}."
