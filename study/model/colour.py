"""How a colour was measured: illuminant, observer, gloss, geometry, aperture, backing; what sets two readings apart."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

ILLUMINANTS = ("A", "C", "D50", "D55", "D65", "D75", "F2", "F7", "F11")
"""CIE illuminants that colour instruments offer; D65 with the 10° observer is usual for objects."""
OBSERVERS_DEG = (2, 10)
SPECULAR = ("SCI", "SCE")
"""Gloss included in the colour (SCI) or left out of it (SCE)."""
GEOMETRIES = ("d/8", "45/0")
BACKINGS = ("white", "black", "none")
"""What lies behind a sheet that light passes through; none means the sheet stood free."""


class ColourConditions(BaseModel):
    """How one colour was measured; what nobody wrote down stays empty, or None.

    Parameters
    ----------
    illuminant : str
        One of ``ILLUMINANTS``, or "".
    observer_deg : int or None
        Field of the standard observer [°], 2 or 10.
    specular : str
        "SCI", "SCE" or ""; only a sphere (d/8) can include the gloss.
    geometry : str
        "d/8", "45/0" or "".
    aperture_mm : float or None
        Diameter of the measured spot [mm], 1 to 30 is usual; above 0 and at most 100.
    backing : str
        "white", "black", "none" or ""; matters under glass, acrylic and film.

    Raises
    ------
    pydantic.ValidationError
        On a word that is not in the lists, an aperture out of range, or SCI said of 45/0.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    illuminant: Literal["A", "C", "D50", "D55", "D65", "D75", "F2", "F7", "F11", ""] = ""
    observer_deg: Literal[2, 10] | None = None
    specular: Literal["SCI", "SCE", ""] = ""
    geometry: Literal["d/8", "45/0", ""] = ""
    aperture_mm: Annotated[float, Field(gt=0, le=100)] | None = None
    backing: Literal["white", "black", "none", ""] = ""

    @model_validator(mode="after")
    def _gloss_needs_a_sphere(self) -> Self:
        if self.geometry == "45/0" and self.specular == "SCI":
            raise ValueError("45/0 always leaves the gloss out; write SCE, leave it blank, or correct the geometry")
        return self

    def words(self) -> str:
        """What is known, in one line: D65, 10° observer, SCI, d/8, 8 mm, white backing; empty if nothing is."""
        return ", ".join(part for part in (_said(name, getattr(self, name)) for name in _NAMES) if part)


_NAMES = {
    "illuminant": "illuminant",
    "observer_deg": "observer",
    "specular": "gloss setting",
    "geometry": "geometry",
    "aperture_mm": "aperture",
    "backing": "backing",
}


def mixed(before: ColourConditions, after: ColourConditions) -> tuple[str, ...]:
    """What sets two readings apart so that no colour difference may be worked out between them.

    Only what both state is compared: an instrument nobody described blocks nothing, and shows nothing either.

    Parameters
    ----------
    before, after : ColourConditions
        Of the two readings of one spot.

    Returns
    -------
    tuple of str
        One sentence for each difference, such as "The observer differs: 2° observer before, 10° observer after.";
        empty where a colour difference may stand.

    Source
    ------
    Two observers or lights give two sets of coordinates for one surface, and gloss counted once and left out once
    looks like a change of lightness [common-practice].
    """
    sentences = []
    for name, called in _NAMES.items():
        first, second = getattr(before, name), getattr(after, name)
        if first in ("", None) or second in ("", None) or first == second:
            continue
        if name == "aperture_mm" and math.isclose(first, second):
            continue
        sentences.append(f"The {called} differs: {_said(name, first)} before, {_said(name, second)} after.")
    return tuple(sentences)


def _said(name: str, value: str | float | None) -> str:
    if value in ("", None):
        return ""
    if name == "observer_deg":
        return f"{value}° observer"
    if name == "aperture_mm":
        return f"{value:g} mm"
    if name == "backing":
        return "no backing" if value == "none" else f"{value} backing"
    return str(value)
