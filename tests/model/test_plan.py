"""Plans: the parts always sum to the total; allocation is balanced, repeatable and loses no coupon."""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from study.errors import NotPossible
from study.intake.plan_file import common_bench, common_pictures
from study.intake.protocol_file import known_protocols, parse_protocol
from study.intake.schedule_words import parse_pulls
from study.model.allocation import allocate, allocation_text, placed
from study.model.plan import CellChange, Controls, Picture, Plan, PlannedTest, Shelf, planned_groups, planned_protocol
from study.model.plan_size import plan_size
from study.model.protocol import Schedule

PULLS = "1 week, 1, 3, 6, 12, 18, 24, 36 months"


def made_schedule(words: str = PULLS) -> Schedule:
    """A schedule in words, deciding at its last pull."""
    pulls = parse_pulls(words)
    return Schedule(pulls=pulls, decision_pulls=(pulls[-1].label,), sources=("common-practice",))


def made_plan(**changed: Any) -> Plan:
    """A small balanced plan, changed as asked."""
    base: dict[str, Any] = {
        "name": "glass-2027", "adhesives": ("gel-a",), "substrates": ("tile",), "environments": ("store",),
        "tests": (PlannedTest(method="pull-off-dot", per_pull=5, then_read=("residue-0-5", "discoloration-de00")),),
        "schedule": made_schedule(), "bench": common_bench(), "pictures": common_pictures(),
        "blank_reads": ("discoloration-de00",),
    }  # fmt: skip
    return Plan.model_validate(base | changed)


NAMES = ("a", "b", "c", "d")


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Plans of any shape, some cells left out or counted otherwise, with every kind of control."""
    lists = {
        what: tuple(f"{what[:3]}-{name}" for name in NAMES[: draw(st.integers(1, 3))])
        for what in ("adhesives", "substrates", "environments")
    }
    tests = tuple(
        PlannedTest(method=method, per_pull=draw(st.integers(1, 4)))
        for method in ("pull-off-dot", "hold-angle")[: draw(st.integers(1, 2))]
    )
    pulls = made_schedule(draw(st.sampled_from(["1 week, 1, 3 months", PULLS, "6 months"])))
    any_of = {
        "adhesive": ("", *lists["adhesives"]), "substrate": ("", *lists["substrates"]),
        "environment": ("", *lists["environments"]), "test": ("", *(t.method for t in tests)),
        "pull": ("", *(p.label for p in pulls.pulls)),
    }  # fmt: skip
    one = st.fixed_dictionaries({k: st.sampled_from(v) for k, v in any_of.items()} | {"per_pull": st.integers(0, 6)})
    changes = [CellChange(**entry) for entry in draw(st.lists(one, max_size=4))]
    # The first cell keeps its coupons, so that no plan is empty.
    changes.append(
        CellChange(
            adhesive=lists["adhesives"][0], substrate=lists["substrates"][0], environment=lists["environments"][0],
            pull=pulls.pulls[0].label, per_pull=2,
        )
    )  # fmt: skip
    glass = draw(st.integers(0, 2))
    controls = Controls(
        blanks_per_pull=draw(st.integers(0, 2)), time_zero=draw(st.integers(0, 3)), glass="glass" if glass else "",
        glass_per_pull=glass, spare_share=draw(st.sampled_from([0.0, 0.1, 0.15, 0.2])),
    )  # fmt: skip
    shelf = Shelf(shelf_length_mm=draw(st.sampled_from([150.0, 330.0, 1000.0])))
    return made_plan(**lists, tests=tests, schedule=pulls, changes=tuple(changes), controls=controls, shelf=shelf)


FROZEN = "4c0cdcc1128a81b1ee9fd6ac896b1d85cc77f30c92937961822c442fc73cb1dc"
"""SHA-256 of one allocation's text: kept so that no later version deals otherwise."""


def codes_for(plan: Plan) -> list[str]:
    """A code for each coupon, in order of making."""
    return [f"c{number}" for number in range(sum(group.count for group in planned_groups(plan)))]


def test_the_warning_of_twelve_hundred_and_eighty() -> None:
    """4 adhesives × 4 substrates × 2 environments × 8 pulls × 5 make 1 280 coupons of one destructive test."""
    size = plan_size(
        made_plan(adhesives=("a", "b", "c", "d"), substrates=("e", "f", "g", "h"), environments=("i", "j"))
    )
    assert size.coupons == 1280
    assert size.cells == 32
    assert size.formula.endswith("= 1280 test coupons")
    assert size.making_hours == pytest.approx(1280 * 9 / 60)
    # Each coupon: off the shelf 2 min, pulled 6, residue 5, colour 6; half an hour for each pull and environment.
    assert size.reading_hours == pytest.approx(1280 * (2 + 6 + 5 + 6) / 60 + 8 * 2 * 0.5)
    # 5 rows of 50 mm with 10 mm between them on 300 mm: 640 coupons stand in 128 columns of 110 mm, less the last gap.
    assert [room.metres for room in size.rooms] == pytest.approx([128 * 0.110 - 0.010] * 2)
    assert [room.shelves for room in size.rooms] == [math.ceil(640 / 45)] * 2
    assert any("longer than a working week" in words for words in size.warnings)


def test_controls_are_counted_where_they_belong() -> None:
    """Blanks by pull, substrate and environment; glass by adhesive; time zero by cell; spares rounded up."""
    controls = Controls(blanks_per_pull=3, time_zero=4, glass="glass", glass_per_pull=2, spare_share=0.15)
    size = plan_size(made_plan(adhesives=("a", "b"), substrates=("c", "d", "e"), controls=controls))
    assert size.by_role == {
        "test": 6 * 8 * 5, "time-zero": 6 * 4, "spare": 6 * 6, "control": 2 * 8 * 2, "blank": 3 * 8 * 3,
    }  # fmt: skip
    assert not [words for words in size.warnings if "pares" in words or "blank" in words]


@settings(max_examples=60, deadline=None)
@given(plans())
def test_the_parts_always_sum_to_the_total(plan: Plan) -> None:
    """By role, by pull and by room the same coupons are counted; nothing is lost between two views."""
    size, groups = plan_size(plan), planned_groups(plan)
    assert all(group.count > 0 for group in groups)
    assert sum(size.by_role.values()) == sum(group.count for group in groups) == size.coupons
    assert sum(size.by_test.values()) == size.by_role["test"]
    assert sum(pull.coupons for pull in size.pulls) == size.coupons - size.by_role.get("spare", 0)
    assert sum(room.coupons for room in size.rooms) == size.coupons - size.by_role.get("time-zero", 0)
    assert Plan.model_validate_json(plan.text()) == plan
    tested = sum(
        plan.per_pull(adhesive, substrate, environment, test, pull)
        for adhesive in plan.adhesives for substrate in plan.substrates for environment in plan.environments
        for test in plan.tests for pull in plan.pulls
    )  # fmt: skip
    assert size.by_role["test"] == tested


@settings(max_examples=40, deadline=None)
@given(plans(), st.integers(0, 2**31))
def test_every_coupon_stands_once_and_blocks_are_balanced(plan: Plan, seed: int) -> None:
    """Each code once; each group gets its count; shelves hold the same within one at every level; places run from 1."""
    codes, groups = codes_for(plan), planned_groups(plan)
    rows = allocate(plan, codes, seed)
    assert [row.code for row in rows] == codes
    assert Counter(group_of(row) for row in rows) == {group_of(g): g.count for g in groups}
    standing = [row for row in rows if row.role != "time-zero"]
    assert all(row.shelf == "" and row.place == 0 for row in rows if row.role == "time-zero")
    for environment in plan.environments:
        here = [row for row in standing if row.environment == environment]
        shelves = sorted({row.shelf for row in here})
        assert len(shelves) == math.ceil(len(here) / plan.shelf.places)
        for shelf in shelves:
            places = sorted(row.place for row in here if row.shelf == shelf)
            assert places == list(range(1, len(places) + 1))
            assert len(places) <= plan.shelf.places
        # A plan may leave an environment without coupons: then it has no shelves and nothing to be balanced.
        for key in {("all",), *map(group_of, here)} if here else ():
            members = [row for row in here if key in (("all",), group_of(row))]
            counts = [sum(row.shelf == shelf for row in members) for shelf in shelves]
            assert max(counts) - min(counts) <= 1


def test_what_the_changes_leave_without_coupons_is_said() -> None:
    """A room that is named and stays empty is an oversight more often than a wish."""
    changes = (CellChange(environment="dark", per_pull=0), CellChange(adhesive="b", per_pull=0))
    plan = made_plan(adhesives=("a", "b"), environments=("light", "dark"), changes=changes)
    said = [words for words in plan_size(plan).warnings if words.startswith("No test coupon for")]
    assert [words.split(":")[0] for words in said] == [
        "No test coupon for the adhesive b", "No test coupon for the environment dark",
    ]  # fmt: skip
    assert not [w for w in plan_size(made_plan()).warnings if w.startswith("No test coupon for")]


def group_of(row: Any) -> tuple[str, ...]:
    """What a coupon is destined to."""
    return (row.role, row.adhesive, row.substrate, row.environment, row.test, row.pull)


def test_cells_and_tests_are_balanced_over_shelves_too() -> None:
    """A whole cell, and each of its tests, stands on every shelf alike within one."""
    tests = (PlannedTest(method="pull-off-dot", per_pull=5), PlannedTest(method="hold-angle", per_pull=3))
    plan = made_plan(adhesives=("a", "b", "c"), substrates=("d", "e"), tests=tests)
    rows = allocate(plan, codes_for(plan), 8)
    shelves = sorted({row.shelf for row in rows})
    assert len(shelves) > 5
    for key in {(row.adhesive, row.substrate, test) for row in rows for test in ("", row.test)}:
        cell = [row for row in rows if (row.adhesive, row.substrate) == key[:2] and key[2] in ("", row.test)]
        counts = [sum(row.shelf == shelf for row in cell) for shelf in shelves]
        assert max(counts) - min(counts) <= 1


def test_the_same_seed_gives_the_same_bytes() -> None:
    """The frozen digest of one allocation, so that no later version deals otherwise; another seed does."""
    plan = made_plan(controls=Controls(time_zero=2, spare_share=0.1))
    rows = allocate(plan, codes_for(plan), 11)
    assert allocation_text(rows) == allocation_text(allocate(plan, codes_for(plan), 11))
    assert allocation_text(rows) != allocation_text(allocate(plan, codes_for(plan), 12))
    assert hashlib.sha256(allocation_text(rows).encode()).hexdigest() == FROZEN


def test_places_are_dealt_anew_without_touching_destinies() -> None:
    """Another seed moves coupons on the shelves; what each is destined to stays."""
    plan = made_plan()
    rows = allocate(plan, codes_for(plan), 1)
    moved = placed(plan, rows, 2)
    told = {row.code: group_of(row) for row in rows}
    assert {row.code: group_of(row) for row in moved} == told
    assert {(row.code, row.shelf, row.place) for row in moved} != {(row.code, row.shelf, row.place) for row in rows}


def test_chance_alone_says_which_coupon_is_pulled_when() -> None:
    """Over many seeds the first coupon made falls on each of eight pulls about equally often."""
    plan = made_plan()
    codes = codes_for(plan)
    first: Counter[str] = Counter(allocate(plan, codes, seed)[0].pull for seed in range(400))
    # 400 draws over 8 pulls: mean 50, standard deviation 6.6; five of them wide.
    assert all(17 <= first[pull] <= 83 for pull in plan.pulls)


@pytest.mark.parametrize("codes", [["x"], ["x"] * 40])
def test_codes_that_do_not_fit_are_refused(codes: list[str]) -> None:
    """Too few codes, or one twice."""
    with pytest.raises(NotPossible, match="codes"):
        allocate(made_plan(), codes, 1)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"adhesives": ("a", "a")}, "stands twice"),
        ({"changes": (CellChange(substrate="stone", per_pull=1),)}, "substrate stone is not in the plan"),
        ({"changes": (CellChange(per_pull=0),)}, "no test coupon"),
        ({"controls": Controls(glass="tile", glass_per_pull=2)}, "already"),
        ({"controls": Controls(glass="glass")}, "together"),
        ({"lots": {"wax-z": "Z-1"}}, "wax-z is not in the plan"),
    ],
)
def test_plans_that_contradict_themselves_are_refused(changed: dict[str, Any], words: str) -> None:
    """Each with what is wrong."""
    with pytest.raises(ValidationError, match=words):
        made_plan(**changed)


@pytest.mark.parametrize("changed", [{"day_scatter": 0.15}, {"start_share": 0.95}])
def test_a_picture_leaves_room_to_decline(changed: dict[str, float]) -> None:
    """The day's part lies below the whole scatter, and the start below the limit."""
    with pytest.raises(ValidationError):
        Picture.model_validate({"key": "x", "title": "X", "readings_months": 12.0} | changed)


def test_the_protocol_follows_the_plan() -> None:
    """The plan's pulls replace the protocol's, and what nothing is made for is not judged; else it stays itself."""
    protocol = parse_protocol(known_protocols()["display-dots"])
    both = (PlannedTest(method="pull-off-dot", per_pull=5), PlannedTest(method="hold-angle", per_pull=3))
    assert planned_protocol(made_plan(tests=both, schedule=protocol.schedule), protocol) is protocol
    elsewhere = protocol.schedule.model_copy(update={"sources": ("common-practice",)})
    assert elsewhere != protocol.schedule
    assert planned_protocol(made_plan(tests=both, schedule=elsewhere), protocol) is protocol, "the same pulls"
    other = planned_protocol(made_plan(schedule=made_schedule("1, 2, 3 months")), protocol)
    assert [pull.label for pull in other.schedule.pulls] == ["1 month", "2 months", "3 months"]
    assert [criterion.key for criterion in other.criteria] == [
        "removal-force", "residue", "discoloration", "surface-harm",
    ]  # fmt: skip
    assert other.version == "2, plan glass-2027"
    assert other.digest() != protocol.digest()
