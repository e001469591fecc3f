"""Units of force, peel force and stress: exact factors, the names people write, refusals, and days in words."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.errors import DwellbookError
from study.model.units import (
    FORCES,
    conversion_words,
    converted,
    duration_words,
    kilopascals,
    newtons,
    newtons_per_metre,
    plain,
    unit_name,
    unit_note,
)

ROOT = Path(__file__).resolve().parent.parent.parent
ROWS = tomllib.loads((ROOT / "tests" / "published" / "units.toml").read_text(encoding="utf-8"))["case"]
SOURCES = tomllib.loads((ROOT / "protocols" / "sources.toml").read_text(encoding="utf-8"))
PEEL = (
    "N/m",
    "N/25 mm",
    "N/24 mm",
    "N/cm",
    "N/in",
    "lbf/in",
    "ozf/in",
    "gf/in",
    "gf/cm",
    "kgf/25 mm",
    "kN/m",
    "dyn/cm",
)
STRESS = ("kPa", "Pa", "hPa", "MPa", "bar", "mbar", "psi", "N/mm²", "N/cm²", "kgf/cm²", "gf/cm²", "lbf/in²")
READABLE = st.floats(1e-4, 1e4)


@pytest.fixture(scope="module", autouse=True)
def registry() -> None:
    """The registry is built once, before anything is timed."""
    newtons(1.0, unit="lbf")


def rows(check: str) -> Any:
    """Parametrizes a test by the check values of one kind."""
    chosen = [row for row in ROWS if row["check"] == check]
    assert chosen
    return pytest.mark.parametrize("row", chosen, ids=[row["name"] for row in chosen])


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['check']}: {row['name']}" for row in ROWS])
def test_rows_say_where_they_come_from(row: dict[str, Any]) -> None:
    """A check value without a source is only a claim."""
    assert row["kind"] == "hand-worked"
    assert row["source"] in SOURCES
    assert row["where"]
    assert row["because"]
    assert 0 < row["tolerance"] < 2.5e-7


@rows("peel unit")
def test_peel_units_have_their_exact_factors(row: dict[str, Any]) -> None:
    """One of each unit is so many N/m, N/25 mm and N/10 mm, by the decimals and by the definition beside them."""
    unit = row["inputs"]["unit"]
    for to, expected in row["expected"].items():
        assert converted(1.0, unit=unit, to=to) == pytest.approx(expected, rel=row["tolerance"])
    exact = float(Fraction(row["inputs"]["newton"]) / Fraction(row["inputs"]["metre"]))
    assert newtons_per_metre(1.0, unit=unit) == pytest.approx(exact, rel=2e-15)


@rows("peel inverse")
def test_peel_units_turn_round(row: dict[str, Any]) -> None:
    """One N/25 mm in the units of the inch."""
    value = converted(1.0, unit=row["inputs"]["unit"], to=row["inputs"]["to"])
    assert value == pytest.approx(row["expected"]["value"], rel=row["tolerance"])


@rows("force unit")
def test_forces_have_their_exact_factors(row: dict[str, Any]) -> None:
    """One of each unit is so many newton."""
    expected = pytest.approx(row["expected"]["newton"], rel=row["tolerance"])
    assert newtons(1.0, unit=row["inputs"]["unit"]) == expected


@rows("stress unit")
def test_stresses_have_their_exact_factors(row: dict[str, Any]) -> None:
    """One of each unit is so many kilopascal."""
    expected = pytest.approx(row["expected"]["kilopascal"], rel=row["tolerance"])
    assert kilopascals(1.0, unit=row["inputs"]["unit"]) == expected


def test_every_force_has_a_check_value() -> None:
    """No unit is offered that nobody has checked."""
    assert set(FORCES) <= {row["inputs"]["unit"] for row in ROWS if row["check"] == "force unit"}


@given(READABLE, st.sampled_from([*((tuple(FORCES), a) for a in FORCES), *((PEEL, a) for a in PEEL),
                                  *((STRESS, a) for a in STRESS)]), st.data())  # fmt: skip
def test_there_and_back(value: float, family: tuple[tuple[str, ...], str], data: st.DataObject) -> None:
    """Converted to any unit of its kind and back, a value is the same; a third unit between them changes nothing."""
    units, first = family
    second, third = data.draw(st.sampled_from(units)), data.draw(st.sampled_from(units))
    there = converted(value, unit=first, to=second)
    assert converted(there, unit=second, to=first) == pytest.approx(value, rel=1e-13)
    round_about = converted(converted(value, unit=first, to=third), unit=third, to=second)
    assert round_about == pytest.approx(there, rel=1e-13)


@given(READABLE, st.sampled_from(sorted(FORCES)), st.sampled_from(["25 mm", "cm", "in", "m"]))
def test_a_width_divides_the_force(value: float, force: str, width: str) -> None:
    """A peel unit is its force over its width."""
    metre = {"25 mm": "0.025", "cm": "0.01", "in": "0.0254", "m": "1"}[width]
    expected = Fraction(newtons(value, unit=force)) / Fraction(metre)
    assert newtons_per_metre(value, unit=f"{force}/{width}") == pytest.approx(float(expected), rel=1e-14)


ANY_CASE = {"gf": ["gf", "g"], "kgf": ["kgf", "kg", "kp"], "lbf": ["lbf", "lb", "lbs", "#"], "ozf": ["ozf", "oz"]}


@given(st.data())
def test_spacing_and_case_do_not_matter_where_they_may_not(data: st.DataObject) -> None:
    """Spaces, full width, brackets and "per" never matter; case never for names that are not symbols of the SI."""
    force = data.draw(st.sampled_from(["N", "mN", *ANY_CASE]))
    typed = data.draw(st.sampled_from(ANY_CASE.get(force, [force])))
    if len(typed) > 1 and force in ANY_CASE and data.draw(st.booleans()):
        typed = typed.upper()
    width = data.draw(st.sampled_from(["25 mm", "in", "2.5 cm", "cm"]))
    written = data.draw(st.sampled_from([width, width.replace(" ", ""), width.replace(" ", "\u00a0"), f"({width})"]))
    if width == "in":
        written = data.draw(st.sampled_from(["in", "inch", "IN", "in.", "1 in", '"']))
    between = data.draw(st.sampled_from(["/", " / ", "/ ", " per ", "\uff0f"]))
    whole = typed + between + written
    assert newtons_per_metre(1.0, unit=whole) == newtons_per_metre(1.0, unit=f"{force}/{width}")
    assert unit_name(whole, force_per="width") == f"{force}/{width}"


@pytest.mark.parametrize(
    ("typed", "name"),
    [("N/25mm", "N/25 mm"), ("N/inch", "N/in"), ("N/2.5cm", "N/2.5 cm"), ("oz/in", "ozf/in"), ("#/in", "lbf/in"),
     ("PLI", "lbf/in"), ("g/in", "gf/in"), ("N m⁻¹", "N/m"), ("N·m-1", "N/m"), ("\u00b5N/mm", "μN/mm"),
     ("\u03bcN/mm", "μN/mm"), ("uN/mm", "μN/mm"),
     ("Ｎ／２５ｍｍ", "N/25 mm"), ("lbs./in.", "lbf/in"), ("lb/1 in", "lbf/in")],
)  # fmt: skip
def test_names_of_the_trade_are_made_one(typed: str, name: str) -> None:
    """What people write for a peel unit, under our one name for it."""
    assert unit_name(typed, force_per="width") == name
    assert newtons_per_metre(3.0, unit=typed) == newtons_per_metre(3.0, unit=name)


@pytest.mark.parametrize("typed", ["N/mm²", "N/mm2", "N/mm^2", "N/sq mm", "N / sq. mm", "N mm⁻²", "MPa"])
def test_a_square_is_written_in_many_ways(typed: str) -> None:
    """One newton on a square millimetre is a megapascal."""
    assert kilopascals(1.0, unit=typed) == 1000.0


@pytest.mark.parametrize("typed", ["N per dot", "N/dot", "N / dot", " N "])
def test_a_dot_may_be_named(typed: str) -> None:
    """N per dot is N."""
    assert newtons(2.5, unit=typed) == 2.5


@pytest.mark.parametrize("unit", ["furlong", "N/25 mm", "", "n", "MN", "G", "P", "N m", "5", "mN N", "N/mm²"])
def test_an_unknown_unit_of_force_is_refused(unit: str) -> None:
    """Nothing is taken one to one; MN is not mN, and a width does not belong to a dot."""
    with pytest.raises(DwellbookError, match="is not a unit of force per dot"):
        newtons(1.0, unit=unit)


@pytest.mark.parametrize("unit", ["N", "N/ft", "N/0 mm", "N/25", "N/M", "N/mm²", "/in", "x/in", "N/2,5 cm", "N/dot"])
def test_an_unknown_unit_of_peel_is_refused(unit: str) -> None:
    """A force without its width least of all."""
    with pytest.raises(DwellbookError, match="is not a unit of peel force"):
        newtons_per_metre(1.0, unit=unit)


@pytest.mark.parametrize("unit", ["N/mm", "kpa", "PA", "N", "N/25 mm²", "mmHg"])
def test_an_unknown_unit_of_stress_is_refused(unit: str) -> None:
    """kpa may be a slip, but of which unit is asked, not guessed."""
    with pytest.raises(DwellbookError, match="is not a unit of stress"):
        kilopascals(1.0, unit=unit)


@pytest.mark.parametrize(
    ("convert", "unit", "advice"),
    [(newtons, "n", "Did you mean N"), (newtons, "kgm", "Did you mean kgf?"), (newtons, "newtn", "Did you mean N?"),
     (newtons, "N/in", "has no width"), (newtons_per_metre, "lbf", "Give the width"),
     (newtons, "furlong", "Known are N"),
     (newtons_per_metre, "N/25 mn", "Did you mean N/25 mm"), (kilopascals, "kpa", "Did you mean kPa")],
)  # fmt: skip
def test_a_refusal_names_what_looks_alike(convert: Any, unit: str, advice: str) -> None:
    """The person at the bench is told what the nearest units are."""
    with pytest.raises(DwellbookError) as refused:
        convert(1.0, unit=unit)
    assert f"“{unit}”" in refused.value.what
    assert advice in refused.value.do


@pytest.mark.parametrize(("unit", "to"), [("N", "N/m"), ("N/m", "kPa"), ("kPa", "N"), ("x", "N"), ("N", "x")])
def test_kinds_are_never_mixed(unit: str, to: str) -> None:
    """A force is no peel force and no stress."""
    with pytest.raises(DwellbookError, match="is not a unit of"):
        converted(1.0, unit=unit, to=to)


@pytest.mark.parametrize(
    ("value", "unit", "force_per", "words"),
    [
        (0.52, "kgf", "dot", "0.52 kgf × 9.80665 N/kgf = 5.0995 N per dot"),
        (520, "g", "dot", "520 gf × 0.00980665 N/gf = 5.0995 N per dot"),
        (700, "mN", "dot", "700 mN × 0.001 N/mN = 0.7 N per dot"),
        (1.15, "#", "dot", "1.15 lbf × 4.448222 N/lbf = 5.1155 N per dot"),
        (5.1, "N/25mm", "width", "5.1 N/25 mm × 40 N/m per N/25 mm = 204 N/m"),
        (12.5, "oz/in", "width", "12.5 ozf/in × 10.94543 N/m per ozf/in = 136.82 N/m"),
        (1234567.0, "N/mm", "width", "1234567 N/mm × 1000 N/m per N/mm = 1234567000 N/m"),
        (5.1, "N", "dot", ""), (5.1, "N per dot", "dot", ""), (5.1, "N/m", "width", ""),
        (float("inf"), "gf", "dot", ""),
    ],
)  # fmt: skip
def test_a_conversion_is_shown(value: float, unit: str, force_per: str, words: str) -> None:
    """The sum stands beside the typed text; nothing stands there if nothing was converted."""
    assert conversion_words(value, unit=unit, force_per=force_per) == words


def test_a_conversion_of_an_unknown_unit_is_refused() -> None:
    """There is no sum to show."""
    with pytest.raises(DwellbookError, match="is not a unit"):
        conversion_words(1.0, unit="N/25 mm", force_per="dot")


@pytest.mark.parametrize(
    ("unit", "words"),
    [("g", "gram-force"), ("kg", "kilogram-force"), ("oz", "ounce-force"), ("lb", "pound-force"), ("#", "pound-force"),
     ("p", "gram-force"), ("LB", "pound-force"), ("g/in", "gram-force"), ("oz/in", "ounce-force"),
     ("kg/cm2", "kilogram-force"), ("N/2.5 mm", "2.5 mm wide is unusual"), ("N/250 cm", "2500 mm wide is unusual")],
)  # fmt: skip
def test_two_sided_names_carry_a_caution(unit: str, words: str) -> None:
    """A gauge's gram is a force here, and that is said."""
    assert words in unit_note(unit)


@pytest.mark.parametrize(
    "unit", ["N", "gf", "kgf", "kg f", "lbf", "LBF", "kp", "N/25 mm", "N/in", "pli", "psi", "furlong", "", "g/furlong"]
)
def test_plain_names_carry_none(unit: str) -> None:
    """Nothing is said where nothing can be mistaken, nor about what is refused anyway."""
    assert unit_note(unit) == ""


def test_a_footnote_mark_does_not_become_a_digit() -> None:
    """5.1¹ is no 5.11; full width, odd spaces and dashes are still made ordinary."""
    assert plain("5.1¹") == "5.1¹"
    assert plain("Ｎ\u2009／\u00a0mm²  −5 ") == "N / mm² -5"


def test_a_long_file_of_readings_is_converted_at_once() -> None:
    """Twice 100 000 conversions, of a gauge and of a tape tester; under half a second each on a slow machine."""
    for convert, unit in ((newtons, "lbf"), (newtons_per_metre, "oz/in")):
        started = time.process_time()
        for _ in range(100_000):
            convert(1.5, unit=unit)
        assert time.process_time() - started < 0.5


START = """
import sys
from study.cli.main import run
try:
    run()
except SystemExit as end:
    assert not end.code, end.code
assert "pint" not in sys.modules, "the units library was loaded"
"""


@pytest.mark.parametrize("asked", [["--help"], ["pull", "due"]])
def test_the_registry_is_not_loaded_before_it_is_needed(asked: list[str], study_path: Path) -> None:
    """Help and the day's pulls start without the units library."""
    done = subprocess.run(
        [sys.executable, "-c", START, *asked], cwd=ROOT, capture_output=True, text=True, check=False,
        env={**os.environ, "DWELLBOOK_STUDY": str(study_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


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
