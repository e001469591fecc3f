"""Read, the form: one coupon or a whole pull with exactly the fields its protocol asks for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from study.commands.bench import code_of
from study.errors import NotPossible
from study.intake.reading_columns import COLUMNS, DETAIL_COLUMNS, kinds_of, kinds_taken
from study.model.coupon import Coupon
from study.model.details import RESIDUE_AIDS, RESIDUE_FLAGS
from study.model.protocol import PATTERNS, SIDES, Protocol
from study.model.reading import Reading
from study.store.coupons import fetch_coupon
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_in_force, fetch_last_typed
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile


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


_LABELS = {
    "removal_force": ("Removal force", "highest force, as the gauge shows it; >50 if the gauge ran out"),
    "force_unit": ("Unit of force", ""),
    "failure_pattern": ("Failure pattern", "ISO 10365 letters, or shares: CF 60 object; AF 40 mount"),
    "side": ("Side", "where the break or the adhesive was left"),
    "residue_grade": ("Residue", "on the object side, as released; 3-4 when in doubt"),
    "residue_area_percent": ("Residue area", "of the dot's footprint; the worse of sight and area counts"),
    "halo_percent": ("Halo", "residue outside the footprint, over the footprint"),
    "residue_flags": ("Flags", f"{', '.join(RESIDUE_FLAGS)}; loss stops a pairing on an object's surface"),
    "residue_aids": ("Looked with", f"{'; '.join(RESIDUE_AIDS)}; a 0 claims no more than these can show"),
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
    "hold_angle_deg": ("Hold angle", "tilt at release from horizontal; >90 if it held at 90°"),
}
_UNITS = {
    "hold_angle_deg": "°", "residue_grade": "grade 0–5", "residue_second": "grade 0–5", "residue_cleaned": "grade 0–5",
    "residue_area_percent": "%", "halo_percent": "%",
}  # fmt: skip
FORCE_UNITS = {
    "dot": ("N", "mN", "gf", "kgf", "lbf", "ozf"),
    "width": ("N/25 mm", "N/m", "N/cm", "gf/cm", "lbf/in", "ozf/in"),
}


def coupon_form(study: StudyFile, typed_code: str) -> CouponForm:
    """One coupon with exactly the fields its protocol asks for."""
    code = code_of(study, typed_code)
    coupon = fetch_coupon(study, code)
    assert coupon is not None
    coupon_set = fetch_sets(study)[coupon.set_key]
    protocol = fetch_protocols(study)[coupon_set.protocol_digest]
    pairing = fetch_pairings(study).get(coupon_set.pairing)
    pulled = fetch_pulls(study, [code]).get(code)
    blank = coupon_set.role == "blank"
    return CouponForm(
        coupon=coupon,
        pairing=coupon_set.pairing,
        title=pairing.title if pairing else f"blank {coupon_set.substrate}",
        pulled_on=pulled.on if pulled else None,
        pull_kind=pulled.kind if pulled else "placed",
        dwell_days=(pulled.on - coupon_set.placed_on).days if pulled else None,
        fields=form_fields(protocol, coupon.test, blank=blank, last=fetch_last_typed(study, coupon)),
        in_force=fetch_in_force(study, code),
        awaited=kinds_of(protocol.quantities(coupon.test, blank=blank)),
    )


def form_fields(
    protocol: Protocol, test: str, *, blank: bool, last: dict[str, tuple[str, str]]
) -> tuple[FormField, ...]:
    """The fields of one test of a protocol, awaited ones and those that may follow."""
    force_per = protocol.method(test).force_per or "dot"
    choices = {"failure_pattern": PATTERNS, "side": SIDES, "force_unit": FORCE_UNITS[force_per]}
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
