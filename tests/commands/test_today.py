"""Today: one sheet of what waits."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands.decide import withdraw_decision
from study.commands.display import add_display, record_recheck, record_removal, stick_again
from study.commands.opening import open_study
from study.commands.register import withdraw_lot
from study.commands.showing import choices, object_book
from study.commands.today import day_sheet
from study.errors import Unknown
from study.model.person import Signature
from study.store.study_file import StudyFile


def test_the_demo_day_has_something_of_each(demo_path: Path) -> None:
    """On the demo's day a pull is overdue, one is due, three coupons are unread and one decision is overtaken."""
    with open_study(demo_path) as study:
        sheet = day_sheet(study, on=date(2026, 11, 24))
    assert [(pull.set_key, pull.state) for pull in sheet.pulls] == [("GB-LIN", "overdue"), ("GB-ACR", "due")]
    assert len(sheet.unread) == 3
    assert "removal_force" in sheet.unread[0].missing
    assert len(sheet.overtaken) == 1


def test_a_study_with_nothing_in_it_is_not_a_quiet_day(study: StudyFile, tmp_path: Path, signature: object) -> None:
    """An empty study says that it has no coupons yet, so that the page can say how to begin."""
    from study.commands.opening import begin_study

    assert day_sheet(study, on=date(2025, 1, 20)).coupons == 24
    begin_study(tmp_path / "new.sqlite", institution="x", signature=signature)  # type: ignore[arg-type]
    with open_study(tmp_path / "new.sqlite") as new:
        assert day_sheet(new, on=date(2025, 1, 20)).coupons == 0


def test_objects_that_need_somebody_stand_on_the_sheet(demo_path: Path, signature: Signature) -> None:
    """Overdue objects are listed; after a withdrawn decision they need somebody and are without evidence."""
    entry = {
        "object": "2019.44", "location": "Case 3", "lot": "A-1", "object_pairing": "P03", "support_pairing": "P01",
        "environment": "gallery-lit", "dots": "3", "dot_diameter_mm": "8", "load_n": "2", "placed_on": "2024-01-05",
        "placed_by": "M. Quill",
    }  # fmt: skip
    day = date(2026, 3, 2)
    with open_study(demo_path) as study:
        add_display(study, entry, signature=signature)
        add_display(study, entry | {"object": "2019.43", "placed_on": "2023-06-01"}, signature=signature)
        sheet = day_sheet(study, on=day)
        assert [state.display.object_number for state in sheet.objects("overdue")] == ["2019.43", "2019.44"]
        assert sheet.attention == []
        withdraw_decision(study, "P01", signature=signature)
        after = day_sheet(study, on=day)
    assert after.objects("overdue", "due") == []
    assert [state.state for state in after.attention] == ["no evidence", "no evidence"]


def test_the_book_of_an_object_holds_its_history(demo_path: Path, signature: Signature) -> None:
    """Display, removal, the display before and rechecks; the register's choices leave out what is withdrawn."""
    entry = {
        "object": "2019.44", "location": "Case 3", "lot": "A-1", "object_pairing": "P03", "support_pairing": "P01",
        "environment": "gallery-lit", "dots": "3", "dot_diameter_mm": "8", "load_n": "2", "placed_on": "2026-01-05",
        "placed_by": "M. Quill",
    }  # fmt: skip
    day = date(2026, 3, 2)
    with open_study(demo_path) as study:
        add_display(study, entry, signature=signature)
        record_recheck(study, ["2019.44"], on=day, after="tremor", found="moved", note="2 mm", signature=signature)
        record_removal(study, "2019.44", on=day, harm=False, residue="1", signature=signature)
        stick_again(study, "2019.44", {"placed_on": "2026-03-02", "placed_by": "R. Vale"}, signature=signature)
        found = object_book(study, "2019.44 ", on=day)
        assert found.removal is None
        assert [removal.residue_grade for _, removal in found.earlier if removal] == [1]
        assert [(check.found, check.note, check.by) for check in found.rechecks] == [("moved", "2 mm", "R. Vale")]
        assert found.titles["P01"] == "Acrylic gel A on acrylic sheet"
        with pytest.raises(Unknown, match="display register"):
            object_book(study, "1900.1", on=day)
        assert "A-1" in {lot.key for lot in choices(study).lots}
        withdraw_lot(study, "A-1", on=day, signature=signature)
        assert "A-1" not in {lot.key for lot in choices(study).lots}


def test_what_was_found_loose_stands_on_today(demo_path: Path, signature: Signature) -> None:
    """The latest recheck counts: loose and fallen objects stand there until found otherwise or removed."""
    cells = {
        "location": "Case 3", "lot": "A-1", "object_pairing": "P03", "support_pairing": "P01",
        "environment": "gallery-lit", "dots": "3", "dot_diameter_mm": "8", "load_n": "2", "placed_on": "2026-01-05",
        "placed_by": "M. Quill",
    }  # fmt: skip
    day = date(2026, 3, 2)
    with open_study(demo_path) as study:
        for number in ("2019.1", "2019.2", "2019.3"):
            add_display(study, {"object": number, **cells}, signature=signature)
        looks = (("2019.1", "loose"), ("2019.2", "fallen"), ("2019.3", "moved"))
        for number, found in looks:
            record_recheck(study, [number], on=day, after="tremor", found=found, note="", signature=signature)
        sheet = day_sheet(study, on=day)
        assert [(one.object_number, one.found) for one in sheet.falling] == [("2019.2", "fallen"), ("2019.1", "loose")]
        assert sheet.falling[0].by == "R. Vale"
        record_recheck(study, ["2019.1"], on=day, after="cleaning", found="holds", note="", signature=signature)
        record_removal(study, "2019.2", on=day, harm=False, residue="0", signature=signature)
        assert day_sheet(study, on=day).falling == ()
