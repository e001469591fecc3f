"""Where a table lies in its sheet: preamble, header, a row of units, rows of readings, statistics below."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from study.errors import FileRefused, Problem
from study.intake.sheet_columns import column_of, known_column, unit_of
from study.intake.sheet_work import MOST_PROBLEMS, row_words, shown
from study.model.layout import Layout
from study.model.units import plain

_SEARCHED = 80
_STATISTICS = re.compile(
    r"(mean|average|avg|s\.? ?d\.?|st\.? ?dev\.?|std\.?( ?dev\.?)?|standard deviation|max(imum)?|min(imum)?|n|count|"
    r"median|range|c\.? ?v\.?|rsd|sum|total|variance|var|s\.? ?e\.?( ?m\.?)?|standard error|number|x̄|ø|"
    # German, French, Italian, Spanish and Dutch for mean, deviation, largest, smallest, middle, how many, sum.
    r"mittel(wert)?|durchschnitt|standardabweichung|stabw\.?|maximalwert|minimalwert|anzahl|summe|"
    r"moyenne|moy\.?|[ée]cart[- ]type|m[ée]diane|effectif|nombre|somme|"
    r"medi[ao]|promedio|mediana|dev(iazione|\.)? standard|desviaci[óo]n( est[áa]ndar| t[íi]pica)?|massimo|minimo|"
    r"m[áa]ximo|m[íi]nimo|somma|suma|gemiddelde|standaarddeviatie|mediaan|aantal|som)"
    r"( of [\w ]{1,40})?( ?[(\[][^)\]]{0,40}[)\]])? ?%?( ?[:=].{0,20})?",
    re.IGNORECASE,
)
_TOO_WIDE = "Put text that contains the separator in quotes; separate cells by ; where decimals have a comma."
_NUMBERISH = re.compile(r"[<>]?[-+]?[\d.,\s]+%?")


@dataclass
class Frame:
    """A table in its sheet; row numbers count from 1 as a spreadsheet does."""

    header_row: int
    headings: list[str]
    units: dict[str, str]
    """heading -> unit in the row below the header."""
    numbers: list[int] = field(repr=False)
    lines: list[list[str]] = field(repr=False)
    preamble: list[list[str]] = field(repr=False)
    notes: list[str]
    problems: list[Problem]


def header_score(lines: Sequence[Sequence[str]], layout: Layout) -> tuple[int, int]:
    """How many headings the best row of a sheet's beginning names, and its place (from 0); (0, -1) for none."""
    best, place = 0, -1
    for number, line in enumerate(lines[:_SEARCHED]):
        found = {
            layout.columns.get(plain(cell)) or known_column(plain(cell)) for cell in line if 0 < len(cell) <= 60
        } - {""}
        filled = sum(1 for cell in line if cell.strip())
        # A sentence of the preamble may hold one word of ours; a header is mostly headings.
        score = len(found) if len(found) > 1 or ("coupon" in found and filled > 1) else 0
        if score > best:
            best, place = score, number
    return best, place


def frame_of(file: str, lines: list[list[str]], layout: Layout) -> Frame:
    """The table in a sheet's lines.

    Raises
    ------
    FileRefused
        If there is no header or no row below it.
    """
    place = layout.header_row - 1 if layout.header_row else header_score(lines, layout)[1]
    if layout.header_row and not (place < len(lines) and _header_fits(lines[place], layout)):
        place = header_score(lines, layout)[1]
    if place < 0:
        place = _first_texts(lines)
    notes: list[str] = []
    headings = _headings(lines, place)
    below = lines[place + 1] if place + 1 < len(lines) else []
    parted = _under_groups(lines[place] if place < len(lines) else [], below)
    headings = parted or headings
    preamble = [line for line in lines[:place] if any(cell.strip() for cell in line)]
    if preamble:
        above = "1 row above it was" if len(preamble) == 1 else f"{len(preamble)} rows above it were"
        notes.append(f"The header is row {place + 1}; {above} passed over.")
    start = place + (2 if parted else 1)
    if parted:
        notes.append(f"Row {place + 2} holds headings under those of row {place + 1}.")
    units: dict[str, str] = {}
    while start < len(lines) and not any(cell.strip() for cell in lines[start]):
        start += 1
    if start < len(lines):
        units = _units(headings, lines[start], layout)
        if units:
            headings, units = (headings, units) if parted else _told_apart(headings, lines[place], lines[start], units)
            notes.append(f"Row {start + 1} holds units: {', '.join(f'{h} in {u}' for h, u in units.items() if u)}.")
            start += 1
    frame = Frame(place + 1, headings, units, [], [], preamble, notes, [])
    _take(frame, lines, start)
    if not frame.lines and not frame.problems:
        raise FileRefused(file, [Problem(0, "", "", "has a header and no rows.", "Add rows below the header.")])
    return frame


def _header_fits(line: Sequence[str], layout: Layout) -> bool:
    named = {plain(cell) for cell in line if cell.strip()}
    return not layout.columns or len(named & layout.columns.keys()) * 2 >= len(layout.columns)


def _first_texts(lines: Sequence[Sequence[str]]) -> int:
    """The first row of at least two words and no number; else the first row with anything in it."""
    for number, line in enumerate(lines[:_SEARCHED]):
        filled = [plain(cell) for cell in line if cell.strip()]
        if len(filled) > 1 and not any(_NUMBERISH.fullmatch(cell) for cell in filled):
            return number
    return next((number for number, line in enumerate(lines) if any(cell.strip() for cell in line)), 0)


def _headings(lines: Sequence[Sequence[str]], place: int) -> list[str]:
    """Headings made different from each other: by the row of groups above them, else by counting."""
    line = lines[place] if place < len(lines) else []
    headings = [plain(cell) for cell in line]
    while headings and not headings[-1]:
        headings.pop()
    twice = {heading for heading, count in Counter(headings).items() if count > 1 and heading}
    if twice and place:
        group = ""
        above = [plain(cell) for cell in lines[place - 1]]
        for number, heading in enumerate(headings):
            group = (above[number] if number < len(above) else "") or group
            if heading in twice and group:
                headings[number] = f"{group} {heading}"
    seen: Counter[str] = Counter()
    for number, heading in enumerate(headings):
        seen[heading] += 1
        if heading and seen[heading] > 1:
            headings[number] = f"{heading} ({seen[heading]})"
    return headings


def _units(headings: Sequence[str], line: Sequence[str], layout: Layout) -> dict[str, str]:
    """Units in the row below the header, if it is a row of units and of nothing else."""
    found: dict[str, str] = {}
    sure = 0
    for number, cell in enumerate(line):
        text = plain(cell).strip("()[] ")
        if not text:
            continue
        if number >= len(headings) or not headings[number] or len(text) > 30:
            return {}
        unit = unit_of(text, layout.unit_words)
        if unit:
            sure += 1
        elif text not in ("0-5", "0 to 5") and (len(text) > 12 or re.search(r"\d[\d.,]|^\d+$", text)):
            return {}
        found[headings[number]] = unit
    blank = (
        not (line and line[0].strip())
        or unit_of(plain(line[0]).strip("()[] "), layout.unit_words)
        or line[0].strip() in "-–"
    )
    return found if sure and blank else {}


def _under_groups(head: Sequence[str], below: Sequence[str]) -> list[str]:
    """Headings of two rows where names of groups stand over blanks, such as 3 months over L*, a*, b*; else nothing."""
    words = [plain(cell) for cell in below]
    under = [place for place, word in enumerate(words) if word and not (place < len(head) and plain(head[place]))]
    if not under or any(_NUMBERISH.fullmatch(word) or len(word) > 40 for word in words if word):
        return []
    if sum(1 for word in words if column_of(word)[0]) < 2 or any(not column_of(words[place])[0] for place in under):
        return []
    group, joined = "", []
    for place in range(max(len(head), len(words))):
        own = plain(head[place]) if place < len(head) else ""
        word = words[place] if place < len(words) else ""
        group = own or (group if word else "")
        joined.append(f"{group} {word}".strip() if word else own)
    return joined if len({name for name in joined if name}) == sum(map(bool, joined)) else []


def _told_apart(
    headings: Sequence[str], head: Sequence[str], below: Sequence[str], units: dict[str, str]
) -> tuple[list[str], dict[str, str]]:
    """Headings that stood twice told apart by what stands below them, such as before and after, instead of counted."""
    counts = Counter(plain(cell) for cell in head)
    joined = list(headings)
    for number, heading in enumerate(headings):
        word = plain(below[number]).strip("()[] ") if number < len(below) else ""
        if heading and number < len(head) and counts[plain(head[number])] > 1 and word and not units.get(heading):
            joined[number] = f"{plain(head[number])} {word}"
    if len({heading for heading in joined if heading}) < sum(map(bool, joined)):
        return list(headings), units
    return joined, {new: units[old] for old, new in zip(headings, joined, strict=True) if old in units}


def _take(frame: Frame, lines: list[list[str]], start: int) -> None:
    width = len(frame.headings)
    passed: list[int] = []
    again: list[int] = []
    remarks: list[int] = []
    names = [index for index, heading in enumerate(frame.headings) if known_column(heading) == "coupon"]
    label = names[0] if names else 0
    head = [cell.strip() for cell in lines[frame.header_row - 1]]
    full = 0
    for number in range(start, len(lines)):
        cells = list(map(str.strip, lines[number]))
        filled = len(cells) - cells.count("")
        if not filled:
            continue
        text = (cells[label] if label < len(cells) else "") or next(cell for cell in cells if cell)
        if len(text) <= 80 and not text[-1:].isdigit() and _STATISTICS.fullmatch(text.strip()) and filled > 1:
            passed.append(number + 1)
            continue
        if cells == head:
            again.append(number + 1)
            continue
        if filled > 1 and _is_header(text, cells):
            what = "looks like the header of another table; the rows from there on were not read."
            frame.problems.append(Problem(number + 1, "", shown(text), what, "Save each table in a file of its own."))
            break
        if len(cells) > width and any(cells[width:]) and len(frame.problems) < MOST_PROBLEMS:
            what = f"has {len(cells)} cells where the header has {width}."
            frame.problems.append(Problem(number + 1, "", shown(" | ".join(cells[width:])), what, _TOO_WIDE))
        frame.numbers.append(number + 1)
        frame.lines.append(cells)
        if filled > 1:
            full = len(frame.lines)
    while len(frame.lines) > full and _is_remark(next(cell for cell in frame.lines[-1] if cell)):
        remarks.insert(0, frame.numbers.pop())
        frame.notes.append(
            f"Row {remarks[0]} below the table was passed over: “{shown(next(c for c in frame.lines.pop() if c))}”."
        )
    if passed:
        frame.notes.append(
            f"{row_words(passed).capitalize()} {'holds' if len(passed) == 1 else 'hold'} statistics and no coupon, and "
            f"{_were(passed)} passed over."
        )
    if again:
        frame.notes.append(
            f"{row_words(again).capitalize()} {'repeats' if len(again) == 1 else 'repeat'} the header and "
            f"{_were(again)} passed over."
        )


def _is_header(text: str, cells: Sequence[str]) -> bool:
    """Whether a row below the header is another header; marks nearly always have a digit, headings of marks none."""
    if any(map(str.isdigit, text)):
        return False
    # The marks of a long table are all different, and each would be looked up anew: a number or a day tells it first.
    if any(cell[-1:].isdigit() and cell[0].isdigit() for cell in cells) or known_column(plain(text)) != "coupon":
        return False
    return sum(1 for cell in cells if cell and known_column(plain(cell))) > 1


def _is_remark(text: str) -> bool:
    return len(text.split()) > 2 or text.endswith(".") or ":" in text or bool(_STATISTICS.fullmatch(text))


def _were(rows: Sequence[int]) -> str:
    return "was" if len(rows) == 1 else "were"
