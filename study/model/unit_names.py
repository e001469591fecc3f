"""What people write for a unit, and which unit is meant; an unknown one is refused with those that look alike."""

from __future__ import annotations

import difflib
import re
import unicodedata
from functools import lru_cache
from typing import Literal, NamedTuple

from study.errors import DwellbookError

FORCES: dict[str, tuple[str, tuple[str, ...]]] = {
    "N": ("newton", ("newton", "newtons")),
    "mN": ("millinewton", ()),
    "cN": ("centinewton", ()),
    "daN": ("decanewton", ()),
    "kN": ("kilonewton", ()),
    "μN": ("micronewton", ("uN",)),
    "gf": ("force_gram", ("g", "gram", "grams", "gramforce", "p", "pond")),
    "kgf": ("force_kilogram", ("kg", "kilogram", "kilograms", "kilogramforce", "kp", "kilopond")),
    "ozf": ("force_ounce", ("oz", "ounce", "ounces", "ounceforce")),
    "lbf": ("pound_force", ("lb", "lbs", "#", "pound", "pounds", "poundforce")),
    "dyn": ("dyne", ("dyne", "dynes")),
}
"""Our name of a force: the registry's name, and what else people write. A gauge's g, oz and lb are weights."""

LENGTHS: dict[str, tuple[str, tuple[str, ...]]] = {
    "m": ("meter", ("metre", "meter")),
    "mm": ("millimeter", ()),
    "cm": ("centimeter", ()),
    "in": ("inch", ("inch", "inches", '"', "′′")),
}
"""Our name of a length of strip width, as above; two primes are what a double prime is folded to."""

STRESSES: dict[str, tuple[str, tuple[str, ...]]] = {
    "Pa": ("pascal", ()),
    "hPa": ("hectopascal", ()),
    "kPa": ("kilopascal", ()),
    "MPa": ("megapascal", ()),
    "bar": ("bar", ()),
    "mbar": ("millibar", ()),
    "psi": ("pound_force / inch ** 2", ()),
}
"""Stresses with a name of their own, as above; others are a force over an area."""

WHOLE_NAMES = {"pli": "lbf/in"}
"""Peel units with a name of their own."""

SYMBOLS_OF_THE_SI = frozenset(
    ("N", "mN", "cN", "daN", "kN", "μN", "uN", "g", "p", "m", "Pa", "hPa", "kPa", "MPa", "mbar")
)
"""Read only as written: mN and MN are a thousand million apart."""

Kind = Literal["dot", "width", "stress"]
NORMAL: dict[Kind, tuple[str, str]] = {
    "dot": ("newton", "N"), "width": ("newton / meter", "N/m"), "stress": ("kilopascal", "kPa"),
}  # fmt: skip
_CALLED: dict[Kind, str] = {"dot": "force per dot", "width": "peel force", "stress": "stress"}
_EXAMPLES: dict[Kind, tuple[str, ...]] = {
    "dot": tuple(FORCES),
    "width": ("N/25 mm", "N/m", "N/cm", "N/in", "lbf/in", "ozf/in", "gf/in", "gf/cm", "kgf/cm", "pli"),
    "stress": ("kPa", "MPa", "psi", "bar", "N/mm²", "N/cm²", "kgf/cm²", "gf/cm²"),
}
_SUPERSCRIPTS = re.compile("([⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻]+)")


class Unit(NamedTuple):
    name: str
    expression: str


def plain(text: str) -> str:
    """Text as typed, with full-width forms, odd spaces and dashes made ordinary and the two micro signs made one.

    Superscripts stay what they are: a footnote's ¹ after a number must not become one of its digits.
    """
    if not text.isascii():
        parts = _SUPERSCRIPTS.split(text)
        text = "".join(p if place % 2 else unicodedata.normalize("NFKC", p) for place, p in enumerate(parts))
        for dash in "‐‑‒–—−﹣－":
            text = text.replace(dash, "-")
    return " ".join(text.split())


@lru_cache(maxsize=1024)
def read_unit(unit: str, kind: Kind) -> Unit | None:
    """A typed unit as our name and the registry's expression, or nothing if it is not of that kind."""
    text = folded(unit)
    if kind == "dot":
        text = re.sub(r"\s*(/|\bper\b)\s*dot$", "", text)
        found = lookup(text, FORCES)
        return Unit(found, FORCES[found][0]) if found else None
    if kind == "stress" and (named := lookup(text, STRESSES)):
        return Unit(named, STRESSES[named][0])
    force, over, rest = halves(WHOLE_NAMES.get(text.casefold(), text))
    found = lookup(force, FORCES)
    if not found or not over:
        return None
    return _over_width(found, rest) if kind == "width" else _over_area(found, rest)


def _over_width(force: str, text: str) -> Unit | None:
    match = re.fullmatch(r"\(?\s*(\d*\.?\d+)?\s*([^\d\s().]+)\.?\s*\)?(?:\s+width)?", text)
    length = lookup(match[2], LENGTHS) if match else None
    if match is None or length is None or (match[1] and float(match[1]) == 0):
        return None
    count = f"{float(match[1] or 1):.10g}"
    if count == "1":
        return Unit(f"{force}/{length}", f"{FORCES[force][0]} / {LENGTHS[length][0]}")
    return Unit(f"{force}/{count} {length}", f"{FORCES[force][0]} / ({count} * {LENGTHS[length][0]})")


def _over_area(force: str, text: str) -> Unit | None:
    match = re.fullmatch(r"(?:sq\.?\s*([a-z]+)|([a-z]+|\")\s*\^?2)", text, re.IGNORECASE)
    length = lookup(match[1] or match[2], LENGTHS) if match else None
    return Unit(f"{force}/{length}²", f"{FORCES[force][0]} / {LENGTHS[length][0]} ** 2") if length else None


def folded(unit: str) -> str:
    return plain(unicodedata.normalize("NFKC", unit))


def squeezed(text: str) -> str:
    """A name without its case, spaces, points and hyphens."""
    return re.sub(r"[\s.\-]", "", text).casefold()


def halves(text: str) -> tuple[str, str, str]:
    """What stands above and below the line: "N/25 mm", "N per 25 mm" and "N m-1" alike."""
    if power := re.fullmatch(r"(\S+)[\s·*]([A-Za-z]+)\s?\^?-([12])", text):
        return power[1], "/", power[2] + ("2" if power[3] == "2" else "")
    above, over, below = re.sub(r"\s+per\s+", "/", text, count=1, flags=re.IGNORECASE).partition("/")
    return above.strip(), over, below.strip()


def lookup(text: str, table: dict[str, tuple[str, tuple[str, ...]]]) -> str | None:
    """Our name of what was written: symbols of the SI exactly, trade names and words in any case and spacing."""
    loose = squeezed(text)
    for name, (_, others) in table.items():
        if text == name or text in others:
            return name
        if loose in {n.casefold() for n in (name, *others) if n not in SYMBOLS_OF_THE_SI}:
            return name
    return None


def unknown_unit(unit: str, kind: Kind) -> DwellbookError:
    return DwellbookError(*_unknown_words(unit, kind))


@lru_cache(maxsize=256)
def _unknown_words(unit: str, kind: Kind) -> tuple[str, str]:
    what = f"“{unit}” is not a unit of {_CALLED[kind]}."
    if kind == "dot" and read_unit(unit, "width"):
        return what, "A force per dot has no width: give the force alone, such as N."
    if kind == "width" and read_unit(unit, "dot"):
        return what, "Give the width it was pulled over too, such as N/25 mm."
    written = {name.casefold(): name for name in reversed(_EXAMPLES[kind])}
    if kind == "dot":
        written |= {other: name for name, (_, others) in FORCES.items() for other in others if len(other) > 4}
    found = difflib.get_close_matches(folded(unit).casefold(), written, n=3, cutoff=0.6)
    alike = list(dict.fromkeys(written[key] for key in found))
    known = f"Known are {', '.join(_EXAMPLES[kind])}" + (" and the like." if kind == "width" else ".")
    return what, f"Did you mean {' or '.join(alike)}? {known}" if alike else known
