"""Heat and humidity factors: how much faster a store at another climate would age, if one activation energy ruled it.

Supporting evidence only: a duration that rests on heat alone is at most provisional.
"""

from __future__ import annotations

import math

from study.analysis.climate import GAS_CONSTANT_KJ, ZERO_CELSIUS_K
from study.errors import DwellbookError

KJ_PER_MOL_PER_EV = 96.48533212331
"""Exact by definition to the digits given."""


def arrhenius_factor(*, from_c: float, to_c: float, activation_kj_per_mol: float) -> float:
    """How many times faster at ``to_c`` than at ``from_c`` [°C].

    Parameters
    ----------
    from_c, to_c : float [°C]
        10 to 70 is usual.
    activation_kj_per_mol : float [kJ/mol]
        50 to 120 is usual; an apparent one often rises with temperature.

    Source
    ------
    [nist-handbook] 8.1.5.1
    """
    low, high = from_c + ZERO_CELSIUS_K, to_c + ZERO_CELSIUS_K
    if min(low, high) <= 0:
        raise DwellbookError("A temperature below absolute zero is not possible.", "Give it in °C.")
    return math.exp(activation_kj_per_mol / GAS_CONSTANT_KJ * (1 / low - 1 / high))


def q10_factor(*, from_c: float, to_c: float, q10: float) -> float:
    """How many times faster at ``to_c`` than at ``from_c`` [°C], if each 10 K multiply by ``q10`` (2 as a rule).

    Source
    ------
    [astm-f1980]
    """
    if q10 <= 0:
        raise DwellbookError(f"A factor of {q10:g} for 10 K is not possible.", "Use 1.8 to 2.5 as a rule.")
    return float(q10 ** ((to_c - from_c) / 10))


def humid_heat_factor(
    *, from_c: float, to_c: float, from_percent: float, to_percent: float, activation_kj_per_mol: float, exponent: float
) -> float:
    """How many times faster in another heat and humidity: the Arrhenius factor times a power of the humidities' ratio.

    Parameters
    ----------
    from_c, to_c : float [°C]
    from_percent, to_percent : float [%]
        Relative humidity, above 0 to 100.
    activation_kj_per_mol : float [kJ/mol]
    exponent : float
        1.3 in one use for paper and film, 2.66 for electronics: it is a property of the material, and unknown for soft
        display adhesives.

    Source
    ------
    [peck1986]
    """
    for percent in (from_percent, to_percent):
        if not 0 < percent <= 100:
            raise DwellbookError(f"A relative humidity of {percent:g} % is not possible.", "Give it in percent.")
    heat = arrhenius_factor(from_c=from_c, to_c=to_c, activation_kj_per_mol=activation_kj_per_mol)
    return float((to_percent / from_percent) ** exponent * heat)
