"""Acceptance: what the readings of one coupon are worth under one criterion."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from study.model.colour import mixed
from study.model.details import PatternShare, harms
from study.model.protocol import Criterion
from study.model.reading import CouponHistory, Reading
from study.model.units import with_unit

SUBSTRATE_BREAKS = ("SF", "CSF", "DF")
"""Failure patterns in which the substrate gave way before the bond: the bond held at least the force read."""


@dataclass(frozen=True)
class Judgement:
    """One coupon under one criterion: bounds of its value, and what follows from them."""

    lower: float
    upper: float
    unacceptable: bool | None
    """None: the reading does not decide it."""
    stop: bool
    why: str


def coupon_verdict(
    history: CouponHistory, *, criterion: Criterion, limit: float | None, faces_object: bool
) -> Judgement | None:
    """Judge one coupon by one criterion.

    Parameters
    ----------
    history : CouponHistory
        The coupon with its readings in force.
    criterion : Criterion
        What is unacceptable.
    limit : float or None
        The limit in the criterion's unit; already worked out where it is a share of time zero.
    faces_object : bool
        Whether the substrate stands for an object, so that harm to it stops the pairing.

    Returns
    -------
    Judgement or None
        None where the coupon does not carry the quantity. Equal to the limit is acceptable.
    """
    if criterion.quantity == "failure_pattern":
        return _harm_verdict(history.readings, criterion, faces_object)
    bounds = _value_bounds(history, criterion.quantity, net_of_blank=criterion.net_of_blank)
    if bounds is None or limit is None:
        return None
    lower, upper, strict, words = bounds
    unacceptable = _beyond(lower, upper, strict, limit, criterion.unacceptable)
    stop = criterion.stop is not None and _beyond(lower, upper, strict, criterion.stop, criterion.unacceptable) is True
    side = "acceptable" if unacceptable is False else "unacceptable" if unacceptable else "not decided"
    relation = "above" if criterion.unacceptable == "above" else "below"
    return Judgement(
        lower,
        upper,
        unacceptable,
        stop,
        f"{words}, {side} (unacceptable {relation} {with_unit(limit, criterion.unit)})",
    )


def look_verdicts(
    history: CouponHistory, *, criterion: Criterion, limit: float | None
) -> list[tuple[float, Judgement]]:
    """The verdict of each look in place, and of the colour after removal, with its dwell [d], earliest first."""
    seen = list(history.looks)
    if "colour_after" in history.readings:
        seen.append((history.dwell_days, history.readings["colour_after"]))
    found = []
    for dwell, look in seen:
        at_the_time = replace(history, readings={**history.readings, "colour_after": look})
        verdict = coupon_verdict(at_the_time, criterion=criterion, limit=limit, faces_object=False)
        if verdict is not None:
            found.append((dwell, verdict))
    return found


def _beyond(lower: float, upper: float, strict: tuple[bool, bool], limit: float, direction: str) -> bool | None:
    if direction == "below":
        lower, upper, limit, strict = -upper, -lower, -limit, strict[::-1]
    if lower > limit or (lower == limit and strict[0]):
        return True
    return False if upper <= limit else None


def _value_bounds(
    history: CouponHistory, quantity: str, *, net_of_blank: bool = False
) -> tuple[float, float, tuple[bool, bool], str] | None:
    """Bounds of a value, whether each is exclusive (typed with < or >), and where they come from in words."""
    if quantity == "discoloration":
        return _colour_bounds(history, net_of_blank)
    reading = history.readings.get(quantity)
    if reading is None and quantity == "residue_grade":
        reading = history.readings.get("residue_second")  # one rater alone is still a grade
    if reading is None or math.isnan(reading.lower) or math.isnan(reading.upper):
        return None
    typed = reading.typed.strip()
    strict = (typed[:1] == ">" and typed[1:2] != "=", typed[:1] == "<" and typed[1:2] != "=")
    name = quantity.replace("_", " ")
    words = f"{name} {typed or format(reading.lower, 'g')}"
    if reading.unit and reading.unit not in typed and reading.unit not in words:
        words += reading.unit if reading.unit == "°" else f" {reading.unit}"
    lower, upper = reading.lower, reading.upper
    if reading.details.sight_grade:
        words += f" by sight, grade {lower:g} by area"
    second = history.readings.get("residue_second")
    if quantity == "residue_grade" and second is not None and second is not reading:
        # Both grades are kept; what an object may not suffer is judged by the worse of them.
        lower, upper = max(lower, second.lower), max(upper, second.upper)
        words += f", second rater {second.typed}"
    broken = _broken(history.readings.get("failure_pattern"))
    if quantity == "removal_force" and broken:
        upper, strict = math.inf, (strict[0], False)
        words += f", at least, because the substrate broke first ({broken})"
    return lower, upper, strict, words


def _broken(reading: Reading | None) -> str:
    """The substrate break among a coupon's failure patterns, or empty."""
    if reading is None:
        return ""
    if reading.details.shares:
        found = [
            share.pattern for share in reading.details.shares if share.pattern in SUBSTRATE_BREAKS and share.percent
        ]
        return found[0] if found else ""
    return reading.pattern if reading.pattern in SUBSTRATE_BREAKS else ""


def _colour_bounds(history: CouponHistory, net: bool) -> tuple[float, float, tuple[bool, bool], str] | None:
    from study.analysis.discoloration import colour_difference, net_of_blank

    before, after = history.readings.get("colour_before"), history.readings.get("colour_after")
    if before is None or after is None or before.lab is None or after.lab is None:
        return None
    if mixed(before.details, after.details):
        return None  # a difference between two ways of measuring is none of the spot
    words = f"between the spot before placing{_spot_said(before)} and after removal{_spot_said(after)}"
    first, last = np.array(before.lab), np.array(after.lab)
    if net and history.blank_drift is not None:
        change = float(net_of_blank(before=first, after=last, drift=np.array(history.blank_drift)))
        drift = ", ".join(f"{part:+.2f}" for part in history.blank_drift)
        words += f", net of the blanks' drift ({drift})"
    else:
        change = float(colour_difference(before=first, after=last))
        words += ", with no blank read at this pull to take off" if net else ""
    return change, change, (False, False), f"ΔE*00 {change:.2f} {words}"


def _spot_said(reading: Reading) -> str:
    """A colour as typed, or the mean and the count of repeated readings, whose numbers would run into each other."""
    if reading.details.spots and reading.lab is not None:
        mean = " ".join(f"{part:.2f}" for part in reading.lab)
        return f" ({mean}, mean of {len(reading.details.spots)})"
    return f" ({reading.typed.strip()})" if reading.typed.strip() else ""


def _harm_verdict(readings: Mapping[str, Reading], criterion: Criterion, faces_object: bool) -> Judgement | None:
    """Harm by the area shares of the break, and by substance lost from the surface."""
    reading = readings.get("failure_pattern")
    lost = [kind for kind, found in readings.items() if "loss" in found.details.flags]
    if (reading is None or not reading.pattern) and not lost:
        return None
    words: list[str] = []
    unacceptable = bool(lost and criterion.patterns)
    stop = bool(lost and criterion.stop_patterns and faces_object)
    if reading is not None and reading.pattern:
        shares = reading.details.shares or (
            PatternShare(pattern=reading.pattern, side=reading.side or "unknown", percent=100),
        )
        unacceptable |= bool(harms(shares, criterion.patterns))
        stop |= faces_object and bool(harms(shares, criterion.stop_patterns))
        words.append(f"failure pattern {_shares_said(reading)}")
        if not harms(shares, criterion.patterns) and any(share.pattern in criterion.patterns for share in shares):
            words.append("a break in the mount alone")
    words += [f"substance lost ({kind.replace('_', ' ')})" for kind in lost]
    words.append("unacceptable" if unacceptable else "acceptable")
    return Judgement(math.nan, math.nan, unacceptable, stop, ", ".join(words))


def _shares_said(reading: Reading) -> str:
    if reading.details.shares:
        return "; ".join(f"{share.pattern} {share.percent:g} % {share.side}" for share in reading.details.shares)
    return reading.pattern + (f", side {reading.side}" if reading.side else "")


def time_zero_limits(histories: Sequence[CouponHistory], *, criterion: Criterion) -> dict[str, float | None]:
    """The limit for each lot: the criterion's own, or its share of the lot's time-zero geometric mean.

    Parameters
    ----------
    histories : sequence of CouponHistory
        All coupons of the pairing.
    criterion : Criterion
        With ``of_time_zero`` its limit is a share of the mean at time zero.

    Returns
    -------
    dict
        Lot to limit; None for a lot without an exact positive time-zero reading.

    Source
    ------
    [common-practice]: a destructive reading has no own time zero, so the set's geometric mean stands for it.
    """
    lots = sorted({history.lot for history in histories})
    if not criterion.of_time_zero or criterion.limit is None:
        return dict.fromkeys(lots, criterion.limit)
    logs: dict[str, list[float]] = {lot: [] for lot in lots}
    for history in histories:
        bounds = _value_bounds(history, criterion.quantity) if history.role == "time-zero" else None
        if bounds is not None and bounds[0] == bounds[1] and bounds[0] > 0:
            logs[history.lot].append(math.log(bounds[0]))
    return {
        lot: criterion.limit * math.exp(math.fsum(found) / len(found)) if found else None for lot, found in logs.items()
    }
