"""Register, labels: what stands on the label of each coupon of a set."""

from __future__ import annotations

from study.commands.plan_dealt import DealtPlan, dealt_plan
from study.errors import NotPossible, Unknown
from study.model.coupon import role_words
from study.model.interruption import NO_STOPS
from study.model.paper import CouponLabel
from study.model.pull import due_on
from study.store.acts import fetch_withdrawn_lots
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_stops
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_lots, fetch_pairings, fetch_sets, fetch_substrates
from study.store.study_file import StudyFile

TO_WRITE = "placed . . . . - . . - . ."
"""Stands on a label that is printed before its coupon is placed; the day is written in by hand."""


def coupon_labels(
    study: StudyFile, *, set_key: str = "", codes: tuple[str, ...] = (), plan: str = "", blind: bool = False
) -> list[CouponLabel]:
    """Labels of a set, of chosen coupons, of a plan, or of every coupon that stands in its placement.

    Parameters
    ----------
    plan : str
        A saved plan: of what was made from it, or, while its coupons are not placed, of all it will have.
    blind : bool
        Leave out adhesive and lot, so that whoever grades cannot read the cell from the label.

    Raises
    ------
    Unknown
        If the study has no such set, coupon or plan.
    NotPossible
        If both a set and a plan are named.
    """
    if plan and set_key:
        raise NotPossible("Both a set and a plan are named.", "Name one of the two.")
    dealt = dealt_plan(study, plan) if plan else None
    if dealt is not None and dealt.made is None:
        return _planned(study, dealt, codes=codes, blind=blind)
    sets, protocols, pairings, lots = (
        fetch_sets(study),
        fetch_protocols(study),
        fetch_pairings(study),
        fetch_lots(study),
    )
    coupons, pulled, stops = fetch_coupons(study), fetch_pulls(study), fetch_stops(study, protocols)
    if set_key and set_key not in sets:
        raise Unknown(f"“{set_key}” is not a set.", f"Known: {', '.join(sets) or 'none yet'}.")
    missing = [code for code in codes if code not in coupons]
    if missing:
        raise Unknown(f"“{missing[0]}” is not a coupon of this study.", "Look at dwellbook register show.")
    institution = study.fact("institution")
    wanted = {set_key} if set_key else set(dealt.made.sets) if dealt is not None and dealt.made is not None else None
    found = []
    for coupon in coupons.values():
        if (wanted is not None and coupon.set_key not in wanted) or (codes and coupon.code not in codes):
            continue
        if coupon.code in pulled and not codes:
            continue
        coupon_set = sets[coupon.set_key]
        schedule = protocols[coupon_set.protocol_digest].schedule
        scheduled = next((pull for pull in schedule.pulls if pull.label == coupon.pull_label), None)
        left_out = stops.get(coupon_set.key, NO_STOPS)
        due = (
            f"{scheduled.label}: {due_on(coupon_set.placed_on, scheduled, left_out)}" if scheduled
            else coupon.pull_label or role_words(coupon_set.role)
        )  # fmt: skip
        lot = lots.get(coupon_set.lot)
        adhesive = f"{lot.adhesive} · lot {lot.key}" if lot else "blank"
        surface = pairings[coupon_set.pairing].substrate.name if coupon_set.pairing else coupon_set.substrate
        lines = [surface if blind else f"{adhesive} · {surface}", f"placed {coupon_set.placed_on}", due, institution]
        if coupon.own_mark:
            lines.insert(0, f"own mark {coupon.own_mark}")
        found.append(CouponLabel(coupon.code, tuple(line for line in lines if line)))
    return found


def _planned(study: StudyFile, dealt: DealtPlan, *, codes: tuple[str, ...], blind: bool) -> list[CouponLabel]:
    """Labels of a plan whose coupons are still to be placed; its codes are kept for it."""
    missing = [code for code in codes if code not in {row.code for row in dealt.rows}]
    if missing:
        raise Unknown(f"“{missing[0]}” is not a coupon of plan {dealt.saved.name}.", "Look at its shelf map.")
    surfaces, withdrawn = fetch_substrates(study), fetch_withdrawn_lots(study)
    lots: dict[str, list[str]] = {}
    for lot in fetch_lots(study).values():
        if lot.key not in withdrawn:
            lots.setdefault(lot.adhesive, []).append(lot.key)
    found = []
    for row in dealt.rows:
        if codes and row.code not in codes:
            continue
        only = lots.get(row.adhesive, [])
        chosen = dealt.plan.lots.get(row.adhesive, only[0] if len(only) == 1 else "")
        adhesive = (f"{row.adhesive} · lot {chosen}" if chosen else row.adhesive) or "blank"
        surface = surfaces[row.substrate].name if row.substrate in surfaces else row.substrate
        lines = (
            surface if blind else f"{adhesive} · {surface}", TO_WRITE, row.pull or role_words(row.role),
            study.fact("institution"),
        )  # fmt: skip
        found.append(CouponLabel(row.code, tuple(line for line in lines if line)))
    return found
