"""A table's answer: stable JSON with unrounded numbers, and rows of text for a person."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

from study.model.estimate import DeclineFit, LifetimeFit, ShareCurve
from study.model.looks import LookEstimate, LookRule, time_down

LOOK_HEADS = {
    "group": "group",
    "unacceptable": "not acceptable",
    "outcome": "outcome",
    "dwell": "up to",
    "decline": "bound of values",
    "bound": "bound of pass, fail",
    "alike": "if pulls were alike*",
    "free": "if no ageing*",
}
SMALLEST_MASS = 1e-9
"""Mass that an iteration leaves behind below this is no step of the curve."""


def write_looks(estimates: Sequence[LookEstimate], *, rule: LookRule) -> str:
    """The answer as JSON: keys and meanings as in the README, times in the table's unit, never Infinity or NaN."""
    answer = {
        "permitted": rule.permitted,
        "confidence": rule.confidence,
        "shape": [rule.shape_from, rule.shape_to],
        "seed": rule.seed,
        "groups": [_group(estimate) for estimate in estimates],
    }
    return json.dumps(_finite(answer), ensure_ascii=False, allow_nan=False)


def tabulate_looks(estimates: Sequence[LookEstimate]) -> list[dict[str, str]]:
    """One row of text a group; keys as in ``LOOK_HEADS``."""
    return [
        {
            "group": _named(estimate),
            "unacceptable": f"{estimate.unacceptable} of {estimate.n}",
            "outcome": estimate.duration.outcome,
            "dwell": _short(estimate.duration.dwell),
            "decline": _decline_short(estimate.declines),
            "bound": _short(estimate.bound.lower_days),
            "alike": _short(estimate.bound.lower_alike_days),
            "free": _short(estimate.bound.lower_shape_free_days),
        }
        for estimate in estimates
    ]


def look_sentence(estimate: LookEstimate) -> str:
    """What one group supports, in one sentence, with what was left out."""
    left = f" Left out: {estimate.dropped_why}." if estimate.dropped else ""
    return f"{_named(estimate)}: {estimate.duration.why}{left}"


def look_notes(time_column: str) -> str:
    """What the table leaves unsaid: the unit of its times, and which figures never decide."""
    unit = f"Times are in the unit of “{time_column}”, rounded down."
    return f"{unit} * for comparison with the bound of pass and fail; never deciding.\n"


def _named(estimate: LookEstimate) -> str:
    return estimate.group or "(blank)"


def _group(estimate: LookEstimate) -> dict[str, Any]:
    bound, duration = estimate.bound, estimate.duration
    return {
        "group": estimate.group,
        "n": estimate.n,
        "unacceptable": estimate.unacceptable,
        "dropped": {"count": estimate.dropped, "why": estimate.dropped_why},
        "curve": _curve(estimate.curve),
        "pulls": [
            {
                "dwell": pull.dwell_days,
                "read": pull.read,
                "unacceptable": pull.unacceptable,
                "acceptable_lower": pull.acceptable_lower,
            }
            for pull in estimate.pulls
        ],
        "lifetimes": [_lifetime(fit) for fit in estimate.lifetimes],
        "bound": {
            "method": bound.method,
            "lower": bound.lower_days,
            "day_share": bound.day_share,
            "lower_alike": bound.lower_alike_days,
            "lower_shape_free": bound.lower_shape_free_days,
            "exact": bound.exact,
            "why": bound.why,
        },
        "decline": [_decline(fit, used=fit.time_scale == estimate.decline_used) for fit in estimate.declines],
        "duration": {
            "outcome": duration.outcome,
            "dwell": duration.dwell,
            "limiting": duration.limiting,
            "why": duration.why,
        },
    }


def _curve(curve: ShareCurve | None) -> list[dict[str, float | None]]:
    if curve is None:
        return []
    steps = zip(curve.after_days, curve.by_days, curve.mass, curve.acceptable, strict=True)
    return [
        {
            "after": after,
            "by": by if math.isfinite(by) else None,
            "mass": mass,
            "acceptable": acceptable if math.isfinite(by) else 0.0,
        }
        for after, by, mass, acceptable in steps
        if mass > SMALLEST_MASS
    ]


def _lifetime(fit: LifetimeFit) -> dict[str, Any]:
    own = (
        {"shape": fit.shape, "scale": fit.scale_days} if fit.family == "weibull" else {"mu": fit.mu, "sigma": fit.sigma}
    )
    return {
        "family": fit.family,
        **own,
        "log_likelihood": fit.log_likelihood,
        "aic": fit.aic,
        "t_permitted": fit.t_permitted_days,
        "t_permitted_profile_lower": fit.t_permitted_profile_lower_days,
        "refused": fit.refused,
    }


def _decline(fit: DeclineFit, *, used: bool) -> dict[str, Any]:
    return {
        "time_scale": fit.time_scale,
        "intercept": fit.intercept,
        "slope": fit.slope,
        "residual_sd": fit.residual_sd,
        "day_share": fit.day_share,
        "lower": fit.lower_days,
        "lower_alike": fit.lower_alike_days,
        "adequate": fit.adequate,
        "used": used,
        "why": fit.why,
    }


def _short(value: float | None) -> str:
    return "–" if value is None or not math.isfinite(value) else time_down(value)


def _decline_short(declines: Sequence[DeclineFit]) -> str:
    if not declines:
        return "–"
    return "not reached" if declines[0].not_reached else _short(declines[0].lower_days)


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_finite(part) for part in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
