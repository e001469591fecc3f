"""Cells: what a typed value is worth, and how a slip is answered."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.intake.cells import (
    CellFault,
    parse_angle,
    parse_bounds,
    parse_day,
    parse_force,
    parse_grade,
    parse_humidity,
    parse_number,
    parse_side,
    parse_temperature,
)
from study.intake.colour_cells import parse_spots
from study.intake.failure_cells import parse_pattern


@pytest.mark.parametrize(("typed", "value"), [("5.1", 5.1), ("+5.1", 5.1), ("1.2E3", 1200), ("−0.5", -0.5), (" 7 ", 7)])
def test_numbers_are_read(typed: str, value: float) -> None:
    """Signs, exponents and odd minus characters do not stop a number."""
    assert parse_number(typed) == value


@pytest.mark.parametrize(
    ("typed", "words"),
    [("3,47", "Write 3.47"), ("1,234", "Write 1.234 or 1234"),
     ("0,123", "Write 0.123."), ("1234,567", "Write 1234.567."), ("five", "not a number"), ("", "not a number"),
     ("nan", "not a number"), ("inf", "not a number"), ("1e999", "not a number"), ("1.234,5", "not a number")],
)  # fmt: skip
def test_a_doubtful_number_is_asked_about(typed: str, words: str) -> None:
    """A decimal comma is named with its correction; what may be two things is not guessed."""
    with pytest.raises(CellFault, match=words):
        parse_number(typed)


@pytest.mark.parametrize(
    ("parse", "typed", "value"),
    [(parse_temperature, "21,5", 21.5), (parse_temperature, "21.5 °C", 21.5), (parse_temperature, "−3 C", -3.0),
     (parse_humidity, "48,25 %", 48.25), (parse_humidity, "48% RH", 48.0), (parse_humidity, "50", 50.0)],
)  # fmt: skip
def test_a_room_takes_a_decimal_comma_and_its_unit(parse: Callable[[str], float], typed: str, value: float) -> None:
    """No room has thousands of degrees, so that a comma needs no question."""
    assert parse(typed) == value


@pytest.mark.parametrize(
    ("parse", "typed"),
    [(parse_temperature, "70 F"), (parse_temperature, "21 %"), (parse_humidity, "50 °C"), (parse_humidity, "1.234,5"),
     (parse_temperature, "°C")],
)  # fmt: skip
def test_a_room_in_another_unit_is_refused(parse: Callable[[str], float], typed: str) -> None:
    """Fahrenheit, and the two cells mixed up, are not guessed."""
    with pytest.raises(CellFault, match="not a number"):
        parse(typed)


@pytest.mark.parametrize(
    ("typed", "bounds"),
    [("5.1", (5.1, 5.1)), (">50", (50, math.inf)), ("> 50", (50, math.inf)), ("<0.05", (-math.inf, 0.05))],
)
def test_at_least_and_at_most_are_bounds(typed: str, bounds: tuple[float, float]) -> None:
    """A gauge that ran out at 50 says at least 50, never 50."""
    assert parse_bounds(typed) == bounds


@pytest.mark.parametrize(
    ("typed", "unit", "newton"),
    [("5.1", "N", 5.1), ("5.1 N", "", 5.1), ("520gf", "", 5.099458), ("0.52 kgf", "kgf", 5.099458), ("510", "cN", 5.1)],
)
def test_a_force_takes_its_unit_from_cell_or_column(typed: str, unit: str, newton: float) -> None:
    """The unit stands in the cell or beside it."""
    assert parse_force(typed, unit=unit, force_per="dot")[0] == pytest.approx(newton, rel=1e-9)


@pytest.mark.parametrize(
    ("typed", "unit", "words"),
    [("5.1", "", "has no unit"), ("5.1", "stone", "not a unit"), ("5.1 N", "gf", "says N, the unit beside it says gf"),
     ("5,1 N", "", "decimal comma"), ("-5.1", "N", "below zero"), ("N", "N", "not a"),
     ("5.1 N/25 mm", "", "not a unit")],
)  # fmt: skip
def test_a_force_without_a_sure_unit_is_refused(typed: str, unit: str, words: str) -> None:
    """A missing, unknown or contradicting unit is never taken one to one."""
    with pytest.raises(CellFault, match=words):
        parse_force(typed, unit=unit, force_per="dot")


def test_a_peel_force_is_per_width() -> None:
    """A strip's force over 25 mm is forty times as much over a metre."""
    assert parse_force(">2", unit="N/25 mm", force_per="width") == (80.0, math.inf, "N/25 mm")


@pytest.mark.parametrize(("typed", "grades"), [("0", (0, 0)), ("3-4", (3, 4)), ("3–4", (3, 4)), ("3/4", (3, 4))])
def test_a_doubtful_grade_stays_two_grades(typed: str, grades: tuple[float, float]) -> None:
    """A rater in doubt between 3 and 4 is not rounded to either."""
    assert parse_grade(typed) == grades


@pytest.mark.parametrize(
    ("typed", "words"),
    [("6", "off the scale"), ("-1", "not a residue grade"), ("3.5", "half grade"), ("2-4", "two neighbouring"),
     ("4-3", "two neighbouring"), ("5-6", "off the scale"), ("clean", "not a residue grade")],
)  # fmt: skip
def test_a_grade_off_the_scale_is_refused(typed: str, words: str) -> None:
    """The scale runs from 0 to 5 in whole grades."""
    with pytest.raises(CellFault, match=words):
        parse_grade(typed)


def test_colours_and_angles_stay_in_their_ranges() -> None:
    """L* lies in 0 to 100, all three belong together, an angle is at most 180°."""
    assert parse_spots(("62.1", "-0.4", "3.3")) == ((62.1, -0.4, 3.3), ())
    assert parse_angle(">90") == (90, math.inf)
    for cells in (("102.3", "0", "0"), ("50", "", "1"), ("50", "200", "1")):
        with pytest.raises(CellFault):
            parse_spots(cells)
    with pytest.raises(CellFault, match="between 0 and 180"):
        parse_angle("190")


def test_words_of_the_trade_are_checked() -> None:
    """Letters of ISO 10365 and the four sides, in any case, and nothing else."""
    assert (parse_pattern("scf"), parse_side("Object")) == ("SCF", "object")
    for parse, typed in ((parse_pattern, "XF"), (parse_side, "left")):
        with pytest.raises(CellFault):
            parse(typed)


@pytest.mark.parametrize("typed", ["31/03/2026", "2026-02-30", "45352", "2026-3-1", ""])
def test_a_date_in_another_order_is_not_guessed(typed: str) -> None:
    """Day and month are never taken for each other."""
    with pytest.raises(CellFault, match="year-month-day"):
        parse_day(typed)


@given(st.text(max_size=30), st.sampled_from([parse_number, parse_bounds, parse_grade, parse_angle, parse_day]))
def test_any_text_is_a_value_or_a_sentence(typed: str, parse: Callable[[str], object]) -> None:
    """Whatever is typed, the answer is a value or a refusal that says what to do."""
    said = ""
    try:
        value = parse(typed)
    except CellFault as fault:
        value, said = None, fault.what if fault.do else ""
    assert value is not None or said


@pytest.mark.parametrize(
    ("typed", "do"), [("released by itself", "Record the pull"), ("no release within the limit", ">50 N")]
)
def test_events_are_no_patterns(typed: str, do: str) -> None:
    """What happened before or instead of a break is said where it belongs."""
    with pytest.raises(CellFault) as refused:
        parse_pattern(typed)
    assert do in refused.value.do


@pytest.mark.parametrize(
    ("typed", "do"),
    [("OL", "such as >50 N"), ("n.d.", "such as <0.05 N"), ("-", "Leave the cell blank"),
     ("n/a", "Leave the cell blank"), ("released before test", "as released by itself"), ("strong", "such as 5.1 N")],
)  # fmt: skip
def test_a_word_in_place_of_a_force_says_what_to_write(typed: str, do: str) -> None:
    """What a gauge or a spreadsheet writes in place of a number is refused with what it stands for."""
    with pytest.raises(CellFault) as refused:
        parse_force(typed, unit="N", force_per="dot")
    assert do in refused.value.do
