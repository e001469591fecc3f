"""Read, the form: one coupon or a whole pull with exactly the fields its protocol asks for."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from study.commands.bench import code_of
from study.errors import NotPossible
from study.intake.reading_cells import DETAIL_OF
from study.intake.reading_columns import (
    COLOUR_CONDITIONS,
    COLUMNS,
    DETAIL_COLUMNS,
    KIND_OF,
    ROW_CONDITIONS,
    kinds_of,
    kinds_taken,
)
from study.model.colour import BACKINGS, GEOMETRIES, ILLUMINANTS, OBSERVERS_DEG, SPECULAR
from study.model.coupon import Coupon
from study.model.details import RESIDUE_AIDS, RESIDUE_FLAGS
from study.model.interruption import NO_STOPS, dwell_on
from study.model.protocol import PATTERNS, SIDES, Protocol
from study.model.reading import REPEATED, Reading
from study.store.coupons import fetch_coupon
from study.store.instruments import fetch_instruments
from study.store.interruptions import fetch_stops
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_last_typed, fetch_readings
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile

OpenStudy = StudyFile
"""An open study file, as the pages hand it on."""
READING_OF = KIND_OF
"""The reading that a field belongs to; fields about the whole row are not in it."""
CONDITIONS = COLOUR_CONDITIONS
"""Fields that say how a colour was measured."""


@dataclass(frozen=True)
class FormField:
    """One thing to type for a coupon."""

    kind: str
    """Column of a reading file: removal_force, force_unit, failure_pattern, side, residue_grade, L_before, …"""
    label: str
    unit: str
    help: str
    last: str
    """What was typed for the coupon read before this one in the same set."""
    choices: tuple[str, ...] = ()
    optional: bool = False
    """Asked for only when there is something to say; the page keeps it folded."""


@dataclass(frozen=True)
class CouponForm:
    """One coupon with the fields its protocol asks for and what is in force already."""

    coupon: Coupon
    pairing: str
    title: str
    pulled_on: date | None
    pull_kind: str
    dwell_days: int | None
    fields: tuple[FormField, ...]
    in_force: dict[str, Reading]
    awaited: tuple[str, ...] = ()
    """Kinds without which it is not fully read."""
    entered: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    """Who entered each reading in force, and the moment, by kind."""
    pull: str = ""
    """Label of the pull it is destined to; empty for a spare."""
    in_place: bool = False
    """Still placed; colours alone may be read."""
    instruments: tuple[str, ...] = ()
    climate: str = ""
    """The band its protocol wants the room in, in words; empty for none."""


_LABELS = {
    "removal_force": ("Removal force", "highest force, as the gauge shows it; >50 if the gauge ran out"),
    "force_unit": ("Unit of force", ""),
    "failure_pattern": ("Failure pattern", "AF, CF, SCF, SF, CSF, DF, ACFP; or shares: CF 60 object; AF 40 mount"),
    "side": ("Side", "the face it let go from, or the side that broke"),
    "residue_grade": ("Residue", "on the object side, as released; 3-4 when in doubt"),
    "residue_area_percent": ("Residue area", "of the dot's footprint; the worse of sight and area counts"),
    "halo_percent": ("Halo", "residue outside the footprint, over the footprint"),
    "residue_flags": ("Flags", "never folded into the grade; loss stops a pairing on an object's surface"),
    "residue_aids": ("Looked with", "a 0 claims no more than these can show"),
    "residue_second": ("Residue, second rater", "graded without knowing the first; both are kept"),
    "second_rater": ("Second rater", ""),
    "residue_cleaned": ("Residue after cleaning", "after the agreed step"),
    "cleaning_step": ("Cleaning step", "the agreed step, named"),
    "L_before": ("L* before", "same spot, before placing; several readings with spaces"),
    "a_before": ("a* before", ""),
    "b_before": ("b* before", ""),
    "L_after": ("L* after", "same spot, after removal; several readings with spaces"),
    "a_after": ("a* after", ""),
    "b_after": ("b* after", ""),
    "L_look": ("L* in place", "same spot, while it stays placed"),
    "a_look": ("a* in place", ""),
    "b_look": ("b* in place", ""),
    "illuminant": ("Illuminant", "D65 is usual"),
    "observer_deg": ("Observer", ""),
    "specular": ("Gloss", "included (SCI) or left out (SCE)"),
    "geometry": ("Geometry", ""),
    "aperture_mm": ("Aperture", ""),
    "backing": ("Backing", "what lay behind it"),
    "hold_angle_deg": ("Hold angle", "tilt at release from horizontal; >90 if it held at 90°"),
}
_UNITS = {
    "hold_angle_deg": "°", "residue_grade": "grade 0–5", "residue_second": "grade 0–5", "residue_cleaned": "grade 0–5",
    "residue_area_percent": "%", "halo_percent": "%", "aperture_mm": "mm", "observer_deg": "°",
}  # fmt: skip
_CHOICES = {
    "illuminant": ILLUMINANTS, "observer_deg": tuple(str(deg) for deg in OBSERVERS_DEG), "specular": SPECULAR,
    "geometry": GEOMETRIES, "backing": BACKINGS, "residue_flags": RESIDUE_FLAGS,
    "residue_aids": (*RESIDUE_AIDS, "bare eye"),
}  # fmt: skip
FORCE_UNITS = {
    "dot": ("N", "mN", "gf", "kgf", "lbf", "ozf"),
    "width": ("N/25 mm", "N/m", "N/cm", "gf/cm", "lbf/in", "ozf/in"),
}


def reading_key(reading: Reading) -> str:
    """Where a reading stands among those in force: its kind, for looks in place with the day."""
    return f"{reading.kind} {reading.read_on}" if reading.kind in REPEATED else reading.kind


def coupon_form(study: StudyFile, typed_code: str) -> CouponForm:
    """One coupon with exactly the fields its protocol asks for."""
    code = code_of(study, typed_code)
    coupon = fetch_coupon(study, code)
    assert coupon is not None
    coupon_set = fetch_sets(study)[coupon.set_key]
    protocols = fetch_protocols(study)
    protocol = protocols[coupon_set.protocol_digest]
    stops = fetch_stops(study, protocols).get(coupon.set_key, NO_STOPS)
    pairing = fetch_pairings(study).get(coupon_set.pairing)
    pulled = fetch_pulls(study, [code]).get(code)
    blank = coupon_set.role == "blank"
    fields = form_fields(protocol, coupon.test, blank=blank, last=fetch_last_typed(study, coupon))
    in_place = pulled is None
    if in_place:
        fields = _fields_in_place(fields, looks=protocol.seen_in_place)
    trail = [(reading, who) for reading, who in fetch_readings(study, code) if who["superseded_by"] is None]
    in_force = {reading_key(reading): reading for reading, _ in trail}
    return CouponForm(
        coupon=coupon,
        pairing=coupon_set.pairing,
        title=pairing.title if pairing else f"blank {coupon_set.substrate}",
        pulled_on=pulled.on if pulled else None,
        pull_kind=pulled.kind if pulled else "placed",
        dwell_days=dwell_on(coupon_set.placed_on, pulled.on, stops) if pulled else None,
        fields=fields,
        in_force=in_force,
        awaited=kinds_of(protocol.quantities(coupon.test, blank=blank)),
        entered={reading_key(reading): (who["entered_by"], who["entered_at"]) for reading, who in trail},
        pull=coupon.pull_label,
        in_place=in_place,
        instruments=tuple(fetch_instruments(study)),
        climate=climate_words(protocol),
    )


def climate_words(protocol: Protocol) -> str:
    """The band a protocol wants the room in while it is read, such as "20 to 24 °C, 45 to 55 %"; empty for none."""
    band = protocol.reading_climate
    if band is None:
        return ""
    return (
        f"{band.temperature_from_c:g} to {band.temperature_to_c:g} °C, "
        f"{band.humidity_from_percent:g} to {band.humidity_to_percent:g} %"
    )


def _fields_in_place(fields: tuple[FormField, ...], *, looks: bool) -> tuple[FormField, ...]:
    """What may be read before the pull: the colour before, and looks where the protocol has them."""
    before = [one for one in fields if one.kind in (*COLUMNS["colour_before"], *COLOUR_CONDITIONS)]
    if not looks:
        return tuple(before)
    seen = [FormField(column, *_label(column), "") for column in COLUMNS["colour_look"]]
    return (*seen, *(replace(one, optional=True) for one in before))


def _label(column: str) -> tuple[str, str, str]:
    label, help_text = _LABELS[column]
    return label, _UNITS.get(column, ""), help_text


def form_fields(
    protocol: Protocol, test: str, *, blank: bool, last: dict[str, tuple[str, str]]
) -> tuple[FormField, ...]:
    """The fields of one test of a protocol, awaited ones and those that may follow."""
    force_per = protocol.method(test).force_per or "dot"
    choices = {"failure_pattern": PATTERNS, "side": SIDES, "force_unit": FORCE_UNITS[force_per], **_CHOICES}
    quantities = protocol.quantities(test, blank=blank)
    awaited = kinds_of(quantities)
    fields = []
    for kind in kinds_taken(quantities):
        cells = cells_of(kind, last[kind][0]) if kind in last else {}
        if kind == "removal_force" and kind in last:
            cells["force_unit"] = last[kind][1]
        details = DETAIL_COLUMNS.get(kind, ())
        for column in (*COLUMNS[kind], *details):
            label, help_text = _LABELS[column]
            fields.append(
                FormField(
                    column, label, _UNITS.get(column, ""), help_text, cells.get(column, ""),
                    tuple(choices.get(column, ())), optional=kind not in awaited or column in details,
                )
            )  # fmt: skip
    if any(one.kind in ("L_before", "L_after") for one in fields):
        fields += [
            FormField(column, *_label(column), "", tuple(choices.get(column, ())), optional=True)
            for column in COLOUR_CONDITIONS
        ]
    return tuple(fields)


def cells_of(kind: str, value: str) -> dict[str, str]:
    """The cells of one reading from its text, as a correction types it.

    Raises
    ------
    NotPossible
        If it is no kind of reading, or has another number of parts.
    """
    if kind not in COLUMNS:
        raise NotPossible(f"“{kind}” is not a reading.", f"Use one of {', '.join(COLUMNS)}.")
    columns = COLUMNS[kind]
    if len(columns) == 1 or kind == "removal_force":
        return {columns[0]: value}
    parts = value.split()
    if kind == "failure_pattern":
        if ";" in value or any(character.isdigit() for character in value):
            return {"failure_pattern": value}
        if len(parts) == 1:
            raise NotPossible(f"“{value}” has no side.", f"Give letters and side, such as “{value} object”.")
        return {"failure_pattern": " ".join(parts[:-1]), "side": parts[-1]}
    if len(parts) % 3:
        names = " ".join(columns)
        raise NotPossible(f"“{value}” has {len(parts)} parts.", f"Give {names}, with spaces between.")
    many = len(parts) // 3
    return {column: " ".join(parts[i * many : (i + 1) * many]) for i, column in enumerate(columns)}


def typed_cells(reading: Reading) -> dict[str, str]:
    """The cells of a reading's value, which give the very same reading when they are typed again."""
    columns, details = COLUMNS[reading.kind], reading.details
    if reading.kind == "removal_force":
        return {"removal_force": reading.typed, "force_unit": reading.unit}
    if reading.kind == "failure_pattern":
        if details.shares:
            said = "; ".join(f"{s.pattern} {plain_number(s.percent)} {s.side}" for s in details.shares)
            return {"failure_pattern": said}
        return {"failure_pattern": reading.pattern, "side": reading.side}
    if reading.kind.startswith("colour"):
        spots = details.spots or ((reading.lab,) if reading.lab else ())
        typed = [part for part in re.split(r"[;\s]+", reading.typed) if part]
        if len(typed) == 3 * len(spots):
            many = len(spots)
            return {column: "; ".join(typed[i * many : (i + 1) * many]) for i, column in enumerate(columns)}
        return {column: "; ".join(plain_number(spot[axis]) for spot in spots) for axis, column in enumerate(columns)}
    return {columns[0]: reading.typed}


def beside_columns(kind: str) -> tuple[str, ...]:
    """Columns of what stands beside a reading of a kind and may be wrong by itself; a colour before has no day."""
    day = () if kind == "colour_before" else ("read_on",)
    beside = [column for column in ROW_CONDITIONS if (kind, column) != ("residue_second", "read_by")]
    colours = COLOUR_CONDITIONS if kind.startswith("colour") else ()
    return (*day, *DETAIL_COLUMNS.get(kind, ()), *colours, *beside)


def beside_cells(reading: Reading) -> dict[str, str]:
    """What stands beside a reading's value as it is typed, by column; blank where nothing was said."""
    found = {}
    for column in beside_columns(reading.kind):
        value = reading.read_on.isoformat() if column == "read_on" else getattr(reading.details, DETAIL_OF[column])
        if column == "residue_aids" and value == ():
            value = "bare eye"
        between = " " if column == "residue_flags" else "; "
        found[column] = between.join(value) if isinstance(value, tuple) else plain_number(value)
    return found


def plain_number(value: Any) -> str:
    """A number to its last bit, without a needless .0; text as it is; nothing for None."""
    if value is None:
        return ""
    return str(int(value)) if isinstance(value, float) and value.is_integer() and abs(value) < 1e15 else str(value)
