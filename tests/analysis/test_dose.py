"""Readings against light dose and heat: proportional to days it is the same line; what was not logged stays out."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from study.analysis.criterion import decline_of, judged
from study.analysis.dose import dose_of, dose_picture
from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.climate import Measure
from study.model.climate_days import Stretch, StretchMeasure
from study.model.protocol import Criterion, Protocol
from study.model.reading import CouponHistory, Reading

PLACED = date(2023, 1, 1)
DAYS = (0, 30, 91, 182, 365)
LUX_HOURS_A_DAY = 400.0


def forces(criterion: Criterion) -> list[CouponHistory]:
    """Invented coupons whose force grows with the root of dwell, five a pull with their own scatter."""
    found = []
    for days in DAYS:
        for place, scatter in enumerate((0.9, 0.95, 1.0, 1.06, 1.1)):
            value = (3 + 0.3 * days**0.5) * scatter * (1.02 if days in (30, 182) else 1.0)
            code = f"{days}-{place}"
            reading = Reading(code, "removal_force", PLACED + timedelta(days), f"{value}", "N", value, value)
            test, label = criterion.tests[0] if criterion.tests else "pull-off-dot", f"{days} d"
            found.append(
                CouponHistory(code, "S", "test", test, "L", "pulled", label, label, float(days),
                              readings={"removal_force": reading})
            )  # fmt: skip
    return found


def lived(days: int, *, share: float = 1.0, rate: float = 1.0) -> Stretch:
    """So many days at 400 lx h a day, and at a constant temperature that counts ``rate`` times as fast as 20 °C."""
    hours = 24 * days * share
    one = StretchMeasure(50, 0, 50, hours, share, None, None)
    measures: dict[Measure, StretchMeasure] = {"lux": one, "temperature_c": one} if days else {}
    return Stretch(
        PLACED, PLACED + timedelta(days), measures, 20.0, days * share * rate, days * share * LUX_HOURS_A_DAY
    )


@pytest.fixture
def protocol() -> Protocol:
    return parse_protocol(known_protocols()["display-dots"])


@pytest.fixture
def force(protocol: Protocol) -> Criterion:
    return next(c for c in protocol.criteria if c.quantity == "removal_force")


@pytest.mark.parametrize("against", ["dose", "heat"])
def test_a_steady_climate_gives_the_same_line(protocol: Protocol, force: Criterion, against: str) -> None:
    """At the same light or heat every day, the mean at a dose is the mean at its day."""
    coupons = forces(force)
    plain, _ = decline_of(
        judged(coupons, criterion=force, protocol=protocol, faces_object=False),
        rule=protocol.rule, time_scale=force.time_scale,
    )  # fmt: skip
    assert plain is not None
    stretches = {h.code: lived(int(h.dwell_days), rate=1.5) for h in coupons}
    found = dose_picture(
        coupons, criterion=force, protocol=protocol, faces_object=False, stretches=stretches, against=against,  # type: ignore[arg-type]
    )  # fmt: skip
    assert found is not None
    per_day = LUX_HOURS_A_DAY / 1e6 if against == "dose" else 1.5
    assert found.draw_dose[-1] == pytest.approx(365 * per_day)
    assert found.draw_mean == pytest.approx(plain.draw_mean, rel=1e-6)
    assert found.draw_bound == pytest.approx(plain.draw_bound, rel=1e-6)
    assert (found.n, found.why, found.left_out) == (25, "", 0)


def test_what_was_logged_in_part_stands_beside_the_line(protocol: Protocol, force: Criterion) -> None:
    """A pull logged to half is shown at the least it had and is not in the line."""
    coupons = forces(force)
    stretches = {h.code: lived(int(h.dwell_days), share=0.5 if h.dwell_days == 365 else 1.0) for h in coupons}
    found = dose_picture(
        coupons, criterion=force, protocol=protocol, faces_object=False, stretches=stretches, against="dose"
    )
    assert found is not None
    partly = [point for point in found.points if not point.whole]
    assert {point.dwell_days for point in partly} == {365.0}
    assert partly[0].dose == pytest.approx(365 * LUX_HOURS_A_DAY / 2e6)
    assert found.n == 20
    assert found.draw_dose[-1] == pytest.approx(182 * LUX_HOURS_A_DAY / 1e6)


def test_without_records_there_is_no_line(protocol: Protocol, force: Criterion) -> None:
    """Only those of no dwell are known to have had nothing; the rest is counted, never guessed."""
    coupons = forces(force)
    nothing = {h.code: Stretch(PLACED, PLACED + timedelta(int(h.dwell_days)), {}, None, None, None) for h in coupons}
    found = dose_picture(
        coupons, criterion=force, protocol=protocol, faces_object=False, stretches=nothing, against="dose"
    )
    assert found is not None
    assert (found.draw_mean, found.left_out, len(found.points)) == ((), 20, 5)
    assert "1 different doses do not show a line" in found.why
    assert dose_of(nothing["0-0"], "dose") == (0.0, 1.0)
    assert dose_of(nothing["365-0"], "heat") is None


def test_grades_have_no_such_picture(protocol: Protocol, force: Criterion) -> None:
    """A criterion without a scale is shown against days alone."""
    residue = next(c for c in protocol.criteria if c.quantity == "residue_grade")
    assert (
        dose_picture(
            forces(force), criterion=residue, protocol=protocol, faces_object=False, stretches={}, against="dose"
        )
        is None
    )
