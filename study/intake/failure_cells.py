"""Failure patterns as typed: one pattern with its side, or area shares that add up to the whole dot."""

from __future__ import annotations

import re

from study.intake.cells import CellFault, parse_number, parse_side
from study.model.details import SHARE_SUM_TOLERANCE, PatternShare
from study.model.protocol import PATTERNS, SIDES
from study.model.units import plain

_SAME = {
    "adhesive": "AF", "cohesive": "CF", "thin film": "SCF", "thin-layer cohesive": "SCF", "substrate": "SF",
    "delamination": "DF", "ADH": "AF", "COH": "CF", "TLC": "SCF", "LFT": "CSF", "FT": "DF", "SB": "SF",
}  # fmt: skip
"""Words of the trade and the abbreviations for fibre-reinforced joints, as ISO 10365 letters [iso-10365]."""
_EVENTS = {
    "released by itself": "Record the pull as “released by itself”; the day it was last seen holding belongs there.",
    "no release within the limit": "Give the force as “>” and the limit, such as >50 N, and leave the pattern blank.",
}
_PART = re.compile(
    r"(?:(?P<lead>\d+(?:\.\d+)?)\s*%?\s*)?(?P<word>[A-Za-z][A-Za-z -]*?)(?:\s*(?P<trail>\d+(?:\.\d+)?)\s*%?)?"
    rf"(?:\s+(?P<side>{'|'.join(SIDES)}))?"
)

_RUNS = tuple(
    rf"(?!(?:{'|'.join(SIDES)})\b){part}(?:\s*%)?(?:\s+(?:{'|'.join(SIDES)})\b)?"
    for part in (r"[A-Za-z][A-Za-z -]*?\s*\d+(?:\.\d+)?", r"\d+(?:\.\d+)?(?:\s*%)?\s*[A-Za-z]+")
)
"""A share with its letters first, or its number first, where several follow each other with only a space between."""


def parse_pattern(typed: str) -> str:
    """A failure pattern by its ISO 10365 letters, or by a word that means one of them.

    Raises
    ------
    CellFault
        If it means none of them.
    """
    text = plain(typed)
    for event, do in _EVENTS.items():
        if text.lower() == event:
            raise CellFault("is an event, no failure pattern.", do)
    if text.upper() in PATTERNS:
        return text.upper()
    for word, letters in _SAME.items():
        if text.lower() == word.lower():
            return letters
    raise CellFault("is not a failure pattern.", f"Write one of {', '.join(PATTERNS)} (ISO 10365).")


def parse_failure(typed: str, *, side: str) -> tuple[str, str, tuple[PatternShare, ...]]:
    """The leading pattern, its side, and the area shares where several were typed.

    Parameters
    ----------
    typed : str
        "AF", or shares in per cent such as "CF 60 object; AF 40 mount", with or without ; between.
    side : str
        The side said beside it; needed where a share names none.

    Raises
    ------
    CellFault
        On unknown letters, a share without a side, or shares that do not add up to 100 % within 1 %.
    """
    parts = [part.strip() for part in re.split(r"[;+]|,(?!\d)", plain(typed)) if part.strip()]
    if len(parts) == 1 and re.search(r"[A-Za-z]/[A-Za-z]", parts[0]):
        example = "; ".join(f"{letters.strip()} 50" for letters in parts[0].split("/"))
        raise CellFault("names several patterns without their shares.", f"Give the area of each, such as “{example}”.")
    if len(parts) == 1 and not any(character.isdigit() for character in parts[0]):
        words = parts[0].rsplit(" ", 1)
        if len(words) == 2 and words[1].lower() in SIDES:
            return parse_pattern(words[0]), _agreeing(words[1].lower(), side), ()
        return parse_pattern(parts[0]), _needed(side), ()
    if len(parts) == 1:
        parts = _run(parts[0])
    total = sum(_percent(part) for part in parts)
    if abs(total - 100) > SHARE_SUM_TOLERANCE:
        raise CellFault(f"adds up to {total:g} %.", "Give the whole dot: the shares must add up to 100 %.")
    shares = tuple(_share(part, side) for part in parts)
    leading = max(shares, key=lambda share: share.percent)
    sides = {share.side for share in shares}
    return leading.pattern, leading.side if len(sides) == 1 else "both", shares if len(shares) > 1 else ()


def _run(text: str) -> list[str]:
    """Shares that were typed one after the other with only a space between: "AF 60 CF 40", "60 AF 40 CF"."""
    for part in _RUNS:
        if re.fullmatch(rf"(?:{part}\s*)+", text):
            return [found.strip() for found in re.findall(part, text)]
    return [text]


def _percent(part: str) -> float:
    match = _PART.fullmatch(part)
    percent = (match["lead"] or match["trail"]) if match else None
    if match is None or percent is None or (match["lead"] and match["trail"]):
        raise CellFault(f"has a part “{part}” without its share.", "Write letters, per cent and side: “CF 60 object”.")
    number = parse_number(percent)
    if number > 100:
        raise CellFault(f"has a share of {number:g} %.", "A share lies between 0 and 100 %.")
    return number


def _share(part: str, side: str) -> PatternShare:
    number, match = _percent(part), _PART.fullmatch(part)
    assert match is not None
    named = match["side"]
    return PatternShare(
        pattern=parse_pattern(match["word"]), side=_agreeing(named, "") if named else _needed(side), percent=number
    )


def _needed(side: str) -> str:
    if not plain(side):
        raise CellFault(
            "has no side.", f"Add the side it failed at ({', '.join(SIDES)}), behind the letters or beside them."
        )
    return parse_side(side)


def _agreeing(in_cell: str, beside: str) -> str:
    if plain(beside) and parse_side(beside) != in_cell:
        raise CellFault(f"says {in_cell}, the side beside it says {plain(beside)}.", "Make them agree.")
    return in_cell
