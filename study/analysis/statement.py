"""Statement: what one criterion's estimate says, in one or two plain sentences."""

from __future__ import annotations

import math

from study.analysis.tolerance import share_upper, zero_failure_coupons
from study.model.estimate import Estimate
from study.model.protocol import Rule
from study.model.units import percent


def statement(estimate: Estimate, rule: Rule, no_decline: str | None) -> str:
    """One or two plain sentences: what was seen, and what it shows; and why the readings do not decide, if so."""
    n, bad = estimate.n, estimate.n_unacceptable
    if n == 0:
        reasons = f" ({estimate.dropped_why})" if estimate.dropped_why else ""
        return f"No coupon tells anything about {estimate.title.lower()}{reasons}."
    coupons = "1 coupon" if n == 1 else f"{n} coupons"
    if bad == 0:
        last = estimate.pulls[-1]
        share = percent(share_upper(unacceptable=0, read=last.read, confidence=rule.confidence))
        seen = f"None unacceptable in {coupons}; the {last.read} of the last pull alone would still allow {share}"
        good = 1 - rule.permitted_unacceptable_share
        wanted = zero_failure_coupons(acceptable_share=good, confidence=rule.confidence)
        seen += f", and {wanted} would be needed there to show {percent(good)}." if last.read < wanted else "."
    else:
        seen = f"{bad} of {coupons} unacceptable."
    scale = f" Verdicts are used instead of the readings, because {no_decline}." if no_decline else ""
    if estimate.bound_days is None:
        why = estimate.pass_fail.why if estimate.pass_fail is not None else None
        return f"{seen} No bound: {why or estimate.hard_case or 'the evidence is too thin'}.{scale}"
    return f"{seen} {_bound_words(estimate, rule)}{scale}"


def _bound_words(estimate: Estimate, rule: Rule) -> str:
    good, sure = percent(1 - rule.permitted_unacceptable_share), percent(rule.confidence)
    bound = estimate.bound_days or 0.0
    first = min((p.dwell_days for p in estimate.pulls), default=0.0)
    if bound <= 0:
        worst = estimate.pulls[0] if estimate.pulls else None
        least = ""
        if worst is not None and worst.unacceptable == worst.read:
            at, share = f"{worst.dwell_days:g} d", percent(worst.unacceptable_lower)
            least = f" At the first pull ({at}) all {worst.read} were so: at least {share} of such coupons are."
        return f"No dwell is shown at which {good} are acceptable, with {sure} confidence.{least}"
    if bound < first:
        return f"With {sure} confidence {good} stay acceptable for less than {first:g} d, before the first pull."
    return f"With {sure} confidence at least {good} stay acceptable up to {math.floor(bound)} d ({estimate.basis})."
