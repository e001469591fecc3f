"""Commas in numbers, asked once for a block: read as decimal points, or which of two where it may be either."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from study.commands.read_form import READING_OF
from study.errors import Problem

_GRADES = ("residue_grade", "residue_second", "residue_cleaned")
"""Whole numbers: a comma in them is another fault than a decimal comma."""
_NUMBER = re.compile(r"(?<![\d.,])(\d+),(\d+)(?![\d.,])", re.ASCII)
_EITHER = re.compile(r"[1-9]\d{0,2},\d{3}", re.ASCII)
"""Three digits behind the comma and one to three before it: decimals or thousands."""
_NAMED = 3
"""Doubtful cells named one by one; of more, these and how many there are."""


@dataclass(frozen=True)
class Comma:
    """One cell with commas in its numbers, and what it would be without them."""

    coupon: str
    """Empty in the form of one coupon."""
    column: str
    typed: str
    point: str
    thousands: str = ""
    """Empty where no number in it can be thousands."""


def without_commas(typed: str) -> tuple[str, str]:
    """What a text with commas in its numbers would be with decimal points, and with thousands where it may be so.

    Returns
    -------
    point, thousands : str
        ("5.1 N", "") of "5,1 N"; ("1.234", "1234") of "1,234"; ("", "") where there is no comma, or one that is part
        of no number, or of one that has a point or two commas.
    """
    point = _NUMBER.sub(r"\1.\2", typed)
    if point == typed or "," in point:
        return "", ""
    thousands = _NUMBER.sub(lambda found: found[0].replace(",", "" if _EITHER.fullmatch(found[0]) else "."), typed)
    return point, thousands if thousands != point else ""


def commas_in(cells: Mapping[str, str], wrong: Collection[str], *, coupon: str = "") -> list[Comma]:
    """The cells with commas among those that were refused; a colour is refused as one, in three cells.

    Parameters
    ----------
    cells : mapping of str to str
        Text by column of a reading file.
    wrong : collection of str
        Columns with a problem.
    """
    kinds = {READING_OF.get(column, column) for column in wrong}
    found = []
    for column, typed in cells.items():
        point, thousands = without_commas(typed)
        if point and column not in _GRADES and READING_OF.get(column, column) in kinds:
            found.append(Comma(coupon, column, typed, point, thousands))
    return found


def commas_of_rows(rows: Sequence[Mapping[str, str]], problems: Sequence[Problem]) -> list[Comma]:
    """The same for the rows of a grid; problem row 1 is the first of them."""
    found: list[Comma] = []
    for number, row in enumerate(rows, start=1):
        wrong = {problem.column for problem in problems if problem.row == number}
        found += commas_in(row, wrong, coupon=row["coupon"]) if wrong else []
    return found


def commas_shown(found: Sequence[Comma], *, thing: str = "cell") -> list[html.Div]:
    """One question for all sure ones, another for those that may be either; each button carries what it writes."""
    sure = [comma for comma in found if not comma.thousands]
    either = [comma for comma in found if comma.thousands]
    shown = []
    if sure:
        one = len(sure) == 1
        says = f"1 {thing} has a decimal comma" if one else f"{len(sure)} {thing}s have a decimal comma"
        them = "it as a decimal point" if one else "them as decimal points"
        example = f"“{sure[0].typed}” becomes “{sure[0].point}”" + ("." if one else ", and so on.")
        shown.append(_asked(f"{says}: read {them}?", example, [_answer(f"Read {them}", sure, thing)]))
    if either:
        one = len(either) == 1
        has = "1 {0} has a comma" if one else f"{len(either)} {{0}}s have a comma"
        says = has.format(thing) + " that may stand for decimals or for thousands: which is it?"
        named = [f"{comma.coupon} “{comma.typed}”".strip() for comma in either[:_NAMED]]
        more = f" and {len(either) - _NAMED} more" if len(either) > _NAMED else ""
        first = either[0]
        answers = [
            _answer(f"Decimals: {first.typed} is {first.point}", either, thing),
            _answer(f"Thousands: {first.typed} is {first.thousands}", either, thing, thousands=True),
        ]
        shown.append(_asked(says, f"{', '.join(named)}{more}.", answers))
    return shown


def _asked(question: str, example: str, answers: list[html.Button]) -> html.Div:
    words = [html.P(html.Strong(question)), html.P(example, className="quiet")]
    return html.Div([*words, html.Div(answers, className="answers-row")], className="message commas")


def _answer(words: str, commas: Sequence[Comma], thing: str, *, thousands: bool = False) -> html.Button:
    """A button with the cells it rewrites; the page does so only where the text is still the one asked about."""
    cells = [[one.coupon, one.column, one.typed, one.thousands if thousands else one.point] for one in commas]
    carried: dict[str, Any] = {"data-commas": json.dumps(cells), "data-in": thing}
    return html.Button(words, className="second", **carried)
