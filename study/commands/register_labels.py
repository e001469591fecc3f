"""Register, labels: what stands on the label of each coupon of a set."""

from __future__ import annotations

from study.errors import Unknown
from study.model.interruption import NO_STOPS
from study.model.paper import CouponLabel
from study.model.pull import due_on
from study.store.coupons import fetch_coupons
from study.store.interruptions import fetch_stops
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_lots, fetch_pairings, fetch_sets
from study.store.study_file import StudyFile


def coupon_labels(
    study: StudyFile, *, set_key: str = "", codes: tuple[str, ...] = (), blind: bool = False
) -> list[CouponLabel]:
    """Labels of a set, of chosen coupons, or of every coupon that stands in its placement.

    Parameters
    ----------
    blind : bool
        Leave out adhesive and lot, so that whoever grades cannot read the cell from the label.

    Raises
    ------
    Unknown
        If the study has no such set or coupon.
    """
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
    found = []
    for coupon in coupons.values():
        if (set_key and coupon.set_key != set_key) or (codes and coupon.code not in codes):
            continue
        if coupon.code in pulled and not codes:
            continue
        coupon_set = sets[coupon.set_key]
        schedule = protocols[coupon_set.protocol_digest].schedule
        scheduled = next((pull for pull in schedule.pulls if pull.label == coupon.pull_label), None)
        left_out = stops.get(coupon_set.key, NO_STOPS)
        due = (
            f"{scheduled.label}: {due_on(coupon_set.placed_on, scheduled, left_out)}" if scheduled else coupon_set.role
        )
        lot = lots.get(coupon_set.lot)
        adhesive = f"{lot.adhesive} · lot {lot.key}" if lot else "blank"
        surface = pairings[coupon_set.pairing].substrate.name if coupon_set.pairing else coupon_set.substrate
        lines = [surface if blind else f"{adhesive} · {surface}", f"placed {coupon_set.placed_on}", due, institution]
        if coupon.own_mark:
            lines.insert(0, f"own mark {coupon.own_mark}")
        found.append(CouponLabel(coupon.code, tuple(line for line in lines if line)))
    return found
