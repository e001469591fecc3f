"""Plausibility: readings that may well be right, yet look like another unit or a slip; a person is asked, once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import lru_cache
from statistics import median

from study.errors import Question
from study.intake.reading_file import ReadableCoupon
from study.intake.residue_cells import area_grade
from study.model.details import PatternShare
from study.model.reading import Reading

UNUSUAL = "unusual"
AS_TYPED = "as typed"
USUAL_N_PER_DOT = (0.005, 200.0)
USUAL_N_PER_M = (0.1, 5000.0)
"""Bands outside which a soft display adhesive on a small dot or strip is worth a second look [common-practice]."""
_JUMPS = (
    (9.3, 10.3, "about 9.8 times", "newton and kilogram-force, or a decimal point"),
    (80.0, 125.0, "about 100 times", "gram-force and newton, or two decimal places"),
)
"""Ratio to the median of its set: the factors between units that gauges show side by side."""
LATE_READING = timedelta(days=180)
"""A reading so long after its pull is usually a wrong year."""


def unusual(
    readings: Iterable[Reading], *, coupons: Mapping[str, ReadableCoupon],
    on_file: Mapping[tuple[str, str], tuple[float, ...]],
) -> dict[tuple[str, str], str]:  # fmt: skip
    """What is unusual about new readings, in words, by (code, kind).

    Parameters
    ----------
    readings : iterable of Reading
        The new ones, in normal units.
    coupons : mapping of code to ReadableCoupon
        What a force of each is over, which are compared with each other, and when each was pulled.
    on_file : mapping of (set, test) to forces
        Exact positive forces in force already.
    """
    new = list(readings)
    forces: dict[tuple[str, str], list[float]] = {key: list(found) for key, found in on_file.items()}
    patterns: dict[str, Reading] = {}
    for reading in new:
        if reading.kind == "failure_pattern":
            patterns[reading.code] = reading
        elif reading.kind == "removal_force" and reading.exact and reading.lower > 0:
            forces.setdefault(coupons[reading.code].group, []).append(reading.lower)
    middles = {key: median(found) for key, found in forces.items() if len(found) >= 3}
    latest: dict[date, date] = {}
    found: dict[tuple[str, str], list[str]] = {}
    for reading in new:
        kind, coupon = reading.kind, coupons[reading.code]
        said = []
        if kind == "removal_force":
            if reading.exact:
                said = _force(reading.lower, coupon.force_per or "dot", middles.get(coupon.group))
        elif kind == "residue_grade" and reading.code in patterns:
            said = _residue(reading, patterns[reading.code])
        if coupon.pulled is not None and kind != "colour_look":
            left = coupon.pulled.on
            if left not in latest:
                latest[left] = left + LATE_READING
            if reading.read_on > latest[left]:
                said.append(f"read {(reading.read_on - left).days} days after its pull, which may be a wrong year")
        if said:
            found[reading.code, kind] = said
    return {place: "; ".join(said) for place, said in found.items()}


def _force(value: float, force_per: str, middle: float | None) -> list[str]:
    lowest, highest = USUAL_N_PER_DOT if force_per == "dot" else USUAL_N_PER_M
    unit = "N" if force_per == "dot" else "N/m"
    if value == 0:
        return ["a force of 0: if it had let go before, record the pull as released by itself"]
    if middle is not None and value > 0:
        ratio = max(value / middle, middle / value)
        for low, high, times, what in _JUMPS:
            if low <= ratio <= high:
                side = times if value > middle else f"{times} below"
                return [f"{value:g} {unit} is {side} the middle of its set, {middle:.3g} {unit}: check {what}"]
    if not lowest <= value <= highest:
        return [f"{value:g} {unit} lies outside what is usual, {lowest:g} to {highest:g} {unit}: check the unit"]
    return []


def _residue(residue: Reading, pattern: Reading) -> list[str]:
    """A grade much cleaner than the break says: what let go at the mount stays on the object whole.

    Shares are estimated to 10 % or so, which may move the grade of an area by one.
    """
    stayed, split = _left_on_object(pattern.pattern, pattern.side, pattern.details.shares)
    if residue.upper < area_grade(stayed) - 1:
        what = f"it let go at the mount over {stayed:g} % of its area, so that the adhesive stayed on the object, yet "
        return [f"{what}residue there is graded {residue.typed}: check the side, or grade what stayed"]
    if split and residue.upper == 0:
        return ["the adhesive split inside, yet residue is graded 0: check the pattern, or look again with UV-A"]
    return []


@lru_cache(maxsize=4096)
def _left_on_object(pattern: str, side: str, shares: tuple[PatternShare, ...]) -> tuple[float, bool]:
    """Over how much of its area [%] the whole adhesive stayed on the object, and whether it split inside there."""
    parts = [(share.pattern, share.side, share.percent) for share in shares] or [(pattern, side, 100.0)]
    stayed = sum(percent for letters, face, percent in parts if (letters, face) == ("AF", "mount"))
    return stayed, any(letters == "CF" and face != "mount" and percent > 0 for letters, face, percent in parts)


def unusual_question(found: Mapping[tuple[str, str], str]) -> Question:
    """The question that these raise, with each place."""
    lines = [f"{code} {kind}: {words}." for (code, kind), words in found.items()]
    shown = lines[:12] + ([f"… and {len(lines) - 12} more."] if len(lines) > 12 else [])
    return Question(UNUSUAL, " ".join(["Unusual, yet possible:", *shown]), (AS_TYPED,))


def mark_unusual(reading: Reading, words: str) -> Reading:
    """The reading with a mark that somebody was asked and kept it as typed."""
    marks = (*reading.details.marks, f"unusual, kept as typed: {words}")
    return replace(reading, details=reading.details.model_copy(update={"marks": marks}))
