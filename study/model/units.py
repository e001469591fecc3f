"""Units of the trade: removal force per dot and per strip width, stress, and days said as weeks and months."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING

from study.model.unit_names import (
    FORCES,
    NORMAL,
    Kind,
    folded,
    halves,
    lookup,
    plain,
    read_unit,
    squeezed,
    unknown_unit,
)

if TYPE_CHECKING:
    from fractions import Fraction

    from pint import UnitRegistry

__all__ = [
    "DAYS_PER_MONTH", "FORCES", "conversion_words", "converted", "duration_words", "kilopascals", "newtons",
    "newtons_per_metre", "percent", "plain", "unit_name", "unit_note", "with_unit",
]  # fmt: skip

DAYS_PER_MONTH = 365 / 12
"""A twelfth of a common year [d], so that 365 d reads 12 months.

For words and axes only; dates are added by calendar months."""

_WEIGHTS = {
    "gf": "gram-force, the weight of one gram (0.00980665 N), not as a mass",
    "kgf": "kilogram-force, the weight of one kilogram (9.80665 N), not as a mass",
    "ozf": "ounce-force, the weight of one ounce (0.2780139 N), not as a mass or a fluid ounce",
    "lbf": "pound-force, the weight of one pound (4.448222 N), not as a mass",
}
_UNMISTAKABLE = ("force", "kp", "pond", "kilopond")
_USUAL_WIDTHS_MM = (5.0, 300.0)


def newtons(value: float, *, unit: str) -> float:
    """A force per dot in newton.

    Parameters
    ----------
    value : float
        The force as read, in ``unit``; 0.1 to 50 N is usual for one small dot.
    unit : str
        One of ``FORCES`` or what else people write for it (g, kg, oz, lb, #, p, kp); "N per dot" is the same as "N".

    Raises
    ------
    DwellbookError
        If the unit is not a unit of force; it names those that look alike.

    Source
    ------
    Exact definitions of pound, inch and standard gravity [unit-definitions], through the pint library.
    """
    return _fifteen_digits(value * _factor(unit, "dot"))


def newtons_per_metre(value: float, *, unit: str) -> float:
    """A peel force in newton per metre of strip width.

    Parameters
    ----------
    value : float
        The peel force as read, in ``unit``; 10 to 1000 N/m is usual for soft adhesives.
    unit : str
        A force over a width, as in "N/25 mm", "lbf/in", "gf/cm", "oz/in", "#/in", "N/2.5cm"; or "pli".

    Raises
    ------
    DwellbookError
        If the unit is not a force over a width; it names those that look alike.

    Source
    ------
    Exact definitions of pound, inch and standard gravity [unit-definitions], through the pint library.
    """
    return _fifteen_digits(value * _factor(unit, "width"))


def kilopascals(value: float, *, unit: str) -> float:
    """A stress in kilopascal.

    Parameters
    ----------
    value : float
        The stress as read, in ``unit``; 1 to 500 kPa is usual for pulling off a soft adhesive.
    unit : str
        kPa, MPa, psi, bar, or a force over an area, as in "N/mm²", "kgf/cm2", "gf/cm^2", "lbf/sq in".

    Raises
    ------
    DwellbookError
        If the unit is not a unit of stress; it names those that look alike.

    Source
    ------
    Exact definitions of pound, inch and standard gravity [unit-definitions], through the pint library.
    """
    return _fifteen_digits(value * _factor(unit, "stress"))


def converted(value: float, *, unit: str, to: str) -> float:
    """A value in another unit of the same kind: force to force, peel force to peel force, stress to stress.

    Raises
    ------
    DwellbookError
        If either is no known unit, or the two are not of one kind: a peel force is not a force.
    """
    for kind in NORMAL:
        if read_unit(unit, kind) and read_unit(to, kind):
            return _fifteen_digits(value * float(_exact(unit, kind) / _exact(to, kind)))
    first = next((kind for kind in NORMAL if read_unit(unit, kind)), None)
    raise unknown_unit(to, first) if first else unknown_unit(unit, "dot")


def unit_name(unit: str, *, force_per: str) -> str:
    """A typed unit under our one name for it: "N/25mm" is N/25 mm, "#/in" is lbf/in, "g" is gf.

    ``force_per`` is "dot" or "width", as a test method says it.
    """
    kind: Kind = "dot" if force_per == "dot" else "width"
    read = read_unit(unit, kind)
    if read is None:
        raise unknown_unit(unit, kind)
    return read.name


def conversion_words(value: float, *, unit: str, force_per: str) -> str:
    """What was done to a typed value, to stand beside it: 0.52 kgf × 9.80665 N/kgf = 5.0995 N per dot.

    Empty if nothing was converted, or if the value is not a finite number. The factor is shown to seven digits and the
    result to five; what is kept has fifteen.

    Parameters
    ----------
    value : float
        The number as read, in ``unit``.
    unit : str
        As typed; it is shown under our one name for it.
    force_per : str
        "dot" (to N per dot) or "width" (to N/m), as a test method says it.

    Raises
    ------
    DwellbookError
        If the unit is not a unit of that kind.
    """
    kind: Kind = "dot" if force_per == "dot" else "width"
    name, normal = unit_name(unit, force_per=force_per), NORMAL[kind][1]
    if name == normal or not math.isfinite(value):
        return ""
    factor = _factor(unit, kind)
    ratio = f"{normal}/{name}" if kind == "dot" else f"{normal} per {name}"
    result = _shown(_fifteen_digits(value * factor), 5)
    ending = f"{result} {normal} per dot" if kind == "dot" else f"{result} {normal}"
    return f"{_shown(value, 15)} {name} × {_shown(factor, 7)} {ratio} = {ending}"


def unit_note(name: str) -> str:
    """Words of caution for a unit that can be read in two ways, else empty; also empty for an unknown unit.

    A gauge's g, kg, oz, lb and # are read as the weight of that mass; a strip much narrower or wider than is usual may
    be a slip between millimetre and centimetre.
    """
    text = folded(name)
    force, _, rest = halves(text)
    found = lookup(force, FORCES)
    if found is None or (rest and not (read_unit(name, "width") or read_unit(name, "stress"))):
        return ""
    notes = []
    if found in _WEIGHTS and squeezed(force) != found and not squeezed(force).endswith(_UNMISTAKABLE):
        notes.append(f"{force} is read as {_WEIGHTS[found]}.")
    if re.match(r"\(?\s*\d", rest) and read_unit(name, "width"):
        width_mm = float(1000 / _exact(f"N/{rest}", "width"))
        if not _USUAL_WIDTHS_MM[0] <= width_mm <= _USUAL_WIDTHS_MM[1]:
            notes.append(f"A strip {width_mm:g} mm wide is unusual: check the width.")
    return " ".join(notes)


@lru_cache(maxsize=1)
def _registry() -> UnitRegistry[Fraction]:
    """The one registry of this process; in fractions, so that a factor is exact until it is used."""
    from fractions import Fraction

    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


@lru_cache(maxsize=1024)
def _exact(unit: str, kind: Kind) -> Fraction:
    """How many of the normal unit of its kind one ``unit`` is, as a fraction."""
    from fractions import Fraction

    read = read_unit(unit, kind)
    if read is None:
        raise unknown_unit(unit, kind)
    normal = NORMAL[kind][0]
    if read.expression == normal:
        return Fraction(1)  # most readings are in newton already, and need no registry
    return Fraction(_registry().parse_expression(read.expression).to(normal).magnitude)


@lru_cache(maxsize=1024)
def _factor(unit: str, kind: Kind) -> float:
    return float(_exact(unit, kind))


def _shown(value: float, digits: int) -> str:
    """A number for people: so many digits, and no power of ten for those met at a bench."""
    return f"{value:.0f}" if 10**digits <= abs(value) < 1e15 else f"{value:.{digits}g}"


def _fifteen_digits(value: float) -> float:
    """So that 700 mN is 0.7 N and equal to a limit of 0.7 N, not above it by a rounding of the machine."""
    return float(f"{value:.15g}")


def with_unit(value: float, unit: str) -> str:
    """A number with its unit as people write it: 20 N per dot, 60°, grade 2."""
    if unit == "grade":
        return f"grade {value:g}"
    return f"{value:g}{unit}" if unit == "°" else f"{value:g}\u202f{unit}".strip()


def percent(share: float) -> str:
    """A share in percent with at most one decimal, with a thin space."""
    return f"{round(share * 100, 1):g}\u202f%"


def duration_words(days: float) -> str:
    """Days in words, rounded down: whole weeks below three months, whole months above."""
    months = int(days / DAYS_PER_MONTH + 1e-9)
    if months >= 3:
        return f"{months} months"
    weeks = int(days // 7)
    if weeks >= 1:
        return "1 week" if weeks == 1 else f"{weeks} weeks"
    whole = int(days)
    return "1 day" if whole == 1 else f"{whole} days"
