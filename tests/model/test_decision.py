"""The digest of evidence changes with everything that can move an estimate, and with nothing else."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from study.model.decision import coupon_digests, evidence_digest
from study.model.details import Details
from study.model.reading import CouponHistory, Reading

SEEN = Reading(code="N1", kind="colour_look", read_on=date(2026, 4, 1), typed="", lab=(60.0, 2.0, 10.0))
FORCE = Reading(code="N1", kind="removal_force", read_on=date(2026, 4, 1), typed="5.1", unit="N", lower=5.1, upper=5.1)
COUPON = CouponHistory(
    code="N1", set_key="S1", role="test", test="pull-off-dot", lot="L", pull_kind="pulled", pull_group="3 months",
    planned_group="3 months", dwell_days=91.0, readings={"removal_force": FORCE}, looks=((40.0, SEEN),),
)  # fmt: skip


def digest(*histories: CouponHistory) -> str:
    return evidence_digest(histories, faces_object=True)


@pytest.mark.parametrize(
    "changed",
    [
        {"looks": ((41.0, SEEN),)},
        {"looks": ((40.0, replace(SEEN, lab=(60.0, 2.0, 10.1))),)},
        {"looks": ((40.0, replace(SEEN, details=Details(illuminant="A"))),)},
        {"readings": {"removal_force": replace(FORCE, typed=">5.1")}},
        {"readings": {"removal_force": replace(FORCE, details=Details(temperature_c=21.0))}},
        {"blank_drift": (0.1, 0.0, 0.0)},
        {"stop_lifted": True},
        {"planned_group": "6 months"},
        {"last_seen_days": 40.0},
    ],
)
def test_whatever_can_move_an_estimate_changes_the_digest(changed: dict[str, Any]) -> None:
    """How a look was measured too: against a colour before measured otherwise it gives no difference at all."""
    other = replace(COUPON, **changed)
    assert digest(other) != digest(COUPON)
    assert coupon_digests([other]) != coupon_digests([COUPON])


def test_order_of_coupons_and_numbers_in_the_file_change_nothing() -> None:
    """Nor does the day a reading was typed: only its dwell counts."""
    second = replace(COUPON, code="N2")
    assert digest(COUPON, second) == digest(second, COUPON)
    renumbered = replace(COUPON, readings={"removal_force": replace(FORCE, number=7, read_on=date(2026, 4, 2))})
    assert digest(renumbered) == digest(COUPON)
