"""Coupons and coupon sets: the bonded test pieces, and codes that survive a bad pen."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

from study.model.units import plain

ALPHABET = "34679ACDEFGHJKMNPRTVWXY"
"""Twenty-three characters that are not mistaken for each other in handwriting; 23 is prime, so the weighted sum
below finds every single wrong character and every swap of two."""
BODY_LENGTH = 4

ALL_CODES = len(ALPHABET) ** BODY_LENGTH

ROLES = ("test", "blank", "time-zero", "control", "spare")
"""What a set is for; test, time-zero and spare coupons are evidence for their pairing, blanks and controls are not."""
EVIDENCE_ROLES = ("test", "time-zero", "spare")


def role_words(role: str) -> str:
    """What a coupon without a pull is for; a test coupon without one is a spare."""
    return {"time-zero": "time zero", "test": "spare"}.get(role, role)


def check_character(body: str) -> str:
    """The character that closes a coupon code: a weighted sum over the body, modulo 23."""
    total = sum((place + 2) * ALPHABET.index(character) for place, character in enumerate(body))
    return ALPHABET[-total % len(ALPHABET)]


def coupon_code(number: int) -> str:
    """The code of the ``number``-th coupon of a study (0-based), such as ``A7K4-M``.

    Raises
    ------
    ValueError
        Beyond the 279 841 codes of one study.
    """
    if not 0 <= number < ALL_CODES:
        raise ValueError(f"{number} is beyond the codes of one study")
    # Neighbours on the shelf get codes that differ in several places; a prime other than 23 keeps them distinct.
    number = (number * 104_729 + 40_503) % ALL_CODES
    body = ""
    for _ in range(BODY_LENGTH):
        number, digit = divmod(number, len(ALPHABET))
        body = ALPHABET[digit] + body
    return f"{body}-{check_character(body)}"


def tidy_code(typed: str) -> str:
    """A code as typed, brought to its one spelling: upper case, no spaces, one dash before the check character."""
    letters = re.sub(r"[\s\-_.]", "", plain(typed)).upper()
    return f"{letters[:-1]}-{letters[-1]}" if len(letters) == BODY_LENGTH + 1 else letters


def code_fault(code: str) -> str | None:
    """What is wrong with a tidy code, in words, or None."""
    match = re.fullmatch(rf"([{ALPHABET}]{{{BODY_LENGTH}}})-([{ALPHABET}])", code)
    if match is None:
        return f"is not a coupon code: four characters, a dash and a check character from {ALPHABET}"
    if check_character(match[1]) != match[2]:
        return "fails its check character: one character is wrong or two are swapped"
    return None


def near_codes(code: str, known: list[str]) -> list[str]:
    """Known codes that resemble a mistyped one, nearest first; offered, never taken by themselves."""
    letters, cutoff = set(code), 0.7
    # What shares too few characters cannot be near; a study may hold thousands.
    likely = [k for k in known if len(set(k) - letters) <= len(k) - cutoff / 2 * (len(code) + len(k))]
    return get_close_matches(code, likely, n=3, cutoff=cutoff)


@dataclass(frozen=True)
class CouponSet:
    """Coupons of the same lot, substrate, environment and protocol, placed together."""

    key: str
    pairing: str
    """Empty for a blank, which carries no adhesive."""
    lot: str
    substrate: str
    environment: str
    protocol_digest: str
    placed_on: date
    role: str


@dataclass(frozen=True)
class Coupon:
    """One bonded test piece, destined to one destructive test and one pull."""

    code: str
    set_key: str
    test: str
    pull_label: str
    """Label of the scheduled pull it is destined to; empty for a spare."""
    own_mark: str = ""
    """The laboratory's own mark on the piece, if it has one; taken wherever a code is typed."""
