"""Made-up standings of every outcome, so that pages are tested without a study file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import Any, cast

import pytest

from dashboard.book import Book
from dashboard.pages.decide import PairingBook
from study.commands.display import FieldEvidence
from study.commands.estimates import Analysed, Evidence, Standing
from study.commands.grounds import Standings
from study.commands.read_form import CouponForm, FormField
from study.commands.today import DaySheet, Unread
from study.model.coupon import Coupon, coupon_code
from study.model.decision import Decision
from study.model.display import Display, DisplayState, Face
from study.model.pairing import Adhesive, Environment, Pairing, Substrate
from study.model.pull import DuePull

OUTCOMES = ("supported", "provisional", "not shown", "stopped")
SURFACES = ("acrylic sheet", "glazed earthenware", "linen-covered board", "shellac-polished oak")


def load_made_up() -> ModuleType:
    """The made-up estimates that lie with the tests of the drawings."""
    spec = spec_from_file_location("made_up", Path(__file__).parent.parent / "outputs" / "made_up.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def make_analysed(place: int) -> Analysed:
    """The pairing of the ``place``-th outcome."""
    pairing = Pairing(
        key=f"P{place + 1:02}",
        adhesive=Adhesive(f"A{place}", f"Gel {'ABCD'[place]}", "acrylic gel", "1"),
        substrate=Substrate(f"U{place}", SURFACES[place], "gloss", "cleaned", "display surface"),
        environment=Environment("E1", "store room"),
        dot_diameter_mm=12,
        dots=1,
        dwell_load_n=0,
    )
    evidence = Evidence(pairing.key, pairing, "L1", cast("Any", None), "p" * 64, (), f"e{place}")
    return Analysed(evidence, load_made_up().pairing(OUTCOMES[place]))


def make_standing(place: int) -> Standing:
    """The ``place``-th outcome; the first stands on a decision, the second on one overtaken."""
    decision = None
    if place < 2:
        decision = Decision(
            number=place + 1, pairing=f"P{place + 1:02}", outcome="supported", days=400, bound_days=400.5,
            limiting="Residue", reason="24 months read", interim=bool(place), protocol_digest="", rule="{}",
            evidence_digest="", change_seen=9, seed=1, versions="{}", issued_by="R. Vale",
            issued_at=datetime(2026, 3, 2, 9, 30, tzinfo=UTC),
        )  # fmt: skip
    return Standing(make_analysed(place), decision, "Newer readings shorten it to 13 months." if place == 1 else "")


def make_display(number: int, state: str, *, location: str = "Case 3") -> DisplayState:
    """An object standing on P01 at its support."""
    display = Display(
        number, f"2019.{number}", location, "A-1", "P03", "P01", "gallery-lit", 3, 8.0, 2.0, date(2025, 1, 5),
        "M. Quill",
    )  # fmt: skip
    by = {"overdue": date(2026, 2, 1), "due": date(2026, 3, 20), "within": date(2027, 1, 5)}.get(state)
    days = (by - display.placed_on).days if by else None
    faces = (Face("object", "P03", days, "", ()), Face("support", "P01", days, "", ()))
    why = f"{days} d by P01, from 2025-01-05" if by else "P01: harm when 2019.9 was removed on 2026-02-03"
    return DisplayState(display, state, by, why, faces)


def make_displays() -> Standings:
    """One object in each state; the stopped and the overdue one changed since somebody looked."""
    states = ("within", "due", "overdue", "no evidence", "stopped", "removed")
    found = tuple(make_display(number, state) for number, state in enumerate(states, start=1))
    seen = {state.display.number: state.basis for state in found if state.state not in ("stopped", "overdue")}
    return Standings(date(2026, 3, 2), found, {**seen, 3: "remove by 2026-06-01"})


def make_pairing_book(place: int, **changes: Any) -> PairingBook:
    """One pairing with the objects of ``make_displays`` on it."""
    field = FieldEvidence("P01", 4, 3, 0.1, 0.0037, "3 of 4 removals were unacceptable, worse than the study predicts.")
    adhesives = (Adhesive("A0", "Gel A", "acrylic gel", "1"), Adhesive("A9", "Gel B", "acrylic gel", "2"))
    made = PairingBook(make_standing(place), "", (), field, make_displays(), adhesives)
    return replace(made, **changes)


def make_sheet() -> DaySheet:
    """A busy day."""
    pulls = tuple(
        DuePull(f"S0{n}", f"P0{n}", f"Gel {'ABC'[n - 1]} on {SURFACES[n]}", "12 months", date(2026, 3, day),
                date(2026, 2, day), date(2026, 3, day + 7), ("AAAA-3", "AAAC-4"), state)
        for n, day, state in ((1, 1, "overdue"), (2, 4, "due"), (3, 20, "next"))
    )  # fmt: skip
    unread = (Unread(coupon_code(5), "S01", "P01", date(2026, 2, 27), ("removal_force", "residue_grade")),)
    return DaySheet(date(2026, 3, 2), pulls, unread, (make_standing(1),), 640, make_displays())


def make_form() -> CouponForm:
    """A pulled coupon with nothing read yet."""
    coupon = Coupon(code=coupon_code(5), set_key="S01", test="pull-off-dot", pull_label="12 months")
    fields = (
        FormField("removal_force", "Removal force", "", "highest force, as the gauge shows it", "4.20"),
        FormField("force_unit", "Unit of force", "", "", "N", ("N", "mN", "gf")),
        FormField("failure_pattern", "Failure pattern", "", "ISO 10365 letters", "AF", ("AF", "CF", "SF")),
        FormField("side", "Side", "", "where the adhesive was left", "mount", ("object", "mount")),
        FormField("residue_grade", "Residue", "grade 0–5", "3-4 when in doubt", "1"),
        FormField("L_after", "L* after", "", "same spot, after removal", "82.1"),
        FormField("a_after", "a* after", "", "", "-0.4"),
        FormField("b_after", "b* after", "", "", "3.3"),
    )
    return CouponForm(coupon, "P01", "Gel A on acrylic sheet", date(2026, 2, 27), "pulled", 361, fields, {})


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A book on a study file that need not exist."""
    return Book(study_file=tmp_path / "shelf.sqlite", today=lambda: date(2026, 3, 2))


@pytest.fixture
def standings() -> list[Standing]:
    """All four outcomes."""
    return [make_standing(place) for place in range(4)]


@pytest.fixture
def sheet() -> DaySheet:
    """A busy day."""
    return make_sheet()


@pytest.fixture
def displays() -> Standings:
    """One object in each state."""
    return make_displays()


@pytest.fixture
def pairing_book() -> Callable[..., PairingBook]:
    """Makes one pairing with its objects."""
    return make_pairing_book


@pytest.fixture
def form() -> CouponForm:
    """A pulled coupon with nothing read yet."""
    return make_form()


@pytest.fixture
def said() -> Callable[[Any], str]:
    """All text of a component tree, in order."""

    def walk(part: Any) -> str:
        if part is None:
            return ""
        if isinstance(part, str | int | float):
            return str(part)
        if isinstance(part, list | tuple):
            return " ".join(walk(inner) for inner in part)
        own = [getattr(part, name, None) for name in ("label", "description", "alt")]
        return " ".join([*(text for text in own if isinstance(text, str)), walk(getattr(part, "children", None))])

    return walk


@pytest.fixture
def small(study_path: Path) -> Book:
    """A book on the small study, on the day its first pulls are due."""
    return Book(study_file=study_path, today=lambda: date(2025, 4, 15))
