"""Tolerance: exact limits for counts, zero-failure numbers, and factors for readings."""

from __future__ import annotations

import math

import numpy as np

from study.errors import NotPossible


def share_upper(*, unacceptable: int, read: int, confidence: float) -> float:
    """Exact one-sided upper limit of an unacceptable share.

    Parameters
    ----------
    unacceptable, read : int
        Coupons that were unacceptable, and coupons read.
    confidence : float
        One-sided confidence, 0.95 as a rule.

    Returns
    -------
    float
        The share that more than ``unacceptable`` of ``read`` would have exceeded with that confidence; 1 if all were.

    Raises
    ------
    NotPossible
        If nothing was read or the counts contradict each other.

    Source
    ------
    [clopper1934]
    """
    from scipy.special import betaincinv

    _check_counts(unacceptable, read)
    if unacceptable == read:
        return 1.0
    return float(betaincinv(unacceptable + 1, read - unacceptable, confidence))


def share_lower(*, unacceptable: int, read: int, confidence: float) -> float:
    """Exact one-sided lower limit of an unacceptable share; parameters as for ``share_upper``.

    Raises
    ------
    NotPossible
        If nothing was read or the counts contradict each other.

    Source
    ------
    [clopper1934]
    """
    from scipy.special import betaincinv

    _check_counts(unacceptable, read)
    if unacceptable == 0:
        return 0.0
    return float(betaincinv(unacceptable, read - unacceptable + 1, 1 - confidence))


def _check_counts(unacceptable: int, read: int) -> None:
    if read < 1 or not 0 <= unacceptable <= read:
        raise NotPossible(
            f"{unacceptable} unacceptable of {read} read is not a count of coupons.",
            "Give at least one coupon read, and no more unacceptable than read.",
        )


def zero_failure_coupons(*, acceptable_share: float, confidence: float) -> int:
    """Coupons that must all be acceptable to show an acceptable share.

    Parameters
    ----------
    acceptable_share : float
        Share to be shown, 0.90 as a rule.
    confidence : float
        One-sided confidence.

    Returns
    -------
    int
        The smallest n with acceptable_share ** n <= 1 - confidence.

    Source
    ------
    [clopper1934] with no unacceptable coupon.
    """
    return math.ceil(math.log(1 - confidence) / math.log(acceptable_share) - 1e-12)


def zero_failure_days(
    *,
    last_acceptable_days: np.ndarray,
    permitted_share: float,
    confidence: float,
    shape: tuple[float, float],
    count: np.ndarray | None = None,
) -> tuple[float, float]:
    """Lower limit of the time to the permitted share when no coupon was ever unacceptable.

    Parameters
    ----------
    last_acceptable_days : (n,) float array [d]
        Each coupon's last acceptable look, above 0.
    permitted_share, confidence : float
        Permitted unacceptable share and one-sided confidence.
    shape : tuple of two floats
        The declared range of the Weibull shape; (1, 12) as a rule.
    count : (n,) int array, optional
        Coupons a look stands for; 1 as a rule.

    Returns
    -------
    tuple of two floats
        The limit [d], the smallest over the range, and the shape at which it sits.

    Raises
    ------
    NotPossible
        Without a look after placement.

    Source
    ------
    [iec-61649], Weibull with a given shape and no failure; the minimum over a declared range is ours.
    """
    looks = np.asarray(last_acceptable_days, float)
    after = looks > 0
    if not after.any():
        raise NotPossible("No coupon was looked at after placement.", "Pull and read at least one.")
    looks, place = np.unique(looks[after], return_inverse=True)
    coupons = np.bincount(place, None if count is None else np.asarray(count, float)[after])
    shapes, longest = np.geomspace(*shape, 241), looks.max()
    total = np.zeros(shapes.size)
    for part in range(0, looks.size, 4096):  # a piece at a time: a million distinct looks would fill the memory
        rows = slice(part, part + 4096)
        total += coupons[rows] @ (looks[rows, None] / longest) ** shapes
    limits = longest * (-math.log1p(-permitted_share) * total / -math.log(1 - confidence)) ** (1 / shapes)
    smallest = int(np.argmin(limits))
    return float(limits[smallest]), float(shapes[smallest])


def reading_factor(*, leverage: np.ndarray | float, freedom: float, share: float, confidence: float) -> np.ndarray:
    """Factor k of a one-sided tolerance bound: estimate + k s covers ``share`` of the readings.

    Parameters
    ----------
    leverage : float or float array
        Variance of the estimated centre as a multiple of the variance of one reading; 1/n for a plain mean.
    freedom : float
        Degrees of freedom of s.
    share, confidence : float
        Share of readings to be covered, and one-sided confidence.

    Returns
    -------
    float array, of the shape of ``leverage``

    Source
    ------
    [owen1968]: k = t'(confidence; freedom, z_share / sqrt(h)) sqrt(h), with the non-central t.
    """
    from scipy.special import nctdtrit, ndtri

    root = np.sqrt(np.asarray(leverage, float))
    return np.asarray(nctdtrit(freedom, ndtri(share) / root, confidence) * root)
