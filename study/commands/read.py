"""Read: readings enter the study, their verdicts come back, mistakes are superseded with a reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from study.errors import NotPossible, Unknown
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.intake.reading_file import COLUMNS, OPTIONAL, REQUIRED, ReadableCoupon, kinds_of, parse_readings
from study.intake.table_file import Row, Table, parse_table
from study.model.coupon import Coupon
from study.model.person import Signature
from study.model.protocol import PATTERNS, SIDES, Protocol
from study.model.reading import Reading
from study.store.coupons import fetch_coupon, fetch_coupons, fetch_histories
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.readings import (
    fetch_in_force,
    fetch_kinds_read,
    fetch_last_typed,
    fetch_readings,
    save_readings,
    supersede_reading,
)
from study.store.register import fetch_pairings, fetch_sets, fetch_substrates
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Verdict:
    """What one criterion says about one coupon."""

    criterion: str
    words: str
    unacceptable: bool | None
    stop: bool = False


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


_LABELS = {
    "removal_force": ("Removal force", "highest force, as the gauge shows it; >50 if the gauge ran out"),
    "force_unit": ("Unit of force", ""),
    "failure_pattern": ("Failure pattern", "ISO 10365 letters of the largest share of the dot"),
    "side": ("Side", "where the break or the adhesive was left"),
    "residue_grade": ("Residue", "on the object side, as released; 3-4 when in doubt"),
    "L_before": ("L* before", "same spot, before placing"),
    "a_before": ("a* before", ""),
    "b_before": ("b* before", ""),
    "L_after": ("L* after", "same spot, after removal"),
    "a_after": ("a* after", ""),
    "b_after": ("b* after", ""),
    "hold_angle_deg": ("Hold angle", "tilt at release from horizontal; >90 if it held at 90°"),
}
_FORCE_UNITS = {
    "dot": ("N", "mN", "gf", "kgf", "lbf", "ozf"),
    "width": ("N/25 mm", "N/m", "N/cm", "gf/cm", "lbf/in", "ozf/in"),
}


def import_readings(study: StudyFile, path: Path, *, signature: Signature) -> list[Reading]:
    """Every reading of a file; all or nothing.

    Raises
    ------
    FileRefused
        With every problem of the file, its row, column, value and what to do.
    """
    table = parse_table(path, required=REQUIRED, optional=OPTIONAL)
    readings = parse_readings(table, known=_readable(study), today=signature.at.date())
    after = {"file_sha256": table.digest, "rows": len(table.rows), "readings": len(readings)}
    with study.change(signature, act="import readings", subject=table.file, after=after) as change:
        save_readings(study, readings, change=change)
    return readings


def record_reading(
    study: StudyFile, typed_code: str, typed: dict[str, str], *, read_on: date, signature: Signature
) -> list[Verdict]:
    """What was read on one coupon, and the verdict at once.

    Parameters
    ----------
    typed : dict
        Text by column of a reading file, as typed; a blank is "not measured".

    Raises
    ------
    FileRefused
        With every problem, each with its column.
    """
    code = _code(study, typed_code)
    cells = {"coupon": code, "read_on": read_on.isoformat(), **{name: text.strip() for name, text in typed.items()}}
    if not cells.get("removal_force"):
        cells.pop("force_unit", None)  # the form offers a unit before anything is typed
    table = Table(code, "", tuple(cells), (Row(0, cells),))
    readings = parse_readings(table, known=_readable(study), today=signature.at.date())
    after = {reading.kind: reading.typed for reading in readings}
    with study.change(signature, act="enter readings", subject=code, after=after) as change:
        save_readings(study, readings, change=change)
    return verdicts(study, code)


def correct_reading(
    study: StudyFile, typed_code: str, kind: str, value: str, *, signature: Signature
) -> tuple[Reading, Reading]:
    """Supersede a mistyped reading; the old one stays. Returns the old and the new.

    ``value`` is typed as in the reading file: "5.10 N", "CF object", "3-4", "82.1 -0.4 3.3", ">90".
    """
    code = _code(study, typed_code)
    if not signature.why.strip():
        raise NotPossible("A correction needs a reason.", "Give it with --why.")
    in_force = fetch_in_force(study, code)
    if kind not in in_force:
        known = ", ".join(in_force) or "none"
        raise NotPossible(
            f"{code} has no {kind} to correct.", f"In force are: {known}. Enter a new one with read enter."
        )
    old = in_force[kind]
    cells = {"coupon": code, "read_on": old.read_on.isoformat(), **_cells_of(kind, value)}
    readable = _readable(study)
    coupon = readable[code]
    others = [already for already in coupon.already if already != kind]
    known_now = {**readable, code: ReadableCoupon(**{**coupon.__dict__, "already": others})}
    (new,) = parse_readings(Table(code, "", tuple(cells), (Row(0, cells),)), known=known_now, today=signature.at.date())
    with study.change(
        signature, act="correct reading", subject=f"{code} {kind}",
        before={"typed": old.typed, "unit": old.unit}, after={"typed": new.typed, "unit": new.unit},
    ) as change:  # fmt: skip
        supersede_reading(study, old.number, change=change)
        save_readings(study, [new], change=change)
    return old, new


def coupon_form(study: StudyFile, typed_code: str) -> CouponForm:
    """One coupon with exactly the fields its protocol asks for."""
    code = _code(study, typed_code)
    coupon = fetch_coupon(study, code)
    assert coupon is not None
    coupon_set = fetch_sets(study)[coupon.set_key]
    protocol = fetch_protocols(study)[coupon_set.protocol_digest]
    pairing = fetch_pairings(study).get(coupon_set.pairing)
    pulled = fetch_pulls(study).get(code)
    return CouponForm(
        coupon=coupon,
        pairing=coupon_set.pairing,
        title=pairing.title if pairing else f"blank {coupon_set.substrate}",
        pulled_on=pulled.on if pulled else None,
        pull_kind=pulled.kind if pulled else "placed",
        dwell_days=(pulled.on - coupon_set.placed_on).days if pulled else None,
        fields=_fields(protocol, coupon.test, coupon_set.role == "blank", fetch_last_typed(study, coupon)),
        in_force=fetch_in_force(study, code),
    )


def coupon_trail(study: StudyFile, typed_code: str) -> list[tuple[Reading, dict[str, Any]]]:
    """Every reading of a coupon in order, superseded ones too, with names, moments and reasons."""
    return fetch_readings(study, _code(study, typed_code))


def verdicts(study: StudyFile, code: str) -> list[Verdict]:
    """What each criterion of its protocol says about one coupon, by the analysis floor's own rule."""
    from study.analysis.acceptance import time_zero_limits
    from study.analysis.censoring import judged_histories, observations

    coupon = fetch_coupon(study, code)
    assert coupon is not None
    coupon_set = fetch_sets(study)[coupon.set_key]
    protocols = fetch_protocols(study)
    protocol = protocols[coupon_set.protocol_digest]
    if not coupon_set.pairing:
        return []
    key = (coupon_set.pairing, coupon_set.lot, coupon_set.protocol_digest)
    histories = fetch_histories(study, protocols).get(key, [])
    faces_object = fetch_substrates(study)[coupon_set.substrate].faces_object
    found = []
    for criterion in protocol.criteria:
        judged = judged_histories(histories, criterion=criterion, protocol=protocol)
        limits = time_zero_limits(histories, criterion=criterion)
        of_coupon = [history for history in judged if history.code == code]
        for seen in observations(of_coupon, criterion=criterion, limits=limits, faces_object=faces_object):
            found.append(Verdict(criterion.title, seen.why, seen.unacceptable, seen.stop))
    return found


def _readable(study: StudyFile) -> dict[str, ReadableCoupon]:
    sets, protocols, pulled = fetch_sets(study), fetch_protocols(study), fetch_pulls(study)
    read = fetch_kinds_read(study)
    known = {}
    for code, coupon in fetch_coupons(study).items():
        coupon_set = sets[coupon.set_key]
        protocol = protocols[coupon_set.protocol_digest]
        known[code] = ReadableCoupon(
            placed_on=coupon_set.placed_on,
            pulled=pulled.get(code),
            quantities=protocol.quantities(coupon.test, blank=coupon_set.role == "blank"),
            force_per=protocol.method(coupon.test).force_per or "",
            already=read.get(code, ()),
        )
    return known


def _fields(protocol: Protocol, test: str, blank: bool, last: dict[str, str]) -> tuple[FormField, ...]:
    force_per = protocol.method(test).force_per or "dot"
    units = {"hold_angle_deg": "°", "residue_grade": "grade 0–5"}
    choices = {"failure_pattern": PATTERNS, "side": SIDES, "force_unit": _FORCE_UNITS[force_per]}
    fields = []
    for kind in kinds_of(protocol.quantities(test, blank=blank)):
        cells = _cells_of(kind, last[kind]) if kind in last else {}
        for column in COLUMNS[kind]:
            label, help_text = _LABELS[column]
            fields.append(
                FormField(
                    column,
                    label,
                    units.get(column, ""),
                    help_text,
                    cells.get(column, ""),
                    tuple(choices.get(column, ())),
                )
            )
    return tuple(fields)


def _cells_of(kind: str, value: str) -> dict[str, str]:
    if kind not in COLUMNS:
        raise NotPossible(f"“{kind}” is not a reading.", f"Use one of {', '.join(COLUMNS)}.")
    columns = COLUMNS[kind]
    if kind == "removal_force":
        return {"removal_force": value}
    parts = value.split()
    if len(parts) != len(columns):
        names = " ".join(columns)
        raise NotPossible(f"“{value}” has {len(parts)} parts.", f"Give {names}, with spaces between.")
    return dict(zip(columns, parts, strict=True))


def _code(study: StudyFile, typed: str) -> str:
    try:
        return parse_code(typed, known=fetch_coupons(study))
    except CellFault as fault:
        raise Unknown(f"“{typed}” {fault.what}", fault.do) from None
