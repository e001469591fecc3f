"""What an act on one coupon does to the analysis: counted by hand on the small study of three coupons a pull."""

from __future__ import annotations

from datetime import date

import pytest

from study.commands.at_shelf import coupon_pull, outside_windows, scan
from study.commands.pull import (
    correct_pull,
    due_pulls,
    find_coupon,
    pull_effect,
    record_pulls,
    recorded_pulls,
    undo_pull,
)
from study.commands.read import record_reading
from study.commands.register import register_one
from study.errors import FileRefused, NotPossible, Unknown
from study.model.coupon import coupon_code
from study.model.person import Signature
from study.model.pull import PullEvent
from study.store.coupons import fetch_coupons, fetch_histories
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.study_file import StudyFile

DUE = date(2025, 4, 15)
"""Three months after placement; its window is ±7 days."""


def tiles(study: StudyFile, *, test: str = "pull-off-dot", pull: str = "3 months") -> list[str]:
    """Codes of the sheet set for one test and pull."""
    return [
        c.code
        for c in fetch_coupons(study).values()
        if (c.set_key, c.test, c.pull_label) == ("sheet", test, pull)
    ]  # fmt: skip


def test_a_loss_below_the_minimum_is_said(study: StudyFile) -> None:
    """Of three coupons one is lost: 2 of 3, below the minimum of 3, for all that its test reads; hold is another's."""
    effect = pull_effect(study, tiles(study)[0], "lost", on=DUE)
    assert (effect.planned, effect.before, effect.after, effect.minimum) == (3, 3, 2, 3)
    assert effect.falling == ("Removal force", "Residue", "Discoloration", "Harm to the surface")
    assert effect.sentences[0] == "Lost: it is counted, and tells nothing."
    assert effect.sentences[1] == "The 3 months pull then has 2 of 3 pull-off-dot coupons."
    assert "no longer carries a decision" in effect.sentences[2]


def test_a_spared_loss_is_said_too(study: StudyFile, signature: Signature) -> None:
    """With five coupons one loss leaves four, which still carry; a second leaves three; the third does not."""
    cells = {"set": "sheet", "test": "pull-off-dot", "pull": "3 months", "count": "2"}
    register_one(study, "coupons", cells, signature=signature)
    codes = tiles(study)
    seen = []
    for code in codes[:3]:
        effect = pull_effect(study, code, "damaged", on=DUE)
        seen.append((effect.before, effect.after, bool(effect.falling)))
        record_pulls(study, [code], kind="damaged", on=DUE, signature=signature)
    assert seen == [(5, 4, False), (4, 3, False), (3, 2, True)]
    again = pull_effect(study, codes[3], "lost", on=DUE)
    assert (again.before, again.after, again.falling) == (2, 1, ())
    assert "already" in again.sentences[-1]


def test_the_reach_of_a_duration_shrinks_with_the_last_pull(study: StudyFile) -> None:
    """Losing one of three at the last pull leaves the pull before as the furthest; at an earlier pull it does not."""
    last = pull_effect(study, tiles(study, pull="12 months")[0], "lost", on=date(2026, 1, 15))
    assert "reaches the 3 months pull at most" in last.sentences[2]
    assert "at most" not in pull_effect(study, tiles(study)[0], "lost", on=DUE).sentences[2]


def test_a_release_counts_for_hold_and_nothing_else_falls_there(study: StudyFile) -> None:
    """A released coupon is unacceptable for hold, so hold's own count does not fall."""
    code = tiles(study, test="hold-angle")[0]
    effect = pull_effect(study, code, "released by itself", on=DUE)
    assert "counts as unacceptable for hold" in effect.sentences[0]
    assert effect.falling == ()
    assert "Hold" in pull_effect(study, code, "lost", on=DUE).falling


def test_pulled_in_error_counts_at_its_real_age(study: StudyFile) -> None:
    """A coupon meant for 12 months and pulled at 3 months joins that pull; 60 days after placement it stands alone."""
    code = tiles(study, pull="12 months")[0]
    joined = pull_effect(study, code, "pulled in error", on=DUE)
    assert joined.sentences[0] == (
        "Pulled in error: its readings count at its real age of 90 d, not at 12 months; it joins the 3 months pull."
    )
    assert (joined.before, joined.after) == (3, 2)
    alone = pull_effect(study, code, "pulled in error", on=date(2025, 3, 16))
    assert "60 d" in alone.sentences[0]
    assert "by itself" in alone.sentences[0]


def test_a_lost_coupon_is_found_in_its_placement(study: StudyFile, signature: Signature) -> None:
    """The loss is taken back, the coupon waits again, and the trail keeps the loss."""
    code = tiles(study)[0]
    record_pulls(study, [code], kind="lost", on=DUE, signature=signature)
    effect = pull_effect(study, code, "back in place", on=DUE)
    assert (effect.before, effect.after) == (2, 3)
    with pytest.raises(NotPossible, match="needs a reason"):
        find_coupon(study, code, in_place=True, on=DUE, signature=signature.because(""))
    old, new = find_coupon(study, code, in_place=True, on=DUE, signature=signature)
    assert (old.kind, new) == ("lost", None)
    assert code in due_pulls(study, on=DUE)[0].codes
    assert study.rows("SELECT count(*) AS n FROM pulls")[0]["n"] == 1
    with pytest.raises(NotPossible, match="no recorded pull"):
        find_coupon(study, code, in_place=True, on=DUE, signature=signature)


@pytest.mark.parametrize(("on", "kind"), [(date(2025, 4, 20), "pulled"), (date(2025, 6, 1), "pulled in error")])
def test_a_lost_coupon_is_kept_at_its_real_age(study: StudyFile, signature: Signature, on: date, kind: str) -> None:
    """Found out of its placement it is pulled inside its own window, else pulled in error; it can be read again."""
    code = tiles(study)[0]
    record_pulls(study, [code], kind="lost", on=DUE, signature=signature)
    assert f"{(on - date(2025, 1, 15)).days} d" in pull_effect(study, code, "found, kept", on=on).sentences[0]
    _, new = find_coupon(study, code, in_place=False, on=on, signature=signature)
    assert new == PullEvent(code, kind, on, None, f"Found again: {signature.why}")
    record_reading(study, code, {"residue_grade": "1"}, read_on=on, signature=signature)
    (histories,) = fetch_histories(study, fetch_protocols(study)).values()
    assert [history.pull_kind for history in histories] == [kind]


def test_only_a_lost_coupon_is_found(study: StudyFile, signature: Signature) -> None:
    """A damaged one is corrected instead; a day before placement is refused."""
    first, second = tiles(study)[:2]
    record_pulls(study, [first], kind="damaged", on=DUE, signature=signature)
    with pytest.raises(NotPossible, match="is not lost"):
        find_coupon(study, first, in_place=True, on=DUE, signature=signature)
    record_pulls(study, [second], kind="lost", on=DUE, signature=signature)
    with pytest.raises(FileRefused, match="before the placement"):
        find_coupon(study, second, in_place=False, on=date(2024, 1, 1), signature=signature)
    assert fetch_pulls(study)[second].kind == "lost"


def test_a_pull_in_error_is_read_where_it_really_was(study: StudyFile, signature: Signature) -> None:
    """Recorded, read, and standing with the coupons it came off with."""
    code = tiles(study, pull="12 months")[0]
    record_pulls(study, [code], kind="pulled in error", on=DUE, signature=signature)
    record_reading(study, code, {"residue_grade": "2"}, read_on=DUE, signature=signature)
    (histories,) = fetch_histories(study, fetch_protocols(study)).values()
    assert [(h.pull_kind, h.pull_group, h.planned_group) for h in histories] == [
        ("pulled in error", "3 months", "12 months")
    ]


def test_outside_its_window_a_pull_needs_a_note(study: StudyFile, signature: Signature) -> None:
    """Eight days late by one: the note is asked for, and stands with the late coupons alone."""
    late, late_too = tiles(study)[:2]
    on = date(2025, 4, 23)
    (group,) = outside_windows(study, [late, late_too], on=on)
    assert (group.window_from, group.window_to, group.codes) == (date(2025, 4, 8), date(2025, 4, 22), (late, late_too))
    assert group.words(on) == "2 coupons of sheet, 3 months: 1 d after the window (2025-04-08 to 2025-04-22)."
    assert outside_windows(study, [late], on=date(2025, 4, 22)) == []
    with pytest.raises(NotPossible, match="deviation note"):
        record_pulls(study, [late], kind="pulled", on=on, deviation=" ", signature=signature)
    record_pulls(study, [late.lower()], kind="pulled", on=on, deviation="A flood.", signature=signature)
    record_pulls(study, [late_too], kind="pulled", on=date(2025, 4, 22), deviation="A flood.", signature=signature)
    assert [fetch_pulls(study)[code].note for code in (late, late_too)] == ["Deviation: A flood.", ""]


def test_a_second_pull_names_who_was_first(study: StudyFile, signature: Signature) -> None:
    """Two people at once: the second is told who recorded it, and the first record stands."""
    code, other = tiles(study)[:2]
    record_pulls(study, [code], kind="pulled", on=DUE, signature=signature)
    later = Signature(by="M. Quill", at=signature.at)
    with pytest.raises(FileRefused, match=r"entered by R. Vale, 2026-03-02"):
        record_pulls(study, [code, other], kind="lost", on=DUE, signature=later)
    assert {event.code: event.kind for event in fetch_pulls(study).values()} == {code: "pulled"}


def test_a_scan_off_the_list_is_answered(study: StudyFile, signature: Signature) -> None:
    """Unknown with near codes, of a later pull, of one that waits too, off the shelf, and of no pull."""
    code, pulled = tiles(study)[:2]
    later = tiles(study, pull="12 months")[0]
    wrong = scan(study, f"{code[1]}{code[0]}{code[2:]}", on=DUE)
    assert code in wrong.near
    assert "check character" in wrong.words
    assert "not a coupon of this study" in scan(study, coupon_code(20_000), on=DUE).words
    assert scan(study, code, on=DUE).words.endswith("which waits too.")
    off = scan(study, later.lower(), on=DUE)
    assert off.words == f"{later} is not on this list: destined to 12 months, due 2026-01-15."
    assert off.other
    record_pulls(study, [pulled], kind="pulled", on=DUE, signature=signature)
    assert "pulled on 2025-04-15, entered by R. Vale" in scan(study, pulled, on=DUE).words
    register_one(study, "coupons", {"set": "sheet", "test": "hold-angle"}, signature=signature)
    spare = next(c.code for c in fetch_coupons(study).values() if not c.pull_label)
    assert "belongs to no pull" in scan(study, spare, on=DUE).words
    assert pull_effect(study, spare, "lost", on=DUE).sentences[-1] == "A spare: no pull counts on it."


def test_one_coupon_is_told_with_its_record(study: StudyFile, signature: Signature) -> None:
    """Planned day and window, then what is on record, by whom, and what was read."""
    code = tiles(study)[0]
    one = coupon_pull(study, code)
    assert (one.due_on, one.event, one.read, one.minimum) == (DUE, None, (), 3)
    record_pulls(study, [code], kind="pulled", on=DUE, signature=signature)
    record_reading(study, code, {"residue_grade": "2"}, read_on=DUE, signature=signature)
    now = coupon_pull(study, code)
    assert now.event is not None
    assert (now.event.on, now.entered_by, now.read) == (DUE, "R. Vale", ("residue_grade",))
    assert [(event.code, who["by"]) for event, who in recorded_pulls(study)] == [(code, "R. Vale")]
    with pytest.raises(Unknown):
        coupon_pull(study, "nothing")
    with pytest.raises(NotPossible, match="is not something that happens"):
        pull_effect(study, code, "eaten", on=DUE)


def test_the_shelf_order_is_that_of_registration(study: StudyFile, signature: Signature) -> None:
    """A set registered later and due earlier comes first by day and last at the shelf; what is ahead, last of all."""
    cells = {"set": "old", "lot": "A-1", "substrate": "tile", "environment": "store", "protocol": "display-dots",
             "placed_on": "2024-12-15", "dot_diameter_mm": "8", "dots": "3", "coupons_per_pull": "1"}  # fmt: skip
    register_one(study, "sets", cells, signature=signature)
    on = date(2025, 4, 10)
    assert [pull.set_key for pull in due_pulls(study, on=on)][-2:] == ["sheet", "tile"]
    assert [pull.set_key for pull in due_pulls(study, on=on, shelf_order=True)][:2] == ["sheet", "tile"]
    before = due_pulls(study, on=date(2025, 3, 20), shelf_order=True)
    assert [pull.state for pull in before] == sorted((pull.state for pull in before), key=lambda state: state == "next")
    assert [pull.set_key for pull in before][-2:] == ["sheet", "tile"]


def test_undone_and_corrected_pulls_change_the_count_back(study: StudyFile, signature: Signature) -> None:
    """A loss corrected to a pull counts again; an undone pull waits again."""
    code = tiles(study)[0]
    record_pulls(study, [code], kind="lost", on=DUE, signature=signature)
    correct_pull(study, code, on=DUE, kind="pulled", signature=signature)
    assert pull_effect(study, tiles(study)[1], "lost", on=DUE).before == 3
    undo_pull(study, code, signature=signature)
    assert code in due_pulls(study, on=DUE)[0].codes


def test_a_coupon_is_known_by_its_own_mark(study: StudyFile, signature: Signature) -> None:
    """A piece that carries the laboratory's own mark is scanned, opened, told late and pulled by it."""
    cells = {"set": "sheet", "test": "hold-angle", "pull": "3 months", "own_mark": "AB-012"}
    (code,) = register_one(study, "coupons", cells, signature=signature).keys
    assert coupon_pull(study, "ab 012").coupon.code == code
    assert scan(study, "ab012", on=DUE).code == code
    with pytest.raises(NotPossible, match="deviation note"):
        record_pulls(study, ["AB-012"], kind="pulled", on=date(2025, 5, 1), deviation="", signature=signature)
    record_pulls(study, ["AB-012"], kind="pulled", on=DUE, deviation="", signature=signature)
    assert fetch_pulls(study)[code].on == DUE
    with pytest.raises(FileRefused, match="mark names one"):
        register_one(study, "coupons", {**cells, "own_mark": "AB-013", "count": "2"}, signature=signature)


def test_a_record_changed_meanwhile_is_not_overwritten(study: StudyFile, signature: Signature) -> None:
    """Taken back, corrected or found as it was shown; if somebody else changed it since, nothing is written."""
    code = tiles(study)[0]
    (shown,) = record_pulls(study, [code], kind="lost", on=DUE, signature=signature)
    other = Signature(by="M. Quill", at=signature.at, why="It broke.")
    _, now = correct_pull(study, code, on=DUE, kind="damaged", seen=shown, signature=other)
    with pytest.raises(NotPossible, match="changed this record meanwhile"):
        find_coupon(study, code, in_place=True, on=DUE, seen=shown, signature=signature)
    with pytest.raises(NotPossible, match="damaged on 2025-04-15 now"):
        correct_pull(study, code, on=DUE, kind="pulled", seen=shown, signature=signature)
    with pytest.raises(NotPossible, match="meanwhile"):
        undo_pull(study, code, seen=shown, signature=signature)
    assert fetch_pulls(study)[code] == now
    undo_pull(study, code, seen=now, signature=signature)
