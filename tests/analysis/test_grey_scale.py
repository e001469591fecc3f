"""Grey-scale grades by instrument."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.analysis.grey_scale import GRADES, GREY_PAIRS, grey_scale_grade

Lab = tuple[float, float, float]
COLOUR = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))
ORDER = [grade for _, grade in GRADES]


@pytest.mark.published("colour.toml", "grey scale")
def test_worked_changes(row: dict[str, Any]) -> None:
    """Colour difference, decimal and grade of changes worked elsewhere."""
    found = grey_scale_grade(**row["inputs"])
    assert found.difference == pytest.approx(row["expected"]["difference"], abs=row["tolerance"])
    assert found.decimal == pytest.approx(row["expected"]["decimal"], abs=row["tolerance"])
    assert found.grade == row["expected"]["grade"]


@pytest.mark.published("colour.toml", "grey pair")
def test_pairs_of_the_scale_by_eye_get_their_own_grade(row: dict[str, Any]) -> None:
    """A grey pair as the scale is made, and one as far off as it may be, is given the grade it stands for."""
    grade, pair, off = row["inputs"]["grade"], row["expected"]["difference"], row["expected"]["off"]
    assert (grade, pair, off) in GREY_PAIRS
    for change in (pair - off, pair, pair + off):
        assert grey_scale_grade(before=(70, 0, 0), after=(70 - change, 0, 0)).grade == grade


def by_another_road(before: Lab, after: Lab) -> float:
    """ΔE_F as the clauses are written, with hue angles in degrees; for two colours that both have chroma."""
    chroma = [math.sqrt(a * a + b * b) for _, a, b in (before, after)]
    hue = [math.degrees(math.atan2(b, a)) + (360 if b < 0 else 0) for _, a, b in (before, after)]
    delta_l, delta_c = after[0] - before[0], chroma[1] - chroma[0]
    total = math.dist(before, after) ** 2
    delta_h = math.sqrt(max(0.0, total - delta_l**2 - delta_c**2))
    if before[1] * after[2] - after[1] * before[2] < 0:
        delta_h = -delta_h
    mean_c, mean_h = sum(chroma) / 2, sum(hue) / 2
    if abs(hue[0] - hue[1]) > 180:
        mean_h += 180 if sum(hue) < 360 else -180
    away = abs(mean_h - 280)
    x = (away / 30) ** 2 if away <= 180 else ((360 - away) / 30) ** 2
    d = delta_c * mean_c * math.exp(-x) / 100
    c_f = (delta_c - d) / (1 + (20 * mean_c / 1000) ** 2)
    h_f = (delta_h - d) / (1 + (10 * mean_c / 1000) ** 2)
    return math.sqrt(delta_l**2 + c_f**2 + h_f**2)


@given(COLOUR, COLOUR)
def test_agrees_with_the_clauses_as_written(before: Lab, after: Lab) -> None:
    """Worked with angles in degrees, the difference is the same, away from opposite hues, where its sign is open."""
    one, other = (math.degrees(math.atan2(b, a)) % 360 for _, a, b in (before, after))
    if min(math.hypot(*before[1:]), math.hypot(*after[1:])) < 0.01 or abs(abs(one - other) - 180) < 1e-6:
        return
    assert grey_scale_grade(before=before, after=after).difference == pytest.approx(
        by_another_road(before, after), abs=2e-5
    )


@given(COLOUR)
def test_no_change_is_grade_5(colour: Lab) -> None:
    """A spot that did not change has the best grade."""
    assert grey_scale_grade(before=colour, after=colour) == (0.0, 5.0, "5")


@given(COLOUR, COLOUR)
def test_grades_stay_on_the_scale(before: Lab, after: Lab) -> None:
    """Table and formula never leave 1 to 5, and differ by little more than half of half a grade."""
    found = grey_scale_grade(before=before, after=after)
    assert 1.0 <= found.decimal <= 5.0
    assert found.grade in ORDER
    middle = 5 - ORDER.index(found.grade) / 2
    assert abs(found.decimal - middle) <= 0.25 + 0.03


@pytest.mark.parametrize(
    ("change", "grade"),
    [(0.399, "5"), (0.4, "4-5"), (1.249, "4-5"), (1.25, "4"), (2.1, "3-4"), (2.95, "3"), (4.1, "2-3"), (5.8, "2"),
     (8.2, "1-2"), (11.599, "1-2"), (11.6, "1"), (60.0, "1")],
)  # fmt: skip
def test_a_limit_of_the_table_belongs_to_the_worse_grade(change: float, grade: str) -> None:
    """Each limit is where the next grade begins, whatever the subtraction leaves in the last bit."""
    assert grey_scale_grade(before=(80.0, 0, 0), after=(80.0 - change, 0, 0)).grade == grade


def test_the_decimal_is_not_rounded_into_the_grade() -> None:
    """Between the table's limit of 1.25 and the formula's half-way point of 1.275 the table rules."""
    found = grey_scale_grade(before=(80, 0, 0), after=(78.74, 0, 0))
    assert found.grade == "4"
    assert round(found.decimal * 2) / 2 == 4.5


def test_a_grey_takes_the_hue_of_the_colour_it_is_compared_with() -> None:
    """Paling to grey is continuous: no jump when the last trace of a blue is gone."""
    blue = (50.0, 10 * math.cos(math.radians(280)), 10 * math.sin(math.radians(280)))
    nearly = (50.0, blue[1] * 1e-9, blue[2] * 1e-9)
    gone = grey_scale_grade(before=blue, after=(50.0, 0.0, 0.0)).difference
    assert gone == pytest.approx(grey_scale_grade(before=blue, after=nearly).difference, abs=1e-6)
    assert gone == pytest.approx(math.hypot(-10 * 0.95 / 1.01, 0.5 / 1.0025), abs=1e-9)


@pytest.mark.parametrize("colour", [(1.0, 2.0), (math.nan, 0.0, 0.0), (math.inf, 0.0, 0.0), np.zeros((2, 3))])
def test_what_is_no_colour_is_refused(colour: Any) -> None:
    """Three finite numbers or nothing."""
    with pytest.raises(ValueError, match="three finite numbers"):
        grey_scale_grade(before=colour, after=(50.0, 0.0, 0.0))
