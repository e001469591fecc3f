"""Coupon codes as typed: brought to one spelling, checked, and matched to the coupons of the study."""

from __future__ import annotations

from collections.abc import Collection

from study.intake.cells import CellFault
from study.model.coupon import code_fault, near_codes, tidy_code


def parse_code(typed: str, *, known: Collection[str]) -> str:
    """The code of a coupon in the study.

    Raises
    ------
    CellFault
        If its check character fails or the study has no such coupon; near matches are offered, never taken.
    """
    code = tidy_code(typed)
    if code in known:
        return code
    near = near_codes(code, list(known))
    offer = f"Did you mean {' or '.join(near)}?" if near else "Read it again from the label."
    fault = code_fault(code)
    raise CellFault(fault + "." if fault else "is not a coupon of this study.", offer)
