"""Units of the trade: removal force per dot and per strip width, and days said as weeks and months."""

from __future__ import annotations

import re
import unicodedata

from study.errors import DwellbookError

DAYS_PER_MONTH = 365 / 12
"""A twelfth of a common year [d], so that 365 d reads 12 months.

For words and axes only; dates are added by calendar months."""

POUND_FORCE_N = 4.4482216152605
"""Newton per pound-force, exact by definition (international pound, standard gravity)."""

INCH_M = 0.0254
KILOGRAM_FORCE_N = 9.80665

NEWTON_PER: dict[str, float] = {
    "N": 1.0,
    "mN": 1e-3,
    "cN": 1e-2,
    "kgf": KILOGRAM_FORCE_N,
    "gf": KILOGRAM_FORCE_N / 1000,
    "lbf": POUND_FORCE_N,
    "ozf": POUND_FORCE_N / 16,
}
"""Units of a force per dot, in newton."""

WIDTH_M: dict[str, float] = {
    "m": 1.0,
    "mm": 1e-3,
    "cm": 1e-2,
    "10 mm": 1e-2,
    "20 mm": 2e-2,
    "24 mm": 2.4e-2,
    "25 mm": 2.5e-2,
    "2.5 cm": 2.5e-2,
    "100 mm": 0.1,
    "in": INCH_M,
    "inch": INCH_M,
}
"""Widths a peel force is given over, in metre."""


def plain(text: str) -> str:
    """Text as typed, with full-width forms, odd spaces and dashes made ordinary."""
    text = unicodedata.normalize("NFKC", text)
    for dash in "‐‑‒–—−﹣－":
        text = text.replace(dash, "-")
    return re.sub(r"\s+", " ", text).strip()


def newtons(value: float, *, unit: str) -> float:
    """A force per dot in newton.

    Parameters
    ----------
    value : float
        The force as read, in ``unit``; 0.1 to 50 N is usual for one small dot.
    unit : str
        One of ``NEWTON_PER``; "N per dot" is the same as "N".

    Raises
    ------
    DwellbookError
        If the unit is not a unit of force.
    """
    name = plain(unit).removesuffix(" per dot").removesuffix("/dot")
    if name not in NEWTON_PER:
        raise DwellbookError(f"“{unit}” is not a unit of force per dot.", f"Use one of {', '.join(NEWTON_PER)}.")
    return _fifteen_digits(value * NEWTON_PER[name])


def newtons_per_metre(value: float, *, unit: str) -> float:
    """A peel force in newton per metre of strip width.

    Parameters
    ----------
    value : float
        The peel force as read, in ``unit``; 10 to 1000 N/m is usual for soft adhesives.
    unit : str
        A force over a width, as in "N/25 mm", "lbf/in", "gf/cm".

    Raises
    ------
    DwellbookError
        If the unit is not a force over a width.

    Source
    ------
    Exact definitions of inch, pound-force and kilogram-force.
    """
    force, _, width = plain(unit).partition("/")
    width = re.sub(r"(?<=\d)(?=[a-z])", " ", width.strip())
    if force.strip() not in NEWTON_PER or width not in WIDTH_M:
        raise DwellbookError(
            f"“{unit}” is not a unit of peel force.", "Give a force over a width, such as N/25 mm, N/m or lbf/in."
        )
    return _fifteen_digits(value * NEWTON_PER[force.strip()] / WIDTH_M[width])


def _fifteen_digits(value: float) -> float:
    """So that 700 mN is 0.7 N and equal to a limit of 0.7 N, not above it by a rounding of the machine."""
    return float(f"{value:.15g}")


def with_unit(value: float, unit: str) -> str:
    """A number with its unit as people write it: 20 N per dot, 60°, grade 2."""
    if unit == "grade":
        return f"grade {value:g}"
    return f"{value:g}{unit}" if unit == "°" else f"{value:g}\u2009{unit}".strip()


def percent(share: float) -> str:
    """A share in percent with at most one decimal, with a thin space."""
    return f"{round(share * 100, 1):g}\u2009%"


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
