"""Cautions: what stands under every display duration and every hold result, said once."""

from __future__ import annotations

from study.model.units import percent

CAUTIONS: tuple[str, ...] = (
    "A comparative test of adhesives only. It is not an earthquake rating and promises nothing about a tremor.",
    "Valid only for the tested lot, substrate, preparation, dot size, age and climate.",
    "Tall or top-heavy objects: use a mount.",
    "Friable, flaking, gilded or repaired bases: do not rely on an adhesive.",
    "For anything valuable or above head height ask a structural or seismic engineer; local codes apply.",
    "Recheck after any tremor, move or cleaning.",
)

NOT_SHOWN = "“Not shown” means that the evidence is too thin to carry a duration. It does not mean “safe”."

CONFIDENCE = (
    "A supported duration says: with {confidence} confidence, at most {share} of such coupons are unacceptable "
    "by that day, for each criterion by itself."
)


def confidence_words(*, confidence: float, permitted: float) -> str:
    """What a supported duration promises under a rule, in one sentence."""
    return CONFIDENCE.format(confidence=percent(confidence), share=percent(permitted))
