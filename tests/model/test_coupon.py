"""Coupon codes: a slip of the pen is found."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.model.coupon import ALL_CODES, ALPHABET, BODY_LENGTH, code_fault, coupon_code, near_codes, tidy_code

numbers = st.integers(0, ALL_CODES - 1)


@given(numbers)
def test_every_code_passes_its_own_check(number: int) -> None:
    """A code that the study gave out has no fault."""
    assert code_fault(coupon_code(number)) is None


def test_no_two_coupons_share_a_code() -> None:
    """The first twenty thousand codes are all different."""
    assert len({coupon_code(number) for number in range(20_000)}) == 20_000


@given(numbers, st.integers(0, BODY_LENGTH), st.sampled_from(ALPHABET))
def test_one_wrong_character_is_always_found(number: int, place: int, wrong: str) -> None:
    """Any single character read wrong makes the code fail."""
    letters = coupon_code(number).replace("-", "")
    if letters[place] != wrong:
        assert code_fault(tidy_code(letters[:place] + wrong + letters[place + 1 :])) is not None


@given(numbers, st.integers(0, BODY_LENGTH - 1))
def test_two_swapped_characters_are_always_found(number: int, place: int) -> None:
    """Any two neighbours swapped, the check character among them, make the code fail."""
    letters = coupon_code(number).replace("-", "")
    swapped = letters[:place] + letters[place + 1] + letters[place] + letters[place + 2 :]
    if swapped != letters:
        assert code_fault(tidy_code(swapped)) is not None


def test_the_alphabet_leaves_out_what_is_mistaken() -> None:
    """No code holds a character that a hand-written label confuses with another."""
    assert not set(ALPHABET) & set("0O1IL8B5S2Z")
    assert len(ALPHABET) == 23


@pytest.mark.parametrize("typed", ["ac3d x", "AC3D–X", " ac3d-x ", "ＡＣ３Ｄ－Ｘ", "ac3dx"])
def test_one_code_has_one_spelling(typed: str) -> None:
    """Case, spaces, dashes and full-width letters do not make another code."""
    assert tidy_code(typed) == "AC3D-X"


def test_near_codes_are_offered() -> None:
    """A code with one character wrong brings up the one that was meant."""
    known = [coupon_code(number) for number in range(50)]
    meant = known[17]
    assert meant in near_codes(("3" if meant[0] != "3" else "4") + meant[1:], known)
