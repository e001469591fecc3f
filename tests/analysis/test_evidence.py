"""What one coupon is worth under one criterion, and how coupons are counted at pulls."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from study.analysis.acceptance import coupon_verdict, time_zero_limits
from study.analysis.censoring import (
    dropped_words,
    informative,
    joined,
    judged_histories,
    observations,
    pull_counts,
    pull_groups,
)
from study.model.details import Details
from study.model.protocol import Protocol

INF = math.inf


@pytest.mark.parametrize(
    ("typed", "lower", "upper", "limit", "direction", "verdict"),
    [
        ("20", 20.0, 20.0, 20.0, "above", False),
        ("20.01", 20.01, 20.01, 20.0, "above", True),
        (">50", 50.0, INF, 20.0, "above", True),
        (">20", 20.0, INF, 20.0, "above", True),
        (">15", 15.0, INF, 20.0, "above", None),
        ("<0.05", -INF, 0.05, 20.0, "above", False),
        ("2-3", 2.0, 3.0, 2.0, "above", None),
        ("1-2", 1.0, 2.0, 2.0, "above", False),
        ("3-4", 3.0, 4.0, 2.0, "above", True),
        ("60", 60.0, 60.0, 60.0, "below", False),
        (">90", 90.0, INF, 60.0, "below", False),
        ("<60", -INF, 60.0, 60.0, "below", True),
        ("<75", -INF, 75.0, 60.0, "below", None),
    ],
)
def test_verdict_of_a_value(
    criterion: Any,
    coupon: Any,
    typed: str,
    lower: float,
    upper: float,
    limit: float,
    direction: str,
    verdict: bool | None,
) -> None:
    """A reading is unacceptable beyond its limit, acceptable at it, undecided where it was not read finely enough."""
    asked = criterion(unacceptable=direction, limit=limit)
    found = coupon_verdict(
        coupon(removal_force=(lower, upper, typed)), criterion=asked, limit=limit, faces_object=False
    )
    assert found.unacceptable is verdict
    assert (found.lower, found.upper) == (lower, upper)


@pytest.mark.parametrize("pattern", ["SF", "CSF", "DF"])
def test_broken_substrate_held_at_least_so_much(criterion: Any, coupon: Any, pattern: str) -> None:
    """Where the substrate broke first, the bond held at least the force read."""
    asked = criterion(limit=20.0)
    low = coupon_verdict(
        coupon(removal_force=(8.0, 8.0, "8"), pattern=(pattern, "object")),
        criterion=asked,
        limit=20.0,
        faces_object=True,
    )
    assert (low.lower, low.upper, low.unacceptable) == (8.0, INF, None)
    clean = coupon_verdict(
        coupon(removal_force=(8.0, 8.0, "8"), pattern=("AF", "object")), criterion=asked, limit=20.0, faces_object=True
    )
    assert (clean.upper, clean.unacceptable) == (8.0, False)


@pytest.mark.parametrize(
    ("pattern", "side", "faces_object", "unacceptable", "stop"),
    [
        ("SF", "object", True, True, True),
        ("SF", "object", False, True, False),
        ("SF", "unknown", True, True, True),
        ("SF", "both", True, True, True),
        ("SF", "mount", True, False, False),
        ("CF", "object", True, False, False),
    ],
)
def test_harm_is_on_the_side_it_is_on(
    harm: Any, coupon: Any, pattern: str, side: str, faces_object: bool, unacceptable: bool, stop: bool
) -> None:
    """A break in the mount is no harm to the surface; a break in an object's surface stops the pairing."""
    found = coupon_verdict(coupon(pattern=(pattern, side)), criterion=harm, limit=None, faces_object=faces_object)
    assert (found.unacceptable, found.stop) == (unacceptable, stop)


def test_a_value_beyond_stop_stops(criterion: Any, coupon: Any) -> None:
    """A reading beyond the stop value stops the pairing, one at it does not."""
    asked = criterion(limit=20.0, stop=40.0)
    at, beyond = (
        coupon_verdict(coupon(removal_force=(v, v, str(v))), criterion=asked, limit=20.0, faces_object=False)
        for v in (40.0, 40.5)
    )
    assert (at.stop, beyond.stop) == (False, True)


def test_limit_from_time_zero(criterion: Any, coupon: Any) -> None:
    """A share of time zero is taken from the geometric mean of the lot's own time-zero readings."""
    asked = criterion(unacceptable="below", limit=0.7, of_time_zero=True)
    zero = [coupon(role="time-zero", dwell=0, removal_force=(v, v, str(v)), lot="L1") for v in (4.0, 9.0)]
    limits = time_zero_limits([*zero, coupon(lot="L2")], criterion=asked)
    assert limits["L1"] == pytest.approx(0.7 * 6.0)
    assert limits["L2"] is None


def test_intervals_of_one_look(criterion: Any, coupon: Any) -> None:
    """A pulled coupon is looked at once: its time lies before or after that look."""
    rows = [coupon(dwell=91, removal_force=(5.0, 5.0, "5")), coupon(dwell=91, removal_force=(25.0, 25.0, "25"))]
    good, bad = observations(rows, criterion=criterion(limit=20.0), limits={"L": 20.0}, faces_object=False)
    assert (good.after_days, good.by_days) == (91, INF)
    assert (bad.after_days, bad.by_days) == (0, 91)
    assert "removal force 25" in bad.why


def test_silent_coupons_are_counted(criterion: Any, coupon: Any, protocol: Protocol) -> None:
    """A coupon that tells nothing is left out, and it is said how many and why."""
    rows = [
        coupon(pull_kind="lost"),
        coupon(pull_kind="damaged"),
        coupon(),
        coupon(removal_force=(15.0, INF, ">15")),
        coupon(pull_kind="released by itself"),
        coupon(pull_kind="damaged", removal_force=(5.0, 5.0, "5")),
        coupon(role="blank", removal_force=(99.0, 99.0, "99")),
        coupon(test="hold-angle"),
    ]
    asked = criterion(limit=20.0, tests=("pull-off-dot",))
    chosen = judged_histories(rows, criterion=asked, protocol=protocol)
    found = observations(chosen, criterion=asked, limits={"L": 20.0}, faces_object=False)
    count, why = dropped_words(found)
    assert len(found) == 6
    assert len(informative(found)) == 1
    assert count == 5
    for reason in ("1 lost", "1 damaged", "1 pulled but not measured", "1 the reading does not decide", "1 released"):
        assert reason in why


def test_self_release_counts_at_the_pull_it_was_meant_for(hold: Any, coupon: Any) -> None:
    """A coupon that let go by itself would have been found released at the pull it was meant for."""
    read = [coupon(test="hold-angle", dwell=d, group="12 months", hold_angle=(75.0, 75.0, "75")) for d in (366, 364)]
    gone = coupon(
        test="hold-angle", pull_kind="released by itself", dwell=200, last_seen=150, group="200 d", planned="12 months"
    )
    found = observations([*read, gone], criterion=hold, limits={"L": 60.0}, faces_object=False)
    released = next(o for o in found if o.released)
    assert (released.after_days, released.by_days, released.unacceptable) == (150, 200, True)
    counts = pull_counts(found, confidence=0.95)
    assert [(c.dwell_days, c.read, c.unacceptable) for c in counts] == [(364, 3, 1)]
    alone = observations([gone], criterion=hold, limits={"L": 60.0}, faces_object=False)
    counts = pull_counts(alone, confidence=0.95)
    assert [(c.dwell_days, c.read, c.unacceptable) for c in counts] == [(200, 1, 1)]


def test_any_coupon_that_let_go_is_a_failure_of_hold(
    hold: Any, criterion: Any, coupon: Any, protocol: Protocol
) -> None:
    """A coupon meant for the pull-off test that lets go by itself did not hold; a residue read on it counts as read."""
    read = [coupon(test="hold-angle", dwell=365, group="12 months", hold_angle=(75.0, 75.0, "75")) for _ in range(3)]
    gone = coupon(
        pull_kind="released by itself", dwell=200, last_seen=150, group="200 d", planned="12 months",
        residue_grade=(3.0, 3.0, "3"),
    )  # fmt: skip
    chosen = judged_histories([*read, gone], criterion=hold, protocol=protocol)
    found = observations(chosen, criterion=hold, limits={"L": 60.0}, faces_object=False)
    (released,) = [o for o in found if o.released]
    assert (released.after_days, released.by_days) == (150, 200)
    assert "destined to pull-off-dot" in released.why
    assert [(c.dwell_days, c.read, c.unacceptable) for c in pull_counts(found, confidence=0.95)] == [(365, 4, 1)]
    residue = criterion(key="residue", quantity="residue_grade", limit=2.0, unit="grade")
    (seen,) = observations(
        judged_histories([*read, gone], criterion=residue, protocol=protocol),
        criterion=residue, limits={"L": 2.0}, faces_object=False,
    )  # fmt: skip
    assert (seen.after_days, seen.by_days, seen.unacceptable, seen.released) == (0, 200, True, False)
    force = criterion(tests=("pull-off-dot",))
    (silent,) = observations(
        judged_histories([*read, gone], criterion=force, protocol=protocol),
        criterion=force, limits={"L": 20.0}, faces_object=False,
    )  # fmt: skip
    assert silent.unacceptable is None


def test_why_names_the_readings(criterion: Any, coupon: Any) -> None:
    """Asked why, an interval names the reading as typed and the dwell at which it was read."""
    (seen,) = observations(
        [coupon(dwell=182, removal_force=(25.0, 25.0, "25,0"), pattern=("AF", "object"))],
        criterion=criterion(limit=20.0), limits={"L": 20.0}, faces_object=False,
    )  # fmt: skip
    for part in ("pulled at 182 d", "removal force 25,0", "unacceptable above 20\u202fN"):
        assert part in seen.why
    colour = criterion(key="stain", quantity="discoloration", limit=2.0, unit="ΔE*00")
    rows = coupon(dwell=91, colours=((60.0, 2.0, 3.0), (59.0, 2.0, 3.0)))
    typed = {kind: replace(r, typed=" ".join(f"{v:g}" for v in r.lab)) for kind, r in rows.readings.items()}
    (seen,) = observations(
        [replace(rows, readings=typed)], criterion=colour, limits={"L": 2.0}, faces_object=False
    )  # fmt: skip
    assert "60 2 3" in seen.why
    assert "59 2 3" in seen.why


def test_repeated_colours_are_said_by_mean_and_count(criterion: Any, coupon: Any) -> None:
    """Three readings of a spot stand as their mean and count, not as nine numbers on end."""
    colour = criterion(key="stain", quantity="discoloration", limit=2.0, unit="ΔE*00")
    row = coupon(dwell=91, colours=((60.0, 2.0, 3.0), (59.0, 2.0, 3.0)))
    spots = ((58.5, 2.0, 3.0), (59.0, 2.0, 3.0), (59.5, 2.0, 3.0))
    after = row.readings["colour_after"]
    after = replace(after, typed="58.5 59 59.5 2 2 2 3 3 3", details=Details(spots=spots))
    verdict = coupon_verdict(
        replace(row, readings={**row.readings, "colour_after": after}), criterion=colour, limit=2.0, faces_object=False
    )
    assert verdict is not None
    assert "after removal (59.00 2.00 3.00, mean of 3)" in verdict.why
    assert "58.5" not in verdict.why


def test_several_criteria_of_a_coupon_as_one(hold: Any, criterion: Any, coupon: Any) -> None:
    """A coupon fails any criterion by the earliest failure, and is sound only as long as it was so under all."""
    good = coupon(dwell=365, removal_force=(5.0, 5.0, "5"), residue_grade=(1.0, 1.0, "1"))
    bad = coupon(dwell=365, removal_force=(5.0, 5.0, "5"), residue_grade=(4.0, 4.0, "4"))
    open_end = coupon(dwell=365, removal_force=(15.0, INF, ">15"), residue_grade=(1.0, 1.0, "1"))
    silent = coupon(dwell=365)
    gone = coupon(
        pull_kind="released by itself", dwell=200, last_seen=150, group="200 d", planned="12 months",
        residue_grade=(1.0, 1.0, "1"),
    )  # fmt: skip
    rows = [good, bad, open_end, silent, gone]
    asked = {"faces_object": False, "limits": {"L": 20.0}}
    force = observations(rows, criterion=criterion(limit=20.0), **asked)
    residue = observations(
        rows, criterion=criterion(key="residue", quantity="residue_grade", limit=2.0), faces_object=False,
        limits={"L": 2.0},
    )  # fmt: skip
    held = observations([gone], criterion=hold, limits={"L": 60.0}, faces_object=False)
    found = {o.code: (o.after_days, o.by_days, o.unacceptable) for o in joined([force, residue, held])}
    assert found == {
        good.code: (365, INF, False),
        bad.code: (0, 365, True),
        open_end.code: (0, INF, None),
        gone.code: (0, 200, True),  # nobody knows until when its residue was sound, so the whole start is open
    }
    assert joined([residue, force, held]) != ()
    assert {o.code: o.by_days for o in joined([held, residue, force])} == {code: v[1] for code, v in found.items()}


def test_pulls_are_counted_at_their_smallest_dwell(criterion: Any, coupon: Any) -> None:
    """Coupons of one pull stand at the shortest of their dwells; two sets at one dwell are one pull."""
    rows = [
        coupon(dwell=95, removal_force=(5.0, 5.0, "5")),
        coupon(dwell=91, removal_force=(25.0, 25.0, "25")),
        coupon(dwell=91, set_key="S2", removal_force=(5.0, 5.0, "5")),
        coupon(dwell=0, group="0", role="time-zero", removal_force=(5.0, 5.0, "5")),
    ]
    found = observations(rows, criterion=criterion(limit=20.0), limits={"L": 20.0}, faces_object=False)
    assert [(g.dwell_days, len(g.members)) for g in pull_groups(found)] == [(0, 1), (91, 2), (91, 1)]
    (only,) = pull_counts(found, confidence=0.95)
    assert (only.dwell_days, only.read, only.unacceptable) == (91, 3, 1)
    assert only.acceptable_lower == pytest.approx(0.1354, abs=1e-4)


def test_a_found_release_is_no_pass_for_residue(criterion: Any, coupon: Any) -> None:
    """Found on the floor months later with little residue: nobody knows how long it had stuck, so it is no pass."""
    gone = coupon(pull_kind="released by itself", dwell=686, last_seen=17, residue_grade=(1.0, 1.0, "1"))
    judged = criterion(key="residue", quantity="residue_grade", limit=2.0)
    (seen,) = observations([gone], criterion=judged, limits={"L": 2.0}, faces_object=False)
    assert (seen.unacceptable, seen.after_days) == (None, 0)
    assert "not known" in seen.why


def test_a_time_zero_coupon_never_hides_its_pull(criterion: Any, coupon: Any) -> None:
    """One coupon read at dwell 0 in a pull of later ones leaves the later ones counted."""
    rows = [coupon(dwell=day, group="1 week", removal_force=(5.0, 5.0, "5")) for day in (0, 7, 7)]
    found = observations(rows, criterion=criterion(limit=20.0), limits={"L": 20.0}, faces_object=False)
    (only,) = pull_counts(found, confidence=0.95)
    assert (only.dwell_days, only.read) == (7, 2)
