"""Numbers as typed in a sheet: one decimal mark for the whole file, and every number in plain writing."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from typing import Literal

from study.errors import DwellbookError
from study.intake.sheet_columns import unit_of
from study.intake.sheet_words import meaning_of
from study.intake.sheet_work import Work, row_words
from study.model.units import newtons, plain

NUMBERS = (
    "removal_force", "residue_area_percent", "halo_percent", "L_before", "a_before", "b_before", "L_after", "a_after",
    "b_after", "L_look", "a_look", "b_look", "aperture_mm", "hold_angle_deg", "temperature_c", "humidity_percent",
    "dot_diameter_mm", "dots", "dwell_load_n",
)  # fmt: skip
"""Columns of numbers; grades and dates have their own rules."""
UNITS_WANTED = {
    "residue_area_percent": "%", "halo_percent": "%", "aperture_mm": "mm", "hold_angle_deg": "°", "temperature_c": "°C",
    "humidity_percent": "%", "dot_diameter_mm": "mm", "dwell_load_n": "N",
}  # fmt: skip
_TIMES = {("cm", "mm"): "10", ("m", "mm"): "1000", ("in", "mm"): "25.4"}

PLAIN = re.compile(r"-?\d+(?:\.\d+)?", re.ASCII).fullmatch
_COMMA = re.compile(r"-?\d+(?:,\d+)?", re.ASCII).fullmatch
_TOKEN = re.compile(r"\d(?:[\d.,'’\s]*\d)?")
_GROUPED = re.compile(r"\d{1,3}([.,'’\s])\d{3}(\1\d{3})*")
_STRICT = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_PARTS = re.compile(
    r"(?P<sign>[<>≤≥]=?)?\s*(?P<number>[-+]?[\d.,'’]?[\d.,'’\s]*\d[.,]?(?:[eE][-+]?\d+)?)\s*(?P<unit>\D.*)?"
)

Token = tuple[str, int, str]
"""Column, place, cell."""


def decimal_mark(work: Work) -> str:
    """The decimal mark of the whole file, as told by the layout, shown by the numbers, or answered; "." while open.

    Numbers of a workbook have none: there the mark is that of numbers typed as text, which are written with a point.
    """
    cells = _with_a_mark(work)
    certain: dict[str, list[Token]] = {",": [], ".": []}
    doubtful: list[Token] = []
    for column, place, cell in cells:
        kind = _kind(cell)
        if kind in ("doubtful comma", "doubtful point"):
            doubtful.append((column, place, kind))
        elif kind:
            certain[kind].append((column, place, cell))
    if certain[","] and certain["."]:
        _refuse_mixed(work, certain)
        return "."
    mark = work.layout.decimal_mark
    if certain[","] or certain["."]:
        shows: Literal[",", "."] = "," if certain[","] else "."
        if mark and mark != shows:
            work.note("The layout has the other decimal mark; this file was read by its own numbers.")
        mark = shows
        count = len(certain[mark])
        text = "" if work.text_numbers is None else " that hold numbers as text" if count > 1 else " with text in it"
        work.note(
            f"Decimal {'comma' if mark == ',' else 'point'}, from {count} {'cell' if count == 1 else 'cells'} of the "
            f"file{text}."
        )
    else:
        mark = _asked_mark(work, doubtful)
        if not mark and any(question.key == "decimal mark" for question in work.questions):
            for column, place, _ in doubtful:  # nothing is shown that may be a thousand times too much
                work.columns[column][place] = ""
    if mark:
        work.remember("decimal_mark", mark)
    if work.text_numbers is None:
        return mark or "."
    for column, place, cell in cells if mark == "," else ():
        if work.columns[column][place]:
            work.columns[column][place] = _TOKEN.sub(lambda token: plain_number(token[0], ",") or token[0], cell)
    return "."


def _with_a_mark(work: Work) -> list[Token]:
    """Cells of numbers that can show a decimal mark; none where a plain file holds no comma at all, for speed."""
    columns = [column for column in NUMBERS if column in work.columns]
    if work.text_numbers is not None:
        typed = work.text_numbers
        return [
            (column, place, cell)
            for column in columns
            for place in sorted(typed.get(column, ()))
            if ("," in (cell := work.columns[column][place]) or "." in cell) and not _of_spots(column, cell)
        ]
    with_comma = any("," in cell for column in columns for cell in work.columns[column])
    if not with_comma and not work.layout.decimal_mark and work.separator != ";":
        odd = [cell for column in columns for cell in work.columns[column] if cell.count(".") > 1]
        if not any(_kind(cell) == "," for cell in odd[:1000]):
            return []
    return [
        (column, place, cell)
        for column in columns
        for place, cell in enumerate(work.columns[column])
        if ("," in cell or "." in cell) and not _of_spots(column, cell)
    ]


def _asked_mark(work: Work, doubtful: list[Token]) -> Literal[",", ".", ""]:
    """The mark where every number can be read in two ways: the layout's, if it has the same sign, or the answer's."""
    told = work.layout.decimal_mark
    commas = [token for token in doubtful if token[2] == "doubtful comma"]
    # Points with three digits behind them are decimals as a rule, but not where sheets have decimal commas.
    points = [token for token in doubtful if token[2] == "doubtful point"]
    if not (commas and not told) and not (
        points and not commas and (told == "," or (not told and work.separator == ";"))
    ):
        return told
    column, place, kind = (commas or points)[0]
    cell = work.columns[column][place]
    sign, name = (",", "comma") if kind == "doubtful comma" else (".", "point")
    answer = work.ask(
        "decimal mark",
        f"“{cell}” in row {work.numbers[place]} can be {cell.replace(sign, '.')} or {cell.replace(sign, '')}, and no "
        "other number of the file tells.",
        (f"decimal {name}", f"thousands {name}"),
    )
    marks: dict[str, Literal[",", "."]] = {
        "decimal comma": ",", "thousands comma": ".", "decimal point": ".", "thousands point": ",",
    }  # fmt: skip
    return marks.get(answer, "")


def _kind(cell: str) -> str:
    """Which decimal mark the first number in a cell shows: "," or ".", in doubt, or none."""
    match = _TOKEN.search(cell[:200])
    if match is None:
        return ""
    token = match[0]
    before = cell[max(match.start() - 1, 0) : match.start()]
    commas, points = token.count(","), token.count(".")
    if commas and points:
        return "," if token.rindex(",") > token.rindex(".") else "."
    if not commas and not points:
        return ""
    mark, other = (",", ".") if commas else (".", ",")
    if commas + points > 1:
        return other if _GROUPED.fullmatch(token) else ""
    whole, _, tail = token.partition(mark)
    if len(tail) != 3 or whole.startswith("0") or before in (",", ".") or not re.fullmatch(r"\d{1,3}", whole):
        return mark
    return "doubtful comma" if commas else "doubtful point"


def _refuse_mixed(work: Work, certain: dict[str, list[Token]]) -> None:
    few = min(certain, key=lambda mark: len(certain[mark]))
    rows = {mark: work.rows(place for _, place, _ in tokens) for mark, tokens in certain.items()}
    work.problem(
        -1, "", "", f"mixes decimal commas ({rows[',']}) and decimal points ({rows['.']}).",
        "Nothing was guessed: write all numbers of the file in one way.",
    )  # fmt: skip
    listed = [*certain[","], *certain["."]] if sum(map(len, certain.values())) <= 40 else certain[few]
    for column, place, cell in listed:
        mark = "comma" if cell in {c for _, _, c in certain[","]} else "point"
        work.problem(
            place, column, cell, f"has a decimal {mark}, other rows have the other mark.", "Write it as the others."
        )
    for column, place, _ in (*certain[","], *certain["."]):
        work.columns[column][place] = ""


def plain_number(text: str, mark: str) -> str:
    """A number in plain writing, such as -1234.5, from what was typed with this decimal mark; empty if it is none.

    Thousands may be grouped by spaces, apostrophes, or the mark that is not the decimal one; +5.1, '5.1 and 1E+02 are
    numbers too.
    """
    text = plain(text).strip("'").replace("’", "'")
    if not text.isascii():  # digits of other scripts
        text = "".join(str(unicodedata.decimal(sign, sign)) for sign in text)
    group = "," if mark == "." else "."
    sign, body = (text[0], text[1:].strip()) if text[:1] in ("+", "-") else ("", text)
    whole, comma, tail = body.partition(mark)
    if _GROUPED.fullmatch(whole) and whole.count(mark) == 0 and (group in whole or " " in whole or "'" in whole):
        whole = re.sub(r"[.,'\s]", "", whole)
    body = whole + ("." if comma else "") + tail
    if group in whole + tail or not _STRICT.fullmatch(body):
        return ""
    number = ("-" if sign == "-" else "") + body
    if PLAIN(number):
        return number
    value = float(number)
    return f"{value:.15g}" if math.isfinite(value) else ""


def parts_of(text: str, mark: str) -> tuple[str, str, str] | None:
    """Sign of a bound ("<", ">" or ""), number in plain writing, and what follows it; None if it is not so made."""
    match = _PARTS.fullmatch(plain(text).strip("'")) if len(text) <= 80 else None
    number = plain_number(match["number"], mark) if match else ""
    if match is None or not number:
        return None
    sign = {"≤": "<", "≥": ">"}.get((match["sign"] or "")[:1], (match["sign"] or "")[:1])
    return sign, number, (match["unit"] or "").strip()


def missing_reason(work: Work, cell: str) -> str:
    """Why a cell has no value, by the layout's words and ours; empty if it is no word for that."""
    told = work.layout.missing_words.get(plain(cell))
    if told:
        return told
    kind, why = meaning_of(cell)
    return why if kind in ("missing", "error") else ""


def quick(cells: Sequence[str], mark: str) -> tuple[list[str], list[int]]:
    """Cells with their plain numbers settled, and the places of the others; whole columns at once, for speed."""
    if mark == ",":
        done = [cell.replace(",", ".") if _COMMA(cell) else cell for cell in cells]
        return done, [place for place, cell in enumerate(cells) if cell and not _COMMA(cell)]
    return list(cells), [place for place, cell in enumerate(cells) if cell and not PLAIN(cell)]


def settle_numbers(work: Work, column: str, mark: str) -> None:
    """Write a column of numbers plainly; whatever is none becomes a reason in the note or a problem."""
    cells, odd = quick(work.columns[column], mark)
    wanted = UNITS_WANTED.get(column, "")
    reasons: dict[str, list[int]] = {}
    for place in odd:
        cell = cells[place]
        cells[place] = ""
        reason = missing_reason(work, cell)
        if reason:
            leave_blank(work, column, [place], reason, reasons)
            continue
        kind = meaning_of(cell)[0]
        if kind == "held" and column == "hold_angle_deg":
            work.problem(
                place, column, cell, "says that it held, not up to which angle.", "Write the tilt reached, as >90."
            )
        elif kind == "date":
            damaged(work, place, column, cell)
        elif _of_spots(column, cell) and (several := _several(cell, mark) or _several(cell, ".,".strip(mark))):
            cells[place] = several
        elif (parts := parts_of(cell, mark)) is None:
            work.problem(
                place, column, cell, "is not a number.", "Write a number, or leave it blank if it was not measured."
            )
        elif parts[2] and (wanted == "" or unit_of(parts[2], work.layout.unit_words) != wanted):
            do = f"Write the number in {wanted}." if wanted else "Write the number alone."
            work.problem(place, column, cell, f"has “{parts[2]}” after the number.", do)
        else:
            cells[place] = parts[0] + parts[1]
    tell_missing(work, column, reasons)
    work.columns[column] = cells
    _unit_of_column(work, column, wanted)


def _of_spots(column: str, cell: str) -> bool:
    """Whether a cell may hold several readings of a colour: text to a spreadsheet, which leaves their marks alone."""
    return column[:2] in ("L_", "a_", "b_") and (";" in cell or " " in cell.strip() or "|" in cell)


def _several(cell: str, mark: str) -> str:
    """Several readings of one spot in a cell, such as "82.1; 82.3; 82.0", in plain writing; empty if it is not that."""
    parts = [part for part in re.split(r"\s*[;|]\s*|\s+", plain(cell[:200]).strip("'")) if part]
    numbers = [plain_number(part, mark) for part in parts]
    return "; ".join(numbers) if len(parts) > 1 and all(numbers) else ""


def leave_blank(work: Work, column: str, places: list[int], reason: str, reasons: dict[str, list[int]]) -> None:
    """Cells that hold a reason instead of a value: it goes beside each row, and into the column's note."""
    reasons.setdefault(reason, []).extend(places)
    for place in places:
        work.remark(place, f"{column}: {reason}")


def tell_missing(work: Work, column: str, reasons: dict[str, list[int]]) -> None:
    """A note for each reason why a column has no value somewhere."""
    for reason, places in reasons.items():
        work.note(f"{work.headings.get(column, column)}: no value in {work.rows(places)} ({reason}).")


def damaged(work: Work, place: int, column: str, cell: str) -> None:
    """The problem of a number or grade that a spreadsheet made a date of."""
    work.problem(
        place, column, cell, "is a date where a number or grade belongs: a spreadsheet turned it into one.",
        "Write again what was read, with the cell formatted as text (such as 3-4).",
    )  # fmt: skip


def _unit_of_column(work: Work, column: str, wanted: str) -> None:
    unit = work.heading_units.get(column, "")
    if not wanted or not unit or unit == wanted:
        return
    if (unit, wanted) in _TIMES:
        times = float(_TIMES[unit, wanted])
        work.columns[column] = [_times(cell, times) for cell in work.columns[column]]
        work.note(f"{work.headings[column]}: {unit} × {times:g} = {wanted}.")
        return
    if wanted == "N" and (per_unit := _in_newtons(unit)):
        work.columns[column] = [_times(cell, per_unit) for cell in work.columns[column]]
        work.note(f"{work.headings[column]}: {unit} × {per_unit:.7g} = N.")
        return
    places = [place for place, cell in enumerate(work.columns[column]) if cell]
    if places:
        work.problem(
            -1,
            column,
            unit,
            f"is the unit of {row_words([work.numbers[p] for p in places])}.",
            f"Write the numbers in {wanted}.",
        )


def _times(cell: str, times: float) -> str:
    sign, number = (cell[0], cell[1:]) if cell[:1] in ("<", ">") else ("", cell)
    return f"{sign}{float(number) * times:.12g}" if number else cell


def _in_newtons(unit: str) -> float:
    """How many newton one unit is; 0 if it is none of force."""
    try:
        return newtons(1.0, unit=unit)
    except DwellbookError:
        return 0.0
