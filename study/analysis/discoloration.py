"""Discoloration: how far a spot has changed colour, as ΔE*00, and how much of it is noise or the blank's drift."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

DECIMALS = 10
"""Colours are rounded to so many decimals, far below any instrument."""
WIDEST_GUARD_RAD = 1e-6
"""No hue difference farther than this from 180° counts as 180°, however grey the colours."""
TWO_READINGS = np.sqrt(2)
"""The difference of two readings scatters by √2 of one of them, on each axis."""
NOISE_PAIRS, NOISE_SEED = 20_000, 20_260_101
CHI3_MEAN = np.sqrt(8 / np.pi)
CHI3_95 = 2.7954834829151074
"""Mean and 95th percentile of the length of three standard normal numbers (chi with 3 degrees of freedom)."""


class NoiseFloor(NamedTuple):
    """What colour difference two readings of an unchanged spot show by chance."""

    mean: float
    upper95: float
    """Exceeded by one unchanged spot in twenty."""


class RepeatSd(NamedTuple):
    """How far readings of one unchanged spot scatter, pooled over the spots."""

    per_axis: float
    """Root mean square of the three axes: what ``noise_floor`` asks for."""
    lightness: float
    red_green: float
    yellow_blue: float
    degrees: int
    """Readings beyond the first of each spot, over all spots; fewer than 10 say little."""


def colour_difference(*, before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Colour difference ΔE*00 of the same spot before placing and after removal.

    Parameters
    ----------
    before, after : (..., 3) float array
        L*, a*, b* under D65 and the 10° observer, same instrument and settings; L* 0 to 100, a* and b* about -100
        to 100.

    Returns
    -------
    (...) float array
        ΔE*00 with all parametric factors 1; never negative, 0 for no change, the same in both directions.

    Notes
    -----
    The formula jumps where the two hues stand exactly opposite each other: pair 14 of the table is 4.8045 there and
    4.7461 a hair beyond, and which of them a machine gives hangs on the last bit of its arc tangent. Colours are
    therefore rounded to 1e-10; of hues opposite each other within that rounding the second is turned towards the first
    by twice as much: the difference then counts as 180°, as in the table, on every machine. No other value moves by
    more than 1e-6.

    Source
    ------
    [iso-cie-11664-6] as coded in scikit-image; the pairs of [sharma2005] are met in both directions, those at a hue
    difference of 180° too.
    """
    from skimage.color import deltaE_ciede2000

    first, second = np.broadcast_arrays(_settled(before), _settled(after))
    return np.asarray(deltaE_ciede2000(first, _off_the_jump(first, second)), float)


def blank_drift(*, before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Mean change of L*, a*, b* of the blanks of one substrate and environment up to one pull.

    Parameters
    ----------
    before, after : (n, 3) float array
        L*, a*, b* of each blank at placing and at the pull, in the same order; one blank may be (3,).

    Returns
    -------
    (3,) float array
        Mean of after minus before; within ±1 is usual for stable surfaces.

    Raises
    ------
    ValueError
        If there is no blank, or the two do not belong together.
    """
    first, second = np.atleast_2d(np.asarray(before, float)), np.atleast_2d(np.asarray(after, float))
    if first.shape != second.shape or first.shape[1] != 3 or not len(first):
        raise ValueError("blanks need L*, a*, b* before and after, in pairs, and at least one of them")
    return np.asarray((second - first).mean(axis=0), float)


def net_of_blank(*, before: np.ndarray, after: np.ndarray, drift: np.ndarray) -> np.ndarray:
    """Colour difference ΔE*00 of a spot beyond the drift of the bare substrate beside it.

    The drift is taken off the colour after removal, as a vector, and the difference is worked out from what remains.
    Subtracting one ΔE from another would be wrong: a ΔE has no direction. A sheet that yellows by 2 under a dot that
    bleaches by 2 shows ΔE 0 on the coupon and 2 on the blank, which would come out as -2 or nothing where the dot did
    move the colour by 2; and two equal ΔE in unlike directions would come out as no change.

    Parameters
    ----------
    before, after : (..., 3) float array
        L*, a*, b* of the coupon's spot, as for ``colour_difference``.
    drift : (3,) float array
        Mean change of L*, a*, b* of the blanks of the same substrate and environment at the same pull
        (``blank_drift``); zeros if no blank was read. Its own scatter, repeat sd times √(2/blanks), adds to the noise.

    Returns
    -------
    (...) float array
        ΔE*00 beyond the blank's drift; never negative.

    Source
    ------
    [common-practice]
    """
    return colour_difference(before=before, after=np.asarray(after, float) - np.asarray(drift, float))


def repeat_sd(spots: Sequence[np.ndarray]) -> RepeatSd:
    """How far readings of the same unchanged spot scatter, from several readings of several spots.

    Parameters
    ----------
    spots : sequence of (n, 3) float arrays
        L*, a*, b* of each spot, read n times with the instrument lifted and put back between; n may differ, and a spot
        read once adds nothing. 0.05 to 0.5 per axis is usual.

    Returns
    -------
    RepeatSd
        Pooled standard deviation of each axis, squares within spots over the readings beyond the first of each, and
        the root mean square of the three.

    Raises
    ------
    ValueError
        If no spot was read twice.
    """
    squares, degrees = np.zeros(3), 0
    for spot in spots:
        readings = np.atleast_2d(np.asarray(spot, float))
        squares += ((readings - readings.mean(axis=0)) ** 2).sum(axis=0)
        degrees += len(readings) - 1
    if degrees < 1:
        raise ValueError("no spot was read twice: the scatter of readings cannot be worked out")
    lightness, red_green, yellow_blue = np.sqrt(squares / degrees).tolist()
    return RepeatSd(float(np.sqrt(squares.mean() / degrees)), lightness, red_green, yellow_blue, degrees)


def noise_floor(sd_per_axis: float, *, readings: int = 1) -> NoiseFloor:
    """What ΔE two readings of an unchanged spot show by chance alone: 2.26 s on average, 3.95 s once in twenty.

    A colour difference is never negative, so that noise does not average out. A change below this floor is not shown;
    trends are fitted on L*, a*, b*, which scatter about their true value, rather than on ΔE.

    Parameters
    ----------
    sd_per_axis : float
        Standard deviation s of one reading, alike on L*, a* and b* (``repeat_sd``); 0.05 to 0.5 is usual. Where the
        axes differ much, s as root mean square makes the mean a little too large, and the 95th percentile up to a
        fifth too small.
    readings : int
        How many readings each of the two colours is the mean of.

    Returns
    -------
    NoiseFloor
        Mean and 95th percentile of the Euclidean ΔE*ab. ΔE*00 has another floor: higher for greys, whose a* it
        stretches (2.65 s and 4.77 s at L* 50), lower for strong colours (1.5 s and 2.9 s); ``noise_floor_at`` gives it.

    Raises
    ------
    ValueError
        If the standard deviation is negative or not finite, or there is no reading.

    Source
    ------
    Length of a normal vector: √2·s times chi with 3 degrees of freedom.
    """
    scatter = TWO_READINGS * _scatter(sd_per_axis, readings)
    return NoiseFloor(mean=float(scatter * CHI3_MEAN), upper95=float(scatter * CHI3_95))


def noise_floor_at(colour: Sequence[float] | np.ndarray, *, sd_per_axis: float, readings: int = 1) -> NoiseFloor:
    """What ΔE*00 two readings of an unchanged spot of this colour show by chance alone.

    Parameters
    ----------
    colour : (3,) float
        L*, a*, b* of the spot.
    sd_per_axis, readings
        As for ``noise_floor``.

    Returns
    -------
    NoiseFloor
        Mean and 95th percentile of ΔE*00, from 20 000 seeded pairs of readings: good to a hundredth of themselves.

    Raises
    ------
    ValueError
        As ``noise_floor``.
    """
    scatter = _scatter(sd_per_axis, readings)
    noise = np.random.default_rng(NOISE_SEED).normal(0.0, 1.0, (2, NOISE_PAIRS, 3)) * scatter
    before, after = np.asarray(colour, float) + noise
    found = colour_difference(before=before, after=after)
    return NoiseFloor(mean=float(found.mean()), upper95=float(np.quantile(found, 0.95)))


def _scatter(sd_per_axis: float, readings: int) -> float:
    if not np.isfinite(sd_per_axis) or sd_per_axis < 0 or readings < 1:
        raise ValueError("a standard deviation is 0 or more, and a colour is the mean of at least one reading")
    return float(sd_per_axis / np.sqrt(readings))


def _settled(colour: np.ndarray) -> np.ndarray:
    """Without the noise of subtraction, which could put a b* of 0 on the other side of the circle, and without -0."""
    values = np.asarray(colour, float)
    return np.where(np.isfinite(values), np.round(values, DECIMALS), values) + 0.0


def _off_the_jump(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """The second colour, turned a hair towards the first where their hues stand exactly opposite each other."""
    chromas = [np.hypot(lab[..., 1], lab[..., 2]) for lab in (first, second)]
    chroma = (chromas[0] + chromas[1]) / 2
    stretch = 1.5 - 0.5 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    hues = [np.arctan2(lab[..., 2], lab[..., 1] * stretch) % (2 * np.pi) for lab in (first, second)]
    beyond = hues[1] - hues[0]
    # Rounding moves the hue of a pale colour more than that of a strong one.
    least = np.maximum(np.minimum(*chromas), 10.0**-DECIMALS)
    guard = np.minimum(WIDEST_GUARD_RAD, 10.0**-DECIMALS * (1 + 2 / least))
    opposite = (np.abs(np.abs(beyond) - np.pi) < guard) & (np.minimum(*chromas) > 0)
    turn = np.where(opposite, -np.sign(beyond) * 2 * guard, 0.0)
    turned = second.copy()
    turned[..., 1] = second[..., 1] * np.cos(turn) - second[..., 2] * np.sin(turn) / stretch
    turned[..., 2] = second[..., 2] * np.cos(turn) + second[..., 1] * np.sin(turn) * stretch
    return turned
