"""Instruments and calibrations: entered, superseded with a reason, and the flag that stays on a reading."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from study.commands.register_instruments import (
    list_instruments,
    record_calibration,
    register_instrument,
    supersede_calibration,
)
from study.errors import FileRefused, NotPossible, Unknown
from study.model.details import Details
from study.model.person import Signature
from study.model.reading import Reading
from study.store.chain import broken_links
from study.store.coupons import fetch_codes
from study.store.instruments import calibration_mark
from study.store.readings import save_readings
from study.store.study_file import StudyFile

GAUGE = {"instrument": "gauge-1", "name": "hand gauge", "measures": "force", "capacity": "50 N"}
CALIBRATED = {"instrument": "gauge-1", "calibrated_on": "2025-02-01", "valid_until": "2026-01-31", "certificate": "C-1"}


@pytest.fixture
def equipped(study: StudyFile, signature: Signature) -> StudyFile:
    """The small study with one gauge and one calibration."""
    register_instrument(study, GAUGE, signature=signature)
    record_calibration(study, CALIBRATED, signature=signature)
    return study


def test_the_mark_follows_the_calibrations(equipped: StudyFile, signature: Signature) -> None:
    """Covered, past, before the first, never calibrated."""
    assert calibration_mark(equipped, "gauge-1", date(2026, 1, 31)) == ""
    past = "gauge-1 was past calibration: valid until 2026-01-31"
    assert calibration_mark(equipped, "gauge-1", date(2026, 2, 1)) == past
    assert "before its first calibration" in calibration_mark(equipped, "gauge-1", date(2025, 1, 31))
    register_instrument(equipped, GAUGE | {"instrument": "gauge-2"}, signature=signature)
    assert calibration_mark(equipped, "gauge-2", date(2025, 6, 1)) == "gauge-2 was never calibrated"
    assert [stand.instrument.key for stand in list_instruments(equipped, on=date(2025, 6, 1))] == ["gauge-2", "gauge-1"]


def test_an_unknown_instrument_offers_near_ones(equipped: StudyFile, signature: Signature) -> None:
    """A mistyped key is refused for a reading and for a calibration alike."""
    with pytest.raises(Unknown, match="Did you mean gauge-1") as refusal:
        calibration_mark(equipped, "guage-1", date(2025, 6, 1))
    assert "guage-1" in refusal.value.what
    with pytest.raises(Unknown, match="Did you mean gauge-1"):
        record_calibration(equipped, CALIBRATED | {"instrument": "gauge1"}, signature=signature)


def test_a_study_without_instruments_says_how_to_begin(study: StudyFile) -> None:
    """There is nothing to offer yet."""
    with pytest.raises(Unknown, match="register instrument"):
        calibration_mark(study, "gauge-1", date(2025, 6, 1))


def test_every_problem_of_an_instrument_is_told(equipped: StudyFile, signature: Signature) -> None:
    """A taken key, something not measured, a capacity without unit, an unknown column: all at once."""
    cells = {"instrument": "gauge-1", "name": "", "measures": "forse", "capacity": "50", "weight": "3"}
    with pytest.raises(FileRefused) as refusal:
        register_instrument(equipped, cells, signature=signature)
    assert {problem.column for problem in refusal.value.problems} == {"instrument", "name", "measures", "weight",
                                                                      "capacity"}  # fmt: skip
    assert "force" in str(refusal.value)
    with pytest.raises(FileRefused, match="unit"):
        register_instrument(equipped, GAUGE | {"instrument": "g2", "capacity": "50"}, signature=signature)
    new = register_instrument(equipped, GAUGE | {"instrument": "peel", "capacity": "20 N/25 mm"}, signature=signature)
    assert new.capacity == "20 N/25 mm"
    balance = {"instrument": "b", "name": "balance", "measures": "mass", "capacity": "220 g"}
    assert register_instrument(equipped, balance, signature=signature).measures == "mass"


@pytest.mark.parametrize(("changed", "column"), [
    ({"calibrated_on": "2026-03-03", "valid_until": "2027-03-02"}, "calibrated_on"),
    ({"calibrated_on": "3.2.2025"}, "calibrated_on"),
    ({"valid_until": "2025-01-31"}, "valid_until"),
    ({"valid_until": ""}, "valid_until"),
    ({"until": "2026-01-01"}, "until"),
])  # fmt: skip
def test_a_wrong_calibration_is_refused(
    equipped: StudyFile, signature: Signature, changed: dict[str, str], column: str
) -> None:
    """Days to come, other ways to write a day, an end before its beginning."""
    with pytest.raises(FileRefused) as refusal:
        record_calibration(equipped, CALIBRATED | {"certificate": "C-9"} | changed, signature=signature)
    assert [problem.column for problem in refusal.value.problems] == [column]


def test_the_same_calibration_is_kept_once(equipped: StudyFile, signature: Signature) -> None:
    """A second press of the same key enters nothing."""
    before = equipped.last_change()
    with pytest.raises(NotPossible, match="number 1"):
        record_calibration(equipped, CALIBRATED, signature=signature)
    assert equipped.last_change() == before


def test_a_calibration_is_superseded_with_a_reason(equipped: StudyFile, signature: Signature) -> None:
    """The old one stays in the trail, the new one decides, and readings it had spoken for are counted."""
    code = fetch_codes(equipped)[0]
    kept = Reading(code, "removal_force", date(2026, 1, 15), "5 N", "N", 5, 5, details=Details(instrument="gauge-1"))
    with equipped.change(signature, act="enter reading", subject=code) as change:
        save_readings(equipped, [kept], change=change)
    with pytest.raises(NotPossible, match="needs a reason"):
        supersede_calibration(equipped, 1, {"valid_until": "2025-12-31"}, signature=signature.because(" "))
    done = supersede_calibration(equipped, 1, {"valid_until": "2025-12-31"}, signature=signature)
    assert done.new is not None
    assert (done.new.certificate, done.new.calibrated_on, done.readings) == ("C-1", date(2025, 2, 1), 1)
    assert "valid until 2025-12-31" in calibration_mark(equipped, "gauge-1", date(2026, 1, 15))
    (stand,) = list_instruments(equipped, on=date(2025, 6, 1))
    assert [who["superseded_by"] for _, who in stand.trail] == ["R. Vale", None]
    with pytest.raises(Unknown, match="no calibration 1 in force"):
        supersede_calibration(equipped, 1, {}, signature=signature)
    with pytest.raises(NotPossible, match="is of gauge-1"):
        supersede_calibration(equipped, done.new.number, {"instrument": "gauge-9"}, signature=signature)
    assert list(broken_links(equipped.db.conn)) == []


def test_a_calibration_taken_back_leaves_none(equipped: StudyFile, signature: Signature) -> None:
    """Without new values it is only taken back."""
    done = supersede_calibration(equipped, 1, {}, signature=replace(signature, why="Another gauge's certificate."))
    assert done.new is None
    assert calibration_mark(equipped, "gauge-1", date(2025, 6, 1)) == "gauge-1 was never calibrated"
