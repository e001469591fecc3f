"""Looks in place follow a coupon until it fails: their readings carry no line, and their limit is approximate."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from study.analysis.duration import pairing_estimate
from study.model.estimate import Estimate
from study.model.protocol import Protocol
from study.model.reading import CouponHistory, Reading


def followed(coupon: Any, *, last: float, change: float) -> CouponHistory:
    """A coupon whose colour was read before placing and at three looks, changing a little more at each."""
    history: CouponHistory = coupon(dwell=last, colours=((60.0, 2.0, 10.0), (60.0, 2.0, 10.0 + change)))
    looks = tuple(
        (
            last * share,
            Reading(history.code, "colour_look", date(2026, 1, 1), "", lab=(60.0, 2.0, 10.0 + change * share)),
        )
        for share in (0.25, 0.5, 0.75)
    )
    return replace(history, looks=looks)


def stain(protocol: Protocol, histories: list[CouponHistory], looks: str) -> Estimate:
    """Discoloration alone, looked at once or in place."""
    criterion = next(c for c in protocol.criteria if c.key == "discoloration").model_copy(update={"looks": looks})
    alone = protocol.model_copy(update={"criteria": (criterion,)})
    (found,) = pairing_estimate(histories=histories, protocol=alone, faces_object=False).estimates
    return found


def test_readings_followed_in_place_carry_no_line(protocol: Protocol, coupon: Any) -> None:
    """The same coupons looked at once have a line that decides; looked at again and again they have none, and what
    they show rests on an approximate limit and is provisional."""
    histories = [
        replace(followed(coupon, last=day, change=0.4 + 0.02 * copy + 0.0003 * day), pull_group=f"{day:g} d")
        for day in (91.0, 182.0, 365.0, 730.0)
        for copy in range(4)
    ]
    once, again = (stain(protocol, histories, looks) for looks in ("one look", "in place"))
    assert once.decline is not None
    assert once.provisional_why is None
    assert again.decline is None
    assert again.pass_fail is not None
    assert again.pass_fail.approximate
    assert again.bound_days == again.pass_fail.lower_days
    assert again.provisional_why == "looks in place give only an approximate limit"
