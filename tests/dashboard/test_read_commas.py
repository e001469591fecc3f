"""Commas in numbers: one question for all sure ones, another for those that may be either, nothing guessed."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.read import grid, saving
from dashboard.read.commas import Comma, commas_in, commas_shown, without_commas
from study.commands.read_try import Tried
from study.errors import Problem

Said = Callable[[Any], str]


@pytest.mark.parametrize(
    ("typed", "point", "thousands"),
    [("5,1", "5.1", ""), ("-0,4", "-0.4", ""), (">50,5 N", ">50.5 N", ""), ("5,1 N/25 mm", "5.1 N/25 mm", ""),
     ("52,1; 52,3", "52.1; 52.3", ""), ("1,234", "1.234", "1234"), ("0,123", "0.123", ""),
     ("1234,567", "1234.567", ""), ("82,1 1,234", "82.1 1.234", "82.1 1234"),
     ("AF 60,5; CF 39,5", "AF 60.5; CF 39.5", ""),
     ("5.1", "", ""), ("1.234,5", "", ""), ("1,234,567", "", ""), ("5, 1", "", ""), ("", "", ""), ("a,b", "", "")],
)  # fmt: skip
def test_a_comma_is_read_or_asked_about(typed: str, point: str, thousands: str) -> None:
    """A comma before three digits is either, unless the digits before it are none of thousands."""
    assert without_commas(typed) == (point, thousands)


@given(st.text(alphabet="0123456789.,; N<>-", max_size=20))
def test_only_commas_are_rewritten(typed: str) -> None:
    """Whatever is typed, every other sign stays where it was, and no comma is left."""
    for written in without_commas(typed):
        assert not written or written.replace(".", "") == typed.replace(",", "").replace(".", "")
        assert "," not in written


def test_only_refused_numbers_are_asked_about() -> None:
    """A colour is refused as one and asked in its three cells; grades, notes and what is right are left alone."""
    cells = {"L_after": "52,1", "a_after": "1,5", "b_after": "3", "residue_grade": "3,5", "note": "5,1", "x": "5,2"}
    assert commas_in(cells, ["L_after", "residue_grade"]) == [
        Comma("", "L_after", "52,1", "52.1"), Comma("", "a_after", "1,5", "1.5"),
    ]  # fmt: skip


def test_a_block_is_one_question(said: Said) -> None:
    """40 cells with a decimal comma are one question; the doubtful one is asked apart, another fault stays listed."""
    codes = [f"C{number}" for number in range(42)]
    rows = [{"coupon": code, "removal_force": "5,1"} for code in codes[:40]]
    rows += [{"coupon": codes[40], "removal_force": "1,234"}, {"coupon": codes[41], "removal_force": "4.9 stone"}]
    problems = [Problem(n, "removal_force", row["removal_force"], "is wrong.", "Mend it.")
                for n, row in enumerate(rows, start=1)]  # fmt: skip
    shown = grid.problems_shown(rows, problems, {"removal_force": "Removal force"})
    text = said(shown)
    assert "40 cells have a decimal comma: read them as decimal points?" in text
    assert "1 cell has a comma that may stand for decimals or for thousands" in text
    assert "1 cell is not right yet:" in text
    assert text.count("is wrong.") == 1
    buttons = [part for div in shown[:2] for part in div.children[-1].children]
    written = [json.loads(button.to_plotly_json()["props"]["data-commas"]) for button in buttons]
    assert [len(cells) for cells in written] == [40, 1, 1]
    assert written[0][0] == ["C0", "removal_force", "5,1", "5.1"]
    assert [cells[0][3] for cells in written[1:]] == ["1.234", "1234"]


def test_a_form_asks_about_its_fields(said: Said) -> None:
    """The form of one coupon asks in the same way; without a fault or an answer so far nothing is asked."""
    found = Tried((Problem(0, "removal_force", "5,1 N", "has a decimal comma.", "Write 5.1."),), {}, (), (), ())
    asked = saving.commas_asked(found, {"removal_force": "5,1 N", "humidity_percent": "50,5"})
    text = said(asked)
    assert "1 field has a decimal comma: read it as a decimal point?" in text
    assert "“5,1 N” becomes “5.1 N”." in text
    assert saving.commas_asked(None, {"removal_force": "5,1 N"}) == []
    assert commas_shown([]) == []
