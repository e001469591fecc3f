"""Due: the pulls that wait on a day, gathered once for the day's sheet and for the list at the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from study.model.duty import in_charge_of_pulls
from study.model.place import place_words, walking_order
from study.model.pull import LOOK_AHEAD_DAYS, DuePull, list_due
from study.store.coupons import fetch_coupons
from study.store.duties import fetch_duties
from study.store.interruptions import fetch_stops
from study.store.positions import fetch_positions
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile


def due_list(study: StudyFile, *, on: date, ahead_days: int = LOOK_AHEAD_DAYS) -> list[DuePull]:
    """Pulls that are overdue, due, or begin within ``ahead_days``, oldest due date first."""
    pulled, protocols, duties = fetch_pulls(study), fetch_protocols(study), fetch_duties(study)
    found = list_due(
        [coupon for coupon in fetch_coupons(study).values() if coupon.code not in pulled],
        sets=fetch_sets(study),
        schedules={digest: protocol.schedule for digest, protocol in protocols.items()},
        titles={key: pairing.title for key, pairing in fetch_pairings(study).items()},
        stops=fetch_stops(study, protocols),
        on=on,
        ahead_days=ahead_days,
    )
    return [replace(pull, in_charge=in_charge_of_pulls(duties, pull.set_key)) for pull in found]


def in_shelf_order(study: StudyFile, pulls: Sequence[DuePull]) -> list[DuePull]:
    """The same pulls with their places in the order of the shelf, what waits before what comes next.

    Sets without places stand as they were registered.
    """
    found, order = fetch_positions(study), {key: number for number, key in enumerate(fetch_sets(study))}
    walked = [
        replace(
            pull, codes=tuple(sorted(pull.codes, key=lambda code: walking_order(found.get(code)))),
            places={code: place_words(found[code]) for code in pull.codes if code in found},
        )
        for pull in pulls
    ]  # fmt: skip

    def key(pull: DuePull) -> tuple[object, ...]:
        # Coupons dealt over all shelves begin on the first one: what is due first then stands first.
        first = found.get(pull.codes[0])
        day = pull.due_on if first else date.min
        return (pull.state == "next", walking_order(first)[:2], day, order[pull.set_key], walking_order(first))

    return sorted(walked, key=key)
