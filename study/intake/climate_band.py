"""Bands of climate as people write them: 18 to 22, 45–55 %, 20 ± 2 °C; anything else is no band."""

from __future__ import annotations

import re

from study.errors import NotPossible
from study.model.climate import Measure
from study.model.climate_days import BandsOf
from study.model.units import plain

_NUMBER = r"(-?\d+(?:[.,]\d+)?)"
_UNIT = r"(?:\s*(?:°\s*C|C|%\s*RH|%\s*rH|%|RH|rH))?"
_FROM_TO = re.compile(rf"{_NUMBER}{_UNIT}\s*(?:to|bis|-|–|—|…|\.\.\.?)\s*{_NUMBER}{_UNIT}")
_ABOUT = re.compile(rf"{_NUMBER}{_UNIT}\s*(?:±|\+/-|\+-)\s*{_NUMBER}{_UNIT}")
_ASKED: dict[str, Measure] = {"temperature": "temperature_c", "humidity": "humidity_percent", "light": "lux"}


def parse_band(typed: str) -> tuple[float, float] | None:
    """Lowest and highest value of a band, or None where the text is none; units are passed over."""
    text = plain(typed)
    for pattern in (_FROM_TO, _ABOUT):
        match = pattern.fullmatch(text)
        if match:
            one, other = (float(part.replace(",", ".")) for part in match.groups())
            low, high = (one, other) if pattern is _FROM_TO else (one - other, one + other)
            return (low, high) if low <= high else None
    return None


def parse_asked_bands(typed: dict[str, str]) -> BandsOf:
    """Bands typed as options, by temperature, humidity and light; what is left blank is not in it.

    Raises
    ------
    NotPossible
        If one is no band.
    """
    found: BandsOf = {}
    for name, text in typed.items():
        if not text.strip():
            continue
        band = parse_band(text)
        if band is None:
            raise NotPossible(f"“{text}” is not a band of {name}.", "Write it as “18 to 22” or “20 ± 2”.")
        found[_ASKED[name]] = band
    return found
