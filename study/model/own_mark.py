"""Own marks: what a laboratory wrote on its pieces before they had codes, brought to one spelling."""

from __future__ import annotations

import re

from study.model.units import plain


def tidy_mark(text: str) -> str:
    """A mark in upper case with ordinary dashes and no spaces; full-width forms folded.

    ``AB–012``, ``ab-012`` and ``AB 012`` are one mark. O and 0, I and 1 stay different: whoever typed them is asked.
    """
    return re.sub(r"[\s\-_.]", "", plain(text)).upper()
