"""Censoring: from coupons to what each tells about the time to unacceptable, and why."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from study.analysis.acceptance import coupon_verdict, look_verdicts
from study.analysis.tolerance import share_lower
from study.model.colour import mixed
from study.model.coupon import EVIDENCE_ROLES
from study.model.estimate import Observation, PullCount
from study.model.protocol import Criterion, Protocol
from study.model.pull import IN_PLACE
from study.model.reading import CouponHistory

RELEASED = "released by itself"
GONE = ("lost", "damaged")
UNDECIDED = "the reading does not decide it"


def judged_histories(
    histories: Sequence[CouponHistory], *, criterion: Criterion, protocol: Protocol
) -> tuple[CouponHistory, ...]:
    """The coupons a criterion judges, in an order that no name or row decides.

    Parameters
    ----------
    histories : sequence of CouponHistory
        Coupons of one pairing that have left their placement.
    criterion : Criterion
        Its ``tests`` name the coupons it judges; empty means every coupon that is to carry the quantity. Where a
        release counts, a coupon of any test that released by itself is judged too.
    protocol : Protocol
        Says which quantities a test reads.
    """
    tests = {entry.method for entry in protocol.tests}
    chosen = []
    for history in histories:
        if history.role not in EVIDENCE_ROLES:
            continue
        if history.pull_kind == IN_PLACE and criterion.looks != "in place":
            carries = False
        elif criterion.release_counts and history.pull_kind == RELEASED:
            # Whatever it was destined to, it let go: nobody has to tilt it to know that it does not hold.
            carries = True
        elif criterion.tests:
            carries = history.test in criterion.tests
        else:
            known = history.test in tests and criterion.quantity in protocol.quantities(history.test)
            carries = known or criterion.quantity in history.readings
        if carries:
            chosen.append(history)
    return tuple(sorted(chosen, key=lambda h: (h.dwell_days, h.set_key, h.pull_group, h.code)))


def observations(
    histories: Sequence[CouponHistory],
    *,
    criterion: Criterion,
    limits: Mapping[str, float | None],
    faces_object: bool,
) -> tuple[Observation, ...]:
    """What each coupon tells about its time to unacceptable under one criterion.

    Parameters
    ----------
    histories : sequence of CouponHistory
        Coupons the criterion judges.
    criterion : Criterion
        What is unacceptable.
    limits : mapping of lot to limit
        As ``acceptance.time_zero_limits`` gives it.
    faces_object : bool
        Whether the substrate stands for an object.

    Returns
    -------
    tuple of Observation
        One for each coupon; (0, inf) where it tells nothing, with the reason in ``why``.

    Source
    ------
    [turnbull1976]: intervals are open on the left, closed on the right. A coupon pulled and looked at once is
    current-status data.
    """
    return tuple(_observation(history, criterion, limits.get(history.lot), faces_object) for history in histories)


def _seen_in_place(history: CouponHistory, criterion: Criterion, limit: float | None) -> Observation:
    """A coupon looked at again and again: the last acceptable look before the first unacceptable one."""
    after, by, words, stop = 0.0, math.inf, [], False
    value = math.nan
    for dwell, verdict in look_verdicts(history, criterion=criterion, limit=limit):
        words.append(f"at {dwell:g} d {verdict.why}")
        stop |= verdict.stop and not history.stop_lifted
        value = verdict.lower
        if verdict.unacceptable:
            by = dwell
            break
        after = dwell
    unacceptable = True if math.isfinite(by) else False if after > 0 else None
    return Observation(
        code=history.code, set_key=history.set_key, pull_group=history.pull_group,
        dwell_days=by if unacceptable else after, lower=value, upper=value, unacceptable=unacceptable, stop=stop,
        after_days=after, by_days=by, why="; ".join(words) or "no colour was read before placing", lot=history.lot,
    )  # fmt: skip


def _observation(history: CouponHistory, criterion: Criterion, limit: float | None, faces_object: bool) -> Observation:
    if criterion.looks == "in place" and history.looks and criterion.quantity == "discoloration":
        return _seen_in_place(history, criterion, limit)
    verdict = coupon_verdict(history, criterion=criterion, limit=limit, faces_object=faces_object)
    lower, upper, stop = math.nan, math.nan, False
    unacceptable: bool | None = None
    after, by, released = 0.0, math.inf, False
    group = history.pull_group
    if history.pull_kind == RELEASED and criterion.release_counts:
        unacceptable, released = True, True
        after, by = history.last_seen_days, history.dwell_days
        group = history.planned_group
        why = f"released by itself, between {after:g} d, when it was last seen holding, and {by:g} d"
        why = f"destined to {history.test}, {why}"
    elif verdict is None:
        why = _silence(history, criterion, limit)
    else:
        lower, upper, unacceptable, stop, why = (
            verdict.lower, verdict.upper, verdict.unacceptable, verdict.stop and not history.stop_lifted, verdict.why
        )  # fmt: skip
        if unacceptable is None:
            why = f"{UNDECIDED}: {why}"
        elif unacceptable:
            by = history.dwell_days
        elif history.pull_kind == RELEASED:
            # It was acceptable when it was found, but nobody knows how long the surfaces had still been in contact.
            unacceptable, lower, upper = None, math.nan, math.nan
            why = f"{UNDECIDED}: {why}, and the day it let go is not known"
        else:
            after = history.dwell_days
        why = f"{history.pull_kind} at {history.dwell_days:g} d: {why}"
    return Observation(
        code=history.code, set_key=history.set_key, pull_group=group, dwell_days=history.dwell_days,
        lower=lower, upper=upper, unacceptable=unacceptable, stop=stop, after_days=after, by_days=by,
        why=why, released=released, lot=history.lot,
    )  # fmt: skip


def _silence(history: CouponHistory, criterion: Criterion, limit: float | None) -> str:
    if history.pull_kind in GONE:
        return f"{history.pull_kind} before it was read"
    if history.pull_kind == RELEASED:
        return "released by itself before it was read"
    if limit is None and criterion.of_time_zero and criterion.quantity in history.readings:
        return f"lot {history.lot} has no time-zero reading to take the limit from"
    if criterion.quantity == "discoloration" and "colour_after" in history.readings:
        if "colour_before" not in history.readings:
            return "no colour was read before placing"
        colours = (history.readings[kind].details for kind in ("colour_before", "colour_after"))
        return f"measured in two ways: {' '.join(mixed(*colours))}"
    return "pulled but not measured"


def joined(judged: Sequence[Sequence[Observation]]) -> tuple[Observation, ...]:
    """Several criteria of each coupon as one: the time until it fails any of those it was read for.

    Parameters
    ----------
    judged : sequence of sequences of Observation
        One for each criterion; a coupon may stand in some of them only.

    Returns
    -------
    tuple of Observation
        One for each coupon read for any of them. It ends by the earliest end, and is known to have been acceptable only
        as long as it was so under every criterion; a reading that does not decide leaves it open unless another fails.

    Source
    ------
    [turnbull1976] for the intervals; the earliest of several times lies where the earliest of their intervals does.
    """
    together: dict[str, list[Observation]] = {}
    for found in judged:
        for o in found:
            if o.unacceptable is not None or UNDECIDED in o.why:
                together.setdefault(o.code, []).append(o)
    return tuple(_joint(parts) for parts in together.values())


def _joint(parts: list[Observation]) -> Observation:
    verdicts = [o.unacceptable for o in parts]
    bad = True if True in verdicts else None if None in verdicts else False
    leading = next((o for o in parts if o.released), parts[0])
    return replace(
        leading, lower=math.nan, upper=math.nan, unacceptable=bad, stop=any(o.stop for o in parts),
        after_days=min(o.after_days for o in parts), by_days=min(o.by_days for o in parts),
        why="; ".join(dict.fromkeys(o.why for o in parts)),
    )  # fmt: skip


def informative(found: Sequence[Observation]) -> tuple[Observation, ...]:
    """The observations that say something after placement; a look at dwell 0 counts for the readings only."""
    return tuple(o for o in found if o.unacceptable is not None and o.dwell_days > 0)


def dropped_words(found: Sequence[Observation]) -> tuple[int, str]:
    """How many coupons tell nothing, and why, in words: "1 lost before it was read, 2 pulled but not measured"."""
    silent = [o for o in found if o.unacceptable is None]
    reasons = Counter(UNDECIDED if UNDECIDED in o.why else o.why for o in silent)
    return len(silent), ", ".join(f"{count} {reason}" for reason, count in sorted(reasons.items()))


@dataclass(frozen=True)
class PullGroup:
    """Coupons that were read together: one set at one pull, counted at the smallest of their dwells."""

    label: str
    dwell_days: float
    members: tuple[Observation, ...]


def pull_groups(found: Sequence[Observation]) -> tuple[PullGroup, ...]:
    """Informative coupons by set and pull, earliest first; dwell 0 included.

    A coupon that released by itself stands with the pull it was meant for if that pull was read, since it would have
    been unacceptable there; else it stands alone at the dwell it was found released, the safe side.
    """
    together: dict[tuple[str, str], list[Observation]] = {}
    for o in found:
        if o.unacceptable is not None and not o.released:
            together.setdefault((o.set_key, o.pull_group), []).append(o)
    smallest = {key: min(o.dwell_days for o in members) for key, members in together.items()}
    for o in found:
        if o.released:
            key = (o.set_key, o.pull_group)
            if key not in smallest or smallest[key] < o.after_days:
                key = (o.set_key, f"released at {o.dwell_days:g} d")
            together.setdefault(key, []).append(o)
    groups = [
        PullGroup(key[1], smallest.get(key, members[0].dwell_days), tuple(members)) for key, members in together.items()
    ]
    return tuple(sorted(groups, key=lambda g: (g.dwell_days, g.label, g.members[0].set_key)))


def pull_counts(found: Sequence[Observation], *, confidence: float) -> tuple[PullCount, ...]:
    """What each pull after placement showed, with exact one-sided limits.

    Groups of different sets at the same dwell are counted as one pull: they then share one day effect, the safe side.

    Source
    ------
    [clopper1934]
    """
    merged: dict[float, tuple[list[str], int, int]] = {}
    for group in pull_groups([o for o in found if o.dwell_days > 0]):
        if group.dwell_days <= 0:
            continue
        labels, read, bad = merged.get(group.dwell_days, ([], 0, 0))
        labels = labels if group.label in labels else [*labels, group.label]
        bad += sum(o.unacceptable is True for o in group.members)
        merged[group.dwell_days] = (labels, read + len(group.members), bad)
    return tuple(
        PullCount(
            label=" + ".join(labels),
            dwell_days=dwell,
            read=read,
            unacceptable=bad,
            acceptable_lower=share_lower(unacceptable=read - bad, read=read, confidence=confidence),
            unacceptable_lower=share_lower(unacceptable=bad, read=read, confidence=confidence),
        )
        for dwell, (labels, read, bad) in sorted(merged.items())
    )
