"""The decline of readings against light dose or heat instead of days: the same line, a picture that never decides."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from study.analysis.criterion import decline_of, judged
from study.model.climate_days import WHOLE, Stretch
from study.model.dose import Against, DosePicture, DosePoint
from study.model.protocol import Criterion, Protocol
from study.model.reading import CouponHistory

_IN_FIT = {"dose": 1e3, "heat": 1.0}
"""The line is drawn in klx h and in days: sizes like those of dwell, which the search for a crossing was made for."""


def dose_of(stretch: Stretch, against: Against) -> tuple[float, float] | None:
    """What a coupon lived through [Mlx h, or days at 20 °C] and the share of its dwell that says so; None if nothing.

    A coupon of no dwell has lived through nothing.
    """
    if stretch.days == 0:
        return 0.0, 1.0
    if against == "dose":
        return None if stretch.lux_hours is None else (stretch.lux_hours / 1e6, stretch.covered("lux"))
    return None if stretch.heat_days is None else (stretch.heat_days, stretch.covered("temperature_c"))


def dose_picture(
    histories: Sequence[CouponHistory], *, criterion: Criterion, protocol: Protocol, faces_object: bool,
    stretches: Mapping[str, Stretch], against: Against,
) -> DosePicture | None:  # fmt: skip
    """Readings of one criterion against dose or heat; None where it has no readings on a scale.

    Parameters
    ----------
    histories : sequence of CouponHistory
        All coupons of the pairing that have left their placement.
    stretches : mapping of code to Stretch
        What was logged from each coupon's placement to its pull.
    against : "dose" or "heat"

    Notes
    -----
    A coupon whose dwell is covered to less than 95 % stands beside the line at the least it has lived through, and is
    not in it: what nobody logged is not made up.
    """
    if not criterion.continuous or criterion.looks == "in place":
        return None
    case = judged(histories, criterion=criterion, protocol=protocol, faces_object=faces_object)
    measured = [o for o in case.found if not math.isnan(o.lower)]
    if not measured:
        return None
    said = {code: dose_of(stretch, against) for code, stretch in stretches.items()}
    points, whole = [], set()
    for o in measured:
        found = said.get(o.code)
        if found is None:
            continue
        dose, covered = found
        if covered >= WHOLE:
            whole.add(o.code)
        points.append(
            DosePoint(o.code, o.pull_group, o.dwell_days, dose, covered, covered >= WHOLE, o.lower, o.upper,
                      o.unacceptable)
        )  # fmt: skip
    picture = DosePicture(
        criterion.key, criterion.title, criterion.unit, against, case.limit, tuple(points),
        len(measured) - len(points), criterion.value_scale,
    )  # fmt: skip
    if not whole:
        return replace(picture, why="nothing was logged over at least 95 % of a coupon's dwell")
    size = _IN_FIT[against]
    doses = {point.code: point.dose * size for point in points if point.whole}
    found_at = tuple(replace(o, dwell_days=doses[o.code]) for o in case.found if o.code in doses)
    at_dose = replace(case, found=found_at, horizon_days=max(doses.values()))
    fit, why_not = decline_of(at_dose, rule=protocol.rule, time_scale=criterion.time_scale)
    if fit is None or fit.intercept is None:
        why = why_not or "no line can be drawn"
        return replace(picture, why=why.replace("different dwells", "different doses"))
    return replace(
        picture, n=len(doses), draw_dose=tuple(at / size for at in fit.draw_days), draw_mean=fit.draw_mean,
        draw_bound=fit.draw_bound,
    )  # fmt: skip
