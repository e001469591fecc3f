"""From all criteria of a pairing to the maximum display duration."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from study.analysis.duration import pairing_estimate
from study.model.estimate import PairingEstimate
from study.model.protocol import Protocol
from study.model.reading import CouponHistory

INF = math.inf
LABELS = ("3 months", "6 months", "12 months", "24 months", "36 months")
DAYS = (91, 182, 365, 730, 1095)


@pytest.fixture
def study(coupon: Any) -> Any:
    """A maker of invented pairings: five pulls of four pull-off coupons and four hold coupons."""

    def make(
        *, force: float = 4.0, growth: float = 0.01, scatter: float = 0.1, grade: tuple[int, ...] = (0, 0, 0, 0, 1),
        angle: str = ">90", pulls: int = 5, pattern: str = "AF",
    ) -> list[CouponHistory]:  # fmt: skip
        rng = np.random.default_rng(12)
        made = []
        for k in range(pulls):
            for j in range(4):
                n = float(np.exp(np.log(force) + growth * np.sqrt(DAYS[k]) + rng.normal(0, scatter)))
                stain = 0.3 * float(np.exp(0.01 * np.sqrt(DAYS[k]) + rng.normal(0, 0.15)))
                residue = 4.0 if j < grade[k] else 1.0
                made.append(
                    coupon(
                        dwell=DAYS[k], group=LABELS[k], removal_force=(n, n, f"{n:.2f}"), pattern=(pattern, "object"),
                        residue_grade=(residue, residue, f"{residue:g}"), colours=((60, 2, 3), (60 - stain, 2, 3)),
                    )
                )  # fmt: skip
                lower = 90.0 if angle == ">90" else float(angle)
                upper = INF if angle == ">90" else lower
                made.append(
                    coupon(
                        dwell=DAYS[k],
                        group=LABELS[k],
                        set_key="S2",
                        test="hold-angle",
                        hold_angle=(lower, upper, angle),
                    )
                )
        return made

    return make


def estimated(histories: list[CouponHistory], protocol: Protocol, *, faces_object: bool = False) -> PairingEstimate:
    """A pairing's estimate."""
    return pairing_estimate(histories=histories, protocol=protocol, faces_object=faces_object)


def ruled(protocol: Protocol, **rule: Any) -> Protocol:
    """The protocol under another rule."""
    return protocol.model_copy(update={"rule": protocol.rule.model_copy(update=rule)})


def test_force_alone_is_supported(study: Any, protocol: Protocol) -> None:
    """A force that grows towards its limit limits the duration, by the readings themselves."""
    found = estimated(study(force=13.0, growth=0.025, scatter=0.04, grade=(0,) * 5), protocol).duration
    assert found.outcome == "supported"
    assert found.limiting == "Removal force"
    assert found.days == math.floor(found.bound_days or 0)
    assert "decline of the readings" in found.why


def test_a_line_foretells_what_the_next_pull_would_give(study: Any, protocol: Protocol) -> None:
    """Where readings decide, it is worked out what more readings like them would give, and never as a promise."""
    rows = [h for h in study(force=11.0, growth=0.02, scatter=0.05, grade=(0,) * 5) if h.dwell_days < 1000]
    only = protocol.model_copy(update={"criteria": tuple(c for c in protocol.criteria if c.key == "removal-force")})
    found = estimated(rows, only).duration
    assert found.outcome == "supported"
    assert "36 months pull" in found.extend
    assert "as the line foretells" in found.extend
    assert f"from {found.days} d" in found.extend


def test_lots_stand_apart_in_the_mean_alone(study: Any, protocol: Protocol) -> None:
    """Where lots differ the mean's limit is the worst lot's; the bound that decides treats all coupons alike."""
    rows = [
        replace(h, lot="L2", code=f"{h.code}b") if i % 8 == 0 else h
        for i, h in enumerate(study(force=9.0, growth=0.02))
    ]
    (force,) = (e for e in estimated(rows, protocol).estimates if e.criterion == "removal-force")
    (plain,) = (
        e for e in estimated(study(force=9.0, growth=0.02), protocol).estimates if e.criterion == "removal-force"
    )
    assert force.decline is not None
    assert plain.decline is not None
    assert force.decline.lots is not None
    assert force.decline.lots.lots == ("L", "L2")
    assert plain.decline.lots is None
    assert force.decline.lower_days == plain.decline.lower_days


def test_all_unacceptable_at_the_first_pull_says_how_many_are(study: Any, protocol: Protocol) -> None:
    """No dwell is shown; the share that is unacceptable by the first pull has its exact limit, 0.05 to the 1/4."""
    found = estimated(study(grade=(4, 4, 4, 4, 4)), protocol)
    (residue,) = (e for e in found.estimates if e.criterion == "residue")
    assert "At the first pull (91 d) all 4 were so: at least 47.3\u202f% of such coupons are." in residue.statement
    assert found.duration.outcome == "not shown"
    assert "Earlier pulls" in found.duration.extend


def test_no_failure_is_provisional(study: Any, protocol: Protocol) -> None:
    """A duration that rests on never having seen a bad coupon is provisional, and says so."""
    found = estimated(study(grade=(0,) * 5), protocol).duration
    assert found.outcome == "provisional"
    assert "no unacceptable coupon was seen yet" in found.why
    assert found.days is not None
    assert "pull" in found.extend or "coupons" in found.extend


def test_bad_from_the_first_pull_is_not_shown(study: Any, protocol: Protocol) -> None:
    """Where all coupons were unacceptable at the first look, no duration is shown."""
    found = estimated(study(grade=(4, 4, 4, 4, 4)), protocol).duration
    assert (found.outcome, found.days, found.bound_days) == ("not shown", None, 0.0)
    assert found.limiting == "Residue"
    assert "Earlier pulls" in found.extend


def test_below_the_first_pull_reads_less_than(study: Any, protocol: Protocol) -> None:
    """A bound before the first look is named as less than that look and never as a number of its own."""
    found = estimated(study(grade=(0, 1, 2, 3, 4)), protocol).duration
    assert found.outcome == "not shown"
    assert "less than 91 d" in found.why
    assert found.days is None


def test_two_pulls_are_too_thin(study: Any, protocol: Protocol) -> None:
    """Two pulls show no bound, and it is said what would show one."""
    found = estimated(study(pulls=2), protocol).duration
    assert found.outcome == "not shown"
    assert "three" in found.extend


def test_no_coupon_at_all(protocol: Protocol) -> None:
    """A pairing without a reading has no duration, which is not the same as a safe one."""
    found = estimated([], protocol)
    assert found.duration.outcome == "not shown"
    assert found.duration.any_failure is None
    assert all(estimate.n == 0 for estimate in found.estimates)
    assert any("Not shown does not mean safe" in step for step in found.duration.steps)


def test_a_criterion_never_read_shows_nothing(study: Any, protocol: Protocol) -> None:
    """A pairing whose hold was never tried has no duration, however good the rest."""
    rows = [h for h in study() if h.test != "hold-angle"]
    found = estimated(rows, protocol).duration
    assert (found.outcome, found.limiting) == ("not shown", "Hold")
    assert "has not been read" in found.why


def test_harm_to_an_object_stops(study: Any, coupon: Any, protocol: Protocol) -> None:
    """One coupon that tore an object's surface stops the pairing; on a display surface it is one bad coupon."""
    torn = coupon(
        dwell=365, group="12 months", removal_force=(6.0, 6.0, "6"), pattern=("CSF", "object"),
        residue_grade=(1.0, 1.0, "1"),
    )  # fmt: skip
    stopped = estimated([*study(), torn], protocol, faces_object=True).duration
    assert (stopped.outcome, stopped.days, stopped.limiting) == ("stopped", None, "Harm to the surface")
    assert torn.code in stopped.why
    assert "365 d" in stopped.why
    assert "12 months" in stopped.why
    mount = replace(torn.readings["failure_pattern"], side="mount")
    spared = replace(torn, readings={**torn.readings, "failure_pattern": mount})
    assert estimated([*study(), spared], protocol, faces_object=True).duration.outcome != "stopped"
    shelf = estimated([*study(), torn], protocol, faces_object=False)
    assert shelf.duration.outcome != "stopped"
    assert next(e for e in shelf.estimates if e.criterion == "surface-harm").n_unacceptable == 1


def test_rows_and_names_do_not_matter(study: Any, protocol: Protocol) -> None:
    """Shuffled rows and renamed coupons give the same duration."""
    rows = study()
    order = np.random.default_rng(3).permutation(len(rows))
    renamed = [
        replace(rows[i], code=f"Z{n}", readings={k: replace(r, code=f"Z{n}") for k, r in rows[i].readings.items()})
        for n, i in enumerate(order)
    ]
    plain, other = estimated(rows, protocol), estimated(renamed, protocol)
    assert plain.duration == other.duration
    assert [e.bound_days for e in plain.estimates] == [e.bound_days for e in other.estimates]
    assert [e.curve for e in plain.estimates] == [e.curve for e in other.estimates]


@pytest.mark.parametrize("grown", [0.01, 0.045])
def test_more_confidence_never_lengthens(study: Any, protocol: Protocol, grown: float) -> None:
    """Who wants to be surer may display no longer."""
    rows = study(growth=grown)
    lengths = [
        estimated(rows, ruled(protocol, confidence=c)).duration.bound_days or 0.0 for c in (0.8, 0.9, 0.95, 0.99)
    ]
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[0] > lengths[-1]


def test_caps_never_lengthen(study: Any, protocol: Protocol) -> None:
    """A bound reaches no further than the last pull with enough coupons read."""
    only = protocol.model_copy(update={"criteria": tuple(c for c in protocol.criteria if c.key == "removal-force")})
    rows = study(force=3.0, growth=0.001)
    full = estimated(rows, only).duration
    assert (full.outcome, full.days) == ("supported", 1095)
    assert "last pull with at least 3" in " ".join(full.steps)
    thin = [h for h in rows if h.dwell_days < 1095] + [
        h for h in rows if h.dwell_days == 1095 and h.test != "hold-angle"
    ][:2]
    short = estimated(thin, only).duration
    assert (short.outcome, short.days) == ("supported", 730)
    further = estimated(rows, ruled(only, extrapolation=True)).duration
    assert further.outcome == "provisional"
    assert 1095 < (further.days or 0) <= 1095 + 183
    assert "reaches past the last pull" in further.why


def test_unacceptable_on_the_first_day_is_no_duration(study: Any, coupon: Any, protocol: Protocol) -> None:
    """A force beyond the limit on the day of placing leaves nothing to display."""
    zero = coupon(dwell=0, role="time-zero", group="0 d", removal_force=(25.0, 25.0, "25"))
    found = estimated([*study(), zero], protocol)
    force = next(e for e in found.estimates if e.criterion == "removal-force")
    assert force.bound_days == 0
    assert found.duration.outcome == "not shown"


def test_readings_known_only_as_above_leave_the_verdicts(study: Any, protocol: Protocol) -> None:
    """Where some angles are only known to lie beyond the stand, pass and fail decide."""
    hold = next(e for e in estimated(study(), protocol).estimates if e.criterion == "hold")
    assert hold.picture is not None
    assert hold.picture.censored == hold.picture.n == 20
    assert hold.decline is None
    assert hold.basis == "pass and fail at each pull"
    assert "known only as above or below" in hold.statement


def test_day_share_of_verdicts_comes_from_the_readings(study: Any, protocol: Protocol) -> None:
    """Grades have no scatter of their own, so the largest day share of the readings stands in, else the declared."""
    found = {e.criterion: e for e in estimated(study(), protocol).estimates}
    own = [found[key].decline.day_share for key in ("removal-force", "discoloration")]
    assert found["residue"].pass_fail.day_share == pytest.approx(min(max(own), 0.6))
    grades = protocol.model_copy(update={"criteria": tuple(c for c in protocol.criteria if c.key == "residue")})
    (only,) = estimated(study(), grades).estimates
    assert only.pass_fail is not None
    assert only.pass_fail.day_share == pytest.approx(1 / 3)


def test_failing_any_counts_each_coupon_once(study: Any, protocol: Protocol) -> None:
    """A coupon that fails two criteria is one failing coupon."""
    rows = study(force=30.0, growth=0.0, scatter=0.01, grade=(4, 4, 4, 4, 4))
    found = estimated(rows, protocol).duration.any_failure
    assert found is not None
    assert (found.dwell_days, found.read, found.unacceptable) == (91, 8, 4)


def test_in_place_looks_are_provisional(study: Any, protocol: Protocol) -> None:
    """Looks in place give only an approximate limit, so a duration on them is provisional."""
    watched = next(c for c in protocol.criteria if c.key == "residue").model_copy(update={"looks": "in place"})
    only = protocol.model_copy(update={"criteria": (watched,)})
    for grade in ((0, 0, 0, 0, 0), (0, 0, 1, 2, 3)):
        found = estimated(study(grade=grade), only)
        assert found.estimates[0].pass_fail is not None
        assert found.estimates[0].pass_fail.approximate
        assert found.duration.outcome in ("provisional", "not shown")
    assert estimated(study(grade=(0,) * 5), only).duration.outcome == "provisional"


def test_progress_is_told(study: Any, protocol: Protocol) -> None:
    """A person who waits is told what is being worked out."""
    told: list[str] = []
    pairing_estimate(histories=study(), protocol=protocol, faces_object=False, progress=told.append)
    assert [c.title for c in protocol.criteria] == [t for t in told if t in {c.title for c in protocol.criteria}]
