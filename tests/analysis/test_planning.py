"""Planning: many studies at once are judged as one study is, keep the confidence, and do not depend on workers."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import numpy as np
import pytest

from study.analysis.calibration import calibrated_days
from study.analysis.decline import decline_fit
from study.analysis.design import LifeTruth, ReadingTruth, invented_counts, invented_readings
from study.analysis.duration import pairing_estimate
from study.analysis.planning import Tables, chance_of, design_support
from study.analysis.planning_decline import decline_bounds
from study.analysis.planning_parts import NEVER_BAD, READINGS, VERDICTS, Part, PlannedDesign, picture_of, planned_design
from study.analysis.planning_search import compared, pull_sets, pulls_words, root_even, suggestion
from study.analysis.planning_verdicts import Table, VerdictDesign, rounded_share, verdict_bounds
from study.analysis.workers import Workers, spread
from study.errors import NotPossible, Unknown
from study.intake.plan_file import parse_plan
from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.estimate import PairingEstimate
from study.model.plan import Picture
from study.model.protocol import Protocol, Rule
from study.model.reading import CouponHistory, Reading

RULE = Rule(sources=("common-practice",))
DAYS = (91, 182, 365, 730, 1096)
LABELS = ("3 months", "6 months", "12 months", "24 months", "36 months")
FORCE = Part("Removal force", READINGS, (5,) * 5, 0, tests=("pull-off-dot",))
RESIDUE = Part("Residue", VERDICTS, (3,) * 5, 0, tests=("pull-off-dot",))
PICTURE = Picture(key="p", title="A picture", readings_months=30.0, verdict_months=40.0)
PLAN = """
name = "p"
adhesives = ["a"]
substrates = ["b"]
environments = ["c"]
pulls = "3, 6, 12, 24, 36 months"
[coupons]
"pull-off-dot" = 3
"""


def made(*parts: Part, coupons: int | None = None) -> PlannedDesign:
    """A design of five pulls with these parts."""
    design = PlannedDesign(DAYS, LABELS, parts, (("pull-off-dot", parts[0].coupons),))
    return design if coupons is None else design.with_coupons(coupons)


@pytest.mark.parametrize(
    ("days", "counts", "time_scale", "day_sd"),
    [
        ((0.0, 7.0, 30.0, 91.0, 365.0, 730.0, 1096.0), (5,) * 7, "sqrt", 0.05),
        ((91.0, 182.0, 365.0, 730.0, 1096.0), (5, 3, 4, 5, 2), "sqrt", 0.10),
        ((91.0, 182.0, 365.0, 730.0), (3,) * 4, "linear", 0.05),
        ((30.0, 91.0, 365.0), (4,) * 3, "sqrt", 0.0),
        ((30.0, 91.0, 182.0, 365.0, 548.0, 730.0), (1,) * 6, "sqrt", 0.0),
    ],
)
def test_many_declines_at_once_are_each_the_one(
    days: tuple[float, ...], counts: tuple[int, ...], time_scale: str, day_sd: float
) -> None:
    """The bound, the day share and the verdict on the line of forty studies are those of ``decline_fit``."""
    truth = ReadingTruth(500.0, day_sd=day_sd)
    pulls, number = np.array(days), np.array(counts)
    forces = invented_readings(truth, pull_days=pulls, coupons=int(number.max()), studies=40, seed=5)
    g = np.sqrt(pulls) if time_scale == "sqrt" else pulls
    horizon = float(pulls[-1])
    many = decline_bounds(
        g=g, counts=number, y=np.log(forces), limit=math.log(truth.limit),
        cap=math.sqrt(horizon) if time_scale == "sqrt" else horizon, permitted_share=0.1, confidence=0.95,
    )  # fmt: skip
    reached = 0
    for study, found in enumerate(many.g.tolist()):
        one = decline_fit(
            pull_days=pulls, pull=np.repeat(np.arange(number.size), number),
            values=np.concatenate([forces[study, k, :n] for k, n in enumerate(counts)]), limit=truth.limit,
            unacceptable="above", value_scale="log", time_scale=time_scale, permitted_share=0.1, confidence=0.95,
            horizon_days=horizon,
        )  # fmt: skip
        expected = horizon if one.not_reached else one.lower_days
        assert (found**2 if time_scale == "sqrt" else found) == pytest.approx(expected, abs=1e-6)
        assert many.day_share[study] == pytest.approx(one.day_share, abs=1e-9)
        assert bool(many.adequate[study]) is one.adequate
        reached += found > 0
    assert reached > 0 or len(days) == 3


@pytest.mark.parametrize("read", [(3, 3, 3, 3, 3), (4, 3, 5, 3, 2), (5, 5, 5, 5, 5, 5, 5, 5)])
def test_the_table_gives_each_study_its_own_bound(read: tuple[int, ...]) -> None:
    """Read off the shared table, a bound is that of ``calibrated_days``: exact within its 1 %, or to its two digits."""
    days = np.array([91.0, 182.0, 365.0, 730.0, 1096.0] if len(read) == 5 else [7, 30, 91, 183, 365, 548, 730, 1096.0])
    counts = invented_counts(
        LifeTruth(500.0, day_share=0.2), pull_days=days, coupons=np.array(read), studies=30, seed=4
    )
    outcomes = np.unique(counts, axis=0)[:12]
    asked = VerdictDesign(tuple(days.tolist()), read, (1.0, 12.0), 0.1, 0.95, seed=7, studies=600)
    learned = verdict_bounds(asked, 3, outcomes, Table())
    again = verdict_bounds(asked, 3, outcomes, learned)
    assert repr(again.bounds) == repr(learned.bounds)
    assert not again.critical
    assert not again.plain
    told = 0
    for outcome, found in learned.bounds.items():
        if math.isnan(found) or found == 0:
            continue
        one = calibrated_days(
            pull_days=asked.pull_days, read=read, unacceptable=outcome, day_share=0.3, shape=(1.0, 12.0),
            permitted_share=0.1, confidence=0.95, seed=7, studies=600,
        )  # fmt: skip
        assert found <= one * (1 + 1e-12)
        assert found == one if len(read) == 8 else found >= one / 1.011
        told += 1
    assert told >= 4


def test_what_has_no_bound_has_none_in_the_table_either() -> None:
    """All unacceptable at the first pull: 0. A share that falls, or two pulls: none."""
    asked = VerdictDesign((91.0, 182.0, 365.0), (3, 3, 3), (1.0, 12.0), 0.1, 0.95, 1)
    bounds = verdict_bounds(asked, 2, np.array([[3, 3, 3], [1, 0, 0]]), Table()).bounds
    assert bounds[3, 3, 3] == 0
    assert math.isnan(bounds[1, 0, 0])
    two = VerdictDesign((91.0, 182.0), (3, 3), (1.0, 12.0), 0.1, 0.95, 1)
    assert math.isnan(verdict_bounds(two, 2, np.array([[0, 0]]), Table()).bounds[0, 0])


def test_day_shares_are_rounded_to_the_safe_side() -> None:
    """Up to a tenth, at most 0.6."""
    assert rounded_share(np.array([0.0, 1e-12, 0.01, 0.3, 0.31, 0.6, 0.97])).tolist() == [0, 0, 1, 3, 4, 6, 6]


def history(code: str, day: float, force: float, grade: float) -> CouponHistory:
    """One pulled coupon with a force and a grade."""
    on = date(2025, 1, 1)
    readings = {
        "removal_force": Reading(code, "removal_force", on, "", "N", force, force),
        "residue_grade": Reading(code, "residue_grade", on, "", "grade", grade, grade),
    }
    return CouponHistory(
        code, "S", "test", "pull-off-dot", "L", "pulled", f"{day:g}", f"{day:g}", day, readings=readings
    )


def two_criteria() -> Protocol:
    """The default protocol with removal force and residue alone."""
    protocol = parse_protocol(known_protocols()["display-dots"])
    return protocol.model_copy(update={"criteria": protocol.criteria[:2]})


def test_a_planned_study_is_judged_as_a_real_one() -> None:
    """The same invented coupons, judged by the plan and as real histories by ``pairing_estimate``.

    The plan's day share is rounded up and its bound narrowed to 1 %: the real duration is as long or a little longer,
    and where the readings limit it is the same to the day.
    """
    protocol = two_criteria()
    plan, _ = parse_plan(PLAN)
    design = planned_design(plan.model_copy(update={"pictures": ()}), protocol)
    assert [part.kind for part in design.parts] == [READINGS, VERDICTS]
    studies, seed = 24, 6
    support = design_support(design, picture=PICTURE, rule=protocol.rule, studies=studies, seed=seed)
    seeds = np.random.SeedSequence(seed).generate_state(2).tolist()
    truth = ReadingTruth(30 * 30.4375, day_sd=0.05, start=10.0, limit=20.0)
    days = np.array(design.days, float)
    forces = invented_readings(truth, pull_days=days, coupons=3, studies=studies, seed=int(seeds[0]))
    life = LifeTruth(40 * 30.4375, day_share=1 / 9)
    bad = invented_counts(life, pull_days=days, coupons=np.array([3] * 5), studies=studies, seed=int(seeds[1]))
    same = 0
    for study in range(studies):
        histories = [
            history(f"{k}-{j}", day, float(forces[study, k, j]), 4.0 if j < bad[study, k] else 1.0)
            for k, day in enumerate(days.tolist()) for j in range(3)
        ]  # fmt: skip
        real = pairing_estimate(histories=histories, protocol=protocol, faces_object=False).duration
        planned = support.days[study]
        assert planned <= (real.days or 0)
        if real.limiting == "Removal force":
            assert planned == (real.days or 0)
            assert support.provisional[study] is (real.outcome == "provisional")
            same += 1
    assert same >= 3


@pytest.mark.parametrize(("day_scatter", "seed"), [(0.0, 11), (0.05, 12)])
def test_a_plan_seldom_shows_more_than_the_truth(day_scatter: float, seed: int) -> None:
    """The chance of a duration beyond the true one is 1 - confidence at most, within the error of the simulation."""
    picture = PICTURE.model_copy(update={"day_scatter": day_scatter, "readings_months": 20.0})
    support = design_support(made(FORCE), picture=picture, rule=RULE, studies=1500, seed=seed)
    beyond = chance_of(support, math.ceil(20 * 30.4375))
    assert beyond.shown_from <= 0.05
    assert beyond.shown > 0
    assert support.median_days > 91


def test_verdicts_alone_keep_the_confidence_too() -> None:
    """The same for pass and fail: 600 studies of three coupons at five pulls."""
    picture = PICTURE.model_copy(update={"verdict_months": 12.0})
    support = design_support(made(RESIDUE), picture=picture, rule=RULE, studies=600, seed=3)
    assert chance_of(support, 366).shown_from <= 0.05
    assert support.not_shown < 1


def test_more_coupons_never_lower_the_chance() -> None:
    """Within the error of the simulation, at every pull."""
    few, many = (
        design_support(made(FORCE, coupons=n), picture=PICTURE, rule=RULE, studies=800, seed=2) for n in (3, 8)
    )
    for less, more in zip(few.chances, many.chances, strict=True):
        assert more.shown_to >= less.shown_from
    assert many.median_days > few.median_days


def test_the_chance_is_that_of_the_noncentral_t() -> None:
    """One coupon at each of nine pulls: the chance of a bound beyond a day by quadrature, nothing of ours but the line.

    The bound lies beyond t where the line and t' s sqrt(h) stay below the limit there; the line at t is normal, s is a
    chi, and the two are independent: one integral over s.
    """
    from scipy import integrate, stats

    days = np.array([30.0, 91.0, 182.0, 274.0, 365.0, 548.0, 730.0, 913.0, 1096.0])
    truth, asked_days = ReadingTruth(913.0), 500.0
    g = np.sqrt(days)
    forces = invented_readings(truth, pull_days=days, coupons=1, studies=6000, seed=8)
    many = decline_bounds(
        g=g, counts=np.ones(9, int), y=np.log(forces), limit=math.log(6.0), cap=float(g[-1]), permitted_share=0.1,
        confidence=0.95,
    )  # fmt: skip
    seen = float(np.mean(many.g**2 >= asked_days))
    at, freedom = math.sqrt(asked_days), 7
    h = 1 / 9 + (at - g.mean()) ** 2 / np.sum((g - g.mean()) ** 2)
    factor = float(stats.nct.ppf(0.95, freedom, stats.norm.ppf(0.9) / math.sqrt(h)))
    mean = math.log(truth.start) + truth.rate() * at
    shift = (math.log(6.0) - mean) / (0.15 * math.sqrt(h))

    def part(u: float) -> float:
        return float(stats.norm.cdf(shift - factor * u) * 2 * freedom * u * stats.chi2.pdf(freedom * u * u, freedom))

    chance = integrate.quad(part, 0, 6)[0]
    assert 0.1 < chance < 0.9
    assert seen == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / 6000))


@pytest.mark.parametrize("jobs", [1, 2])
def test_workers_change_nothing(jobs: int) -> None:
    """The whole answer for one seed, in this process and over two; another seed gives another."""
    design = made(FORCE, RESIDUE)
    frozen: Tables = {}
    one = design_support(design, picture=PICTURE, rule=RULE, studies=60, seed=9, tables=frozen)
    other = design_support(design, picture=PICTURE, rule=RULE, studies=60, seed=9, workers=Workers(jobs))
    assert one == other
    assert design_support(design, picture=PICTURE, rule=RULE, studies=60, seed=10, tables=frozen) != one


def square(number: int) -> int:
    """Work for a worker."""
    return number * number


def test_no_scheduler_answers_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """An address where nothing listens is refused with what to do."""
    monkeypatch.setattr("study.analysis.workers.CONNECT_SECONDS", 0.3)
    pytest.importorskip("distributed")
    with pytest.raises(NotPossible, match="No Dask scheduler answers"):
        list(spread(math.sqrt, [(4.0,)], workers=Workers(scheduler="tcp://127.0.0.1:9")))


def test_a_cluster_gives_the_same_answer() -> None:
    """A cluster inside this process, reached by its address, answers as this process does."""
    distributed = pytest.importorskip("distributed")
    design = made(FORCE, RESIDUE)
    one = design_support(design, picture=PICTURE, rule=RULE, studies=40, seed=9)
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None, protocol="tcp"
    ) as cluster:
        workers = Workers(scheduler=cluster.scheduler_address)
        assert design_support(design, picture=PICTURE, rule=RULE, studies=40, seed=9, workers=workers) == one


def test_parts_are_those_of_the_protocol() -> None:
    """Force declines, residue lives, hold and harm are never bad but count; colour stays far within its limit."""
    plan, protocol = parse_plan(PLAN + '"hold-angle" = 2\n[controls]\ntime_zero = 4\n')
    design = planned_design(plan, protocol)
    assert [(part.title, part.kind, part.coupons[0]) for part in design.parts] == [
        ("Removal force", READINGS, 3), ("Residue", VERDICTS, 3), ("Harm to the surface", NEVER_BAD, 3),
        ("Hold", NEVER_BAD, 2),
    ]  # fmt: skip
    assert design.parts[0].time_zero == 4
    assert design.unlimited == ("Discoloration",)
    assert design.coupons == 5 * 5
    assert design.with_coupons(7).coupons == 5 * 14
    alone = design.only("hold")
    assert (alone.coupons, [part.title for part in alone.parts]) == (10, ["Hold"])
    with pytest.raises(Unknown, match="not a criterion"):
        design.only("smell")
    with pytest.raises(Unknown, match="not a cell"):
        planned_design(plan, protocol, cell=("x", "b", "c"))


def test_two_coupons_a_pull_show_nothing() -> None:
    """Below the protocol's minimum of coupons no pull carries a duration."""
    support = design_support(made(FORCE, coupons=2), picture=PICTURE, rule=RULE, studies=50, seed=1)
    assert support.not_shown == 1
    assert support.median_days == 0


def test_hopeless_and_bold_plans_are_judged_as_the_rule_says() -> None:
    """Two pulls show nothing; beyond the last pull all is provisional; coupons bad from the first day show nothing."""
    two = PlannedDesign((91, 182), LABELS[:2], (Part("Force", READINGS, (5, 5), 0),), (("t", (5, 5)),))
    assert design_support(two, picture=PICTURE, rule=RULE, studies=20, seed=1).not_shown == 1
    slow = PICTURE.model_copy(update={"readings_months": 1000.0})
    bold = RULE.model_copy(update={"extrapolation": True})
    far = design_support(made(FORCE), picture=slow, rule=bold, studies=60, seed=1)
    kept = design_support(made(FORCE), picture=slow, rule=RULE, studies=60, seed=1)
    assert max(kept.days) == 1096
    assert max(far.days) == 1096 + 183
    assert all(p for d, p in zip(far.days, far.provisional, strict=True) if d > 1096)
    near = PICTURE.model_copy(update={"start_share": 0.76, "scatter": 0.19})
    zero = made(Part("Force", READINGS, (5,) * 5, 40))
    plain = design_support(zero, picture=near, rule=RULE, studies=60, seed=1)
    assert plain.not_shown > 0.9


def test_the_chance_carries_its_error() -> None:
    """Exact limits around the share, also where every study or none shows it; what was assumed is said."""
    support = design_support(made(FORCE), picture=PICTURE, rule=RULE, studies=200, seed=1)
    for chance in support.chances:
        assert 0 <= chance.shown_from <= chance.shown <= chance.shown_to <= 1
        assert chance.shown_from < chance.shown_to
        assert chance.supported <= chance.shown
    last = chance_of(support, 2000)
    assert (last.shown, last.shown_from) == (0, 0)
    assert last.shown_to == pytest.approx(1 - 0.025 ** (1 / 200))
    said = " ".join(support.assumed)
    assert "not a finding" in said
    assert "30 months" in said


def test_a_suggestion_reaches_what_is_wanted_with_the_fewest() -> None:
    """The best reaches the chance; in its own pulls one coupon less does not; fewer coupons were not passed over."""
    asked: dict[str, Any] = {"wanted_days": 365, "picture": PICTURE, "rule": RULE, "studies": 80, "seed": 4}
    found = suggestion(made(FORCE), **asked)
    assert found.best is not None
    assert found.best.chance.shown >= 0.8
    assert found.best in found.options
    reaching = [option.coupons for option in found.options if option.chance.shown >= 0.8]
    assert found.best.coupons == min(reaching)
    assert str(found.best.coupons) in found.answer
    sets = {pulls_words(pulls): pulls for pulls in pull_sets(made(FORCE), 365)}
    if found.best.per_pull > 3:
        less = made(FORCE).with_pulls(sets[found.best.pulls]).with_coupons(found.best.per_pull - 1)
        again = design_support(less, picture=PICTURE, rule=RULE, studies=80, seed=4)
        assert chance_of(again, 365).shown < 0.8
    too_much = suggestion(made(FORCE), **asked | {"wanted_days": 1000})
    assert too_much.best is None
    assert "None of these reaches" in too_much.answer
    with pytest.raises(NotPossible, match="chance between"):
        suggestion(made(FORCE), **asked | {"wanted_chance": 1.0})


def test_more_pulls_beat_more_coupons_is_seen_in_the_comparison() -> None:
    """The plan itself first, then other numbers of coupons, then other pulls."""
    found = compared(made(FORCE), wanted_days=365, picture=PICTURE, rule=RULE, per_pull=(3, 5, 8), studies=200, seed=1)
    assert [option.per_pull for option in found] == [5, 3, 8, 5]
    assert found[2].chance.shown > found[1].chance.shown
    assert found[3].pulls != found[0].pulls


def test_even_pulls_are_whole_months_in_order() -> None:
    """Spread on the root of dwell, ending at the last; no set ends before what is wanted."""
    assert [label for label, _ in root_even(1096, 6)] == [
        "1 month", "4 months", "9 months", "16 months", "25 months", "36 months",
    ]  # fmt: skip
    assert pulls_words(root_even(1096, 5)) == "1, 6, 13, 23, 36 months"
    even = [len(pulls) for pulls in pull_sets(made(FORCE), 365)[2:]]
    assert set(even) == set(range(5, 12)), "no number of pulls is passed over"
    for pulls in pull_sets(made(FORCE), 1500):
        days = [day for _, day in pulls]
        assert days == sorted(set(days))
        assert days[-1] >= 1500


def test_a_finished_pairing_lends_its_decline() -> None:
    """With many readings the picture lies at the truth; a pairing that does not decline lends none."""
    protocol = two_criteria()

    def estimate_of(truth_days: float, coupons: int, *, falling: bool = False) -> PairingEstimate:
        days = np.array([91.0, 182.0, 365.0, 730.0, 1096.0])
        truth = ReadingTruth(truth_days, start=10.0, limit=20.0)
        forces = invented_readings(truth, pull_days=days, coupons=coupons, studies=1, seed=2)[0]
        forces = 100 / forces if falling else forces
        histories = [
            history(f"{k}-{j}", day, float(forces[k, j]), 1.0)
            for k, day in enumerate(days.tolist()) for j in range(coupons)
        ]  # fmt: skip
        return pairing_estimate(histories=histories, protocol=protocol, faces_object=False)

    picture = picture_of(estimate_of(913.0, 60), key="P03", permitted_share=0.1)
    assert picture.key == "p03"
    assert picture.readings_months == pytest.approx(30, rel=0.1)
    assert picture.start_share == pytest.approx(0.5, rel=0.05)
    assert picture.scatter == pytest.approx(0.15, rel=0.1)
    assert picture.verdict_months is None
    with pytest.raises(NotPossible, match="says nothing about a decline"):
        picture_of(estimate_of(913.0, 5, falling=True), key="P04", permitted_share=0.1)
