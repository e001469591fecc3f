"""Failure patterns as typed: letters of two standards, words of the trade, shares of the area, and the side."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from study.intake.sheet_numbers import leave_blank, missing_reason, plain_number, tell_missing
from study.intake.sheet_words import HELD, RELEASED, meaning_of
from study.intake.sheet_work import SHARES, Work, shown
from study.model.protocol import PATTERNS, SIDES
from study.model.units import plain

_COLUMN = "failure_pattern"
_MOST_WORDS = 20
LEAVE = "leave blank"

PATTERN_SYNONYMS: dict[str, str] = {
    **{letters.casefold(): letters for letters in PATTERNS},
    "adh": "AF", "adhesive": "AF", "adhesive failure": "AF", "adhesion failure": "AF", "interfacial": "AF",
    "interfacial failure": "AF", "clean release": "AF",
    "coh": "CF", "cohesive": "CF", "cohesive failure": "CF", "cohesion failure": "CF", "split": "CF",
    "tlc": "SCF", "thin-layer cohesive": "SCF", "thin layer cohesive": "SCF", "thin-layer cohesive failure": "SCF",
    "special cohesive failure": "SCF", "near-interface cohesive": "SCF", "thin film": "SCF",
    "sb": "SF", "stock-break": "SF", "stock break": "SF", "stock-break failure": "SF", "substrate": "SF",
    "substrate failure": "SF", "substrate break": "SF", "adherend failure": "SF",
    "lft": "CSF", "light-fibre-tear": "CSF", "light-fiber-tear": "CSF", "light fibre tear": "CSF",
    "light fiber tear": "CSF", "cohesive substrate failure": "CSF", "cohesive in substrate": "CSF",
    "cohesive substrate": "CSF",
    "ft": "DF", "fibre-tear": "DF", "fiber-tear": "DF", "fibre tear": "DF", "fiber tear": "DF", "delamination": "DF",
    "delamination failure": "DF", "delaminated": "DF",
    "adhesive and cohesive failure with peel": "ACFP",
}  # fmt: skip
"""Words -> letters of ISO 10365. The abbreviations of ASTM D5573 are placed by what breaks: fibre tear in the layers of
the part (DF), light fibre tear close under the bond (CSF), stock break through the part (SF), thin layer near one face
(SCF). Which face is never in the letters."""
SIDE_SYNONYMS = {
    **{side: side for side in SIDES},
    "object side": "object", "obj": "object", "artefact": "object", "artifact": "object",
    "mount side": "mount", "base": "mount", "support": "mount", "plinth": "mount", "shelf": "mount",
    "display": "mount", "display side": "mount", "both sides": "both", "either": "unknown",
    "not known": "unknown", "?": "unknown", "unclear": "unknown",
}  # fmt: skip
_SIDE_TAIL = re.compile(r"[\s,(@-]*(?:\b(?:at|on|from|to|the)\b\s*)*\b(object|mount|both|unknown)(?:\s+side)?\s*\)?$")
_SHARE = re.compile(r"(\d+(?:[.,]\d+)?)\s*%?")


@lru_cache(maxsize=4096)
def pattern_of(typed: str, words: tuple[tuple[str, str], ...] = ()) -> tuple[str, str]:
    """A failure pattern as a person would type it for Dwellbook, and what is wrong with it.

    Returns
    -------
    canonical, fault : str
        ("CF", ""), ("AF object", ""), ("AF 60 object; CF 40 mount", ""), ("released by itself", "");
        ("", "shares") where patterns stand without shares, ("", "sum 90") where they do not add up to 100 ± 1, and
        ("", "word") where a word is not known.
    """
    text = " ".join(plain(typed).strip("'. ").split())
    told = dict(words).get(text.casefold())
    if told is not None:
        text = "" if told == LEAVE else told
    folded = text.casefold()
    event = {RELEASED: RELEASED, HELD: HELD}.get(folded) or {"released": RELEASED, "held": HELD}.get(
        meaning_of(text)[0], ""
    )
    if event or not text:
        return event, ""
    single, side = _one(folded)
    if single:
        return _with_side(single, side), ""
    if re.search(r"\d", folded):
        return _shares(folded)
    parts = [part for part in re.split(r"\s*[/+;,&]\s*|\s+and\s+", folded) if part]
    known = [_one(part)[0] for part in parts]
    return "", "shares" if len(parts) > 1 and all(known) else "word"


def _one(text: str) -> tuple[str, str]:
    """Letters and side of one pattern without a share, or two empty texts."""
    if text in PATTERN_SYNONYMS:
        return PATTERN_SYNONYMS[text], ""
    tail = _SIDE_TAIL.search(text)
    if tail:
        head = text[: tail.start()].strip(" ,-(")
        if head in PATTERN_SYNONYMS:
            return PATTERN_SYNONYMS[head], tail[1]
    return "", ""


def _with_side(pattern: str, side: str) -> str:
    return f"{pattern} {side}".strip()


def _shares(text: str) -> tuple[str, str]:
    """Patterns with their percents, in any usual order: "60% AF, 40% CF", "AF 60 CF 40", "AF/CF 60/40"."""
    slashed = re.fullmatch(r"([a-z]+)\s*/\s*([a-z]+)\s+(\d+)\s*/\s*(\d+)\s*%?", text)
    back = re.fullmatch(r"(\d+)\s*/\s*(\d+)\s*%?\s+([a-z]+)\s*/\s*([a-z]+)", text)
    if slashed:
        text = f"{slashed[1]} {slashed[3]}, {slashed[2]} {slashed[4]}"
    elif back:
        text = f"{back[3]} {back[1]}, {back[4]} {back[2]}"
    pieces = [piece for piece in re.split(r"\s*[;/+&]\s*|,\s+|,(?=\D)|\s+and\s+", text) if piece]
    found: list[tuple[str, str, str]] = []
    for piece in pieces:
        found += _run_together(piece)
    if not found or any(not letters for letters, _, _ in found):
        return "", "word"
    if any(not number for _, number, _ in found):
        return "", "shares"
    total = sum(float(number) for _, number, _ in found)
    if abs(total - 100) > 1 + 1e-9:
        return "", f"sum {total:g}"
    if len(found) == 1:
        return _with_side(found[0][0], found[0][2]), ""
    return "; ".join(_with_side(f"{letters} {number}", side) for letters, number, side in found), ""


def _run_together(piece: str) -> list[tuple[str, str, str]]:
    """Letters, percent and side of each share in a piece such as "af 60 cf 40" or "60 % af object"."""
    numbers = list(_SHARE.finditer(piece))
    if not numbers:
        letters, side = _one(piece)
        return [(letters, "", side)]
    first = piece[: numbers[0].start()].strip(" :=")
    found = []
    for place, match in enumerate(numbers):
        before = piece[numbers[place - 1].end() if place else 0 : match.start()].strip(" :=%,")
        after = piece[match.end() : numbers[place + 1].start() if place + 1 < len(numbers) else None].strip(" :=%,")
        number = plain_number(match[1], "," if "," in match[1] else ".")
        if not first:  # the number leads: 60 % af
            letters, side = _one(after)
        else:
            own, next_side = before, re.match(r"(object|mount|both|unknown)\b\s*(?:side)?\s*(.*)", after)
            lead = re.match(r"(?:object|mount|both|unknown)\b\s*(?:side)?\s*(.*)", own) if place else None
            letters, side = _one(lead[1] if lead else own)
            side = next_side[1] if next_side else side
        found.append((letters, number, side))
    return found


def settle_patterns(work: Work) -> None:
    """Write failure patterns as letters of ISO 10365, shares in percent, events by name; ask about the rest."""
    if _COLUMN not in work.columns:
        return
    cells = work.columns[_COLUMN]
    words = {key.casefold(): value for key, value in work.layout.pattern_words.items()}
    done: dict[str, str] = {"": ""}
    reasons: dict[str, list[int]] = {}
    places: dict[str, list[int]] = {}
    for place, cell in enumerate(cells):
        places.setdefault(cell, []).append(place)
    mapped: dict[str, str] = {}
    asked = 0
    for cell, where in places.items():
        if not cell:
            continue
        reason = missing_reason(work, cell)
        if reason:
            done[cell] = ""
            leave_blank(work, _COLUMN, where, reason, reasons)
            continue
        canonical, fault = pattern_of(cell, tuple(words.items())) if len(cell) <= 200 else ("", "word")
        if fault in ("word", "shares") and asked < _MOST_WORDS and len(cell) <= 60:
            answer = _asked(work, cell, where, fault)
            asked += not answer
            if answer:
                canonical, fault = pattern_of(answer) if answer != LEAVE else ("", "")
                work.remember("pattern_words", {plain(cell).casefold(): answer})
                if answer == LEAVE:
                    for place in where:
                        work.remark(place, f"{_COLUMN}: {shown(cell)}")
            else:
                fault = ""
        done[cell] = canonical
        if fault:
            _tell(work, cell, where, fault)
        elif canonical and canonical.casefold() != plain(cell).casefold() and len(mapped) < _MOST_WORDS:
            mapped[shown(cell)] = canonical
    if mapped:
        work.note("Failure patterns: " + "; ".join(f"“{theirs}” is {ours}" for theirs, ours in mapped.items()) + ".")
    tell_missing(work, _COLUMN, reasons)
    work.columns[_COLUMN] = [done[cell] for cell in cells]
    _move_sides(work)


def _move_sides(work: Work) -> None:
    """A side typed after a single pattern goes into the column of sides."""
    cells = work.columns[_COLUMN]
    both = [
        place
        for place, cell in enumerate(cells)
        if " " in cell and cell.split()[0] in PATTERNS and cell.split()[1] in SIDES
    ]
    sides = work.columns.setdefault("side", [""] * len(cells)) if both else []
    for place in both:
        cells[place], side = cells[place].split()
        if SIDE_SYNONYMS.get(plain(sides[place]).casefold(), side) != side:
            work.problem(
                place, "side", sides[place], f"and “{cells[place]} {side}” do not go together.", "Make them agree."
            )
        sides[place] = side


def _asked(work: Work, cell: str, where: Sequence[int], fault: str) -> str:
    word = plain(cell)
    if fault == "shares":
        what = f"“{word}” in {work.rows(where)} names two patterns without their shares of the area."
        answers: tuple[str, ...] = (SHARES, "ACFP", LEAVE)
    else:
        what = f"“{word}” in {work.rows(where)} is not a failure pattern that is known."
        answers = (*PATTERNS, RELEASED, HELD, SHARES, LEAVE)
    return work.ask(f"failure {word}", what, answers, free=lambda text: pattern_of(text)[1] == "" and bool(text))


def _tell(work: Work, cell: str, where: Sequence[int], fault: str) -> None:
    for place in where:
        if fault.startswith("sum"):
            what = f"has shares that add up to {fault[4:]} %, not 100."
            work.problem(place, _COLUMN, cell, what, "Give every share; nothing was rescaled.")
        else:
            do = f"Write one of {', '.join(PATTERNS)}, or {SHARES[12:]}."
            work.problem(place, _COLUMN, cell, "is not a failure pattern that is known.", do)


def settle_sides(work: Work) -> None:
    """Write the side column in our words."""
    if "side" not in work.columns:
        return
    cells = work.columns["side"]
    done = {cell: SIDE_SYNONYMS.get(plain(cell).casefold(), "") for cell in set(cells)}
    for place, cell in enumerate(cells):
        if cell and not done[cell] and not missing_reason(work, cell):
            work.problem(place, "side", cell, "is not a side.", f"Write one of {', '.join(SIDES)}.")
    work.columns["side"] = [done[cell] for cell in cells]
