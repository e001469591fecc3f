"""Residue as typed: grades by sight and by area, halo, flags that are never folded in, and the aids used."""

from __future__ import annotations

import re

from study.intake.cells import CellFault, parse_number
from study.model.details import RESIDUE_AIDS, RESIDUE_FLAGS
from study.model.units import plain

AREA_STEPS_PERCENT = (0.0, 1.0, 5.0, 15.0, 35.0)
"""Largest area of grades 0 to 4; beyond the last is 5. Our own scale; 5, 15 and 35 % follow [iso-2409]."""
_AIDS = {
    "10x": "10x", "10×": "10x", "lens": "10x", "hand lens": "10x", "microscope": "10x",
    "raking": "raking light", "raking light": "raking light",
    "uv": "UV-A", "uv-a": "UV-A", "uva": "UV-A", "uv light": "UV-A",
}  # fmt: skip


def area_grade(area_percent: float) -> int:
    """Residue grade by area alone, 0 to 5.

    Parameters
    ----------
    area_percent : float
        Residue area over the dot's footprint [%], 0 to 100.
    """
    return sum(area_percent > step for step in AREA_STEPS_PERCENT)


def parse_area_percent(typed: str, *, most: float = 100.0) -> float:
    """An area in per cent of the footprint.

    Raises
    ------
    CellFault
        Below 0 or above ``most``; the halo has no upper end, since it lies outside the footprint.
    """
    number = parse_number(plain(typed).removesuffix("%").strip())
    if not 0 <= number <= most:
        where = f"between 0 and {most:g}" if most < float("inf") else "0 or more"
        raise CellFault("is not an area in per cent.", f"Write a number {where}.")
    return number


def parse_flags(typed: str) -> tuple[str, ...]:
    """Stain, ghost and loss, in the order of the scale."""
    words = _words(typed)
    unknown = [word for word in words if word not in RESIDUE_FLAGS]
    if unknown:
        raise CellFault(f"has “{unknown[0]}”, which is no flag.", f"Use {', '.join(RESIDUE_FLAGS)}, or leave it blank.")
    return tuple(flag for flag in RESIDUE_FLAGS if flag in words)


def parse_aids(typed: str) -> tuple[str, ...]:
    """What residue was looked for with; "eye" or "none" is the bare eye alone."""
    found = []
    for part in re.split(r"[;,+]|\band\b", plain(typed).lower()):
        word = part.strip()
        if not word or word in ("eye", "bare eye", "none"):
            continue
        if word not in _AIDS:
            raise CellFault(f"has “{word}”, which is no aid.", f"Use {'; '.join(RESIDUE_AIDS)}, or “bare eye”.")
        found.append(_AIDS[word])
    return tuple(aid for aid in RESIDUE_AIDS if aid in found)


def _words(typed: str) -> list[str]:
    return [word for word in re.split(r"[;,\s+]+", plain(typed).lower()) if word]
