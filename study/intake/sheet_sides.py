"""Sides of a failure as typed: words of several languages and of the laboratory, in a column or behind the letters."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from study.intake.sheet_numbers import missing_reason
from study.intake.sheet_words import HELD, RELEASED
from study.intake.sheet_work import LEAVE_BLANK, Work
from study.model.protocol import SIDES
from study.model.units import plain

SIDE_SYNONYMS = {
    **{side: side for side in SIDES},
    "object side": "object", "obj": "object", "artefact": "object", "artifact": "object", "objekt": "object",
    "objektseite": "object", "objet": "object", "oggetto": "object", "objeto": "object",
    "mount side": "mount", "base": "mount", "support": "mount", "plinth": "mount", "shelf": "mount",
    "display": "mount", "display side": "mount", "sockel": "mount", "socle": "mount",
    "both sides": "both", "beide": "both", "beidseitig": "both", "les deux": "both", "entrambi": "both",
    "ambos": "both", "either": "unknown", "not known": "unknown", "?": "unknown", "unclear": "unknown",
    "unbekannt": "unknown", "inconnu": "unknown", "sconosciuto": "unknown", "desconocido": "unknown",
}  # fmt: skip
_PREPOSITIONS = re.compile(r"(?:[\s,(@-]|\b(?:at|on|from|to|the|am|an|auf|der|vom|sur|du|côté|al|su|en|la|lato)\b)*$")
Pairs = tuple[tuple[str, str], ...]


@lru_cache(maxsize=4096)
def side_behind(text: str, own: Pairs = ()) -> tuple[str, str]:
    """What stands before a side at the end of a folded text, and the side; the whole text and nothing without one.

    ``own`` are the laboratory's words, folded, with our side or nothing for a word that says none.
    """
    bare = text.rstrip(" )").removesuffix(" side")
    for word, side in sorted({**SIDE_SYNONYMS, **dict(own)}.items(), key=lambda pair: -len(pair[0])):
        head = bare[: -len(word)]
        if bare.endswith(word) and head and not head[-1].isalnum():
            return _PREPOSITIONS.sub("", head), side
    return text, ""


@lru_cache(maxsize=4096)
def sides_in_ours(text: str, own: Pairs = ()) -> str:
    """A folded text with every word for a side in our words."""
    words = {**SIDE_SYNONYMS, **dict(own)}
    for word in sorted(words, key=len, reverse=True):
        if word[0].isalpha() and word in text:
            text = re.sub(rf"(?<!\w){re.escape(word)}(?:\s+side)?(?!\w)", words[word], text)
    return text


def own_sides(work: Work) -> Pairs:
    """The laboratory's words for sides, with ours; nothing for a word that says no side."""
    words: Mapping[str, str] = work.words("side")
    return tuple(sorted((word, "" if side == LEAVE_BLANK else side) for word, side in words.items()))


def settle_sides(work: Work) -> None:
    """Write the side column in our words, ask what others mean, and which side it was where none is said."""
    if "side" in work.columns:
        cells = work.columns["side"]
        places: dict[str, list[int]] = {}
        for place, cell in enumerate(cells):
            places.setdefault(cell, []).append(place)
        done: dict[str, str] = {"": ""}
        for cell, where in places.items():
            done[cell] = SIDE_SYNONYMS.get(plain(cell).casefold(), "")
            if done[cell] or not cell or missing_reason(work, cell):
                continue
            answer = work.word("side", cell, where, "is not a side that is known.", SIDES)
            done[cell] = answer if answer and answer != LEAVE_BLANK else ""
            for place in where if answer is None else ():
                work.problem(place, "side", cell, "is not a side.", f"Write one of {', '.join(SIDES)}.")
        work.columns["side"] = [done[cell] for cell in cells]
    _said_nowhere(work)


def _said_nowhere(work: Work) -> None:
    """Which side failed where neither cell nor column says it: one answer for all of them, or none."""
    patterns = work.columns.get("failure_pattern", [])
    if not patterns or any(question.key.startswith("side ") for question in work.questions):
        return
    sides = work.columns.get("side", [""] * len(patterns))
    told = [problem.row for problem in work.problems if problem.column == work.headings.get("side", "side")]
    without = [
        place
        for place, (pattern, side) in enumerate(zip(patterns, sides, strict=True))
        if pattern and not side and _needs_side(pattern) and work.numbers[place] not in told
    ]
    if not without:
        return
    answer = work.ask(
        "side",
        f"Failures in {work.rows(without)} name no side: at which face did the bond fail?",
        SIDES,
        told=work.layout.side,
    )
    if answer:
        work.remember("side", answer)
        work.note(f"The side of failures in {work.rows(without)} is {answer}, as answered.")
        work.columns["side"] = [answer if place in set(without) else side for place, side in enumerate(sides)]


@lru_cache(maxsize=1024)
def _needs_side(pattern: str) -> bool:
    if pattern in (RELEASED, HELD):
        return False
    return any(part.split()[-1] not in SIDES for part in pattern.split(";") if part.strip())
