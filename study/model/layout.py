"""Layouts: how one laboratory writes its sheets, remembered by name so that the next sheet needs no questions."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

READING_COLUMNS = (
    "coupon", "read_on", "removal_force", "force_unit", "failure_pattern", "side", "residue_grade",
    "residue_area_percent", "halo_percent", "residue_flags", "residue_aids", "residue_second", "second_rater",
    "residue_cleaned", "cleaning_step", "L_before", "a_before", "b_before", "L_after", "a_after", "b_after", "L_look",
    "a_look", "b_look", "illuminant", "observer_deg", "specular", "geometry", "aperture_mm", "backing",
    "hold_angle_deg", "temperature_c", "humidity_percent", "instrument", "read_by", "note", "kept_flags",
)  # fmt: skip
"""Columns of a sheet of readings, in their usual order."""

STUDY_COLUMNS = (
    "adhesive", "formulation_version", "composition_class", "lot", "substrate", "finish", "preparation", "stands_for",
    "environment", "placed_on", "pulled_on", "pull_kind", "last_seen_on", "test", "pull", "dot_diameter_mm", "dots",
    "dwell_load_n", "role", "read_at",
)  # fmt: skip
"""Columns that a whole study kept in one sheet has besides."""

RESIDUE_SCALES: dict[str, dict[str, str]] = {
    "0 to 5, 0 is clean": {str(grade): str(grade) for grade in range(6)},
    "0 to 5, 5 is clean": {str(grade): str(5 - grade) for grade in range(6)},
    "0 to 5 by share lost (ISO 2409)": {"0": "0", "1": "1-2", "2": "3", "3": "4", "4": "5", "5": "5"},
    "5B to 0B (ASTM D3359)": {"5": "0", "4": "1-2", "3": "3", "2": "4", "1": "5", "0": "5"},
    "10 to 0, 10 is clean (ASTM D610)": {
        "10": "0-1", "9": "1", "8": "1", "7": "1", "6": "1", "5": "2", "4": "2-3", "3": "3-4", "2": "4", "1": "4-5",
        "0": "5",
    },
}  # fmt: skip
"""Ways to grade that a sheet may use, each as an explicit table to our grades 0 (none found) to 5 (severe).

Where a class of theirs spans a boundary of ours it becomes two neighbouring grades. Boundaries as published in those
standards, compared with ours by area; the scales were not made for residue, so the names say only how they are read."""
OURS = "0 to 5, 0 is clean"

REPEAT_ANSWERS = ("repeat reading", "correction", "duplicate", "second dot")
"""What two rows of one coupon with different values can be."""
AREA_ANSWERS = ("grade by the area", "leave out")
"""What an area of residue without a grade beside it becomes."""
MONTH_ANSWERS = ("shortest dwell", "first day", "middle day", "last day")
"""Which day stands for a month that was typed without one."""

Words = Annotated[str, Field(max_length=500)]
Row = Annotated[int, Field(ge=0, le=1_048_576)]
Order = Literal["day month year", "month day year", "year month day"]


class Layout(BaseModel):
    """One way of writing sheets. Every part may be empty: it is then found in the sheet or asked for.

    Kept as JSON by ``text()`` with empty parts left out; ``Layout.model_validate_json`` reads it back. ``heading``
    below is a column's heading as the laboratory writes it, ``column`` one of ours.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Words = ""
    columns: dict[str, str] = {}
    """heading -> column; "" for a column that is left out."""
    units: dict[str, str] = {}
    """heading -> unit of its numbers, where the sheet does not say it."""
    sheet: Words = ""
    """Name of the workbook's sheet; empty for the first."""
    header_row: Row = 0
    """0: found. Counted as a spreadsheet counts."""
    read_on_from: Words = ""
    """heading of the column that is also the day of reading, where no column is that alone."""
    pulled_on_from: Words = ""
    """The same for the day of the pull, or that it is the day of reading."""
    separator: Literal[",", ";", "\t", "|", ""] = ""
    decimal_mark: Literal[".", ",", ""] = ""
    date_orders: dict[str, Order] = {}
    """heading -> order of its dates."""
    date_system: Literal["1900", "1904", ""] = ""
    """Which day a bare serial number counts from; a workbook says it itself."""
    two_digit_years_from: Annotated[int, Field(ge=1900, le=2000)] = 1980
    """Two-digit years lie in the hundred years from this one on."""
    month_only: Literal["shortest dwell", "first day", "middle day", "last day", ""] = ""
    zone: Words = ""
    """Where the clocks stand, such as Europe/Paris; days are days there."""
    residue_scale: Words = ""
    residue_table: dict[str, str] = {}
    """Their grade -> ours, as "3" or "1-2"; kept beside the name of the scale so that nothing rests on a name."""
    force_unit: Words = ""
    """Unit of forces that have none in cell, column or heading."""
    gauge_capacity: Words = ""
    """Where the gauge ends, such as "50 N"; "not reached" if the largest force was no end."""
    detection_limit: Words = ""
    """Below what the gauge reads nothing, such as "0.05 N"; "not determined" if n.d. means that."""
    missing_words: dict[str, str] = {}
    """word in a cell -> why there is no value."""
    words: dict[str, dict[str, str]] = {}
    """column -> word in its cells -> ours, as answered: "Objekt" in side is object."""
    side: Words = ""
    """The side of failures where no cell says one."""
    area_alone: Literal["grade by the area", "leave out", ""] = ""
    """What an area of residue without a grade is."""
    unit_words: dict[str, str] = {}
    """unit as they write it -> ours."""
    pattern_words: dict[str, str] = {}
    """word for a failure -> ISO 10365 letters, or shares such as "AF 60 CF 40"."""
    people: dict[str, str] = {}
    """initials -> name; several names with ; between where two people share them."""
    fill_down: dict[str, Literal["yes", "no"]] = {}
    """heading -> whether a blank cell means "as above"."""
    repeats: Literal["repeat reading", "correction", "duplicate", "second dot", ""] = ""
    coupon_numbers: Literal["marks of coupons", "numbers of the gauge", ""] = ""
    """What a column 1, 2, 3, … of coupons is."""
    colour: Literal["before placing", "after removal", "in place", ""] = ""
    """What L*, a*, b* are where the heading does not say."""
    percent_scale: Literal["percent", "fractions", ""] = ""
    zeros: Literal["as measured", "not measured", ""] = ""
    """What a* and b* of 0 in every row mean."""

    def text(self) -> str:
        """The layout as JSON without empty parts."""
        return self.model_dump_json(exclude_defaults=True)
