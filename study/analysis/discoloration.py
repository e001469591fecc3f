"""Discoloration: how far a spot has changed colour, as ΔE*00."""

from __future__ import annotations

import numpy as np


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
        ΔE*00 with all parametric factors 1; never negative, 0 for no change.

    Source
    ------
    [iso-cie-11664-6]; the pairs of [sharma2005] are met in both directions, those at a hue difference of 180° too.
    """
    from skimage.color import deltaE_ciede2000

    first, second = np.asarray(before, float), np.asarray(after, float)
    return np.asarray(deltaE_ciede2000(first, second), float)
