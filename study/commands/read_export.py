"""Read, export: readings in force in our own columns, as typed, and empty sheets to type the next ones into."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from study.commands.read_form import beside_cells, plain_number, typed_cells
from study.errors import Unknown
from study.intake.reading_columns import (
    COLOUR_CONDITIONS,
    COLUMNS,
    DETAIL_COLUMNS,
    KEPT_FLAGS,
    OPTIONAL,
    REQUIRED,
    kinds_taken,
)
from study.intake.reading_file import flags_text
from study.model.coupon import Coupon
from study.model.layout import STUDY_COLUMNS
from study.model.reading import REPEATED, Reading
from study.outputs.safe_csv import csv_text
from study.store.coupons import fetch_coupons
from study.store.protocols import fetch_protocols
from study.store.readings import fetch_all_in_force
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile

EXPORTED = (*REQUIRED, *OPTIONAL)
_CONDITIONS = ("temperature_c", "humidity_percent", "instrument", "read_by", "note")
_PLAIN_COLUMNS = (
    *REQUIRED, "removal_force", "force_unit", "failure_pattern", "side", "residue_grade", "L_before", "a_before",
    "b_before", "L_after", "a_after", "b_after", "hold_angle_deg", "read_by", "note",
)  # fmt: skip
WIDE_TEMPLATE = (
    "coupon", *(column for column in STUDY_COLUMNS if column not in ("finish", "composition_class")),
    *_PLAIN_COLUMNS[1:],
)  # fmt: skip
EMPTY_SHEET = csv_text(_PLAIN_COLUMNS, [])
"""A sheet of readings without rows."""


@dataclass
class _Line:
    """One row of an exported sheet while it fills: what every reading on it must have in common."""

    read_on: str
    conditions: dict[str, str]
    colours: dict[str, str] | None
    cells: dict[str, str]
    kinds: set[str]
    flags: dict[str, tuple[str, ...]]


def exported_readings(study: StudyFile, *, pairing: str = "") -> tuple[str, int]:
    """Readings in force as CSV that Dwellbook reads back to the same numbers, and how many they are.

    Parameters
    ----------
    pairing : str
        Its key; empty for all. A blank belongs to no pairing and comes with all alone.

    Raises
    ------
    Unknown
        If there is no such pairing.
    """
    with study.snapshot():
        known = fetch_pairings(study)
        if pairing and pairing not in known:
            raise Unknown(f"“{pairing}” is not a pairing.", f"Known: {', '.join(known) or 'none yet'}.")
        sets = fetch_sets(study)
        codes = [c.code for c in fetch_coupons(study).values() if pairing in ("", sets[c.set_key].pairing)]
        in_force = fetch_all_in_force(study, codes)
    rows = [row for code in codes for row in _rows(code, in_force.get(code, {}).values())]
    filled = {column for row in rows for column, cell in row.items() if cell}
    columns = [column for column in EXPORTED if column in REQUIRED or column in filled]
    return csv_text(columns, rows), sum(len(found) for found in in_force.values())


def reading_template(study: StudyFile, *, set_key: str = "", pull: str = "") -> str:
    """A sheet of readings as CSV: its header, and the coupons of a set or of one pull of it, in order of registration.

    Raises
    ------
    Unknown
        If there is no such set, or nothing of it is destined to that pull.
    """
    sets, protocols = fetch_sets(study), fetch_protocols(study)
    if set_key and set_key not in sets:
        raise Unknown(f"“{set_key}” is not a coupon set.", f"Known: {', '.join(sets) or 'none yet'}.")
    every = [c for c in fetch_coupons(study).values() if c.set_key == set_key or not set_key]
    chosen = [coupon for coupon in every if coupon.pull_label == pull or not pull]
    if not chosen:
        labels = ", ".join(dict.fromkeys(coupon.pull_label or "spares" for coupon in every)) or "no coupons"
        raise Unknown(f"No coupon of it is destined to “{pull}”.", f"There are: {labels}.")
    read: list[str] = []
    for coupon in chosen:
        of = sets[coupon.set_key]
        quantities = protocols[of.protocol_digest].quantities(coupon.test, blank=of.role == "blank")
        read += [column for kind in kinds_taken(quantities) for column in COLUMNS[kind]]
    columns = [column for column in _PLAIN_COLUMNS if column in read or column in (*REQUIRED, "read_by", "note")]
    return csv_text(columns, [{"coupon": _called(coupon)} for coupon in chosen])


def study_template() -> str:
    """An empty sheet for a study already under way, a row a coupon, as CSV."""
    return csv_text(WIDE_TEMPLATE, [])


def _called(coupon: Coupon) -> str:
    return coupon.own_mark or coupon.code


def _rows(code: str, readings: Iterable[Reading]) -> Iterator[dict[str, str]]:
    lines: list[_Line] = []
    ordered = sorted(readings, key=lambda reading: (reading.kind == "colour_before", reading.number))
    for reading in ordered:
        _place(reading, lines)
    for line in lines:
        row = {"coupon": code, "read_on": line.read_on, **line.conditions, **(line.colours or {}), **line.cells}
        yield {**row, KEPT_FLAGS: flags_text(line.flags)}


def _place(reading: Reading, lines: list[_Line]) -> None:
    """Put a reading on the first row that it can share, or on one of its own."""
    conditions = {name: plain_number(getattr(reading.details, name)) for name in _CONDITIONS}
    if reading.kind == "residue_second" and conditions["read_by"]:
        del conditions["read_by"]  # its rater has a column of its own, whoever stands under the row
    colours = {name: plain_number(getattr(reading.details, name)) for name in COLOUR_CONDITIONS}
    coloured = reading.kind.startswith("colour")
    day = reading.read_on.isoformat()
    for line in lines:
        # A colour before is dated at placement wherever it is written; a look in place has its own row.
        alone = (reading.kind in REPEATED) != bool(line.kinds & set(REPEATED))
        same_day = line.read_on == day or reading.kind == "colour_before"
        alike = all(line.conditions.get(name, text) == text for name, text in conditions.items())
        if not alone and same_day and alike and reading.kind not in line.kinds:
            if coloured and line.colours is not None and line.colours != colours:
                continue
            break
    else:
        line = _Line(day, {}, None, {}, set(), {})
        lines.append(line)
    line.conditions |= conditions
    if coloured:
        line.colours = colours
    line.kinds.add(reading.kind)
    line.cells |= _cells(reading)
    line.flags[reading.kind] = reading.details.marks


def _cells(reading: Reading) -> dict[str, str]:
    beside = beside_cells(reading) if reading.kind in DETAIL_COLUMNS else {}
    return typed_cells(reading) | {column: beside[column] for column in DETAIL_COLUMNS.get(reading.kind, ())}
