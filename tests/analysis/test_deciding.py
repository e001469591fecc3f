"""Which bound decides and how far it may reach: the same rule for a study and for a table."""

from __future__ import annotations

from dataclasses import replace

import pytest

from study.analysis.calibration import LARGEST_DAY_SHARE
from study.analysis.deciding import (
    AT_PLACEMENT,
    BEFORE_FIRST,
    NO_BOUND,
    NOTHING_SHOWN,
    READINGS,
    SHORTER_READINGS,
    SHORTER_VERDICTS,
    TOO_FEW,
    VERDICTS,
    Deciding,
    assumed_day_share,
    deciding_bound,
    last_with_enough,
    refused_because,
)
from study.model.estimate import DeclineFit, PullCount

FITS = DeclineFit("sqrt", "log", 20.0, 40, 8, intercept=1.0, slope=0.1, lower_days=400.0, adequate=True)
BENT = replace(FITS, adequate=False)


@pytest.mark.parametrize(
    ("decline", "verdicts", "expected"),
    [
        (None, 120.0, Deciding(120.0, VERDICTS)),
        (None, None, Deciding(None, VERDICTS)),
        (replace(FITS, intercept=None), 120.0, Deciding(120.0, VERDICTS)),
        (FITS, 120.0, Deciding(400.0, READINGS)),
        (FITS, None, Deciding(400.0, READINGS)),
        (replace(FITS, lower_days=None, not_reached=True), 120.0, Deciding(1095.0, READINGS)),
        (BENT, 120.0, Deciding(120.0, SHORTER_VERDICTS)),
        (BENT, 700.0, Deciding(400.0, SHORTER_READINGS)),
        (BENT, 400.0, Deciding(400.0, SHORTER_READINGS)),
        (BENT, None, Deciding(None, SHORTER_VERDICTS)),
    ],
)
def test_the_bound_that_decides(decline: DeclineFit | None, verdicts: float | None, expected: Deciding) -> None:
    """Readings decide where their line fits; where it bends, the shorter of both; else the verdicts."""
    found = deciding_bound(decline=decline, verdict_days=verdicts, horizon_days=1095.0, unacceptable_at_zero=False)
    assert found == expected
    at_zero = deciding_bound(decline=decline, verdict_days=verdicts, horizon_days=1095.0, unacceptable_at_zero=True)
    assert at_zero == Deciding(0.0, AT_PLACEMENT)
    assert not at_zero.from_verdicts


@pytest.mark.parametrize(
    ("days", "cap", "because"),
    [(None, 365.0, NO_BOUND), (0.0, 365.0, NOTHING_SHOWN), (6.9, 365.0, BEFORE_FIRST), (7.0, None, TOO_FEW),
     (7.0, 365.0, None), (500.0, 365.0, None)],
)  # fmt: skip
def test_why_nothing_is_shown(days: float | None, cap: float | None, because: str | None) -> None:
    """No bound, a bound of 0, one before the first look, or too few coupons at every pull show no duration."""
    assert refused_because(days, first_days=7.0, cap_days=cap) == because


def test_the_last_pull_with_enough_coupons() -> None:
    """A last pull with two coupons left does not carry a bound where three are asked."""
    pulls = tuple(PullCount(f"{day}", day, read, 0, 0.5, 0.0) for day, read in ((91.0, 5), (365.0, 3), (730.0, 2)))
    assert last_with_enough(pulls, minimum=3) == pulls[1]
    assert last_with_enough(pulls, minimum=6) is None
    assert last_with_enough((), minimum=1) is None


def test_what_pulls_are_taken_to_share() -> None:
    """What the readings leave open, else what is declared, and never more than the bound was tested for."""
    assert assumed_day_share(0.2, declared=1 / 3) == 0.2
    assert assumed_day_share(None, declared=1 / 3) == 1 / 3
    assert assumed_day_share(0.9, declared=1 / 3) == LARGEST_DAY_SHARE
