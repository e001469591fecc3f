"""Labels of a plan may stick on pieces: a code never comes to name another coupon, and what is not right is said."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path

import pytest

from study.commands.plan import foresee_plan, read_plan_text, save_plan
from study.commands.plan_dealt import NAME_LENGTH, dealt_plan, set_keys
from study.commands.plan_make import make_study_from_plan
from study.commands.register import register_one
from study.errors import NotPossible
from study.model.allocation import Allocated
from study.model.pairing import KEY_LENGTH
from study.model.person import Signature
from study.model.plan import planned_groups
from study.store.coupons import next_codes
from study.store.plans import fetch_plans
from study.store.study_file import StudyFile

TEXT = (Path(__file__).parent / "plans" / "glass-2026.toml").read_text("utf-8")


def _named(rows: Iterable[Allocated]) -> dict[str, tuple[str, ...]]:
    """What each code is on its label."""
    return {row.code: (row.role, row.adhesive, row.substrate, row.environment, row.test, row.pull) for row in rows}


@pytest.mark.parametrize(
    ("old", "new", "seed", "stand"),
    [
        ('["sheet", "tile"]', '["tile", "sheet"]', None, 49),
        ('"pull-off-dot" = 4', '"pull-off-dot" = 3', None, 15),
        ("glass_per_pull = 1", "glass_per_pull = 2", None, 46),
        ("spare_share = 0.1", "spare_share = 0.1\n[bench]\nmaking = 9", None, 49),
        ('["sheet", "tile"]', '["sheet", "tile", "stone"]', None, 49),
        ("time_zero = 3", "time_zero = 3", 6, 0),
    ],
)
def test_a_code_on_a_label_never_comes_to_name_another_coupon(
    study: StudyFile, signature: Signature, old: str, new: str, seed: int | None, stand: int
) -> None:
    """Whatever supersedes a plan: a code names what it named or nothing; how many labels are not right is said."""
    save_plan(study, read_plan_text(TEXT), signature=signature, seed=5)
    before = _named(dealt_plan(study, "glass-2026").rows)
    other = read_plan_text(TEXT.replace(old, new))
    foreseen = foresee_plan(study, other, signature=signature, seed=seed)
    assert _named(dealt_plan(study, "glass-2026").rows) == before, "only looked"
    kept = save_plan(study, other, signature=signature, seed=seed)
    assert (foreseen.codes, foreseen.warnings) == (kept.codes, kept.warnings)
    now = _named(dealt_plan(study, "glass-2026").rows)
    assert len(before) == 49
    assert all(before[code] == now[code] for code in before.keys() & now.keys())
    assert len(before.keys() & now.keys()) == stand
    told = " ".join(kept.warnings)
    assert ("Labels printed before are not right" in told) == (stand < 49)
    assert (f"for {49 - stand} of 49 coupons" in told) == (stand < 49)
    assert not set(next_codes(study, 200)) & (before.keys() | now.keys()), "codes of a superseded plan stay kept"


def test_a_long_name_is_refused_before_its_keys_are_too_long(study: StudyFile, signature: Signature) -> None:
    """Every key of a coupon set begins with the plan's name and stays a key."""
    longest = "g" * NAME_LENGTH
    held = read_plan_text(TEXT.replace("glass-2026", longest))
    save_plan(study, held, signature=signature)
    keys = set_keys(held.plan, planned_groups(held.plan)).values()
    assert max(map(len, keys)) <= KEY_LENGTH
    with pytest.raises(NotPossible, match=f"has {NAME_LENGTH + 1} characters"):
        save_plan(study, read_plan_text(TEXT.replace("glass-2026", longest + "g")), signature=signature)


def test_a_map_that_is_not_right_any_more_is_said(study: StudyFile, signature: Signature) -> None:
    """More coupons move others along the shelves, though their labels stay; another title moves nothing."""
    save_plan(study, read_plan_text(TEXT), signature=signature, seed=5)
    titled = read_plan_text(TEXT.replace("adhesives", 'title = "Glass"\nadhesives', 1))
    assert save_plan(study, titled, signature=signature).warnings == ()
    wider = read_plan_text(TEXT.replace('["sheet", "tile"]', '["sheet", "tile", "stone"]'))
    assert save_plan(study, wider, signature=signature).warnings == (
        "A shelf map printed before is not right any more: print it again.",
    )


def test_codes_that_others_took_are_dealt_anew_with_their_pool(study: StudyFile, signature: Signature) -> None:
    """One kept code registered by hand: its cell gets fresh codes, which is said; all other labels stay right."""
    cells = {"substrate": "glass", "name": "inert glass", "preparation": "cleaned", "stands_for": "display surface"}
    register_one(study, "substrates", cells, signature=signature)
    save_plan(study, read_plan_text(TEXT), signature=signature, seed=5)
    before = _named(dealt_plan(study, "glass-2026").rows)
    taken = next(code for code, row in before.items() if row[:3] == ("test", "gel-a", "sheet"))
    register_one(study, "coupons", {"set": "tile", "test": "hold-angle", "code": taken}, signature=signature)
    made = make_study_from_plan(study, "glass-2026", placed_on=date(2026, 2, 2), signature=signature)
    now = _named(made.rows)
    assert all(before[code] == now[code] for code in before.keys() & now.keys())
    assert len(before.keys() - now.keys()) == 17
    assert "not right for 17 of 49 coupons" in made.warnings[0]


def test_a_lot_that_stood_on_labels_is_not_changed_under_a_code(study: StudyFile, signature: Signature) -> None:
    """Another lot by name is another piece; a lot named where none was printed leaves the codes."""
    save_plan(study, read_plan_text(TEXT), signature=signature, seed=5)
    named = save_plan(study, read_plan_text(TEXT + '[lots]\ngel-a = "A-1"\n'), signature=signature)
    assert named.warnings == ()
    other = save_plan(study, read_plan_text(TEXT + '[lots]\ngel-a = "A-2"\n'), signature=signature)
    assert "for 37 of 49 coupons" in other.warnings[0], "all but the blanks"
    assert fetch_plans(study)["glass-2026"].codes == other.codes
