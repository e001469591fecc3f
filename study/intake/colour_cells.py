"""Colours as typed: L*, a*, b* of a spot, read once or several times, and the conditions they were read under."""

from __future__ import annotations

import re
from statistics import fmean

from study.intake.cells import CellFault, parse_number
from study.model.colour import BACKINGS, GEOMETRIES, ILLUMINANTS
from study.model.details import Spot
from study.model.units import plain

_OBSERVERS = {"2": 2, "10": 10}
_BEYOND = 150.0


def parse_spots(typed: tuple[str, str, str]) -> tuple[Spot, tuple[Spot, ...]]:
    """L*, a*, b* of one spot, and the single readings where each cell holds several.

    Parameters
    ----------
    typed : three str
        Each one number, or as many numbers as the others, with spaces or semicolons between: "82.1; 82.3; 82.0".

    Raises
    ------
    CellFault
        If one of the three is missing, they count differently, or a value is off the scale.
    """
    if not all(typed):
        raise CellFault("is incomplete: L*, a* and b* belong together.", "Give all three, or leave all three blank.")
    columns = [[parse_number(part) for part in re.split(r"[;\s]+", plain(cell)) if part] for cell in typed]
    counts = {len(column) for column in columns}
    if len(counts) > 1:
        said = ", ".join(str(len(column)) for column in columns)
        raise CellFault(f"has {said} readings of L*, a*, b*.", "Give as many of each, in the same order.")
    spots = tuple((lightness, red, yellow) for lightness, red, yellow in zip(*columns, strict=True))
    for lightness, red, yellow in spots:
        if not 0 <= lightness <= 100:
            raise CellFault(f"L* of {lightness:g} is outside 0 to 100.", "Check the order of the columns: L*, a*, b*.")
        if max(abs(red), abs(yellow)) > _BEYOND:
            raise CellFault("a* or b* is beyond ±150.", "Check the order of the columns: L*, a*, b*.")
    if len(spots) == 1:
        return spots[0], ()
    return (fmean(s[0] for s in spots), fmean(s[1] for s in spots), fmean(s[2] for s in spots)), spots


def parse_illuminant(typed: str) -> str:
    """The illuminant by its standard letters."""
    text = plain(typed).upper().removeprefix("CIE ").replace("ILLUMINANT ", "")
    if text not in ILLUMINANTS:
        raise CellFault("is not an illuminant.", f"Write one of {', '.join(ILLUMINANTS)}.")
    return text


def parse_observer(typed: str) -> int:
    """The observer's field in degrees, 2 or 10."""
    text = plain(typed).removesuffix("deg").removesuffix("°").strip()
    if text not in _OBSERVERS:
        raise CellFault("is not an observer.", "Write 2 or 10 (degrees).")
    return _OBSERVERS[text]


def parse_specular(typed: str) -> str:
    """Specular component included (SCI) or excluded (SCE)."""
    text = plain(typed).upper()
    named = {"INCLUDED": "SCI", "EXCLUDED": "SCE"}.get(text, text)
    if named not in ("SCI", "SCE"):
        raise CellFault("is not a specular setting.", "Write SCI (included) or SCE (excluded).")
    return named


def parse_geometry(typed: str) -> str:
    """Sphere (d/8) or directed (45/0) geometry."""
    text = plain(typed).lower().replace("°", "").replace(" ", "").replace(":", "/")
    if text not in GEOMETRIES:
        raise CellFault("is not a geometry.", f"Write one of {', '.join(GEOMETRIES)}.")
    return text


def parse_aperture(typed: str) -> float:
    """Aperture in millimetre."""
    number = parse_number(plain(typed).removesuffix("mm").strip())
    if not 0 < number <= 100:
        raise CellFault("is not an aperture in millimetre.", "Write a diameter between 1 and 100 mm.")
    return number


def parse_backing(typed: str) -> str:
    """What lay behind the sample: white, black or none."""
    text = plain(typed).lower()
    if text not in BACKINGS:
        raise CellFault("is not a backing.", f"Write one of {', '.join(BACKINGS)}.")
    return text
