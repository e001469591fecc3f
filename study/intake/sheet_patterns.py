"""Failure patterns as typed: letters of two standards, words of the trade, shares of the area, and the side."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache

from study.intake.sheet_numbers import leave_blank, missing_reason, plain_number, tell_missing
from study.intake.sheet_sides import SIDE_SYNONYMS, Pairs, own_sides, side_behind, sides_in_ours
from study.intake.sheet_words import HELD, RELEASED, meaning_of
from study.intake.sheet_work import LEAVE_BLANK, MOST_WORDS, SHARES, Work, shown
from study.model.protocol import PATTERNS, SIDES
from study.model.units import plain

_COLUMN = "failure_pattern"

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
    "adhäsionsbruch": "AF", "kohäsionsbruch": "CF", "substratbruch": "SF", "delaminierung": "DF",
    "rupture adhésive": "AF", "rupture cohésive": "CF", "rupture du substrat": "SF", "délaminage": "DF",
    "rottura adesiva": "AF", "rottura coesiva": "CF", "delaminazione": "DF",
    "rotura adhesiva": "AF", "rotura cohesiva": "CF", "delaminación": "DF",
}  # fmt: skip
"""Words -> letters of ISO 10365. The abbreviations of ASTM D5573 are placed by what breaks: fibre tear in the layers of
the part (DF), light fibre tear close under the bond (CSF), stock break through the part (SF), thin layer near one face
(SCF). Which face is never in the letters. A laboratory's further words are asked about and kept with its layout."""
_SHARE = re.compile(r"(\d+(?:[.,]\d+)?)\s*%?")


@lru_cache(maxsize=4096)
def pattern_of(typed: str, words: Pairs = (), sides: Pairs = ()) -> tuple[str, str]:
    """A failure pattern as a person would type it for Dwellbook, and what is wrong with it.

    Parameters
    ----------
    words, sides : tuple of (str, str)
        The laboratory's own words for failures and for sides, folded, each with ours.

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
        text = "" if told == LEAVE_BLANK else told
    folded = text.casefold()
    event = {RELEASED: RELEASED, HELD: HELD}.get(folded) or {"released": RELEASED, "held": HELD}.get(
        meaning_of(text)[0], ""
    )
    if event or not text:
        return event, ""
    own = {word: letters for word, letters in words if letters in PATTERNS}
    single, side = _one(folded, own, sides)
    if single:
        return _with_side(single, side), ""
    if re.search(r"\d", folded):
        return _shares(sides_in_ours(folded, sides), own)
    parts = [part for part in re.split(r"\s*[/+;,&]\s*|\s+and\s+", folded) if part]
    known = [_one(part, own, sides)[0] for part in parts]
    return "", "shares" if len(parts) > 1 and all(known) else "word"


def _one(text: str, own: Mapping[str, str], sides: Pairs = ()) -> tuple[str, str]:
    """Letters and side of one pattern without a share, or two empty texts."""
    letters = own.get(text) or PATTERN_SYNONYMS.get(text)
    if letters:
        return letters, ""
    head, side = side_behind(text, sides)
    letters = own.get(head) or PATTERN_SYNONYMS.get(head)
    return (letters, side) if letters and head != text else ("", "")


@lru_cache(maxsize=1024)
def _strange(text: str, words: Pairs) -> tuple[str, tuple[str, ...]]:
    """Words of a cell that are known neither as a failure nor as a side, and which of the two they seem to be.

    As many shares as failures that are known, and what is left names sides; fewer, and it names failures.
    """
    folded = sides_in_ours(" ".join(plain(text).strip("'. ").casefold().split()))
    known = {**PATTERN_SYNONYMS, **{word: letters for word, letters in words if letters in PATTERNS}}
    alternatives = "|".join(re.escape(word) for word in sorted(known, key=len, reverse=True))
    found, failures = re.subn(rf"(?<!\w)(?:{alternatives})(?!\w)", ";", folded)
    shares = len(_SHARE.findall(folded))
    left = re.split(rf"\d+(?:[.,]\d+)?\s*%?|[;/+&(),]|(?<!\w)(?:and|{'|'.join(SIDES)})(?!\w)", found)
    strange = tuple(dict.fromkeys(word for part in left if (word := part.strip(" :=%-@."))))
    if not strange or len(strange) > 3 or any(len(word.split()) > 2 for word in strange):
        return "", ()
    if failures >= max(shares, 1):
        return "side", strange
    return ("failure", strange) if len(strange) == shares - failures > 0 else ("", ())


def _with_side(pattern: str, side: str) -> str:
    return f"{pattern} {side}".strip()


def _shares(text: str, own: Mapping[str, str]) -> tuple[str, str]:
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
        found += _run_together(piece, own)
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


def _run_together(piece: str, own: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """Letters, percent and side of each share in a piece such as "af 60 cf 40" or "60 % af object"."""
    numbers = list(_SHARE.finditer(piece))
    if not numbers:
        letters, side = _one(piece, own)
        return [(letters, "", side)]
    first = piece[: numbers[0].start()].strip(" :=")
    found = []
    for place, match in enumerate(numbers):
        before = piece[numbers[place - 1].end() if place else 0 : match.start()].strip(" :=%,")
        after = piece[match.end() : numbers[place + 1].start() if place + 1 < len(numbers) else None].strip(" :=%,")
        number = plain_number(match[1], "," if "," in match[1] else ".")
        if not first:  # the number leads: 60 % af
            letters, side = _one(after, own)
        else:
            next_side = re.match(r"(object|mount|both|unknown)\b\s*(?:side)?\s*(.*)", after)
            lead = re.match(r"(?:object|mount|both|unknown)\b\s*(?:side)?\s*(.*)", before) if place else None
            letters, side = _one(lead[1] if lead else before, own)
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
        canonical, fault = _read(work, cell, where, words) if len(cell) <= 200 else ("", "word")
        if fault in ("word", "shares") and asked < MOST_WORDS and len(cell) <= 60:
            answer = _asked(work, cell, where, fault)
            asked += not answer
            if answer:
                canonical, fault = pattern_of(answer) if answer != LEAVE_BLANK else ("", "")
                work.remember("pattern_words", {plain(cell).casefold(): answer})
                if answer == LEAVE_BLANK:
                    for place in where:
                        work.remark(place, f"{_COLUMN}: {shown(cell)}")
            else:
                fault = ""
        done[cell] = canonical
        if fault:
            _tell(work, cell, where, fault)
        elif canonical and canonical.casefold() != plain(cell).casefold() and len(mapped) < MOST_WORDS:
            mapped[shown(cell)] = canonical
    if mapped:
        work.note("Failure patterns: " + "; ".join(f"“{theirs}” is {ours}" for theirs, ours in mapped.items()) + ".")
    tell_missing(work, _COLUMN, reasons)
    work.columns[_COLUMN] = [done[cell] for cell in cells]
    _move_sides(work)


def _read(work: Work, cell: str, where: Sequence[int], words: dict[str, str]) -> tuple[str, str]:
    """A cell as pattern and fault; words in it that are known to the laboratory alone are asked about one by one."""
    canonical, fault = pattern_of(cell, tuple(words.items()), own_sides(work))
    kind, strange = _strange(cell, tuple(words.items())) if fault == "word" else ("", ())
    if not strange or f"failure {plain(cell)}" in work.answers:
        return canonical, fault
    still_open = False
    for word in strange:
        if kind == "side":
            said = work.word("side", word, where, "stands beside a failure and is not a side that is known.", SIDES)
        else:
            typed = re.search(re.escape(word), plain(cell), re.IGNORECASE)
            what = f"“{typed[0] if typed else word}” in {work.rows(where)} is not a failure pattern that is known."
            said = work.ask(f"failure {word}", what, (*PATTERNS, LEAVE_BLANK))
            if said:
                words[word] = said
                work.remember("pattern_words", {word: said})
        if said is None:
            return canonical, fault
        still_open |= not said
        for place in where if said == LEAVE_BLANK else ():
            work.remark(place, f"{_COLUMN}: {shown(cell)}")
    return ("", "") if still_open else pattern_of(cell, tuple(words.items()), own_sides(work))


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
        answers: tuple[str, ...] = (SHARES, "ACFP", LEAVE_BLANK)
    else:
        what = f"“{word}” in {work.rows(where)} is not a failure pattern that is known."
        answers = (*PATTERNS, RELEASED, HELD, SHARES, LEAVE_BLANK)
    return work.ask(f"failure {word}", what, answers, free=lambda text: pattern_of(text)[1] == "" and bool(text))


def _tell(work: Work, cell: str, where: Sequence[int], fault: str) -> None:
    for place in where:
        if fault.startswith("sum"):
            what = f"has shares that add up to {fault[4:]} %, not 100."
            work.problem(place, _COLUMN, cell, what, "Give every share; nothing was rescaled.")
        else:
            do = f"Write one of {', '.join(PATTERNS)}, or {SHARES[12:]}."
            work.problem(place, _COLUMN, cell, "is not a failure pattern that is known.", do)
