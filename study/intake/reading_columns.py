"""Columns of readings: which reading each belongs to, and the ones that say how it was taken."""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache

from study.model.protocol import Quantity

REQUIRED = ("coupon", "read_on")
COLUMNS: dict[str, tuple[str, ...]] = {
    "removal_force": ("removal_force", "force_unit"),
    "failure_pattern": ("failure_pattern", "side"),
    "residue_grade": ("residue_grade",),
    "residue_second": ("residue_second",),
    "residue_cleaned": ("residue_cleaned",),
    "colour_before": ("L_before", "a_before", "b_before"),
    "colour_after": ("L_after", "a_after", "b_after"),
    "colour_look": ("L_look", "a_look", "b_look"),
    "hold_angle": ("hold_angle_deg",),
}
"""Columns by reading kind; the first names the reading, the rest complete it."""
DETAIL_COLUMNS: dict[str, tuple[str, ...]] = {
    "residue_grade": ("residue_area_percent", "halo_percent", "residue_flags", "residue_aids"),
    "residue_second": ("second_rater",),
    "residue_cleaned": ("cleaning_step",),
}
"""Columns that stand beside one reading."""
COLOUR_CONDITIONS = ("illuminant", "observer_deg", "specular", "geometry", "aperture_mm", "backing")
"""Beside every colour of the row."""
ROW_CONDITIONS = ("temperature_c", "humidity_percent", "instrument", "read_by", "note")
"""Beside every reading of the row."""
KEPT_FLAGS = "kept_flags"
"""Flags that stay on the readings of a row, each behind its reading, as an export writes them."""
OPTIONAL = (
    *(column for kind, columns in COLUMNS.items() for column in (*columns, *DETAIL_COLUMNS.get(kind, ()))),
    *COLOUR_CONDITIONS,
    *ROW_CONDITIONS,
    KEPT_FLAGS,
)
KIND_OF = {column: kind for kind, columns in COLUMNS.items() for column in (*columns, *DETAIL_COLUMNS.get(kind, ()))}
"""The reading a column belongs to; columns about the whole row are not in it."""
READ_AFTER_PULL = (
    "removal_force", "failure_pattern", "residue_grade", "residue_cleaned", "hold_angle_deg", "L_after",
)  # fmt: skip
"""Columns that only a pulled coupon fills, the first of each reading."""
RESIDUE_KINDS = ("residue_grade", "residue_second", "residue_cleaned")


def flags_for(cell: str, kinds: Collection[str]) -> str:
    """Of flags as an export writes them, those of these kinds of reading."""
    return " | ".join(part for part in cell.split(" | ") if part.partition(": ")[0].strip() in kinds)


@lru_cache(maxsize=256)
def kinds_of(quantities: tuple[Quantity, ...]) -> tuple[str, ...]:
    """Reading kinds without which a coupon is not fully read; a discoloration is two colours."""
    colours = ("colour_before", "colour_after") if "discoloration" in quantities else ()
    return tuple(kind for kind in COLUMNS if kind in quantities or kind in colours)


@lru_cache(maxsize=256)
def kinds_taken(quantities: tuple[Quantity, ...]) -> tuple[str, ...]:
    """Every kind that may be read: where residue is graded, a second rater and a grade after cleaning may follow."""
    asked = kinds_of(quantities)
    residue = RESIDUE_KINDS if "residue_grade" in quantities else ()
    return tuple(kind for kind in COLUMNS if kind in asked or kind in residue)
