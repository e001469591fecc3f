"""Units of force: exact factors, and days in words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.errors import DwellbookError
from study.model.units import NEWTON_PER, duration_words, newtons, newtons_per_metre


@pytest.mark.parametrize(
    ("unit", "per_metre"),
    [
        # Recomputed from the exact definitions of inch (25.4 mm), pound-force (4.4482216152605 N) and standard gravity.
        ("N/m", 1.0),
        ("N/25 mm", 40.0),
        ("N/24 mm", 41.666667),
        ("N/20mm", 50.0),
        ("N/10 mm", 100.0),
        ("N/cm", 100.0),
        ("N/100 mm", 10.0),
        ("N/mm", 1000.0),
        ("N/in", 39.370079),
        ("N/2.5 cm", 40.0),
        ("lbf/in", 175.126835),
        ("ozf/in", 10.9454272),
        ("gf/cm", 0.980665),
        ("gf/25 mm", 0.392266),
        ("gf/in", 0.38608858),
        ("kgf/cm", 980.665),
        ("kgf/25mm", 392.266),
    ],
)
def test_peel_units_have_their_exact_factors(unit: str, per_metre: float) -> None:
    """One of each unit is so many newton per metre."""
    assert newtons_per_metre(1.0, unit=unit) == pytest.approx(per_metre, rel=1e-8 if per_metre < 1 else 5e-8)


@given(st.floats(1e-3, 1e3), st.sampled_from(sorted(NEWTON_PER)))
def test_a_force_survives_the_way_there_and_back(value: float, unit: str) -> None:
    """Converted to newton and back, a force is the same."""
    assert newtons(value, unit=unit) / newtons(1.0, unit=unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("unit", ["furlong", "N/25 mm", "", "g"])
def test_an_unknown_unit_is_refused(unit: str) -> None:
    """Gram is a mass, a width does not belong to a dot: neither is taken one to one."""
    with pytest.raises(DwellbookError, match="not a unit"):
        newtons(1.0, unit=unit)


@pytest.mark.parametrize(
    ("days", "words"),
    [(1, "1 day"), (6.9, "6 days"), (7, "1 week"), (20, "2 weeks"), (91, "13 weeks"), (92, "3 months"),
     (181, "5 months"), (365, "12 months"), (547, "17 months"), (730, "24 months"), (1095, "36 months")],
)  # fmt: skip
def test_days_are_said_rounded_down(days: float, words: str) -> None:
    """Whole weeks below three months, whole months above, never more than the days carry."""
    assert duration_words(days) == words


@pytest.mark.parametrize(("typed", "unit", "limit"), [(700.0, "mN", 0.7), (30.0, "cN", 0.3), (1100.0, "mN", 1.1)])
def test_equal_to_a_limit_stays_equal_after_conversion(typed: float, unit: str, limit: float) -> None:
    """700 mN is 0.7 N, not above it by a rounding of the machine."""
    assert newtons(typed, unit=unit) == limit
