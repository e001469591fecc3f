"""Colours as typed: which look they are, whether L*, a*, b* can be what they say, and how they were measured."""

from __future__ import annotations

import re

from study.intake.sheet_numbers import PLAIN, missing_reason
from study.intake.sheet_work import Work
from study.model.units import plain

LOOKS = ("before", "after", "look")
_SAID = {"before placing": "before", "after removal": "after", "in place": "look"}
_MEASURED_WITH = re.compile(r"\b(D\d\d|A|C|F\d{1,2}|LED-[A-Z]\d)\s*[/,;-]?\s*(2|10)\s*(?:°|deg|$|\))", re.IGNORECASE)
_ILLUMINANT = re.compile(r"D(50|55|65|75)|A|C|F\d{1,2}|LED-?[A-Z]{1,3}\d", re.IGNORECASE)


def settle_colours(work: Work) -> None:
    """Check the ranges of L*, a*, b*; say what is mixed, missing, or a row of zeros."""
    present = [look for look in LOOKS if any(f"{axis}_{look}" in work.columns for axis in "Lab")]
    for look in present:
        _ranges(work, look)
        _zeros(work, look)
    _measured_with(work, present)
    for column, words in (("specular", {"sci": "SCI", "sce": "SCE", "included": "SCI", "excluded": "SCE",
                                        "specular included": "SCI", "specular excluded": "SCE"}),
                          ("backing", {"white": "white", "black": "black", "none": "none", "white tile": "white",
                                       "black tile": "black", "no": "none"})):  # fmt: skip
        if column in work.columns:
            _words(work, column, words)
    if "specular" in work.columns and {"SCI", "SCE"} <= set(work.columns["specular"]):
        work.note(
            "Colours with the gloss component included (SCI) and excluded (SCE) stand in one file; they do not compare."
        )


def _words(work: Work, column: str, words: dict[str, str]) -> None:
    cells = work.columns[column]
    places: dict[str, list[int]] = {}
    for place, cell in enumerate(cells):
        places.setdefault(cell, []).append(place)
    known = tuple(dict.fromkeys(words.values()))
    done: dict[str, str] = {}
    for cell, where in places.items():
        done[cell] = words.get(plain(cell).casefold(), "")
        if not cell or done[cell] or missing_reason(work, cell):
            continue
        answer = work.word(column, cell, where, f"is not a word of {column} that is known.", known)
        done[cell] = answer if answer in known else ""
        for place in where if answer is None else ():
            work.problem(place, column, cell, "is not known.", f"Write one of {', '.join(sorted(known))}.")
    work.columns[column] = [done[cell] for cell in cells]


def _ranges(work: Work, look: str) -> None:
    axes = [work.columns.get(f"{axis}_{look}", []) for axis in "Lab"]
    if not all(axes):
        missing = [f"{axis}_{look}" for axis, cells in zip("Lab", axes, strict=True) if not cells]
        work.problem(
            -1,
            missing[0],
            "",
            "has no column: L*, a* and b* belong together.",
            "Name the column, or leave out all three.",
        )
        return
    for place, cell in enumerate(axes[0]):
        if PLAIN(cell) and not 0 <= float(cell) <= 100:
            do = "Check the order of the columns (L*, a*, b*) and the white calibration."
            work.problem(place, f"L_{look}", cell, "is outside 0 to 100 for L*.", do)
    for axis, cells in zip("ab", axes[1:], strict=True):
        for place, cell in enumerate(cells):
            if PLAIN(cell) and abs(float(cell)) > 150:
                do = "Check the order of the columns: L*, a*, b*."
                work.problem(place, f"{axis}_{look}", cell, f"is beyond ±150 for {axis}*.", do)
    order = [work.headings.get(f"{axis}_{look}", "") for axis in "Lab"]
    place_of = list(work.headings.values())
    places = [place_of.index(heading) for heading in order if heading in place_of]
    if len(places) == 3 and places != sorted(places):
        found = ", ".join(place_of[place] for place in sorted(places))
        work.note(f"The columns {found} do not stand in the order L*, a*, b*; they were taken by their headings.")


def _zeros(work: Work, look: str) -> None:
    pairs = [
        (a, b)
        for a, b in zip(work.columns.get(f"a_{look}", []), work.columns.get(f"b_{look}", []), strict=False)
        if a or b
    ]
    if len(pairs) < 3 or not all(PLAIN(a) and PLAIN(b) and float(a) == float(b) == 0 for a, b in pairs):
        return
    answer = work.ask(
        "colour zeros",
        f"a* and b* are 0 in every row ({work.headings.get(f'a_{look}', 'a')}): the instrument may have kept L* alone.",
        ("as measured", "not measured"),
        told=work.layout.zeros,
    )
    if answer:
        work.remember("zeros", answer)
    if answer == "not measured":
        for axis in "Lab":
            work.columns[f"{axis}_{look}"] = [""] * len(work.numbers)
        work.note("Colours without a* and b* were left out; a colour needs all three.")


def _measured_with(work: Work, present: list[str]) -> None:
    """Illuminant and observer from columns of their own, or from the headings of the colours."""
    count = len(work.numbers)
    if "illuminant" in work.columns:
        cells = work.columns["illuminant"]
        observers = work.columns.get("observer_deg", [""] * count)
        for place, cell in enumerate(cells):
            if not cell:
                continue
            text = plain(cell)
            match = _MEASURED_WITH.search(text)
            if match and not observers[place]:
                observers[place] = match[2]
            name = match[1] if match else text
            if _ILLUMINANT.fullmatch(name):
                cells[place] = name.upper()
            elif missing_reason(work, cell):
                cells[place] = ""
        if any(observers):
            work.columns["observer_deg"] = observers
    elif present:
        told = {
            look: match
            for look in present
            if (match := _MEASURED_WITH.search(plain(work.headings.get(f"L_{look}", "")).replace(")", " )")))
        }
        kinds = {(match[1].upper(), match[2]) for match in told.values()}
        if len(kinds) == 1:
            illuminant, observer = kinds.pop()
            work.columns["illuminant"], work.columns["observer_deg"] = [illuminant] * count, [observer] * count
        elif kinds:
            said = ", ".join(f"{look}: {match[1].upper()}/{match[2]}°" for look, match in told.items())
            work.problem(
                -1, "illuminant", "", f"differs between the headings of colours ({said}), which do not compare.",
                "Put each into rows of its own with columns illuminant and observer_deg, or leave one of them out.",
            )  # fmt: skip
            return
    if "observer_deg" in work.columns:
        cells = [
            plain(cell).casefold().removesuffix("°").removesuffix("deg").strip()
            for cell in work.columns["observer_deg"]
        ]
        for place, cell in enumerate(cells):
            if cell and cell not in ("2", "10"):
                work.problem(
                    place,
                    "observer_deg",
                    work.columns["observer_deg"][place],
                    "is no standard observer.",
                    "Write 2 or 10.",
                )
                cells[place] = ""
        work.columns["observer_deg"] = cells
    used = dict.fromkeys(
        (light, observer)
        for light, observer in zip(
            work.columns.get("illuminant", []), work.columns.get("observer_deg", [""] * count), strict=False
        )
        if light or observer
    )
    if len(used) > 1 and present:
        said = " and ".join(
            f"{light or 'no illuminant'}/{f'{o}°' if o else 'no observer'}" for light, o in list(used)[:6]
        )
        work.note(f"Colours of one file were measured with {said}; they do not compare.")
    elif present and not used and not _own_headings(work, present):
        work.note(
            "No illuminant and observer stand with the colours; say them in columns or in the headings, "
            "such as L* (D65/10°)."
        )


def _own_headings(work: Work, present: list[str]) -> bool:
    return all(work.headings.get(f"L_{look}") == f"L_{look}" for look in present)


def colour_look(work: Work, headings: list[str]) -> str:
    """Which look bare L*, a*, b* are: before, after or look; empty while nobody has said."""
    answer = work.ask(
        "colour",
        f"Were {', '.join(headings)} measured before placing, after removal, or in place?",
        tuple(_SAID),
        told=work.layout.colour,
    )
    if answer:
        work.remember("colour", answer)
    return _SAID.get(answer, "")
