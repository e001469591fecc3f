"""Paper of a study: what is on the sheets, in which order, and what has left is not."""

from __future__ import annotations

from datetime import date

import pytest

from study.commands.pull import due_pulls, record_pulls
from study.commands.pull_sheets import bench_sheets, pull_list, shelf_map
from study.commands.register import register_one
from study.commands.register_labels import coupon_labels
from study.errors import NotPossible, Unknown
from study.model.person import Signature
from study.model.pull import TIME_ZERO
from study.store.coupons import fetch_coupons
from study.store.positions import save_positions
from study.store.study_file import StudyFile

DUE = date(2025, 4, 15)


def codes(study: StudyFile, set_key: str, label: str) -> list[str]:
    return [c.code for c in fetch_coupons(study).values() if (c.set_key, c.pull_label) == (set_key, label)]


def put(study: StudyFile, places: dict[str, tuple[str, int]], signature: Signature) -> None:
    with study.change(signature, act="place coupons", subject="shelf") as change:
        save_positions(study, places, change=change)


def test_a_bench_sheet_has_the_boxes_its_protocol_asks(study: StudyFile, signature: Signature) -> None:
    """Dots: force, pattern, residue, colour; tilt: one angle; each coupon once, in an order that stays."""
    (sheet,) = bench_sheets(study, set_key="tile", pull="3 months")
    fields = {test.title: test.fields for test in sheet.tests}
    assert fields["Hold angle"] == ("Hold angle [°]",)
    assert fields["Pull-off of a dot"][0] == "Force, with unit"
    assert sorted(code for test in sheet.tests for code, _ in test.coupons) == sorted(codes(study, "tile", "3 months"))
    assert sheet == bench_sheets(study, set_key="tile", pull="3 months")[0]
    assert (sheet.due, sheet.window) == ("2025-04-15", "2025-04-08 to 2025-04-22")
    cautions = [caution for method in sheet.methods for caution in method.cautions]
    assert "A tilt test is a comparison, not an earthquake rating." in cautions
    gone = codes(study, "tile", "3 months")[:2]
    record_pulls(study, gone, kind="pulled", on=DUE, signature=signature)
    (later,) = bench_sheets(study, set_key="tile", pull="3 months")
    assert not {code for test in later.tests for code, _ in test.coupons} & set(gone)


def test_what_is_not_there_is_said(study: StudyFile) -> None:
    """An unknown set or pull names the known ones."""
    with pytest.raises(Unknown, match="Known: sheet, tile"):
        bench_sheets(study, set_key="oak", pull="3 months")
    with pytest.raises(Unknown, match="Known: 3 months, 12 months"):
        bench_sheets(study, set_key="", pull="4 months")


def test_the_list_follows_the_shelf(study: StudyFile, signature: Signature) -> None:
    """Coupons stand as one walks along the shelves, whatever their set; the methods say what to bring."""
    sheet, tile = codes(study, "sheet", "3 months"), codes(study, "tile", "3 months")
    first = pull_list(study, on=DUE)
    assert [(pull.set_key, pull.coupons) for pull in first.pulls] == [("sheet", 6), ("tile", 6)]
    assert [(name, [one.code for one in way]) for name, way in first.shelves] == [("", [*sheet, *tile])]
    assert "timer" in first.bring
    places = {code: ("A 10", 20 - i) for i, code in enumerate(tile)}
    places |= {code: ("A 2" if i else "A 10", i + 1) for i, code in enumerate(sheet[:-1])}
    put(study, places, signature)
    listed = dict(pull_list(study, on=DUE).shelves)
    assert list(listed) == ["A 2", "A 10", ""], "shelf 2 before shelf 10, what has no place last"
    assert [one.code for one in listed["A 10"]] == [sheet[0], *reversed(tile)]
    assert (listed["A 10"][1].place, listed["A 10"][1].words) == ("15", "3 months · tile")
    assert pull_list(study, on=date(2025, 1, 20)).bring == ()


def test_the_list_of_a_week_has_nothing_of_later_pulls_to_take_off(study: StudyFile) -> None:
    """A window that opens within the week is walked for, with the day it opens; a later one is only named."""
    week = pull_list(study, on=date(2025, 4, 2))
    assert {pull.pull for pull in week.pulls} == {"3 months"}
    assert {one.not_before for _, way in week.shelves for one in way} == {"2025-04-08"}
    before = pull_list(study, on=date(2025, 4, 1))
    assert (before.pulls, before.shelves) == ((), ())
    assert {(pull.pull, pull.coupons) for pull in before.later} == {("3 months", 6)}
    assert pull_list(study, on=date(2025, 4, 1), ahead_days=6).later == ()
    assert {one.not_before for _, way in pull_list(study, on=DUE).shelves for one in way} == {""}


def test_time_zero_waits_on_the_day_of_placing(study: StudyFile, signature: Signature) -> None:
    """Its coupons are due like those of a pull, with a sheet of their own, until they are off the shelf."""
    cells = {"set": "tile-0", "role": "time-zero", "lot": "A-1", "substrate": "tile", "environment": "store",
             "protocol": "display-dots", "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "3",
             "dwell_load_n": "0"}  # fmt: skip
    register_one(study, "sets", cells, signature=signature)
    register_one(study, "coupons", {"set": "tile-0", "test": "hold-angle", "count": "1"}, signature=signature)
    (code,) = (coupon.code for coupon in fetch_coupons(study).values() if coupon.set_key == "tile-0")
    on = date(2025, 1, 15)
    (due,) = due_pulls(study, on=on, ahead_days=1)
    assert (due.pull_label, due.state, due.codes) == (TIME_ZERO, "due", (code,))
    assert due_pulls(study, on=date(2025, 1, 17), ahead_days=1)[0].state == "overdue"
    (sheet,) = bench_sheets(study, set_key="", pull=TIME_ZERO)
    assert (sheet.due, sheet.window) == ("2025-01-15", "2025-01-15 to 2025-01-16")
    with pytest.raises(NotPossible, match="1 coupon of tile-0, time zero: 3 d after the window"):
        record_pulls(study, [code], kind="pulled", on=date(2025, 1, 19), deviation="", signature=signature)
    record_pulls(study, [code], kind="pulled", on=date(2025, 1, 16), deviation="", signature=signature)
    assert not due_pulls(study, on=on, ahead_days=1)


def test_a_moved_coupon_stands_in_its_new_place_alone(study: StudyFile, signature: Signature) -> None:
    """The map shows the place in force; what was pulled has left it."""
    one, two = codes(study, "tile", "3 months")[:2]
    put(study, {one: ("A", 1), two: ("A", 2)}, signature)
    put(study, {one: ("B", 7)}, signature)
    found = {(shelf.name, number): code for shelf in shelf_map(study).shelves for number, code, _ in shelf.places}
    assert found == {("A", 2): two, ("B", 7): one}
    record_pulls(study, [two], kind="pulled", on=DUE, signature=signature)
    assert [(shelf.name, shelf.across) for shelf in shelf_map(study).shelves] == [("B", 8)]
    assert shelf_map(study, across=5).shelves[0].across == 5


@pytest.mark.parametrize(
    ("key", "role", "words"),
    [
        ("sparrow", "test", "sparrow · spare"),
        ("spare-room-2", "test", "spare-room-2 · spare"),
        ("spare-room-3", "spare", "spare-room-3 · spare"),
        ("shelf-spare", "spare", "shelf-spare"),
        ("spare-glass", "control", "spare-glass · control"),
        ("bare", "blank", "bare · blank"),
    ],
)
def test_a_coupon_without_a_pull_is_named_by_its_role(
    study: StudyFile, signature: Signature, key: str, role: str, words: str
) -> None:
    """On the map and on its label, whatever the key of its set; a test coupon without a pull is a spare."""
    cells = {"set": key, "role": role, "lot": "A-1", "substrate": "tile", "environment": "store",
             "protocol": "display-dots", "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "3",
             "dwell_load_n": "0"}  # fmt: skip
    if role == "blank":
        cells = {name: cell for name, cell in cells.items() if name not in ("lot", "dot_diameter_mm", "dots")}
    register_one(study, "sets", cells, signature=signature)
    register_one(study, "coupons", {"set": key, "test": "hold-angle"}, signature=signature)
    code = codes(study, key, "")[0]
    put(study, {code: ("C", 1)}, signature)
    (shelf,) = shelf_map(study).shelves
    assert shelf.places == ((1, code, words),)
    assert words.split(" · ")[-1].split("-")[-1] in coupon_labels(study, set_key=key)[0].lines


def test_a_blind_label_does_not_tell_the_adhesive(study: StudyFile) -> None:
    """Placed day and next pull stand on every label; adhesive and lot only where grading need not be blind."""
    shown = coupon_labels(study, set_key="tile")
    assert len(shown) == 12
    assert all("gel-a · lot A-1 · glazed tile" in label.lines and "placed 2025-01-15" in label.lines for label in shown)
    assert "3 months: 2025-04-15" in shown[0].lines
    blind = coupon_labels(study, set_key="tile", blind=True)
    assert not any("gel-a" in line or "A-1" in line for label in blind for line in label.lines)
    with pytest.raises(Unknown, match="not a set"):
        coupon_labels(study, set_key="oak")
