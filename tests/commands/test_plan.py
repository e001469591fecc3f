"""Plan: saved once, made once by its seed, dealt anew only with a reason, and counted as the register then counts."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from study.commands.plan import (
    Question,
    chance_at,
    comparison_of,
    picture_for,
    plan_template,
    read_plan,
    read_plan_text,
    save_plan,
    saved_plan,
    schedules,
    suggestion_of,
    support_of,
    wanted_days,
)
from study.commands.plan_make import arrange_again, make_study_from_plan
from study.commands.pull import record_pulls
from study.commands.pull_sheets import bench_sheets, shelf_map
from study.commands.register import register_one
from study.commands.register_labels import TO_WRITE, coupon_labels
from study.errors import FileRefused, NotPossible, Unknown
from study.model.allocation import allocation_text
from study.model.person import Signature
from study.model.pull import list_due
from study.store.coupons import fetch_coupons
from study.store.plans import fetch_plans, save_plan_text
from study.store.positions import fetch_positions
from study.store.protocols import fetch_protocol
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile

TEXT = (Path(__file__).parent / "plans" / "glass-2026.toml").read_text("utf-8")
PLACED = date(2026, 2, 2)
QUICK = Question(decline="fast", studies=60, only="Removal force", jobs=1)


@pytest.fixture
def ready(study: StudyFile, signature: Signature) -> StudyFile:
    """The small study with inert glass registered too."""
    cells = {"substrate": "glass", "name": "inert glass", "preparation": "cleaned", "stands_for": "display surface"}
    register_one(study, "substrates", cells, signature=signature)
    return study


def test_a_plan_is_kept_once(study: StudyFile, signature: Signature) -> None:
    """The same plan again changes nothing; another needs a reason and supersedes; both stay on file."""
    quiet = replace(signature, why="")
    first = save_plan(study, read_plan_text(TEXT), signature=quiet)
    changes = study.last_change()
    assert save_plan(study, read_plan_text(TEXT), signature=quiet) == first
    assert study.last_change() == changes
    other = read_plan_text(TEXT.replace("= 4", "= 5"))
    with pytest.raises(NotPossible, match="in force, saved by R"):
        save_plan(study, other, signature=quiet)
    second = save_plan(study, other, signature=signature)
    assert second.seed == first.seed
    assert len(study.rows("SELECT * FROM plans")) == 2
    held, _ = saved_plan(study, "glass-2026")
    assert held.plan == other.plan
    assert held.protocol.version == "2, plan glass-2026"
    with pytest.raises(Unknown, match="not a plan in this study"):
        saved_plan(study, "none")


def test_a_seed_is_kept_and_a_new_one_needs_a_reason(study: StudyFile, signature: Signature) -> None:
    """A seed once drawn stands; asking for another is another plan."""
    quiet = replace(signature, why="")
    assert save_plan(study, read_plan_text(TEXT), signature=quiet, seed=5).seed == 5
    assert save_plan(study, read_plan_text(TEXT), signature=quiet).seed == 5
    with pytest.raises(NotPossible, match="in force"):
        save_plan(study, read_plan_text(TEXT), signature=quiet, seed=6)
    with pytest.raises(NotPossible, match="not a seed"):
        save_plan(study, read_plan_text(TEXT), signature=signature, seed=-1)


def test_a_plan_becomes_sets_coupons_and_places(ready: StudyFile, signature: Signature) -> None:
    """What the plan counts is what the register holds, each coupon with its pull and place, under the plan's pulls."""
    held = read_plan_text(TEXT)
    before = set(fetch_coupons(ready))
    save_plan(ready, held, signature=signature, seed=5)
    made = make_study_from_plan(ready, "glass-2026", placed_on=PLACED, signature=signature)
    coupons = [coupon for code, coupon in fetch_coupons(ready).items() if code not in before]
    sets = fetch_sets(ready)
    assert len(coupons) == held.size.coupons == len(made.rows)
    assert Counter(sets[coupon.set_key].role for coupon in coupons) == held.size.by_role
    assert {row.code: (row.shelf, row.place) for row in made.rows if row.shelf} == fetch_positions(ready)
    assert {c.code: c.pull_label for c in coupons} == {row.code: row.pull for row in made.rows}
    assert sets["glass-2026-01"].pairing == sets["glass-2026-01-zero"].pairing
    assert sets["glass-2026-04-bare"].pairing == ""
    assert fetch_pairings(ready)[sets["glass-2026-03-glass"].pairing].substrate.key == "glass"
    protocol = fetch_protocol(ready, sets["glass-2026-01"].protocol_digest)
    assert [pull.label for pull in protocol.schedule.pulls] == ["1 month", "3 months", "6 months"]
    due = list_due(
        coupons, sets=sets, schedules={sets["glass-2026-01"].protocol_digest: protocol.schedule}, titles={},
        on=date(2026, 3, 2),
    )  # fmt: skip
    assert {pull.pull_label: sum(len(p.codes) for p in due if p.pull_label == pull.pull_label) for pull in due} == {
        "time zero": 2 * 3, "1 month": 2 * 4 + 1 + 2 * 2,
    }  # fmt: skip


def test_a_plan_is_made_once_byte_for_byte(ready: StudyFile, signature: Signature) -> None:
    """Making it again writes nothing and gives the same bytes; another day, or another plan, is refused."""
    save_plan(ready, read_plan_text(TEXT), signature=signature, seed=5)
    made = make_study_from_plan(ready, "glass-2026", placed_on=PLACED, signature=signature)
    changes = ready.last_change()
    again = make_study_from_plan(ready, "glass-2026", placed_on=PLACED, signature=signature)
    assert made.new
    assert not again.new
    assert again.text == made.text == allocation_text(made.rows)
    assert ready.last_change() == changes
    with pytest.raises(NotPossible, match="was made already, placed on 2026-02-02"):
        make_study_from_plan(ready, "glass-2026", placed_on=date(2026, 2, 3), signature=signature)
    with pytest.raises(NotPossible, match="Coupons were made from plan"):
        save_plan(ready, read_plan_text(TEXT.replace("= 4", "= 5")), signature=signature)


def test_labels_and_the_map_are_printed_before_anything_is_placed(ready: StudyFile, signature: Signature) -> None:
    """The codes, pulls and places on paper are those that the coupons have once they are placed; the day is blank."""
    save_plan(ready, read_plan_text(TEXT), signature=signature, seed=5)
    other = read_plan_text(TEXT.replace("glass-2026", "wax-2026"))
    save_plan(ready, other, signature=signature, seed=6)
    labels = {label.code: label.lines for label in coupon_labels(ready, plan="glass-2026")}
    mapped = shelf_map(ready, plan="Glass 2026").shelves
    assert {len(lines) for lines in labels.values()} == {4}
    assert all(TO_WRITE in lines for lines in labels.values())
    assert not set(labels) & {label.code for label in coupon_labels(ready, plan="wax-2026")}
    register_one(ready, "coupons", {"set": "tile", "test": "hold-angle", "count": "3"}, signature=signature)
    made = make_study_from_plan(ready, "Glass 2026", placed_on=PLACED, signature=signature)
    assert made.warnings == ()
    assert {row.code for row in made.rows} == set(labels)
    for row in made.rows:
        assert (row.pull or {"time-zero": "time zero"}.get(row.role, row.role)) in labels[row.code]
    places = {(shelf.name, number): code for shelf in mapped for number, code, _ in shelf.places}
    assert places == {(row.shelf, row.place): row.code for row in made.rows if row.shelf}
    assert {shelf.across for shelf in mapped} == {9}
    assert {label.code for label in coupon_labels(ready, plan="glass-2026")} == set(labels)
    assert "blank · sheet" not in {
        line for label in coupon_labels(ready, plan="glass-2026", blind=True) for line in label.lines
    }


def test_two_plans_stand_on_shelves_of_their_own(ready: StudyFile, signature: Signature) -> None:
    """A shelf on which coupons stand is not dealt again; a map printed before that is said to be old."""
    for name in ("one", "two", "three"):
        save_plan(ready, read_plan_text(TEXT.replace("glass-2026", name)), signature=signature, seed=5)
    one = make_study_from_plan(ready, "one", placed_on=PLACED, signature=signature)
    with pytest.raises(NotPossible, match="No coupon was made from plan two yet"):
        bench_sheets(ready, set_key="", pull="1 month", plan="two")
    two = make_study_from_plan(ready, "two", placed_on=PLACED, signature=signature)
    for made in (one, two):
        sheets = bench_sheets(ready, set_key="", pull="1 month", plan=made.name)
        assert {sheet.set_key for sheet in sheets} <= set(made.sets)
        assert len(sheets) == 2 + 1 + 2, "two cells, glass and two blanks"
    shelves = [{row.shelf for row in made.rows if row.shelf} for made in (one, two)]
    assert not shelves[0] & shelves[1]
    assert one.warnings == ()
    assert two.warnings[0].startswith("Others stand on store 1")
    again = arrange_again(ready, "two", seed=9, signature=signature)
    assert {row.shelf for row in again.rows if row.shelf} == shelves[1]
    save_plan(ready, read_plan_text(TEXT.replace("glass-2026", "four")), signature=signature)
    four = {shelf.name for shelf in shelf_map(ready, plan="four").shelves}
    assert not four & (shelves[0] | shelves[1]), "what is saved later knows what stands there"


def test_a_plan_saved_without_codes_gets_them_when_it_is_saved_again(study: StudyFile, signature: Signature) -> None:
    """A plan of an older file is saved again without a reason, since nothing of it changes."""
    quiet = replace(signature, why="")
    first = save_plan(study, read_plan_text(TEXT), signature=quiet)
    with study.change(signature, act="save plan", subject="glass-2026") as change:
        save_plan_text(
            study, "glass-2026", text=first.text, protocol_digest=first.protocol_digest, seed=first.seed, codes=(),
            first_shelf={}, change=change,
        )  # fmt: skip
    with pytest.raises(NotPossible, match="No codes are kept"):
        coupon_labels(study, plan="glass-2026")
    assert len(save_plan(study, read_plan_text(TEXT), signature=quiet).codes) == read_plan_text(TEXT).size.coupons
    assert coupon_labels(study, plan="glass-2026")


def test_places_are_dealt_anew_only_with_a_reason(ready: StudyFile, signature: Signature) -> None:
    """Pulls stay, coupons gone keep their last place, and the places before stay on file."""
    save_plan(ready, read_plan_text(TEXT), signature=signature, seed=5)
    made = make_study_from_plan(ready, "glass-2026", placed_on=PLACED, signature=signature)
    gone = next(row for row in made.rows if row.pull == "1 month")
    record_pulls(ready, [gone.code], kind="pulled", on=date(2026, 3, 2), signature=signature)
    with pytest.raises(NotPossible, match="needs a reason"):
        arrange_again(ready, "glass-2026", seed=6, signature=replace(signature, why=""))
    dealt = arrange_again(ready, "glass-2026", seed=6, signature=signature)
    assert [row.pull for row in dealt.rows] == [row.pull for row in made.rows]
    assert [row.place for row in dealt.rows] != [row.place for row in made.rows]
    assert fetch_positions(ready)[gone.code] == (gone.shelf, gone.place)
    old = ready.rows("SELECT count(*) AS n FROM positions WHERE superseded_change IS NOT NULL")[0]["n"]
    assert old == sum(bool(row.shelf) for row in made.rows) - 1
    with pytest.raises(Unknown, match="Nothing was made"):
        arrange_again(ready, "other", seed=6, signature=signature)


def test_everything_in_the_way_is_told_at_once(study: StudyFile, signature: Signature) -> None:
    """What is not registered, a lot that is not clear, a day ahead; and nothing is written."""
    register_one(study, "lots", {"lot": "A-2", "adhesive": "gel-a"}, signature=signature)
    text = TEXT.replace('"sheet", "tile"', '"sheet", "stone"').replace('["store"]', '["attic"]')
    save_plan(study, read_plan_text(text), signature=signature)
    changes = study.last_change()
    with pytest.raises(FileRefused) as refusal:
        make_study_from_plan(study, "glass-2026", placed_on=date(2027, 1, 1), signature=signature)
    said = str(refusal.value)
    for words in ("stone", "glass", "attic", "lies after", "has 2 lots that may be used"):
        assert words in said
    assert study.last_change() == changes
    with pytest.raises(Unknown, match="not a plan"):
        make_study_from_plan(study, "none", placed_on=PLACED, signature=signature)


def test_a_named_lot_is_taken(ready: StudyFile, signature: Signature) -> None:
    """The plan names one of two lots; one that is not the adhesive's is refused."""
    register_one(ready, "lots", {"lot": "A-2", "adhesive": "gel-a"}, signature=signature)
    save_plan(ready, read_plan_text(TEXT + '[lots]\ngel-a = "A-9"\n'), signature=signature)
    with pytest.raises(FileRefused, match="not a lot of it"):
        make_study_from_plan(ready, "glass-2026", placed_on=PLACED, signature=signature)
    save_plan(ready, read_plan_text(TEXT + '[lots]\ngel-a = "A-2"\n'), signature=signature)
    make_study_from_plan(ready, "glass-2026", placed_on=PLACED, signature=signature)
    assert fetch_sets(ready)["glass-2026-01"].lot == "A-2"


def test_a_plan_of_another_house_does_not_take_registered_keys(ready: StudyFile, signature: Signature) -> None:
    """A set key that stands already is refused by name."""
    cells = {
        "set": "glass-2026-01", "substrate": "tile", "environment": "store", "protocol": "display-dots",
        "placed_on": "2026-01-05", "lot": "A-1", "dot_diameter_mm": "8", "dots": "3",
    }  # fmt: skip
    register_one(ready, "sets", cells, signature=signature)
    save_plan(ready, read_plan_text(TEXT), signature=signature)
    with pytest.raises(FileRefused, match="registered already"):
        make_study_from_plan(ready, "glass-2026", placed_on=PLACED, signature=signature)


def test_the_template_is_a_plan(tmp_path: Path) -> None:
    """As printed, and with its commented parts switched on."""
    (tmp_path / "plan.toml").write_text(plan_template(), "utf-8")
    held = read_plan(tmp_path / "plan.toml")
    assert held.size.coupons == 448
    assert not held.size.warnings
    lines = []
    for line in plan_template().splitlines():
        bare = line.removeprefix("# ")
        lines.append(bare if line.startswith("# ") and ("= " in bare or bare.startswith("[")) else line)
    text = "\n".join(line for line in lines if "or write schedule" not in line)
    whole = read_plan_text(text)
    assert whole.plan.picture("mine").readings_months == 24
    assert whole.plan.changes[0].per_pull == 0
    assert whole.plan.lots == {"gel-a": "A-1"}
    assert set(schedules()) == {"usual-three-years", "shelf-life-five-years", "first-look-one-year"}


def test_questions_are_answered_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same question gives the same answer from the memo of tables as without it; a spoilt memo costs only time."""
    held = read_plan_text(TEXT.replace("1, 3, 6 months", "1, 3, 6, 12, 24 months"))
    monkeypatch.setenv("DWELLBOOK_MEMO", "")
    bare = support_of(held, replace(QUICK, only=""))
    monkeypatch.setenv("DWELLBOOK_MEMO", str(tmp_path))
    assert support_of(held, replace(QUICK, only="")) == bare
    kept = list((tmp_path / "tables").glob("*.json"))
    assert kept
    assert support_of(held, replace(QUICK, only="")) == bare
    kept[0].write_text("spoilt", "utf-8")
    assert support_of(held, replace(QUICK, only="")) == bare
    one = chance_at(bare, "3 months")
    assert one.label == "3 months"
    assert one.shown == next(c.shown for c in bare.chances if c.days == one.days)


def test_designs_are_compared_and_suggested() -> None:
    """Through the same door, for one criterion by itself."""
    held = read_plan_text(TEXT.replace("1, 3, 6 months", "1, 3, 6, 12, 24 months"))
    others = comparison_of(held, QUICK, wanted="6 months")
    assert [option.per_pull for option in others][:3] == [4, 3, 5]
    found = suggestion_of(held, QUICK, wanted="3 months", chance=0.7)
    assert found.best is not None
    with pytest.raises(NotPossible, match="“soon” is no duration"):
        suggestion_of(held, QUICK, wanted="soon")


@pytest.mark.parametrize(
    ("asked", "fault"),
    [
        (replace(QUICK, studies=0), NotPossible),
        (replace(QUICK, jobs=0), NotPossible),
        (replace(QUICK, decline="P09"), Unknown),
        (replace(QUICK, only="Smell"), Unknown),
        (replace(QUICK, cell=("gel-a", "stone", "store")), Unknown),
    ],
)
def test_questions_that_cannot_be_asked_are_refused(asked: Question, fault: type[Exception]) -> None:
    """With what is known."""
    with pytest.raises(fault):
        support_of(read_plan_text(TEXT), asked)


def test_a_finished_pairing_is_planned_with(demo_path: Path) -> None:
    """The decline of a pairing of the demo study; a key that is no pairing is refused."""
    held = read_plan_text(TEXT)
    with StudyFile(demo_path) as study:
        picture = picture_for(held, "P01", study)
        assert picture.key == "p01"
        assert picture.readings_months is not None
        with pytest.raises(Unknown, match="not a pairing"):
            picture_for(held, "P99", study)


def test_wanted_durations_are_words() -> None:
    """In months, weeks or years."""
    assert [wanted_days(words) for words in ("24 months", "2 years", "3 weeks")] == [730, 730, 21]


def test_plans_are_listed(study: StudyFile, signature: Signature) -> None:
    """Those in force, each with who saved it."""
    save_plan(study, read_plan_text(TEXT), signature=signature)
    assert [(plan.name, plan.by) for plan in fetch_plans(study).values()] == [("glass-2026", "R. Vale")]
