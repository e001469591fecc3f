"""Paper of a study: what is on the sheets, in which order, and what has left is not."""

from __future__ import annotations

from datetime import date

import pytest

from study.commands.pull import record_pulls
from study.commands.pull_sheets import bench_sheets, pull_list, shelf_map
from study.commands.register_labels import coupon_labels
from study.errors import Unknown
from study.model.person import Signature
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
    """Sets stand in the order of their places, coupons within a set too; the methods say what to bring."""
    sheet, tile = codes(study, "sheet", "3 months"), codes(study, "tile", "3 months")
    first = pull_list(study, on=DUE)
    assert [pull.set_key for pull in first.pulls] == ["sheet", "tile"]
    assert "timer" in first.bring
    places = {code: ("A", 20 - i) for i, code in enumerate(tile)} | {code: ("B", i + 1) for i, code in enumerate(sheet)}
    put(study, places, signature)
    listed = pull_list(study, on=DUE).pulls
    assert [pull.set_key for pull in listed] == ["tile", "sheet"]
    assert [code for code, _ in listed[0].coupons] == list(reversed(tile))
    assert listed[0].coupons[0] == (tile[-1], "A 15")
    assert pull_list(study, on=date(2025, 1, 20)).bring == ()


def test_a_moved_coupon_stands_in_its_new_place_alone(study: StudyFile, signature: Signature) -> None:
    """The map shows the place in force; what was pulled has left it."""
    one, two = codes(study, "tile", "3 months")[:2]
    put(study, {one: ("A", 1), two: ("A", 2)}, signature)
    put(study, {one: ("B", 7)}, signature)
    found = {(shelf, number): code for shelf, places in shelf_map(study).shelves for number, code, _ in places}
    assert found == {("A", 2): two, ("B", 7): one}
    record_pulls(study, [two], kind="pulled", on=DUE, signature=signature)
    assert [shelf for shelf, _ in shelf_map(study).shelves] == ["B"]


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
