"""Displays: objects standing on an adhesive now, when each must come off, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from study.model.decision import Decision
from study.model.pairing import Pairing
from study.model.units import duration_words

STATES = ("within", "due", "overdue", "no evidence", "stopped", "removed")
LEAD_DAYS = 30
"""How long before its remove-by date an object counts as due, where the protocol does not say."""
REPLACING_NOTE = "Repeated placing on one spot was not studied."


@dataclass(frozen=True)
class Display:
    """One object standing on one lot of adhesive, between its own face and the support's."""

    number: int
    object_number: str
    """An opaque reference; nothing about value or loans belongs here."""
    location: str
    lot: str
    object_pairing: str
    """Key of the pairing whose substrate stands for the object's face."""
    support_pairing: str
    environment: str
    dots: int
    dot_diameter_mm: float
    load_n: float
    placed_on: date
    placed_by: str
    follows: int | None = None
    """Number of the display before it, when the same object was stuck again."""


@dataclass(frozen=True)
class Removal:
    """What was found when an object came off: evidence from the field."""

    display: int
    removed_on: date
    removed_by: str
    harm: bool
    residue_grade: int | None = None
    pattern: str = ""
    side: str = ""
    force: str = ""
    """Felt or measured, as typed."""
    tool: str = ""
    note: str = ""


def harmed_by(display: Display, removal: Removal) -> tuple[str, ...]:
    """Pairings that a harmful removal stops: the face it happened on, or both where that is not known."""
    if not removal.harm:
        return ()
    both = tuple(dict.fromkeys((display.object_pairing, display.support_pairing)))
    return {"object": both[:1], "mount": (display.support_pairing,)}.get(removal.side, both)


@dataclass(frozen=True)
class Ground:
    """What stands for one pairing when displays are judged: its decision, its stop, and the lots it was tested with."""

    pairing: Pairing
    decision: Decision | None
    stopped: str
    """Why it is stopped, or empty."""
    lots: frozenset[str]
    lead_days: int = LEAD_DAYS
    withdrawn_lots: Mapping[str, str] = field(default_factory=dict)
    """Why each withdrawn lot may no longer be relied on."""


@dataclass(frozen=True)
class Face:
    """What one face of a display rests on."""

    name: str
    pairing: str
    days: int | None
    """Decided whole days, or None."""
    stopped: str
    no_evidence: tuple[str, ...]
    """What differs from what was tested, in sentences."""


@dataclass(frozen=True)
class DisplayState:
    """Where one display stands on a day."""

    display: Display
    state: str
    remove_by: date | None
    """Placed plus the decided whole days of the shorter face; None where nothing allows one."""
    why: str
    faces: tuple[Face, ...]

    @property
    def basis(self) -> str:
        """What a person acknowledges: the date, or why there is none; the passing of days does not change it."""
        kind = self.state if self.state in ("no evidence", "stopped", "removed") else "remove by"
        return f"{kind} {self.remove_by or ''}".strip()


def face_of(display: Display, name: str, ground: Ground | None) -> Face:
    """What one face rests on, and everything in which the display differs from what was tested.

    Parameters
    ----------
    name : str
        "object" or "support".
    ground : Ground or None
        None where the study has no such pairing.
    """
    key = display.object_pairing if name == "object" else display.support_pairing
    if ground is None:
        return Face(name, key, None, "", (f"no pairing {key or 'is named'} in this study",))
    pairing, differs = ground.pairing, []
    if display.lot not in ground.lots:
        differs.append(f"lot {display.lot} has no coupons on {pairing.substrate.name}")
    if display.environment != pairing.environment.key:
        differs.append(f"it stands in {display.environment}, tested in {pairing.environment.key}")
    if display.dot_diameter_mm != pairing.dot_diameter_mm:
        differs.append(f"dots of {display.dot_diameter_mm:g} mm, tested with {pairing.dot_diameter_mm:g} mm")
    if display.dots != pairing.dots:
        differs.append(f"{display.dots} dots, tested with {pairing.dots}")
    if display.load_n > pairing.dwell_load_n:
        differs.append(f"a load of {display.load_n:g} N, tested to {pairing.dwell_load_n:g} N")
    if display.lot in ground.withdrawn_lots:
        differs.append(ground.withdrawn_lots[display.lot])
    decision = ground.decision
    if decision is None:
        differs.append(f"no decision stands for {key}")
    elif decision.days is None and decision.outcome != "stopped":
        differs.append(f"decision {decision.number} for {key} shows no duration")
    stopped = ground.stopped
    if not stopped and decision is not None and decision.outcome == "stopped":
        stopped = f"decision {decision.number} stopped {key}"
    days = decision.days if decision is not None and not differs and not stopped else None
    return Face(name, key, days, stopped, tuple(differs))


def display_state(
    display: Display, *, object_ground: Ground | None, support_ground: Ground | None, on: date, removal: Removal | None
) -> DisplayState:
    """Where a display stands on a day; the earlier face, a stop or missing evidence of either face governs.

    Returns
    -------
    DisplayState
        Derived whenever it is asked for and never stored.
    """
    faces = (face_of(display, "object", object_ground), face_of(display, "support", support_ground))
    if removal is not None:
        return DisplayState(display, "removed", None, f"removed on {removal.removed_on}", faces)
    stops = [face.stopped for face in faces if face.stopped]
    if stops:
        return DisplayState(display, "stopped", None, "; ".join(dict.fromkeys(stops)), faces)
    missing = [f"at the {face.name}: {reason}" for face in faces for reason in face.no_evidence]
    days = [face.days for face in faces if face.days is not None]
    if missing or not days:
        return DisplayState(display, "no evidence", None, "; ".join(missing), faces)
    least = min(days)
    remove_by = display.placed_on + timedelta(days=least)
    shorter = " and ".join(dict.fromkeys(face.pairing for face in faces if face.days == least))
    lead = max(ground.lead_days for ground in (object_ground, support_ground) if ground is not None)
    state = "overdue" if on > remove_by else "due" if on >= remove_by - timedelta(days=lead) else "within"
    why = f"{duration_words(least)} ({least} d) by {shorter}, from {display.placed_on}"
    return DisplayState(display, state, remove_by, why, faces)


@dataclass(frozen=True)
class Answer:
    """May it stay until a day? Yes, no, or not shown, with the reason and the last day it may."""

    words: str
    may: bool | None
    until: date
    latest: date | None
    reason: str


def may_stay(state: DisplayState, *, until: date) -> Answer:
    """Whether an object may stay up until a day, and until when it may."""
    if state.state in ("no evidence", "removed"):
        return Answer("not shown" if state.state == "no evidence" else "it is removed", None, until, None, state.why)
    if state.state == "stopped" or state.remove_by is None:
        return Answer("no", False, until, None, state.why)
    may = until <= state.remove_by
    return Answer("yes" if may else "no", may, until, state.remove_by, state.why)


def shortest_first(states: Iterable[DisplayState]) -> list[DisplayState]:
    """Displays in the order in which they need somebody: stopped, overdue, due, no evidence, within, removed."""
    urgency = {"stopped": 0, "overdue": 1, "due": 2, "no evidence": 3, "within": 4, "removed": 5}
    far = date.max
    return sorted(
        states,
        key=lambda s: (urgency[s.state], s.remove_by or far, s.display.location, s.display.object_number),
    )
