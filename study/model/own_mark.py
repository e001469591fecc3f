"""Own marks: what a laboratory wrote on its pieces before they had codes, brought to one spelling."""

from __future__ import annotations

import re
from collections.abc import Collection
from difflib import get_close_matches

from study.model.units import plain

_ALIKE = str.maketrans("OQDILZSB", "00011258")
_EDGE = re.compile(r"(?<=\d)(?=[^\W\d_])|(?<=[^\W\d_])(?=\d)")


def tidy_mark(text: str) -> str:
    """A mark in upper case with ordinary dashes and no spaces; full-width forms folded.

    ``AB–012``, ``ab-012`` and ``AB 012`` are one mark. O and 0, I and 1 stay different: whoever typed them is asked.
    """
    # Between two digits a sign parts two numbers: 1-2 is not 12.
    return re.sub(r"[\s\-_./]+", lambda m: "-" if _parts(m) else "", plain(text)).upper()


def _parts(sign: re.Match[str]) -> bool:
    before, after = sign.string[: sign.start()][-1:], sign.string[sign.end() :][:1]
    return before.isdigit() and after.isdigit()


def near_marks(text: str, known: Collection[str]) -> list[str]:
    """Known marks that a typed one may have meant: O for 0, zeros lost in front, a slip; offered, never taken.

    A bare number such as 12, which a spreadsheet made of 012 or somebody of AB-012, is near every mark that ends so.
    """
    mark = tidy_mark(text)
    tidied = {tidy_mark(other): other for other in known}
    tidied.pop(mark, None)
    found = [other for other in tidied if _alike(other) == _alike(mark)]
    if not found and mark.isdecimal():
        found = [other for other in tidied if _EDGE.split(other)[-1].lstrip("0") == mark.lstrip("0")]
    return [tidied[other] for other in found or get_close_matches(mark, tidied, n=3, cutoff=0.75)][:3]


def _alike(mark: str) -> str:
    """A mark with look-alikes made one and zeros in front of its numbers dropped; only for comparing."""
    return "".join(part.lstrip("0") if part.isdecimal() else part for part in _EDGE.split(mark.translate(_ALIKE)))
