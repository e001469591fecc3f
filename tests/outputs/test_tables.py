"""Rows of text: the same words for pages and command line."""

from __future__ import annotations

from types import ModuleType

import pytest

from study.model.units import percent
from study.outputs.cautions import confidence_words
from study.outputs.tables import DURATION_HEADS, DurationRow, limit_words, tabulate_durations, tabulate_pulls


def test_durations_say_outcome_days_limit_and_evidence(made_up: ModuleType) -> None:
    """A row carries the number, what limits it, n, reach and confidence; no number where none is shown."""
    rows = tabulate_durations(
        [DurationRow("P01", "Gel A on acrylic sheet", "…", made_up.pairing(o)) for o in ("supported", "not shown")]
    )
    assert list(rows[0]) == list(DURATION_HEADS)
    assert rows[0]["duration"] == "18 months"
    assert rows[0]["days"] == "561"
    assert rows[0]["evidence"] == "40 coupons, 8 pulls to 1096\u202fd, 95\u202f% confidence"
    assert (rows[1]["outcome"], rows[1]["duration"], rows[1]["days"]) == ("not shown", "–", "–")


def test_pulls_carry_their_exact_limit(made_up: ModuleType) -> None:
    """Five of five acceptable still allows 45 % unacceptable at 95 % confidence."""
    first = tabulate_pulls(made_up.residue_estimate())[0]
    assert (first["pull"], first["read"], first["unacceptable"]) == ("1 week", "5", "0")
    assert (first["at_least"], first["at_most"]) == ("54.9", "45.1")


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("force_estimate", "above 20\u202fN per dot"),
        ("residue_estimate", "above grade 2"),
        ("hold_estimate", "below 60°"),
    ],
)
def test_limits_in_words(made_up: ModuleType, kind: str, expected: str) -> None:
    """A limit is said with its direction and unit."""
    assert limit_words(getattr(made_up, kind)()) == expected


def test_percent_and_confidence() -> None:
    """Shares are said as percent with a thin space, and a supported duration says what it promises."""
    assert percent(0.95) == "95\u202f%"
    assert percent(0.125) == "12.5\u202f%"
    assert "with 95\u202f% confidence, at most 10\u202f%" in confidence_words(confidence=0.95, permitted=0.1)
