"""Colour differences."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.analysis.discoloration import colour_difference

COLOUR = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))


@pytest.mark.published("colour.toml", "colour difference")
def test_pairs_of_the_table(row: dict[str, Any]) -> None:
    """A stain is as far from the clean spot as the clean spot is from the stain."""
    before, after = np.array(row["inputs"]["before"]), np.array(row["inputs"]["after"])
    expected = pytest.approx(row["expected"]["difference"], abs=row["tolerance"])
    assert float(colour_difference(before=before, after=after)) == expected
    assert float(colour_difference(before=after, after=before)) == expected


@given(COLOUR)
def test_no_change_is_zero(colour: tuple[float, float, float]) -> None:
    """A spot that did not change has no colour difference."""
    assert float(colour_difference(before=np.array(colour), after=np.array(colour))) == pytest.approx(0, abs=1e-9)
