"""Questions about the numbers typed with a removal test: a width in centimetre, a speed per second, a slipped point."""

from __future__ import annotations

import math

WIDTH_MM = (10.0, 50.0)
DOT_DIAMETER_MM = (3.0, 20.0)
SPEED_MM_PER_MIN = (10.0, 1000.0)
FORCE_N_PER_DOT = (0.02, 200.0)
STRESS_KPA = (1.0, 1000.0)
"""Bands outside which a person is asked [common-practice]; nothing is refused for lying outside one."""


def plausibility_questions(
    *, width_mm: float | None = None, dot_diameter_mm: float | None = None, speed_mm_per_min: float | None = None,
    force_n_per_dot: float | None = None, capacity_n: float | None = None,
) -> tuple[str, ...]:  # fmt: skip
    """Sentences to ask before the numbers are kept; none where all lie in their usual bands.

    Parameters
    ----------
    width_mm, dot_diameter_mm : float or None [mm]
        Of a strip, and of a dot after pressing.
    speed_mm_per_min : float or None [mm/min]
        Of the crosshead.
    force_n_per_dot : float or None [N]
        Largest force on one dot; with the diameter its stress is judged as well.
    capacity_n : float or None [N]
        End of scale of the gauge.

    Source
    ------
    [common-practice]
    """
    asked = [
        _question("A strip", width_mm, "mm wide", "10 to 50 mm", WIDTH_MM, 10.0, "typed in cm"),
        _question("A dot of", dot_diameter_mm, "mm in diameter", "3 to 20 mm", DOT_DIAMETER_MM, 10.0, "typed in cm"),
        _speed_question(speed_mm_per_min),
        _question("A removal force of", force_n_per_dot, "N per dot", "0.02 to 200 N", FORCE_N_PER_DOT, 0.0, ""),
        _stress_question(force_n_per_dot, dot_diameter_mm),
    ]
    if force_n_per_dot is not None and capacity_n is not None and force_n_per_dot > capacity_n:
        asked.append(f"A force of {force_n_per_dot:g} N is more than the gauge's {capacity_n:g} N: is the unit right?")
    return tuple(sentence for sentence in asked if sentence)


def _question(
    what: str, value: float | None, ending: str, usual: str, band: tuple[float, float], factor: float, slip: str
) -> str:  # fmt: skip
    if value is None or band[0] <= value <= band[1]:
        return ""
    said = f"{what} {value:g} {ending} is outside the usual {usual} (common practice)"
    for meant in (value * factor, value / factor) if factor else ():
        if band[0] <= meant <= band[1]:
            return f"{said}; {slip if meant > value else 'with a slipped point'} it would be {meant:g}. Is it right?"
    return f"{said}. Is it right?"


def _speed_question(value: float | None) -> str:
    low, high = SPEED_MM_PER_MIN
    if value is None or low <= value <= high:
        return ""
    said = f"A speed of {value:g} mm/min is outside the usual 10 to 1000 mm/min (common practice)"
    for meant, slip in ((value / 60, f"{value / 60:g} mm/min typed as mm/s"), (value * 60, f"{value:g} mm/s")):
        if low <= meant <= high:
            return f"{said}. Was {slip} meant?"
    return f"{said}. Is it right?"


def _stress_question(force: float | None, diameter: float | None) -> str:
    if force is None or diameter is None or not diameter > 0:
        return ""
    stress = force / (math.pi * diameter**2 / 4) * 1000
    if STRESS_KPA[0] <= stress <= STRESS_KPA[1]:
        return ""
    return (
        f"{force:g} N on a dot of {diameter:g} mm is {stress:.3g} kPa, outside the usual 1 to 1000 kPa of soft display "
        "adhesives (common practice). Are both units right?"
    )
