"""Read, on a real study: saving twice saves once."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from dashboard.book import Book
from dashboard.pages.read import saved_reading
from study.commands.opening import open_study
from study.commands.read_form import coupon_form
from study.commands.today import unread_coupons


def test_saving_twice_saves_once(demo_path: Path) -> None:
    """Pressing save again, or adding a colour to what is saved, never refuses what stands already."""
    book = Book(demo_path, lambda: date(2026, 11, 24))
    with open_study(demo_path) as study:
        code = unread_coupons(study)[0].code
    typed = {"removal_force": "5.1", "force_unit": "N", "failure_pattern": "AF", "side": "object", "L_before": ""}
    asked = {"read_on": "2026-11-24", "read_by": "R. Vale"}
    assert saved_reading(book, code, typed, **asked)[2]
    assert "saved already" in str(saved_reading(book, code, typed, **asked)[0])
    more = typed | {"residue_grade": "1"}
    assert saved_reading(book, code, more, **asked)[2]
    changed = more | {"residue_grade": "3"}
    assert "residue_grade" in saved_reading(book, code, changed, **asked)[1]
    with open_study(demo_path) as study:
        assert coupon_form(study, code).in_force["residue_grade"].typed == "1"
