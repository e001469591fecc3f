"""The instruments of Register: what is past calibration stands first, each act says what it did, faults in place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from dashboard.book import Book
from dashboard.pages import register as register_page
from dashboard.register import instruments

Said = Callable[[Any], str]
BY = {"by": "R. Vale"}
GAUGE = {"instrument": "gauge-1", "name": "hand gauge 77", "measures": "force", "capacity": "50 N", **BY}


def calibrated(key: str, made: str, until: str) -> dict[str, str]:
    """A calibration as it is typed."""
    return {"instrument": key, "calibrated_on": made, "valid_until": until, "certificate": "K 12", **BY}


@pytest.fixture
def told(small: Book, said: Said) -> Callable[..., str]:
    """What an act says, once it is done."""

    def done(act: str, typed: dict[str, str], *, kept: bool = True) -> str:
        shown, _, went = instruments.done(small, act, typed)
        assert went is kept
        return said(shown)

    return done


def test_an_empty_list_leads_to_its_form(small: Book, said: Said) -> None:
    """Nothing on file: what will stand there, and the form; no acts, and a link from every other kind."""
    text = said(register_page.layout(small, what="instruments"))
    assert "No instrument is registered yet" in text
    assert "Record a calibration" not in text
    assert "Instruments  0" in said(register_page.layout(small, what="lots"))


def test_instruments_stand_with_what_is_late_first(small: Book, said: Said, told: Callable[..., str]) -> None:
    """Registered, calibrated, past: the one that needs somebody is first, in words."""
    assert "gauge-1 is registered" in told(instruments.NEW, GAUGE)
    told(instruments.NEW, {**GAUGE, "instrument": "gauge-2", "name": "newer gauge"})
    covered = (("gauge-2", "2024-01-10", "2099-01-10"), ("gauge-1", "2023-01-10", "2024-01-10"))
    for key, made, until in covered:
        assert f"{key} is covered from" in told(instruments.CALIBRATED, calibrated(key, made, until))
    text = said(register_page.layout(small, what="instruments"))
    assert "2 instruments: 1 without a calibration that covers today." in text
    assert text.index("past calibration: valid until 10") < text.index("newer gauge")
    assert "certificate K 12" in text


def test_a_wrong_calibration_is_superseded_or_taken_back(small: Book, told: Callable[..., str]) -> None:
    """With new days another stands in its place; with none it is only taken back; either needs a reason."""
    told(instruments.NEW, GAUGE)
    told(instruments.CALIBRATED, calibrated("gauge-1", "2024-01-10", "2024-02-10"))
    (number,) = (str(one.number) for one in instruments.in_force(instruments.stands_of(small)[0]))
    blank = {"number": number, "calibrated_on": "", "valid_until": "", "certificate": "", **BY}
    assert "needs a reason" in told(instruments.SUPERSEDED, {**blank, "why": ""}, kept=False)
    assert "Nothing is chosen" in told(instruments.SUPERSEDED, {**blank, "number": "", "why": "x"}, kept=False)
    said = told(instruments.SUPERSEDED, {**blank, "valid_until": "2025-01-10", "why": "Misread the year."})
    assert f"Calibration {number} of gauge-1 is superseded by" in said
    (left,) = instruments.in_force(instruments.stands_of(small)[0])
    assert (str(left.calibrated_on), str(left.valid_until)) == ("2024-01-10", "2025-01-10")
    said = told(instruments.SUPERSEDED, {**blank, "number": str(left.number), "why": "Another gauge's."})
    assert "is taken back." in said
    assert instruments.in_force(instruments.stands_of(small)[0]) == []


def test_faults_stand_at_their_fields(small: Book) -> None:
    """Each fault is at the field it is about, all at once, and nothing is written."""
    _, wrong, kept = instruments.done(small, instruments.NEW, {**GAUGE, "measures": "", "capacity": "much"})
    assert set(wrong) == {"measures", "capacity"}
    assert not kept
    assert instruments.stands_of(small) == []
    instruments.done(small, instruments.NEW, GAUGE)
    _, wrong, kept = instruments.done(small, instruments.CALIBRATED, calibrated("gauge-1", "2024-01-10", "2023-01-10"))
    assert list(wrong) == ["valid_until"]
    assert not kept
