"""Pull: the due list, and each way a coupon leaves its placement."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands.pull import correct_pull, due_pulls, import_pulls, record_pulls, undo_pull
from study.commands.read import record_reading
from study.errors import FileRefused, NotPossible, Unknown
from study.model.coupon import coupon_code
from study.model.person import Signature
from study.store.coupons import fetch_codes, fetch_coupons, fetch_histories
from study.store.protocols import fetch_protocols
from study.store.study_file import StudyFile


def test_the_due_list_knows_overdue_due_and_next(study: StudyFile) -> None:
    """Placed on 15 January 2025: in January 2026 the 3-month pull is overdue and the 12-month pull is due."""
    found = {(pull.set_key, pull.pull_label): pull for pull in due_pulls(study, on=date(2026, 1, 10))}
    assert found["sheet", "3 months"].state == "overdue"
    assert found["sheet", "3 months"].due_on == date(2025, 4, 15)
    twelve = found["tile", "12 months"]
    assert (twelve.state, twelve.due_on) == ("due", date(2026, 1, 15))
    assert (twelve.window_from, twelve.window_to) == (date(2025, 12, 25), date(2026, 2, 5))
    assert len(twelve.codes) == 6
    early = due_pulls(study, on=date(2025, 3, 20))
    assert {(pull.pull_label, pull.state) for pull in early} == {("3 months", "next")}
    assert due_pulls(study, on=date(2025, 1, 20)) == []


def test_a_pulled_coupon_leaves_the_list(study: StudyFile, signature: Signature) -> None:
    """What was pulled, lost or found released no longer waits."""
    codes = list(due_pulls(study, on=date(2025, 4, 15))[0].codes)
    on = date(2025, 4, 15)
    record_pulls(study, codes[:3], kind="pulled", on=on, signature=signature)
    record_pulls(study, codes[3:4], kind="lost", on=on, note="fell behind the rack", signature=signature)
    record_pulls(study, codes[4:5], kind="released by itself", on=on, last_seen="2025-03-01", signature=signature)
    left = [pull for pull in due_pulls(study, on=on) if pull.set_key == "sheet"]
    assert [pull.codes for pull in left] == [tuple(codes[5:])]


def test_every_fault_of_a_pull_file_is_told(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """Unknown code, failed check, wrong order of dates, an unknown word: all at once, and nothing is written."""
    first, second, third, fourth = fetch_codes(study)[:4]
    unknown = coupon_code(20_000)
    swapped = first[1] + first[0] + first[2:]
    path = tmp_path / "pulls.csv"
    path.write_text(
        "coupon,on,as,last_seen_on\n"
        f"{unknown},2025-04-15,,\n{swapped},2025-04-15,,\n{first},2024-12-31,,\n{second},2027-01-01,,\n"
        f"{third},2025-04-15,vanished,\n{fourth},15.4.2025,,\n{fourth},2025-04-15,released by itself,2025-05-01\n",
        "utf-8",
    )
    before = study.last_change()
    with pytest.raises(FileRefused) as refusal:
        import_pulls(study, path, signature=signature)
    told = {(problem.row, problem.column, problem.what) for problem in refusal.value.problems}
    assert {(row, column) for row, column, _ in told} == {
        (2, "coupon"), (3, "coupon"), (4, "on"), (5, "on"), (6, "as"), (7, "on"), (8, "last_seen_on"),
    }  # fmt: skip
    words = " ".join(what for _, _, what in told)
    assert "not a coupon of this study" in words
    assert "check character" in words
    assert "before the placement on 2025-01-15" in words
    assert first in next(problem.do for problem in refusal.value.problems if problem.row == 3)
    assert study.last_change() == before


def test_a_coupon_is_pulled_once(study: StudyFile, signature: Signature) -> None:
    """A second pull of one coupon is refused, in one file as in two."""
    code = fetch_codes(study)[0]
    with pytest.raises(FileRefused, match="stands twice"):
        record_pulls(study, [code, code.lower()], kind="pulled", on=date(2025, 4, 15), signature=signature)
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    with pytest.raises(FileRefused, match="pulled on 2025-04-15 already; a coupon is pulled once"):
        record_pulls(study, [code], kind="lost", on=date(2025, 5, 1), signature=signature)


def test_a_pull_recorded_by_mistake_is_taken_back(study: StudyFile, signature: Signature) -> None:
    """Until it is read, a wrong record is taken back with a reason, and stays in the trail."""
    code = fetch_codes(study)[0]
    with pytest.raises(NotPossible, match="no recorded pull"):
        undo_pull(study, code, signature=signature)
    with pytest.raises(Unknown):
        undo_pull(study, "nothing", signature=signature)
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    with pytest.raises(NotPossible, match="needs a reason"):
        undo_pull(study, code, signature=signature.because(""))
    undo_pull(study, code, signature=signature)
    assert study.rows("SELECT count(*) AS n FROM pulls")[0]["n"] == 1
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 16), signature=signature)
    record_reading(study, code, {"residue_grade": "1"}, read_on=date(2025, 4, 17), signature=signature)
    with pytest.raises(NotPossible, match="has been read"):
        undo_pull(study, code, signature=signature)


def test_a_wrong_day_is_corrected_and_readings_stay(study: StudyFile, signature: Signature) -> None:
    """2024 typed for 2025: the pull gets its true day with a reason, the readings stay, the trail keeps both."""
    code = next(c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot")
    record_pulls(study, [code], kind="pulled", on=date(2025, 3, 15), signature=signature)
    record_reading(study, code, {"residue_grade": "1"}, read_on=date(2025, 4, 16), signature=signature)
    old, new = correct_pull(study, code, on=date(2025, 4, 15), signature=signature)
    assert (old.on, new.on) == (date(2025, 3, 15), date(2025, 4, 15))
    (histories,) = fetch_histories(study, fetch_protocols(study)).values()
    assert [history.dwell_days for history in histories] == [90.0]
    with pytest.raises(NotPossible, match="was read before"):
        correct_pull(study, code, on=date(2025, 4, 20), signature=signature)
    with pytest.raises(NotPossible, match="needs a reason"):
        correct_pull(study, code, on=date(2025, 4, 14), signature=signature.because(""))
    with pytest.raises(FileRefused, match="before the placement"):
        correct_pull(study, code, on=date(2024, 4, 14), signature=signature)


def test_a_release_has_an_interval_with_room_in_it(study: StudyFile, signature: Signature) -> None:
    """Last seen holding on the day it was found released is no interval, and a lost coupon was not seen at all."""
    code = fetch_codes(study)[0]
    on = date(2025, 4, 15)
    with pytest.raises(FileRefused, match="before the day it was found"):
        record_pulls(study, [code], kind="released by itself", on=on, last_seen=str(on), signature=signature)
    with pytest.raises(FileRefused, match="does not belong"):
        record_pulls(study, [code], kind="lost", on=on, last_seen="2025-04-01", signature=signature)


def test_the_same_file_is_taken_once(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """A pull file imported again, under another name, is refused with who took it first."""
    text = f"coupon,on\n{fetch_codes(study)[0]},2025-04-15\n"
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text(text, "utf-8")
    import_pulls(study, tmp_path / "a.csv", signature=signature)
    with pytest.raises(NotPossible, match=r"b.csv was taken already by R. Vale"):
        import_pulls(study, tmp_path / "b.csv", signature=signature)
