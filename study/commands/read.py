"""Read: readings enter the study, their verdicts come back, mistakes are superseded with a reason."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
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
from study.store.changes import refuse_same_file
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
from study.store.register import fetch_pairings, fetch_sets
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
    "L_look": ("L* in place", "same spot, while it stays placed"),
    "a_look": ("a* in place", ""),
    "b_look": ("b* in place", ""),
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
    with study.writing():
        refuse_same_file(study, table.digest, path)
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
    unknown = [name for name in typed if name not in OPTIONAL]
    if unknown:
        near = get_close_matches(unknown[0], OPTIONAL, n=1, cutoff=0.4)
        raise NotPossible(
            f"“{unknown[0]}” is not a column of readings.", f"Did you mean {near[0]}?" if near else f"Use {OPTIONAL}."
        )
    with study.writing():
        code = _code(study, typed_code)
        cells = {"coupon": code, "read_on": read_on.isoformat(), **{name: text.strip() for name, text in typed.items()}}
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
    with study.writing():
        return _correct(study, _code(study, typed_code), kind, value, signature)


def _correct(study: StudyFile, code: str, kind: str, value: str, signature: Signature) -> tuple[Reading, Reading]:
    if not signature.why.strip():
        raise NotPossible("A correction needs a reason.", "Write why, in one sentence.")
    in_force = fetch_in_force(study, code)
    if kind not in in_force:
        known = ", ".join(in_force) or "none"
        raise NotPossible(
            f"{code} has no {kind} to correct.", f"In force are: {known}. Enter a new one with read enter."
        )
    old = in_force[kind]
    cells = {"coupon": code, "read_on": old.read_on.isoformat(), **_cells_of(old.kind, value)}
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


def withdraw_reading(study: StudyFile, typed_code: str, kind: str, *, signature: Signature) -> Reading:
    """Take a reading back that belongs to another coupon or was never made, with a reason; it stays in the trail."""
    if not signature.why.strip():
        raise NotPossible("Taking a reading back needs a reason.", "Write why, in one sentence.")
    with study.writing():
        code = _code(study, typed_code)
        in_force = fetch_in_force(study, code)
        if kind not in in_force:
            known = ", ".join(in_force) or "none"
            raise NotPossible(f"{code} has no {kind} to take back.", f"In force are: {known}.")
        old = in_force[kind]
        before = {"typed": old.typed, "unit": old.unit}
        with study.change(signature, act="take reading back", subject=f"{code} {kind}", before=before) as change:
            supersede_reading(study, old.number, change=change)
    return old


def verdict_counts(study: StudyFile, codes: Collection[str]) -> list[str]:
    """What a batch of readings shows, in sentences: unacceptable coupons by criterion, and what stops a pairing."""
    counts: Counter[str] = Counter()
    stops: list[str] = []
    for code, found in _all_verdicts(study, set(codes)).items():
        for verdict in found:
            counts[verdict.criterion] += verdict.unacceptable is True
            if verdict.stop:
                stops.append(f"{code} stops its pairing: {verdict.criterion}, {verdict.words}")
    told = [f"{criterion}: {count} unacceptable" for criterion, count in counts.items() if count]
    return [*(told or ["Nothing unacceptable among them."]), *stops]


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
    return _all_verdicts(study, {code}).get(code, [])


def _all_verdicts(study: StudyFile, codes: set[str]) -> dict[str, list[Verdict]]:
    from study.analysis.acceptance import time_zero_limits
    from study.analysis.censoring import judged_histories, observations

    found: dict[str, list[Verdict]] = {}
    with study.snapshot():
        protocols, pairings = fetch_protocols(study), fetch_pairings(study)
        groups = fetch_histories(study, protocols)
    for (pairing, _, digest), histories in groups.items():
        if not any(history.code in codes for history in histories):
            continue
        protocol, faces_object = protocols[digest], pairings[pairing].substrate.faces_object
        for criterion in protocol.criteria:
            limits = time_zero_limits(histories, criterion=criterion)
            judged = judged_histories(histories, criterion=criterion, protocol=protocol)
            asked = [history for history in judged if history.code in codes]
            for seen in observations(asked, criterion=criterion, limits=limits, faces_object=faces_object):
                verdict = Verdict(criterion.title, seen.why, seen.unacceptable, seen.stop)
                found.setdefault(seen.code, []).append(verdict)
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
            in_place=protocol.seen_in_place,
        )
    return known


def _fields(protocol: Protocol, test: str, blank: bool, last: dict[str, tuple[str, str]]) -> tuple[FormField, ...]:
    force_per = protocol.method(test).force_per or "dot"
    units = {"hold_angle_deg": "°", "residue_grade": "grade 0–5"}
    choices = {"failure_pattern": PATTERNS, "side": SIDES, "force_unit": _FORCE_UNITS[force_per]}
    fields = []
    for kind in kinds_of(protocol.quantities(test, blank=blank)):
        cells = _cells_of(kind, last[kind][0]) if kind in last else {}
        if kind == "removal_force" and kind in last:
            cells["force_unit"] = last[kind][1]
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
    if kind == "failure_pattern" and len(value.split()) == 1:
        raise NotPossible(f"“{value}” has no side.", f"Give letters and side, such as “{value} object”.")
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
