"""Read from a file, on the page: understood, asked, answered, taken once, and told what kept it from it."""

from __future__ import annotations

import base64
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.book import Book
from dashboard.read import importing, sheet_shown
from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read_import import layouts
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.imports import count_readings
from study.store.readings import fetch_in_force

HEAD = "Specimen;Date tested;Force (N);Residue\n"
SCALE = {"residue scale": "0 to 5, 0 is clean"}


@pytest.fixture
def book(study_path: Path) -> Book:
    """The small study as the pages are given it."""
    return Book(study_file=study_path, today=lambda: date(2026, 3, 2))


@pytest.fixture
def codes(book: Book, signature: Signature) -> list[str]:
    """Two dot coupons, pulled."""
    with open_study(book.study_file) as study:
        found = [c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot"][:2]
        record_pulls(study, found, kind="pulled", on=date(2025, 4, 15), signature=signature)
    return found


def sent(text: str) -> str:
    """A file as the browser sends it."""
    return "data:text/csv;base64," + base64.b64encode(text.encode()).decode()


def words(parts: Any) -> str:
    """Every word on a part of the page, labels too."""
    if isinstance(parts, (list, tuple)):
        return " ".join(words(part) for part in parts)
    if isinstance(parts, str):
        return parts
    said = [getattr(parts, name, None) for name in ("label", "children")]
    return " ".join(words(part) for part in said if part is not None)


def look(book: Book, text: str, *, kind: str = "readings", name: str = "lab.csv", **more: Any) -> tuple[str, Any]:
    shown, mapping = importing.looked_at(book, kind, sent(text), name, None, layout="", **{"answers": {}, **more})
    return words(shown), mapping


def take(book: Book, text: str, **more: Any) -> str:
    asked = {"layout": "", "answers": SCALE, "token": "one", "by": "R. Vale", **more}
    return words(importing.taken(book, asked.pop("kind", "readings"), sent(text), "lab.csv", None, **asked))


def test_a_sheet_is_asked_about_then_taken_once_with_its_layout(book: Book, codes: list[str]) -> None:
    """Question in place; once answered one button with its count; pressed twice it saves once."""
    text = HEAD + "".join(f"{code};16/04/2025;5,2;1\n" for code in codes)
    said, mapping = look(book, text)
    assert "1 question first" in said
    assert "0 to 5, 5 is clean" in said
    assert "Import" not in said
    assert mapping["Force (N)"] == "removal_force"
    said, _ = look(book, text, answers=SCALE)
    assert "Nothing stands against it. Imported by" in said
    assert "Import 4 readings" in said
    assert "residue scale:  0 to 5, 0 is clean" in said
    said = take(book, text, remember="bench")
    assert "4 readings of 2 coupons are saved." in said
    assert "remembered as “bench”" in said
    assert "0 readings of 0 coupons" in take(book, text)
    with open_study(book.study_file) as study:
        assert count_readings(study) == 4
        assert list(layouts(study)) == ["bench"]
    assert "bench" in str(importing.layout(book))


def test_what_is_wrong_stands_in_its_cell_and_above(book: Book, codes: list[str]) -> None:
    """A cell that is no number, and a coupon that is unknown: by row and heading, and in the first rows themselves."""
    text = HEAD + f"{codes[0]};16/04/2025;5..2;1\nQQQQ-Q;16/04/2025;5,2;1\n"
    said, _ = look(book, text, answers=SCALE)
    assert "problems to put right" in said
    assert "row 2, Force (N): “5..2”" in said
    shown, _ = importing.looked_at(book, "readings", sent(text), "lab.csv", None, layout="", answers=SCALE)
    table = next(part for part in shown if "sheet-rows" in str(part))
    assert "cell-fault" in str(table)
    assert "problem" in take(book, text)
    with open_study(book.study_file) as study:
        assert count_readings(study) == 0


def test_a_word_that_is_asked_about_is_marked_in_its_cell_and_not_to_be_put_right_in_the_file(
    book: Book, codes: list[str]
) -> None:
    """The answer settles it: the list of what the file lacks leaves it out, the cell does not."""
    text = HEAD + f"{codes[0]};16/04/2025;five;1\n"
    said, _ = look(book, text, answers=SCALE)
    assert "to put right" not in said
    assert "“five” in row 2 of “Force (N)” is no number: what does it say?" in said
    shown, _ = importing.looked_at(book, "readings", sent(text), "lab.csv", None, layout="", answers=SCALE)
    assert "cell-fault" in str(next(part for part in shown if "sheet-rows" in str(part)))


def test_headings_given_another_column_are_answers(book: Book, codes: list[str]) -> None:
    """Only what was changed is an answer; the sheet is then understood so."""
    states = [
        {"id": {"kind": "sheet-column", "heading": "Residue"}, "value": "leave out"},
        {"id": {"kind": "sheet-column", "heading": "Force (N)"}, "value": "removal_force"},
        {"id": {"kind": "sheet-column", "heading": "Remark of the day"}, "value": "note"},
    ]
    mapping = {"Residue": "residue_grade", "Force (N)": "removal_force"}
    answers = importing._mapped(states, mapping)
    assert answers == {"column Residue": "leave out", "column Remark of the day": "note"}
    text = "Specimen;Date tested;Force (N);Residue;Remark of the day\n" + f"{codes[0]};16/04/2025;5,2;1;fine\n"
    said, now = look(book, text, answers=answers)
    assert "Import 1 reading" in said
    assert now["Remark of the day"] == "note"


@pytest.mark.parametrize(
    ("contents", "text", "told"),
    [
        (None, None, "No file is chosen"),
        (None, "  ", "No file is chosen"),
        ("data:text/csv;base64,%%%", None, "did not come through whole"),
        (sent("\0\0\0"), None, "lab.csv"),
        (sent("only words"), None, "has a header and no rows"),
    ],
)
def test_what_is_no_sheet_is_refused_in_words(book: Book, contents: str | None, text: str | None, told: str) -> None:
    """Nothing chosen, broken on the way, no text, no rows."""
    shown, _ = importing.looked_at(book, "readings", contents, "lab.csv", text, layout="", answers={})
    said = words(shown)
    assert told in said or "is not a text file" in said


def test_a_sheet_beyond_the_page_s_size_goes_to_the_command_line(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """The size is checked where the file arrives, whatever the browser let through."""
    monkeypatch.setattr(importing, "LARGEST_BYTES", 10)
    said, _ = look(book, HEAD)
    assert "dwellbook read import" in said


def test_a_name_with_a_path_in_it_stays_a_name(book: Book, tmp_path: Path) -> None:
    """What a browser calls a file never leaves the folder of the request."""
    path = importing._written(tmp_path, sent("a"), "../../etc/x.csv", None)
    assert path.parent == tmp_path
    assert path.name == "x.csv"
    assert importing._written(tmp_path, sent("a"), "C:\\lab\\y.csv", None).name == "y.csv"
    assert importing._written(tmp_path, None, None, "a;b").name.startswith("pasted-")


@pytest.mark.parametrize("name", ["..", ".", "a\0b.csv", "é" * 300 + ".csv", "表" * 300, "\ud800.csv", "..\\..", " / "])
def test_a_name_that_no_file_can_have_is_mended(book: Book, tmp_path: Path, name: str) -> None:
    """Dots alone, a NUL, half a character, more bytes than a file system takes: the sheet is looked at all the same."""
    path = importing._written(tmp_path, sent("a"), name, None)
    assert path.parent == tmp_path
    assert path.read_bytes() == b"a"
    assert len(path.name.encode()) <= 200
    shown, _ = importing.looked_at(book, "readings", sent("only words"), name, None, layout="", answers={})
    assert "has a header and no rows" in words(shown)


def test_a_whole_study_is_shown_counted_and_entered(book: Book) -> None:
    """The second choice: what would be new is named before; a name is needed."""
    head = (
        "coupon,adhesive,formulation_version,composition_class,substrate,preparation,stands_for,environment,placed_on,"
    )
    head += "pulled_on,dot_diameter_mm,dots,read_on,removal_force\n"
    text = head + "W-1,Wax Z,1,other,slate,as found,object,cellar,2025-01-15,2025-04-15,8,3,2025-04-16,5.1 N\n"
    said, _ = look(book, text, kind="study")
    assert "this adhesive is new: Wax Z" in said
    assert "Enter 1 coupon and 1 reading" in said
    assert "name" in take(book, text, kind="study", by="", answers={})
    assert "Entered 1 set, 1 coupon" in take(book, text, kind="study", answers={})


def test_long_lists_are_cut_and_say_so() -> None:
    """Forty problems are shown, the rest is counted."""
    from study.errors import Problem

    many = [Problem(row, "Force", "x", "is not a number.", "Correct it.") for row in range(60)]
    assert "… and 20 more." in words(sheet_shown.problems_shown(many))


def test_a_changed_sheet_shows_each_cell_before_and_now_above_what_is_asked(book: Book, codes: list[str]) -> None:
    """Under the sheet's own headings; the button says how many readings are corrected."""
    first = HEAD + f"{codes[0]};16/04/2025;5,1;1\n{codes[1]};16/04/2025;5,2;1\n"
    take(book, first, answers=SCALE)
    later = HEAD + f"{codes[0]};16/04/2025;5,9;\n{codes[1]};16/04/2025;5,2;1\n"
    said, _ = look(book, later)
    assert "Changed cells Row Coupon Heading Before Now 2" in said
    assert f"2 {codes[0]} Force (N) 5.1 5.9" in said
    assert f"2 {codes[0]} Residue 1 blank" in said
    assert said.index("Changed cells") < said.index("1 question first")
    assert "Read as the earlier file of this name was" in said
    ready, _ = look(book, later, answers={"changed cells": "correct them"})
    assert "Correct 1 reading" in ready
    take(book, later, answers={"changed cells": "correct them"}, why="Typed wrongly.", token="another")
    with open_study(book.study_file) as study:
        assert fetch_in_force(study, codes[0])["removal_force"].lower == 5.9
        assert fetch_in_force(study, codes[0])["residue_grade"].lower == 1


def test_initials_have_a_field_each_and_blocks_are_asked_about_once(book: Book, codes: list[str]) -> None:
    """What only a person knows: whose initials they are; whether blanks below a name mean the same."""
    head = "Specimen;Operator;Date tested;Force (N)\n"
    text = head + f"{codes[0]};QV;16/04/2025;5,1\n{codes[1]};;;5,2\n{codes[1]};;;\n"
    said, _ = look(book, text)
    assert "“Operator” and “Date tested” are blank in rows 3 and 4" in said
    assert "1 question first" in said
    assert "Whose initials they are" in said
    answers = {"fill down Operator": "yes", "initials QV": "Quilla Vane"}
    take(book, text, answers=answers)
    with open_study(book.study_file) as study:
        details = [fetch_in_force(study, code)["removal_force"].details for code in codes]
    assert [one.read_by for one in details] == ["Quilla Vane", "Quilla Vane"]
