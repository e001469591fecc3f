"""Due: the pulls that wait on a day, gathered once for the day's sheet and for the list at the shelf."""

from __future__ import annotations

from datetime import date

from study.model.pull import LOOK_AHEAD_DAYS, DuePull, list_due
from study.store.coupons import fetch_coupons
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile


def due_list(study: StudyFile, *, on: date, ahead_days: int = LOOK_AHEAD_DAYS) -> list[DuePull]:
    """Pulls that are overdue, due, or begin within ``ahead_days``, oldest due date first."""
    pulled = fetch_pulls(study)
    return list_due(
        [coupon for coupon in fetch_coupons(study).values() if coupon.code not in pulled],
        sets=fetch_sets(study),
        schedules={digest: protocol.schedule for digest, protocol in fetch_protocols(study).items()},
        titles={key: pairing.title for key, pairing in fetch_pairings(study).items()},
        on=on,
        ahead_days=ahead_days,
    )
