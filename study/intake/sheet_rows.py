"""Rows as they belong together: blocks named once, coupons that come twice, numbers that are no marks, initials."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from study.intake.reading_columns import READ_AFTER_PULL
from study.intake.sheet_numbers import damaged, missing_reason
from study.intake.sheet_words import RELEASED, meaning_of
from study.intake.sheet_work import Work, shown
from study.model.layout import REPEAT_ANSWERS
from study.model.own_mark import tidy_mark
from study.model.units import plain

BLOCKS = (
    "read_on", "adhesive", "formulation_version", "composition_class", "lot", "substrate", "finish", "preparation",
    "stands_for", "environment", "placed_on", "pulled_on", "pull", "test", "dot_diameter_mm", "dots", "dwell_load_n",
    "role", "read_by", "instrument", "illuminant", "observer_deg", "specular", "force_unit", "coupon",
)  # fmt: skip
"""Columns where a blank may mean "as above"; a blank measurement never does, unless its cells were merged."""
_MEASURED = (
    "removal_force", "failure_pattern", "residue_grade", "residue_second", "residue_cleaned", "residue_area_percent",
    "hold_angle_deg", "L_before", "a_before", "b_before", "L_after", "a_after", "b_after",
)  # fmt: skip
_DATE = re.compile(r"\d{4}-\d\d-\d\d(T.*)?").fullmatch
_TEXTS = (
    "second_rater", "cleaning_step", "geometry", "instrument", "read_by", "adhesive", "formulation_version",
    "composition_class",
    "lot", "substrate", "finish", "preparation", "stands_for", "environment", "pull_kind", "test", "pull", "role",
)  # fmt: skip
_INITIALS = re.compile(r"(?=.{2,8}$)[A-Z](\.?\s?[A-Z]\.?){1,3}").fullmatch
_MOST_INITIALS = 20
_BESIDE = {
    "force_unit": ("removal_force",),
    **dict.fromkeys(("illuminant", "observer_deg", "specular"), ("L_before", "L_after", "L_look")),
}
"""A blank matters only beside a value that it belongs to."""
_LOOKED = ("L_look", "a_look", "b_look")
_MOST_SHOWN = 6


def fill_down(work: Work, merged: dict[str, list[tuple[int, int]]]) -> None:
    """Fill blanks below a value where the person says that a blank means "as above".

    ``merged`` holds, by column, the first and last place of cells that were merged in the workbook.
    """
    together: dict[tuple[int, ...], list[str]] = {}
    for column in work.columns:
        if blanks := tuple(_blanks(work, column, merged.get(column, []))):
            together.setdefault(blanks, []).append(column)
    for blanks, columns in together.items():
        told = {column: _told_of_blanks(work, column) for column in columns}
        # Blocks of one sheet are named in several columns at once: what is answered for one of them holds for all.
        answer = next((said for said in told.values() if said), "") or _asked_of_blanks(work, columns, blanks, merged)
        for column in columns if answer else ():
            heading, said = work.headings.get(column, column), told[column] or answer
            work.remember("fill_down", {heading: said})
            if said == "yes":
                filled = list(work.columns[column])
                for place in blanks:
                    filled[place] = filled[place - 1]
                work.columns[column] = filled
                work.note(f"“{heading}” was filled down in {work.rows(blanks)}, as answered.")


def _told_of_blanks(work: Work, column: str) -> str:
    """Whether a blank in a column means "as above", by an answer of its own or by the layout."""
    heading = work.headings.get(column, column)
    work.asked.add(f"fill down {heading}")
    said = plain(work.answers.get(f"fill down {heading}", "")) or work.layout.fill_down.get(heading, "")
    return said if said in ("yes", "no") else ""


def _asked_of_blanks(
    work: Work, columns: Sequence[str], blanks: Sequence[int], merged: Mapping[str, list[tuple[int, int]]]
) -> str:
    headings = [f"“{work.headings.get(column, column)}”" for column in columns]
    cells = work.columns[columns[0]]
    first = cells[blanks[0] - 1] or next(cell for cell in reversed(cells[: blanks[0]]) if cell)
    one = len(columns) == 1
    named = headings[0] if one else f"{', '.join(headings[:-1])} and {headings[-1]}"
    why = f"{'it stands' if one else 'they stand'} only on the first row of each block"
    why = f"{'its' if one else 'their'} cells are merged" if columns[0] in merged else why
    return work.ask(
        f"fill down {work.headings.get(columns[0], columns[0])}",
        f"{named} {'is' if one else 'are'} blank in {work.rows(blanks)}; {why}, such as “{shown(first, 40)}” above "
        f"{work.rows(blanks[:1])}. Does a blank there mean the same as above?",
        ("yes", "no"),
    )


def _blanks(work: Work, column: str, merged: Sequence[tuple[int, int]]) -> list[int]:
    cells = work.columns[column]
    if merged:
        return sorted(
            {
                place
                for first, last in merged
                for place in range(first + 1, last + 1)
                if not cells[place] and cells[first]
            }
        )
    if column not in BLOCKS or not cells or not cells[0] or all(cells) or (work.parted and column == "read_on"):
        return []
    beside = [work.columns[name] for name in _BESIDE.get(column, ()) if name in work.columns]
    blanks = [
        place for place, cell in enumerate(cells) if not cell and (not beside or any(other[place] for other in beside))
    ]
    # One blank in a full column is a forgotten cell; blocks have more blanks than names.
    return blanks if 2 * len(blanks) >= len(cells) else []


def settle_coupons(work: Work) -> None:
    """Tidy the coupons' marks, and ask what a column 1, 2, 3, … is."""
    cells = [
        plain(cell).lstrip("'") if not cell.isascii() or cell[:1] == "'" else cell for cell in work.columns["coupon"]
    ]
    work.columns["coupon"] = cells
    waiting = any(question.key == f"fill down {work.headings.get('coupon')}" for question in work.questions)
    for place, cell in enumerate(cells):
        if not cell and "coupon" in work.headings and not waiting:
            do = "Write the coupon's mark in every row."
            work.problem(place, "coupon", "", "has no coupon.", do)
        elif _DATE(cell):
            damaged(work, place, "coupon", cell)
    if len(cells) < 2 or cells[0] not in ("0", "1", "001", "01", "0001") or not all(map(_counts, cells)):
        return
    numbers = [int(cell) for cell in cells]
    if numbers != list(range(numbers[0], numbers[0] + len(numbers))):
        return
    answer = work.ask(
        "coupon numbers",
        f"The coupons are numbered {cells[0]}, {cells[1]}, … {cells[-1]}: marks on the pieces, or places in the "
        "memory of a gauge?",
        ("marks of coupons", "numbers of the gauge"),
        told=work.layout.coupon_numbers,
    )
    if answer:
        work.remember("coupon_numbers", answer)
    if answer == "numbers of the gauge":
        work.problem(
            -1, "coupon", f"{cells[0]} to {cells[-1]}", "are places in the memory of a gauge and no coupons.",
            "Add a column with the mark of each coupon, in the order they were pulled; the order is not guessed.",
        )  # fmt: skip


def _counts(cell: str) -> bool:
    return cell.isascii() and cell.isdigit() and len(cell) <= 6


def settle_pulled(work: Work) -> None:
    """The day of the pull of every coupon, where it is that of what was read after it."""
    if not work.pulled_when_read:
        return
    read = [work.columns[column] for column in READ_AFTER_PULL if column in work.columns]
    days: dict[str, str] = {}
    for place, coupon in enumerate(work.columns["coupon"]):
        if any(cells[place] for cells in read) and work.columns["read_on"][place]:
            days.setdefault(tidy_mark(coupon), work.columns["read_on"][place])
    work.columns["pulled_on"] = [days.get(tidy_mark(coupon), "") for coupon in work.columns["coupon"]]


def settle_repeats(work: Work) -> None:
    """Coupons that come twice: copies are dropped and said, different values are asked about, nothing is merged.

    The same coupon may well have rows that complete each other, such as a force on one day and a colour on the next.
    """
    seen: dict[str, list[int]] = {}
    for place, cell in enumerate(work.columns["coupon"]):
        if cell:
            seen.setdefault(cell, []).append(place)
    tidied: dict[str, list[int]] = {}
    for cell, places in seen.items():
        tidied.setdefault(_tidy(cell), []).extend(places)
    names = [column for column in work.columns if column != "coupon"]
    copies: list[int] = []
    clashes: list[tuple[int, int]] = []
    for places in tidied.values():
        if len(places) > 1:
            _compare(work, sorted(places), names, copies, clashes)
    drop = set(copies)
    if copies:
        work.note(f"Copies of a row above in {work.rows(copies)} were left out: every cell is the same.")
    if clashes:
        # Which columns are what is not known yet: rows of one coupon may not say the same thing at all.
        unsure = work.parted and any(question.key in ("colour", "column for read_on") for question in work.questions)
        drop |= set() if unsure else _answered(work, clashes)
    if drop:
        kept = [place for place in range(len(work.numbers)) if place not in drop]
        work.numbers = [work.numbers[place] for place in kept]
        work.columns = {column: [cells[place] for place in kept] for column, cells in work.columns.items()}
        work.beside = {new: work.beside[old] for new, old in enumerate(kept) if old in work.beside}


_DROPPED = str.maketrans(dict.fromkeys(" -_.\t\n\r\v\f"))


def _tidy(cell: str) -> str:
    """A mark in one spelling; the short way for the usual ones, for speed."""
    return cell.upper().translate(_DROPPED) if cell.isascii() else tidy_mark(cell)


def _compare(
    work: Work, places: list[int], names: Sequence[str], copies: list[int], clashes: list[tuple[int, int]]
) -> None:
    """Each row against the earlier ones of its coupon; looks in place may be repeated on another day."""
    whole: set[tuple[str, ...]] = set()
    first: dict[tuple[str, str], int] = {}
    days = [work.columns[name] for name in ("read_on", "read_at") if name in work.columns]
    for place in places:
        row = tuple(work.columns[name][place] for name in names)
        if row in whole:
            copies.append(place)
            continue
        whole.add(row)
        filled = [name for name in (*_MEASURED, *_LOOKED) if name in work.columns and work.columns[name][place]]
        day = " ".join(cells[place] for cells in days)
        holders = [first.setdefault((name, day if name in _LOOKED else ""), place) for name in filled]
        earlier = min(holders, default=place)
        if earlier != place:
            clashes.append((earlier, place))


def _answered(work: Work, clashes: Sequence[tuple[int, int]]) -> set[int]:
    """What the person says two rows of one coupon are; the places of rows that are left out."""
    said = []
    for earlier, later in clashes[:_MOST_SHOWN]:
        said.append(
            f"{shown(work.columns['coupon'][later], 30)} in rows {work.numbers[earlier]} and {work.numbers[later]}"
        )
    more = f" and {len(clashes) - _MOST_SHOWN} more" if len(clashes) > _MOST_SHOWN else ""
    one = _difference(work, *clashes[0])
    answer = work.ask(
        "repeats",
        f"Coupons come twice with different values: {', '.join(said)}{more}{one}. What is the later row?",
        REPEAT_ANSWERS,
        told=work.layout.repeats,
    )
    if not answer:
        return set()
    work.remember("repeats", answer)
    words = {"duplicate": "left out", "correction": "taken in place of the earlier row"}.get(
        answer, f"kept as {answer}"
    )
    work.note(f"Later rows of the same coupon ({work.rows(later for _, later in clashes)}) were {words}, as answered.")
    if answer == "duplicate":
        return {later for _, later in clashes}
    if answer == "correction":
        return _corrected(work, clashes)
    for earlier, later in clashes:
        work.remark(later, f"{answer} of row {work.numbers[earlier]}")
    return set()


def _corrected(work: Work, clashes: Sequence[tuple[int, int]]) -> set[int]:
    """The later row stands, completed by the earlier where it is blank; of a chain only the last row stays."""
    last = dict(sorted(clashes))
    for earlier, later in sorted(clashes):
        work.remark(later, f"corrects row {work.numbers[earlier]}{_difference(work, earlier, later)}")
        for cells in work.columns.values():
            cells[last[earlier]] = cells[last[earlier]] or cells[earlier]
    return {place for pair in clashes for place in pair} - {*last.values()}


def _difference(work: Work, earlier: int, later: int) -> str:
    for name in (*_MEASURED, *_LOOKED):
        cells = work.columns.get(name)
        if cells and cells[earlier] != cells[later] and cells[earlier] and cells[later]:
            return f" ({work.headings.get(name, name)} {shown(cells[earlier], 30)} and {shown(cells[later], 30)})"
    return ""


_LOST = ("lost", "missing", "missed")
"""Words for a coupon that is not there any more."""


def settle_words(work: Work) -> None:
    """Columns of plain words: a dash, n/a or a spreadsheet's error is no name; events by their one name."""
    for column in _TEXTS:
        if column not in work.columns:
            continue
        cells = work.columns[column]
        done = {cell: "" if missing_reason(work, cell) else cell for cell in set(cells)}
        if column == "pull_kind":
            # A lost coupon is no missing word: it is how the coupon left.
            done |= {cell: "lost" for cell in done if cell.strip().casefold() in _LOST}
            done = {cell: RELEASED if meaning_of(cell)[0] == "released" else word for cell, word in done.items()}
        unit = work.heading_units.get(column, "") if column == "pull" else ""
        if unit in ("days", "weeks", "months", "years"):
            done = {cell: f"{word} {unit}" if word.isdecimal() and int(word) else word for cell, word in done.items()}
        lost = [place for place, cell in enumerate(cells) if cell and not done[cell]]
        if lost:
            work.note(f"{work.headings.get(column, column)}: no value in {work.rows(lost)}.")
        work.columns[column] = [done[cell] for cell in cells]


def settle_people(work: Work) -> None:
    """Initials to names where layout or answer says whose they are; where two share them, who it was is asked."""
    cells = work.columns.get("read_by")
    if not cells:
        return
    places: dict[str, list[int]] = {}
    for place, cell in enumerate(cells):
        places.setdefault(cell, []).append(place)
    unknown: list[str] = []
    done: dict[str, str] = {}
    for cell, where in places.items():
        key = f"initials {cell}"
        told = work.layout.people.get(cell, "")
        if _INITIALS(cell) and len(unknown) < _MOST_INITIALS:
            work.asked.add(key)
            given = plain(work.answers.get(key, ""))
            if given and given != "not known" and given not in told.split("; "):
                told = given
                work.remember("people", {cell: given})
        names = [name.strip() for name in told.split(";") if name.strip()]
        if len(names) > 1:
            key = f"whose {cell}" if ";" in work.answers.get(key, "") else key
            said = f"“{cell}” in {work.rows(where)} can be {' or '.join(names)}."
            answer = work.ask(key, said, (*names, "not known"))
            done[cell] = cell if answer in ("", "not known") else answer
        elif names:
            done[cell] = names[0]
        elif _INITIALS(cell) and len(unknown) < _MOST_INITIALS:
            unknown.append(cell)
    work.columns["read_by"] = [done.get(cell, cell) for cell in cells]
    if unknown:
        heading, who = work.headings.get("read_by", "read_by"), shown(", ".join(unknown))
        work.note(
            f"{heading} holds initials ({who}) that two people may share. The layout keeps whose they are: answer "
            f"“initials {unknown[0]}” with a name, or with two and ; between."
        )
