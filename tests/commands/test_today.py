"""Today: one sheet of what waits."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from study.commands.opening import open_study
from study.commands.today import day_sheet
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
