"""Units of climate and light loggers: what a heading says, and values turned to °C, %, lx and µW/lm."""

from __future__ import annotations

import math
import re

import numpy as np

from study.errors import FileRefused, Problem
from study.model.climate import MEASURES, Measure

LUX_PER_FOOTCANDLE = 10.763910416709722
"""Exact from the foot of 0.3048 m."""
FAHRENHEIT = ("°f", "f", "deg f", "degf", "fahrenheit")
KELVIN = ("k", "kelvin")
FOOTCANDLES = ("fc", "ft-cd", "footcandle", "footcandles", "foot-candles", "foot candles", "lum/ft²", "lum/ft2")
KLX = ("klx", "klux", "kilolux")
USUAL: dict[str, tuple[str, ...]] = {
    "temperature_c": ("°c", "c", "deg c", "degc", "celsius"),
    "humidity_percent": ("%", "%rh", "rh", "% rh", "%rf", "percent"),
    "lux": ("lx", "lux"), "uv_uw_per_lm": ("µw/lm", "uw/lm"),
}  # fmt: skip
OTHERS: dict[str, tuple[str, ...]] = {"temperature_c": (*FAHRENHEIT, *KELVIN), "lux": (*FOOTCANDLES, *KLX)}
SENTINELS: dict[str, tuple[float, ...]] = {
    "temperature_c": (-40.0, 850.0, -127.0, -999.0, -9999.0, 999.0, 9999.0),
    "humidity_percent": (-1.0, 255.0, -999.0, -9999.0, 999.0, 9999.0),
}
"""Values that electronics give in place of a reading [common-practice]."""
POSSIBLE: dict[str, tuple[float, float]] = {
    "temperature_c": (-39.9, 150.0), "humidity_percent": (0.0, 100.0), "lux": (0.0, 200_000.0),
    "uv_uw_per_lm": (0.0, 10_000.0),
}  # fmt: skip
COOL_F = 45.0
"""A column headed by a bare F whose middle lies below it may well be in °C."""


def heading_unit(heading: str, measure: Measure) -> str:
    """A unit that is the heading or stands at its end as a word of its own, such as “light footcandles”."""
    known = (*USUAL[measure], *OTHERS.get(measure, ()))
    # The words RH and temperature alone say no unit; lux and %RH do.
    alone = [unit for unit in known if heading == unit and (measure == "lux" or not unit.isalpha())]
    ends = [unit for unit in known if re.search(rf"[\s_(\[]{re.escape(unit)}[)\]]?$", heading)]
    return max(alone + ends, key=len, default="")


def converted(
    values: np.ndarray, measure: Measure, unit: str, *, heading: str, file: str, notes: list[str]
) -> np.ndarray:  # fmt: skip
    """Values in °C, %, lx or µW/lm; how they were turned is noted.

    Parameters
    ----------
    unit : str
        As written, folded; empty where neither heading nor cells say one.

    Raises
    ------
    FileRefused
        For a unit that is not known, and where the values speak against it.
    """
    # What stands for no reading says nothing of the unit: one 255 would hide that all the others are shares.
    real = values[np.isfinite(values) & ~np.isin(values, SENTINELS.get(measure, ()))]
    middle = float(np.median(real)) if real.size else math.nan
    if measure == "temperature_c" and unit == "f" and middle < COOL_F:
        what = f"is headed by F and is about {middle:.3g}, which is cold in °F."
        raise FileRefused(file, [Problem(0, heading, "", what, "Say the unit in the heading: °C or °F.")])
    if measure == "temperature_c" and unit in FAHRENHEIT:
        notes.append(f"{heading} in °F, turned to °C")
        return (values - 32) / 1.8
    if measure == "temperature_c" and unit in KELVIN:
        notes.append(f"{heading} in K, turned to °C")
        return values - 273.15
    if measure == "lux" and unit in FOOTCANDLES:
        notes.append(f"{heading} in footcandles, 1 = {LUX_PER_FOOTCANDLE:.7g} lx")
        return values * LUX_PER_FOOTCANDLE
    if measure == "lux" and unit in KLX:
        notes.append(f"{heading} in klx, 1 = 1000 lx")
        return values * 1000
    usual = USUAL[measure]
    if unit and unit not in usual:
        do = f"Export it in {usual[0]}."
        raise FileRefused(file, [Problem(0, heading, unit, f"is not a unit of {MEASURES[measure]} known here.", do)])
    low, high = POSSIBLE["humidity_percent"]
    humid = real[(real >= low) & (real <= high)] if measure == "humidity_percent" else real[:0]
    if humid.size and np.max(humid) <= 1 and np.median(humid) > 0:
        what, do = f"lies between 0 and 1, about {np.median(humid):.2g}: that is a share.", "Export it in %."
        raise FileRefused(file, [Problem(0, heading, "", what, do)])
    said = {"temperature_c": "°C", "humidity_percent": "%", "lux": "lx", "uv_uw_per_lm": "µW/lm"}[measure]
    if not unit and measure == "temperature_c" and middle > COOL_F:
        do = "Say the unit in the heading: °C or °F."
        what = f"has no unit and is about {middle:.3g}."
        raise FileRefused(file, [Problem(0, heading, "", what, do)])
    notes.append(f"{heading} in {said}" if unit else f"{heading} has no unit: taken as {said}")
    return values
