"""Read, on a real study: saved once, corrected after its effect was shown, a grid saved whole."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.book import Book
from dashboard.pages import read
from dashboard.read.correcting import confirmed, effect_of
from dashboard.read.grid import looked, saved_rows
from dashboard.read.saving import saved_reading, tried
from study.commands.opening import open_study
from study.commands.read_form import coupon_form
from study.commands.today import unread_coupons

Said = Callable[[Any], str]
ASKED: dict[str, Any] = {"read_on": "2026-11-24", "read_by": "R. Vale"}


@pytest.fixture
def book(demo_path: Path) -> Book:
    """The demo study on its own day."""
    return Book(demo_path, lambda: date(2026, 11, 24))


@pytest.fixture
def codes(book: Book) -> list[str]:
    """Coupons that wait to be read."""
    with open_study(book.study_file) as study:
        return [coupon.code for coupon in unread_coupons(study)]


def test_saving_twice_saves_once(book: Book, codes: list[str]) -> None:
    """Pressing save again, or adding a reading to what is saved, never refuses what stands already."""
    typed = {"removal_force": "5.1", "force_unit": "N", "failure_pattern": "AF", "side": "object", "L_before": ""}
    assert saved_reading(book, codes[0], typed, **ASKED)[2]
    assert "saved already" in str(saved_reading(book, codes[0], typed, **ASKED)[0])
    more = typed | {"residue_grade": "1"}
    assert saved_reading(book, codes[0], more, **ASKED)[2]
    changed = more | {"residue_grade": "3"}
    errors = saved_reading(book, codes[0], changed, read_on="2026-11-24", read_by="M. Quill")[1]
    assert "“1”, entered by R. Vale on 2026-11-24" in errors["residue_grade"]
    with open_study(book.study_file) as study:
        assert coupon_form(study, codes[0]).in_force["residue_grade"].typed == "1"


def test_trying_on_a_page_writes_nothing(book: Book, codes: list[str]) -> None:
    """A half-typed coupon is judged; an unknown code or no day gives no verdict, and nothing is on file."""
    asked = {"code": codes[0], "typed": {"residue_grade": "4"}, "sitting": {"temperature_c": "30"}, **ASKED}
    found = tried(book, asked)
    assert found is not None
    assert any(word.unacceptable for word in found.words)
    assert found.marks
    assert tried(book, {**asked, "read_on": "soon"}) is None
    assert tried(book, {**asked, "code": "ZZZZ-Z"}) is None
    with open_study(book.study_file) as study:
        assert coupon_form(study, codes[0]).in_force == {}


def test_an_effect_is_shown_then_confirmed(book: Book, codes: list[str], said: Said) -> None:
    """What moves is said and written only when confirmed; a second person's confirmation is a conflict."""
    saved_reading(book, codes[0], {"residue_grade": "1"}, **ASKED)
    with open_study(book.study_file) as study:
        seen = coupon_form(study, codes[0]).in_force["residue_grade"].number
    asked = {"code": codes[0], "kind": "residue_grade", "value": "5", "by": "", "why": "", "back": False, "seen": seen}
    shown, may = effect_of(book, asked)
    assert may
    assert "What it moves" in said(shown)
    with open_study(book.study_file) as study:
        assert coupon_form(study, codes[0]).in_force["residue_grade"].typed == "1"
    assert "Nobody's name" in said(confirmed(book, {**asked, "token": "t-0"})[0])
    signed = {**asked, "by": "M. Quill", "why": "Misread.", "token": "t-1"}
    assert "superseded by “5”" in said(confirmed(book, signed)[0])
    assert "superseded by “5”" in said(confirmed(book, signed)[0]), "the same attempt again is the same answer"
    other = confirmed(book, {**signed, "by": "R. Vale", "value": "2", "token": "t-2"})
    assert not other[1]
    assert "now “5”, entered by M. Quill" in said(other[0])


def test_a_grid_is_saved_whole_or_not_at_all(book: Book, codes: list[str], said: Said) -> None:
    """One wrong cell keeps all out; mended, all enter once, also when they are sent twice."""
    rows = [{"coupon": code, "residue_grade": grade} for code, grade in zip(codes[:3], ("1", "9", "0"), strict=True)]
    assert [problem.row for problem in looked(book, rows, "2026-11-24")[0]] == [2]
    sent = {"rows": rows, "sitting": {"temperature_c": "21"}, "answers": {}, "token": "t-1", **ASKED}
    _, problems, done = saved_rows(book, sent)
    assert not done
    assert [(problem.row, problem.column) for problem in problems] == [(2, "residue_grade")]
    rows[1]["residue_grade"] = "2"
    for _ in range(2):
        shown, problems, done = saved_rows(book, sent)
        assert done
        assert not problems
    assert "Readings of 3 coupons are saved." in said(shown)
    with open_study(book.study_file) as study:
        assert [coupon_form(study, code).in_force["residue_grade"].typed for code in codes[:3]] == ["1", "2", "0"]


def test_each_view_has_its_page(book: Book, codes: list[str], said: Said) -> None:
    """Coupon, pull, history and correction are told apart by address; a wrong one says what is wrong."""
    with open_study(book.study_file) as study:
        coupon = coupon_form(study, codes[0]).coupon
    assert f"Coupon {codes[0]}" in said(read.layout(book, code=codes[0].lower()))
    assert "Pulled, to be read" in said(read.layout(book))
    whole = read.layout(book, view="pull", set=coupon.set_key, pull=coupon.pull_label)
    assert "Save these readings" in said(whole)
    assert "placed" in said(read.layout(book, view="history", code=codes[0]))
    assert "no such reading" in said(read.layout(book, view="correct", code=codes[0], kind="hold_angle"))
    assert "is not a day" in said(read.layout(book, view="pull", on="soon"))
    assert "is not a coupon set" in said(read.layout(book, view="pull", set="nothing", pull="3 months"))
