"""Field: removals from display tested against what the study permits."""

from __future__ import annotations


def at_least_so_many(*, unacceptable: int, seen: int, share: float) -> float:
    """Probability of at least so many unacceptable removals if the true share were ``share``.

    Parameters
    ----------
    unacceptable, seen : int
        Removals; 0 <= unacceptable <= seen.
    share : float
        Permitted unacceptable share, 0 to 1.

    Returns
    -------
    float
        1 where nothing was seen.

    Source
    ------
    Exact binomial tail; [clopper1934] is its inversion.
    """
    from scipy.stats import binom

    return float(binom.sf(unacceptable - 1, seen, share)) if seen else 1.0
