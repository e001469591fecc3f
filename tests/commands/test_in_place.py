"""Looks in place: a colour read again and again through the glass, while the coupon stays where it is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from study.commands.decide import stand_of
from study.commands.opening import begin_study, open_study
from study.commands.pull import record_pulls
from study.commands.read import record_reading
from study.commands.read_correct import correct_reading
from study.commands.register import register_file, register_one
from study.commands.today import unread_coupons
from study.errors import FileRefused
from study.intake.protocol_file import known_protocols
from study.model.person import Signature
from study.store.coupons import fetch_codes
from study.store.study_file import StudyFile

PLACED = date(2025, 1, 15)
BEFORE = {"L_before": "60", "a_before": "2", "b_before": "10"}


@pytest.fixture
def glass(tmp_path: Path, signature: Signature) -> Iterator[StudyFile]:
    """A study whose protocol judges discoloration in place; six coupons, none pulled."""
    protocol = known_protocols()["display-dots"].read_text("utf-8")
    protocol = protocol.replace('key = "display-dots"', 'key = "through-glass"')
    protocol = protocol.replace('unit = "ΔE*00"', 'unit = "ΔE*00"\nlooks = "in place"')
    (tmp_path / "through-glass.toml").write_text(protocol, "utf-8")
    path = tmp_path / "glass.sqlite"
    begin_study(path, institution="An invented museum", signature=signature)
    study = StudyFile(path)
    for kind, cells in (
        (
            "adhesives",
            {"adhesive": "g", "name": "Gel G", "composition_class": "acrylic gel", "formulation_version": "1"},
        ),
        ("lots", {"lot": "G-1", "adhesive": "g"}),
        (
            "substrates",
            {"substrate": "pane", "name": "glass", "preparation": "cleaned", "stands_for": "object"},
        ),
        ("environments", {"environment": "lit", "name": "lit"}),
    ):
        register_one(study, kind, cells, signature=signature)
    (tmp_path / "sets.csv").write_text(
        "set,lot,substrate,environment,protocol,placed_on,dot_diameter_mm,dots\n"
        f"GL,G-1,pane,lit,through-glass.toml,{PLACED},8,3\n",
        "utf-8",
    )
    register_file(study, "sets", tmp_path / "sets.csv", signature=signature)
    cells = {"set": "GL", "test": "pull-off-dot", "pull": "12 months", "count": "6"}
    register_one(study, "coupons", cells, signature=signature)
    with study:
        yield study


def look(study: StudyFile, code: str, day: str, b_star: float, signature: Signature) -> None:
    typed = {"L_look": "60", "a_look": "2", "b_look": str(b_star)}
    record_reading(study, code, typed, read_on=date.fromisoformat(day), signature=signature)


def test_a_coupon_seen_twice_gives_an_interval(glass: StudyFile, signature: Signature) -> None:
    """Fine in March, yellowed in June: between the two looks it became unacceptable; others are fine so far."""
    codes = fetch_codes(glass)
    for code in codes:
        record_reading(glass, code, BEFORE, read_on=PLACED, signature=signature)
        look(glass, code, "2025-03-16", 10.1, signature)
    look(glass, codes[0], "2025-06-14", 16.0, signature)
    for code in codes[1:]:
        look(glass, code, "2025-06-14", 10.2, signature)
    estimate = stand_of(glass, "P01").analysed.estimate
    stain = next(e for e in estimate.estimates if e.criterion == "discoloration")
    intervals = sorted((o.after_days, o.by_days) for o in stain.observations)
    assert intervals == [(60.0, 150.0)] + [(150.0, float("inf"))] * 5
    assert (stain.n, stain.n_unacceptable) == (6, 1)
    assert stain.curve is not None
    assert stain.pass_fail is not None
    assert stain.pass_fail.approximate
    first = next(o for o in stain.observations if o.unacceptable)
    assert "at 60 d" in first.why
    assert "at 150 d" in first.why
    force = next(e for e in estimate.estimates if e.criterion == "removal-force")
    assert force.observations == (), "a coupon still in place says nothing about force"
    assert unread_coupons(glass) == []


def test_a_look_belongs_between_placing_and_pulling(glass: StudyFile, signature: Signature) -> None:
    """A look before placing, after the pull, twice on a day, or in the row of other readings is refused."""
    code = fetch_codes(glass)[0]
    look(glass, code, "2025-03-16", 10.1, signature)
    with pytest.raises(FileRefused, match="in the study already"):
        look(glass, code, "2025-03-16", 10.4, signature)
    with pytest.raises(FileRefused, match="not a day in place"):
        look(glass, code, "2025-01-15", 10.1, signature)
    record_pulls(glass, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    with pytest.raises(FileRefused, match="not a day in place"):
        look(glass, code, "2025-04-16", 10.1, signature)
    mixed = {"L_look": "60", "a_look": "2", "b_look": "10", "residue_grade": "1"}
    with pytest.raises(FileRefused, match="its own row"):
        record_reading(glass, code, mixed, read_on=date(2025, 4, 15), signature=signature)
    old, new = correct_reading(glass, code, "colour_look 2025-03-16", "60 2 10.9", signature=signature)
    assert (old.lab, new.lab) == ((60.0, 2.0, 10.1), (60.0, 2.0, 10.9))


def test_other_protocols_take_no_looks(study_path: Path, signature: Signature) -> None:
    """Where the protocol judges colour after removal alone, a look in place is refused with what is read."""
    with open_study(study_path) as study:
        code = next(row["code"] for row in study.rows("SELECT code FROM coupons WHERE test = 'pull-off-dot'"))
        with pytest.raises(FileRefused, match="is not read on this coupon"):
            look(study, code, "2025-03-16", 10.0, signature)
