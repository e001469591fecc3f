"""Where an instrument stands on a day, by its certificates."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.model.instrument import Calibration, calibration_state, mark_words

FIRST = Calibration("gauge-1", date(2025, 2, 1), date(2026, 1, 31), "C-1", 1)
SECOND = Calibration("gauge-1", date(2025, 9, 1), date(2025, 12, 31), "C-2", 2)


@pytest.mark.parametrize(("on", "state"), [
    (date(2025, 1, 31), "not yet"),
    (date(2025, 2, 1), "in calibration"),
    (date(2025, 12, 31), "in calibration"),
    (date(2026, 1, 1), "due"),
    (date(2026, 1, 31), "due"),
    (date(2026, 2, 1), "past"),
])  # fmt: skip
def test_both_end_days_are_covered(on: date, state: str) -> None:
    """The certificate's own days count; thirty days before the end it is due."""
    assert calibration_state([FIRST], on).state == state


def test_the_newest_calibration_governs() -> None:
    """A new calibration says what the instrument is from then on, even where the older one ran longer."""
    assert calibration_state([SECOND, FIRST], date(2025, 8, 31)).governing == FIRST
    assert calibration_state([SECOND, FIRST], date(2026, 1, 15)).state == "past"


def test_the_mark_says_why() -> None:
    """A covered day has no mark; the others say in words what was wrong."""
    assert mark_words("gauge-1", calibration_state([FIRST], date(2025, 6, 1))) == ""
    past = mark_words("gauge-1", calibration_state([FIRST], date(2026, 2, 1)))
    assert past == "gauge-1 was past calibration: valid until 2026-01-31"
    assert mark_words("gauge-1", calibration_state([], date(2026, 2, 1))) == "gauge-1 was never calibrated"
    before = mark_words("gauge-1", calibration_state([FIRST], date(2024, 2, 1)))
    assert before == "gauge-1 was before its first calibration"


@given(st.lists(st.tuples(st.integers(0, 900), st.integers(0, 500)), max_size=6), st.integers(-50, 1500))
def test_a_mark_is_missing_exactly_where_the_newest_covers_the_day(spans: list[tuple[int, int]], on: int) -> None:
    """Whatever was recorded in whatever order, only the newest calibration made by the day decides."""
    start = date(2024, 1, 1)
    made = [
        Calibration("g", start + timedelta(a), start + timedelta(a + b), "", n) for n, (a, b) in enumerate(spans, 1)
    ]
    day = start + timedelta(on)
    by_then = sorted((c for c in made if c.calibrated_on <= day), key=lambda c: (c.calibrated_on, c.number))
    covered = bool(by_then) and day <= by_then[-1].valid_until
    assert (mark_words("g", calibration_state(made, day)) == "") == covered
