"""Their columns to ours: sure headings taken and said, doubtful ones offered, what is needed and missing asked for."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from difflib import get_close_matches

from study.intake.reading_columns import KIND_OF, READ_AFTER_PULL
from study.intake.sheet_colours import LOOKS, colour_look
from study.intake.sheet_columns import OURS, column_of, heading_unit, wide_column
from study.intake.sheet_dates import is_dated
from study.intake.sheet_frame import Frame
from study.intake.sheet_work import A_DATE, Work, shown
from study.model.details import RESIDUE_FLAGS
from study.model.layout import STUDY_COLUMNS
from study.model.units import plain

LEAVE_OUT = "leave out"
SAME_DAY = "same as the pull day"
"""Answers on which day a reading was made, in a sheet that has the days of the pulls."""
SAME_READING = "same as the day of reading"
"""Answers on which day a coupon was pulled, in a sheet that has the days of the readings."""
_MOST_LISTED = 20
_LOOKED_AT = 200
_YES = {"yes", "y", "x", "1", "true", "+", "✓", "ja", "oui", "si", "sì"}
_NO = {"no", "n", "", "0", "false", "-", "–", "none", "nein", "non"}


def map_columns(work: Work, frame: Frame) -> dict[str, int]:
    """Fill the work's columns from the frame; the place of each of our columns among theirs."""
    places = {heading: place for place, heading in enumerate(frame.headings) if heading}
    _tell_strange(work, places)
    claims = _claims(work, places)
    chosen = _chosen(work, claims)
    _colours(work, chosen, claims)
    work.numbers = list(frame.numbers)
    for column, heading in chosen.items():
        _take(work, frame, column, heading, places[heading])
    _needed(work, frame, places, chosen)
    left = [heading for heading in places if heading not in chosen.values()]
    left = [heading for heading in left if not _flag_column(work, frame, heading, places[heading])]
    study = [] if work.wide else [heading for heading in left if column_of(heading)[0] in STUDY_COLUMNS]
    other = [heading for heading in left if heading not in study]
    if study:
        work.note(f"Left out, as they belong to a whole study and not to readings: {_listed(study)}.")
    if other:
        work.left_out += other
        work.note(f"Left out: {_listed(other)}.")
    named = [f"“{heading}” is {column}" for column, heading in chosen.items() if heading != column]
    if named:
        work.note(f"Columns: {'; '.join(named)}.")
    nameless = [place + 1 for place in range(len(frame.headings)) if not frame.headings[place]]
    filled = [place for place in nameless if any(len(line) >= place and line[place - 1] for line in frame.lines)]
    if filled:
        work.note(f"Left out, as they have no heading: columns {', '.join(map(str, filled[:_MOST_LISTED]))}.")
    return {column: places[heading] for column, heading in chosen.items()}


def _listed(headings: list[str]) -> str:
    more = f" and {len(headings) - _MOST_LISTED} more" if len(headings) > _MOST_LISTED else ""
    return ", ".join(f"“{shown(heading, 40)}”" for heading in headings[:_MOST_LISTED]) + more


def _tell_strange(work: Work, places: Mapping[str, int]) -> None:
    known = work.layout.columns
    if known and 2 * len(known.keys() & places.keys()) < len(known):
        name = f" “{work.layout.name}”" if work.layout.name else ""
        work.note(f"Most headings of the layout{name} are not in this file: it may be for another kind of sheet.")


def _claims(work: Work, places: Mapping[str, int]) -> dict[str, list[tuple[str, bool]]]:
    """Which headings want to be each of our columns, and whether without doubt."""
    claims: dict[str, list[tuple[str, bool]]] = {}
    for number, heading in enumerate(places):
        key = f"column {heading}"
        work.asked.add(key)
        answer = plain(work.answers.get(key, ""))
        if answer not in ("", LEAVE_OUT, *OURS):
            near = get_close_matches(answer, sorted(OURS), n=3, cutoff=0.4)
            work.ask(key, f"“{shown(heading)}” can be one of our columns or be left out.", (*near, LEAVE_OUT))
        if answer in OURS or answer == LEAVE_OUT:
            column, sure = ("" if answer == LEAVE_OUT else answer), True
            work.remember("columns", {heading: column})
        elif heading in work.layout.columns:
            column, sure = work.layout.columns[heading], True
            column = column if column in OURS else ""
        elif number < 120:
            plainly = wide_column(heading) if work.wide else ""
            column, sure = (plainly, True) if plainly else column_of(heading)
        else:
            column, sure = "", False
        if column and (work.wide or column not in STUDY_COLUMNS):
            claims.setdefault(column, []).append((heading, sure))
    return claims


def _chosen(work: Work, claims: dict[str, list[tuple[str, bool]]]) -> dict[str, str]:
    """One heading for each of our columns; provisional where it is asked."""
    chosen: dict[str, str] = {}
    for column, wanting in claims.items():
        if column.endswith("_look") and not any(sure for _, sure in wanting):
            continue  # bare L*, a*, b* are asked about together
        sure = [heading for heading, certain in wanting if certain]
        if column in sure:
            sure = [column]  # our own heading before any synonym
        if len(sure) > 1:
            answer = work.ask(
                f"which {column}",
                f"{' and '.join(f'“{heading}”' for heading in sure[:10])} can each be {column}.",
                tuple(sure),
            )
            chosen[column] = answer or sure[0]
            if answer:
                work.remember("columns", {heading: column if heading == answer else "" for heading in sure})
        elif sure:
            chosen[column] = sure[0]
            work.remember("columns", {sure[0]: column})
        else:
            for heading, _ in wanting[:3]:
                if column not in chosen:
                    chosen[column] = heading
                work.ask(
                    f"column {heading}",
                    f"“{shown(heading)}” may be {column}.",
                    (column, LEAVE_OUT),
                    free=OURS.__contains__,
                )
    return chosen


def _colours(work: Work, chosen: dict[str, str], claims: dict[str, list[tuple[str, bool]]]) -> None:
    """Bare L*, a*, b*: one question for the three; a letter alone is no colour."""
    bare = {axis: claims.get(f"{axis}_look", [("", True)])[0] for axis in "Lab"}
    if any(sure for _, sure in bare.values()):
        return
    headings = {axis: heading for axis, (heading, _) in bare.items()}
    look = colour_look(work, list(headings.values()))
    order = ("look", "after", "before") if work.parted else ("after", "look", "before")
    taken = look or next((name for name in order if f"L_{name}" not in chosen), "")
    if not taken or f"L_{taken}" in chosen:
        return
    assert taken in LOOKS
    for axis, heading in headings.items():
        chosen[f"{axis}_{taken}"] = heading
        if look:
            work.remember("columns", {heading: f"{axis}_{look}"})


def _take(work: Work, frame: Frame, column: str, heading: str, place: int) -> None:
    work.columns[column] = [line[place] if place < len(line) else "" for line in frame.lines]
    work.headings[column] = heading
    words = tuple(sorted(work.layout.unit_words.items()))
    unit = frame.units.get(heading, "") or work.layout.units.get(heading, "") or heading_unit(heading, words)
    if unit:
        work.heading_units[column] = unit


def _needed(work: Work, frame: Frame, places: Mapping[str, int], chosen: dict[str, str]) -> None:
    """The coupon and the day of every reading: without a column for them there is a question."""
    if "coupon" not in chosen:
        sure = work.known.get("columns", {})
        free = {heading: place for heading, place in places.items() if not sure.get(heading)}
        answer = work.ask(
            "column for coupon",
            "No heading says which column holds the coupons.",
            _likely(frame, free or places, _tells_apart),
            free=places.__contains__,
        )
        if answer:
            chosen["coupon"] = answer
            _take(work, frame, "coupon", answer, places[answer])
            work.remember("columns", {answer: "coupon"})
        else:
            work.columns["coupon"] = [""] * len(work.numbers)
    dated = {"read_on", "placed_on"} <= chosen.keys() and "pulled_on" not in chosen
    if work.wide and dated and chosen.keys() & READ_AFTER_PULL:
        _pulled_on(work, frame, places, chosen)
    if "read_on" in chosen:
        return
    if work.wide and not chosen.keys() & KIND_OF.keys():
        work.columns["read_on"] = [""] * len(work.numbers)  # coupons alone, with nothing read
        return
    told = work.layout.read_on_from if work.layout.read_on_from in places else ""
    # The day of the pull is theirs to copy only where one column is known to hold it.
    pulled = chosen.get("pulled_on", "") if work.wide else ""
    answer = work.ask(
        "column for read_on",
        f"No heading says which column holds the day of reading.{_dates_above(frame)}",
        (*((SAME_DAY,) if pulled else ()), *_likely(frame, places, _dated), A_DATE),
        free=lambda text: text in places or bool(re.fullmatch(r"\d{4}-\d\d-\d\d", text)),
        told=told,
    )
    answer = pulled if answer == SAME_DAY else answer
    if answer in places:
        cells = [line[places[answer]] if places[answer] < len(line) else "" for line in frame.lines]
        # What the headings date by a span was not all read on the day of one column.
        spans = work.columns.get("read_at", [""] * len(cells))
        work.columns["read_on"] = ["" if span else cell for cell, span in zip(cells, spans, strict=True)]
        work.headings["read_on"] = answer
        work.remember("read_on_from", answer)
        if answer not in chosen.values():
            chosen["read_on"] = answer
    else:
        work.columns["read_on"] = [answer] * len(work.numbers)
        if answer:
            work.note(f"Every reading is dated {answer}, as answered.")


def _pulled_on(work: Work, frame: Frame, places: Mapping[str, int], chosen: dict[str, str]) -> None:
    """The day of the pull: without a column for it, another one's or the day of reading, as answered."""
    others = tuple(heading for heading in _likely(frame, places, _dated) if heading != chosen["read_on"])
    answer = work.ask(
        "column for pulled_on",
        "No heading says which column holds the day of the pull.",
        (SAME_READING, *others),
        free=places.__contains__,
        told=work.layout.pulled_on_from,
    )
    if not answer:
        return
    work.remember("pulled_on_from", answer)
    if answer == SAME_READING:
        work.pulled_when_read = True
        work.note("Coupons were pulled on the day they were read, as answered.")
    else:
        _take(work, frame, "pulled_on", answer, places[answer])


def _likely(frame: Frame, places: Mapping[str, int], fits: Callable[[list[str]], bool]) -> tuple[str, ...]:
    """Headings of columns whose first cells fit; all of them where none does."""
    lines = frame.lines[:_LOOKED_AT]
    found = []
    for heading, place in list(places.items())[:60]:
        cells = [line[place] for line in lines if place < len(line) and line[place]]
        if 2 * len(cells) >= len(lines) and fits(cells):
            found.append(heading)
    return tuple(found or list(places)[:60])


def _dated(cells: list[str]) -> bool:
    return sum(map(is_dated, cells)) * 2 >= len(cells)


def _tells_apart(cells: list[str]) -> bool:
    """Whether cells can be marks: mostly different from each other, neither days nor sentences."""
    marks = [cell for cell in cells if len(cell) <= 30 and not is_dated(cell)]
    return len(set(marks)) * 3 >= len(cells) * 2


def _dates_above(frame: Frame) -> str:
    """What rows above the header say of a date, as a help."""
    for line in frame.preamble:
        words = " ".join(cell.strip() for cell in line if cell.strip())
        if re.search(r"\bdate\b|\d{4}-\d\d-\d\d|\d{1,2}[./]\d{1,2}[./]\d{2,4}", words[:200], re.IGNORECASE):
            return f" Above the table stands “{shown(words)}”."
    return ""


def _flag_column(work: Work, frame: Frame, heading: str, place: int) -> bool:
    """A column of yes and no for one of the residue's flags joins the flags."""
    flag = re.sub(r"[^a-z]", "", plain(heading).casefold())
    if flag not in RESIDUE_FLAGS:
        return False
    cells = [plain(line[place]).casefold() if place < len(line) else "" for line in frame.lines]
    if not set(cells) <= _YES | _NO:
        return False
    flags = work.columns.setdefault("residue_flags", [""] * len(cells))
    work.columns["residue_flags"] = [
        f"{known} {flag}".strip() if cell in _YES else known for known, cell in zip(flags, cells, strict=True)
    ]
    work.headings.setdefault("residue_flags", heading)
    return True
