"""Bands of climate: as people write them, and what is none."""

from __future__ import annotations

import pytest

from study.errors import NotPossible
from study.intake.climate_band import parse_asked_bands, parse_band


@pytest.mark.parametrize(
    ("typed", "band"),
    [
        ("18 to 22", (18, 22)),
        ("18–22 °C", (18, 22)),
        ("18 °C to 22 °C", (18, 22)),
        ("45-55 %", (45, 55)),
        ("45 % to 55 % RH", (45, 55)),
        ("20 ± 2", (18, 22)),
        ("20,5 +/- 0,5 °C", (20, 21)),
        ("-5 to 5", (-5, 5)),
        ("20", None),
        ("about 20", None),
        ("55 to 45", None),
        ("uncontrolled", None),
        ("", None),
        ("18 to 22, at night 16", None),
    ],
)
def test_bands(typed: str, band: tuple[float, float] | None) -> None:
    assert parse_band(typed) == (pytest.approx(band) if band else None)


def test_asked_bands() -> None:
    """A blank is not asked for; what is no band is refused with what to write."""
    assert parse_asked_bands({"temperature": "18 to 22", "humidity": "", "light": "0 to 50"}) == {
        "temperature_c": (18.0, 22.0),
        "lux": (0.0, 50.0),
    }
    with pytest.raises(NotPossible, match=r"“warm” is not a band of temperature"):
        parse_asked_bands({"temperature": "warm"})
