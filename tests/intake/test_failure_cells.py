"""Failure patterns as typed: shares with or without ; between, what they add up to, and the side."""

from __future__ import annotations

import pytest

from study.intake.cells import CellFault
from study.intake.failure_cells import parse_failure


@pytest.mark.parametrize(
    ("apart", "together"),
    [("AF 60; CF 40", "AF 60 CF 40"), ("60 AF; 40 CF", "60 AF 40 CF"), ("AF 60 %; CF 40 %", "AF 60% CF 40%"),
     ("AF 60 object; CF 40 mount", "AF 60 object CF 40 mount"), ("60 AF object; 40 CF", "60% AF object 40% CF"),
     ("thin film 70.5; AF 29.5", "thin film 70.5 AF 29.5")],
)  # fmt: skip
def test_shares_need_no_sign_between(apart: str, together: str) -> None:
    """Letters and numbers that take turns can be read in one way only."""
    assert parse_failure(together, side="both") == parse_failure(apart, side="both")


@pytest.mark.parametrize(
    ("typed", "side", "words"),
    [("AF 60 CF 30", "object", "adds up to 90 %"), ("AF 60 CF 30", "", "adds up to 90 %"),
     ("60 AF 30 CF", "mount", "adds up to 90 %"), ("AF 60 object CF 30 mount", "", "adds up to 90 %"),
     ("AF 60 CF", "object", "without its share"), ("AF 60 40 CF", "object", "without its share"),
     ("AF 60 CF 40", "", "has no side"), ("AF object", "mount", "says object, the side beside it says mount"),
     ("XF 60 CF 40", "object", "not a failure pattern")],
)  # fmt: skip
def test_a_pattern_that_is_not_whole_is_refused(typed: str, side: str, words: str) -> None:
    """What is said first is what is wrong, in words that fit a form and a file; no cell is told of a column."""
    with pytest.raises(CellFault, match=words) as refused:
        parse_failure(typed, side=side)
    assert "column" not in str(refused.value)
