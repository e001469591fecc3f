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

REMOVING: tuple[str, ...] = (
    "Hold the object, better with a second person, before anything is loosened; pad what it could fall on.",
    "Thread: saw slowly and level. A jerk chips thin rims and opens old repairs; a wound thread cuts fingers.",
    "Blades: none between an object and its support. A thin, blunt plastic spatula, level with the surface, at most.",
    "Solvents: not before a test on a hidden spot, on a swab, never poured. Acrylic sheet crazes; shellac, paint and "
    "varnish soften. Air the room, wear gloves, keep flames away and follow the safety data sheet.",
    "Where the force keeps rising, stop: an object that will not come off can wait for a second opinion.",
)
"""Common practice; what the adhesive's maker and the local rules say comes first."""

NOT_SHOWN = "“Not shown” means that the evidence is too thin to carry a duration. It does not mean “safe”."

CONFIDENCE = (
    "A supported duration says: with {confidence} confidence, at most {share} of such coupons are unacceptable "
    "by that day, for each criterion by itself."
)


def confidence_words(*, confidence: float, permitted: float) -> str:
    """What a supported duration promises under a rule, in one sentence."""
    return CONFIDENCE.format(confidence=percent(confidence), share=percent(permitted))
