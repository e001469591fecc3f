"""Waiting: coupons pulled and not yet read; shared by the day's sheet and a hand-over."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from study.intake.reading_columns import kinds_of
from study.model.pull import READABLE_KINDS
from study.store.coupons import fetch_coupons
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_kinds_read
from study.store.register import fetch_sets
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Unread:
    """A coupon that was pulled and still lacks readings its protocol asks for."""

    code: str
    set_key: str
    pairing: str
    pulled_on: date
    missing: tuple[str, ...]


def unread_coupons(study: StudyFile) -> list[Unread]:
    """Pulled coupons with readings missing, longest waiting first."""
    sets, protocols, coupons = fetch_sets(study), fetch_protocols(study), fetch_coupons(study)
    read = fetch_kinds_read(study)
    found = []
    for code, event in fetch_pulls(study).items():
        if event.kind not in READABLE_KINDS:
            continue
        coupon = coupons[code]
        coupon_set = sets[coupon.set_key]
        asked = kinds_of(
            protocols[coupon_set.protocol_digest].quantities(coupon.test, blank=coupon_set.role == "blank")
        )
        missing = tuple(kind for kind in asked if kind not in read.get(code, set()))
        if missing:
            found.append(Unread(code, coupon.set_key, coupon_set.pairing, event.on, missing))
    return sorted(found, key=lambda coupon: (coupon.pulled_on, coupon.set_key))
