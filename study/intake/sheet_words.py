"""Words that stand where a number should: why there is none, that it was too large or too small, that it came off."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Literal

from study.model.units import plain

RELEASED = "released by itself"
"""Canonical failure pattern for an event: the coupon let go before anybody pulled."""
HELD = "no release within the limit"
"""Canonical failure pattern for a coupon that did not let go within the gauge's or the method's limit."""

MISSING: dict[str, str] = {
    "-": "a dash", "–": "a dash", "—": "a dash", "--": "a dash", ".": "a dash", "/": "a dash", "?": "a question mark",
    "n/a": "not applicable", "na": "not applicable", "n.a.": "not applicable", "n. a.": "not applicable",
    "not applicable": "not applicable",
    "not measured": "not measured", "nm": "not measured", "n.m.": "not measured", "not read": "not measured",
    "not done": "not measured", "not tested": "not measured", "not taken": "not measured", "missed": "not measured",
    "missing": "not measured", "not recorded": "not recorded", "none recorded": "not recorded",
    "not measurable": "not measurable", "unreadable": "unreadable", "illegible": "unreadable", "lost": "lost",
    "nicht gemessen": "not measured", "k.a.": "not recorded", "k. a.": "not recorded", "keine angabe": "not recorded",
    "non mesuré": "not measured", "non misurato": "not measured", "no medido": "not measured",
    "niet gemeten": "not measured",
}  # fmt: skip
"""Word in a cell -> why there is no value. A blank cell says nothing, and 0 is a value."""

_RELEASED = re.compile(
    r"(self[- ]?)?(released|fell( off)?|fallen( off)?|dropped( off)?|detached|came off|came away|let go|failed)"
    r"( by itself| on its own| spontaneously)?( (before|prior to|ahead of) (the )?(test|testing|pull|pulling|removal))?"
)
_ALONE = re.compile(r"released|failed|let go|detached")
_HELD = re.compile(
    r"(no release|not released|did not release|no failure|did not fail|held|still holding)"
    r"( (with)?in (the )?(force )?limit(s)?| at (the )?(force )?limit| (with)?in (the )?range)?"
)
_OVER = re.compile(
    r"o\.?l\.?|ovl|over|overload(ed)?|over ?range|over limit|overflow|off[- ]scale|out of range|saturated|"
    r"max(ed out)?|full scale|-{3,}|\+{3,}|>{1,}|1\.? ?-{2,}"
)
_BELOW = re.compile(r"b\.?d\.?l\.?|< ?(lod|dl|lld|loq)|below (the )?(detection( limit)?|limit|lod)|n\.? ?d\.?|"
                    r"not detected|not detectable|under ?range|<{1,}|u\.?l\.?")  # fmt: skip
_ERRORS = re.compile(r"#(n/a|div/0!|ref!|value!|name\?|num!|null!|nv|wert!|zahl!|bezug!|valeur!|spill!|calc!|##+)",
                     re.IGNORECASE)  # fmt: skip
_DATE_LIKE = re.compile(
    r"\d{4}-\d\d-\d\d([T ].*)?|\d{1,2}[-. /]*[a-z]{3,9}\.?([-. /]*\d{2,4})?|[a-z]{3,9}[-. /]*\d{1,4}|"
    r"\d{1,2}[./-]\d{1,2}[./-]\d{2,4}"
)
_MONTHS = re.compile(r"jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec")

Meaning = Literal["missing", "released", "held", "over", "below", "error", "date", ""]


@lru_cache(maxsize=8192)
def meaning_of(text: str) -> tuple[Meaning, str]:
    """What a word in the place of a number means, and in the case of a missing value why.

    "released before test" is an event and not a missing value; #DIV/0! is a spreadsheet's error; a date in the place
    of a number was made by a spreadsheet out of something else.
    """
    if len(text) > 60:
        return "", ""
    folded = plain(text).casefold().strip("'")
    if folded in MISSING:
        return "missing", MISSING[folded]
    if _ERRORS.fullmatch(folded):
        return "error", f"spreadsheet error {plain(text)}"
    if _OVER.fullmatch(folded):
        return "over", ""
    if _BELOW.fullmatch(folded):
        return "below", ""
    if _RELEASED.fullmatch(folded) and (" " in folded or "-" in folded or not _ALONE.fullmatch(folded)):
        return "released", ""
    if _HELD.fullmatch(folded):
        return "held", ""
    if _DATE_LIKE.fullmatch(folded) and (folded[:1].isdigit() or _MONTHS.match(folded)):
        return ("date", "") if _MONTHS.search(folded) or re.search(r"\d[./-]\d", folded) else ("", "")
    return "", ""
