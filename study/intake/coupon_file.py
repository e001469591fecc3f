"""Coupon codes as typed: brought to one spelling, checked, and matched to the coupons of the study."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from study.intake.cells import CellFault
from study.model.coupon import code_fault, near_codes, tidy_code
from study.model.own_mark import near_marks, tidy_mark

NO_MARKS: Mapping[str, str] = {}


def parse_code(typed: str, *, known: Collection[str], marks: Mapping[str, str] = NO_MARKS, near: bool = True) -> str:
    """The code of a coupon in the study, from its code or the laboratory's own mark on it.

    Parameters
    ----------
    known : collection of str
        Codes of the study.
    marks : mapping of str to str
        Code by own mark, as ``tidy_mark`` spells it.
    near : bool
        Whether near matches are looked for, which takes long in a long file.

    Raises
    ------
    CellFault
        If its check character fails or the study has no such coupon; near matches are offered, never taken.
    """
    if typed in known:
        return typed
    code = tidy_code(typed)
    if code in known:
        return code
    mark = tidy_mark(typed)
    if mark in marks:
        return marks[mark]
    found = [*near_codes(code, list(known)), *near_marks(typed, list(marks))] if near else []
    offer = f"Did you mean {' or '.join(found)}?" if found else "Read it again from the label."
    fault = code_fault(code)
    raise CellFault(fault + "." if fault else "is not a coupon of this study.", offer)
