"""What the Display page, the acts on a pairing and the objects of Today show, without a browser."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.book import Book
from dashboard.components.days import days_said, typed_day
from dashboard.components.objects import counted
from dashboard.display import entry, one_object, shelf, taking_down, walk
from dashboard.pages import decide, display, today
from study.commands.display import Removed
from study.commands.grounds import Standings
from study.commands.showing import ObjectBook, Recheck
from study.commands.today import DaySheet
from study.errors import DwellbookError, FileRefused, Problem
from study.model.display import Answer, Removal

Said = Callable[[Any], str]
HEADS = "\t".join(entry.COLUMNS)
ROW = "2019.44\tCase 3\tA-1\tP03\tP01\tgallery-lit\t3\t8\t2\t2026-01-05\tM. Quill"


@pytest.fixture(autouse=True)
def no_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """No part opens a study file here."""
    for part in (shelf, entry, taking_down, walk, decide, today, display):
        monkeypatch.setattr(part, "open_study", lambda path: nullcontext(path))


def test_the_shelf_is_counted_and_ordered_by_urgency(displays: Standings, said: Said) -> None:
    """The sentence counts objects on show; the stopped one stands first and the removed one is left out."""
    assert shelf.status_line(displays) == ("5 objects on show: 1 stopped, 1 overdue, 1 due, 1 no evidence, 1 within.")
    found = shelf.chosen(displays, shelf.Wanted())
    assert [state.state for state in found] == ["stopped", "overdue", "due", "no evidence", "within"]
    assert "1\u202fFeb\u202f2026" in said(shelf.leaf(found, shelf.Wanted()))


@pytest.mark.parametrize(("wanted", "numbers"), [
    (shelf.Wanted(state="removed"), [6]),
    (shelf.Wanted(state="changed"), [5, 3]),
    (shelf.Wanted(text="2019.2"), [2]),
    (shelf.Wanted(location="Case 9"), []),
    (shelf.Wanted(pairing="P03", state="due"), [2]),
    (shelf.Wanted(pairing="P99"), []),
])  # fmt: skip
def test_filters_narrow_the_shelf(displays: Standings, wanted: shelf.Wanted, numbers: list[int]) -> None:
    """Each filter leaves what it asks for."""
    assert [state.display.number for state in shelf.chosen(displays, wanted)] == numbers


def test_a_long_shelf_is_paged(displays: Standings, said: Said) -> None:
    """Two hundred at once, with the way to the others; a leaf that no longer exists is the last one."""
    many = [displays.states[0]] * 450
    first, second, last = (said(shelf.leaf(many, shelf.Wanted(leaf=number))) for number in (0, 1, 99))
    assert "1 to 200 of 450" in first
    assert "Earlier" not in first
    assert "Earlier" in second
    assert "Further" in second
    assert "401 to 450 of 450" in last
    assert "Further" not in last
    wanted = shelf.Wanted(text="a b", state="no evidence", leaf=1)
    assert wanted.address(leaf=2) == "/display?text=a+b&state=no+evidence&leaf=2"
    assert shelf.Wanted(leaf=3).address() == "/display"


def test_an_empty_shelf_says_how_to_begin(displays: Standings, said: Said) -> None:
    """Without objects the page says what it will show, and nothing is counted."""
    none = replace(displays, states=())
    assert shelf.status_line(none) == "No object is on show."
    assert "Add an object" in said(shelf.shelf(none, shelf.Wanted()))
    assert "Clear a filter" in said(shelf.leaf([], shelf.Wanted()))


def test_may_it_stay_is_answered_in_words(book: Book, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    """No, why, and until when it may; a day that is none and a number that is missing are refused with help."""
    answer = Answer("no", False, date(2027, 3, 1), date(2026, 12, 5), "11 months by P01, from 2026-01-05")
    monkeypatch.setattr(shelf, "may", lambda *args, **named: answer)
    text = said(shelf.may_said(book, "2019.44", "2027-03-01"))
    assert "no" in text
    assert "It may stay until 5\u202fDec\u202f2026." in text
    assert "5\u202fJan\u202f2026" in text
    assert "year-month-day" in said(shelf.may_said(book, "2019.44", "March"))
    assert "No object number" in said(shelf.may_said(book, " ", "2027-03-01"))
    unknown = replace(answer, words="not shown", may=None, latest=None)
    assert "No day can be named." in said(shelf.answered(unknown, "2019.44"))


def test_what_was_tested_is_confirmed_not_assumed(book: Book, said: Said) -> None:
    """Values filled in from the pairing are refused until somebody says they are this object's; so is no name."""
    shown, errors, done = entry.entered(book, {}, confirmed=False, by="R. Vale")
    assert "weigh this object" in said(shown)
    assert (errors, done) == ({}, False)
    assert "Nobody's name" in said(entry.entered(book, {}, confirmed=True, by=" ")[0])
    assert entry.tested_as({"P01": {"dots": "3"}}, "P01") == {"dots": "3"}
    assert entry.tested_as({}, None) == {}


def test_a_refused_entry_marks_its_fields(book: Book, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    """All problems of one field stand at it; an entry that is taken is said with its state."""
    problems = [Problem(0, "dots", "2.5", "is not a whole number.", "Count the dots.")]

    def refuse(*args: Any, **named: Any) -> Any:
        raise FileRefused("display", problems)

    monkeypatch.setattr(entry, "add_display", refuse)
    shown, errors, _ = entry.entered(book, {}, confirmed=True, by="R. Vale")
    assert errors == {"dots": "“2.5” is not a whole number. Count the dots."}
    assert "marked fields" in said(shown)


def test_pasted_rows_need_their_header() -> None:
    """Columns are found by their names in any order and case; what is missing, unknown or double is told at once."""
    (row,) = entry.pasted_rows(f"{HEADS.upper()}\r\n{ROW}\r\n")
    assert (row["object"], row["load_n"], row["placed_by"]) == ("2019.44", "2", "M. Quill")
    with pytest.raises(FileRefused) as refusal:
        entry.pasted_rows(HEADS.replace("lot", "batch").replace("dots\t", "object\t") + "\nx")
    assert {problem.value for problem in refusal.value.problems} == {"batch", "lot", "dots", "object"}
    with pytest.raises(FileRefused, match="row 2"):
        entry.pasted_rows(f"{HEADS}\n{ROW}\n{ROW}\tstray")
    for text in ("", HEADS):
        with pytest.raises(DwellbookError, match="pasted"):
            entry.pasted_rows(text)


def test_every_problem_of_a_paste_is_listed_with_its_row(
    book: Book, monkeypatch: pytest.MonkeyPatch, said: Said
) -> None:
    """Rows and columns are named, and nothing is written."""

    def refuse(*args: Any, **named: Any) -> Any:
        raise FileRefused("pasted rows", [Problem(n, "lot", "Z-9", "is not a known lot.", "Use A-1.") for n in (1, 2)])

    monkeypatch.setattr(entry, "paste_displays", refuse)
    shown, done = entry.pasted(book, f"{HEADS}\n{ROW}", by="R. Vale")
    text = said(shown)
    assert not done
    assert "Nothing was saved" in text
    assert "row 1, lot: “Z-9” is not a known lot." in text
    assert "row 2, lot" in text


@pytest.fixture
def found(displays: Standings) -> ObjectBook:
    """An object with a display before this one and a recheck."""
    earlier = (displays.states[5], Removal(6, date(2025, 1, 2), "M. Quill", False, 1, "AF", "mount", "felt", "thread"))
    checks = (Recheck(date(2026, 2, 1), "tremor", "moved", "2 mm to the left", "M. Quill"),)
    return ObjectBook(displays.states[1], None, (earlier,), checks, {"P01": "Gel A on acrylic sheet"})


def test_one_object_shows_all_on_record(found: ObjectBook, said: Said) -> None:
    """Faces with what they rest on, rechecks, the display before, and the cautions above the removal form."""
    assert one_object.status_line(found) == "Due: to be off by 20\u202fMar\u202f2026. It stands in Case 3."
    text = said([*one_object.object_shown(found), *taking_down.forms(found, today="2026-03-02")])
    for words in (
        "Gel A on acrylic sheet", "moved after tremor (M. Quill). 2 mm to the left", "residue grade 1", "tool thread",
        "Blades: none", "Solvents:", "Thread:", "The entry was a mistake",
    ):  # fmt: skip
        assert words in text
    assert "Stick it again" not in text


def test_a_removed_object_is_stuck_again_with_its_note(found: ObjectBook, said: Said) -> None:
    """After removal the form offers a new display and says what was not studied; removal is not asked again."""
    gone = replace(found, removal=Removal(2, date(2026, 3, 1), "M. Quill", True, 4, note="chip at the foot"))
    assert one_object.status_line(gone).startswith("Removed on 1\u202fMar\u202f2026")
    text = said([*one_object.object_shown(gone), *taking_down.forms(gone, today="2026-03-02")])
    assert "HARM; residue grade 4; chip at the foot" in text
    assert "Repeated placing on one spot was not studied." in text
    assert "Record the removal" not in text


def test_removal_needs_a_name_and_an_answer_about_harm(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Harm is never assumed; with both, what was typed reaches the study."""
    seen: dict[str, Any] = {}
    monkeypatch.setattr(taking_down, "record_removal", lambda study, number, **named: seen.update(named))
    cells = {"on": "2026-03-01", "harm": "", "residue": "3", "tool": "thread"}
    with pytest.raises(DwellbookError, match="Harm is not answered"):
        taking_down.removal_recorded(book, "2019.2", cells, by="R. Vale")
    with pytest.raises(DwellbookError, match="Nobody's name"):
        taking_down.removal_recorded(book, "2019.2", cells | {"harm": "no"}, by="")
    taking_down.removal_recorded(book, "2019.2", cells | {"harm": "yes"}, by="R. Vale")
    assert (seen["harm"], seen["on"], seen["residue"], seen["tool"]) == (True, date(2026, 3, 1), "3", "thread")


def test_harm_names_the_pairing_and_the_others(displays: Standings, said: Said) -> None:
    """What stops is said first, then each other object that stands there."""
    removal = Removal(2, date(2026, 3, 1), "R. Vale", True)
    text = said(taking_down.removal_said(Removed(removal, ("P01",), (displays.states[4],)), "2019.2"))
    assert "Harm stops P01." in text
    assert "1 other object is stopped now" in text
    assert "2019.5" in text
    assert "Harm" not in said(taking_down.removal_said(Removed(removal, (), ()), "2019.2"))
    assert "No other object" in said(taking_down.removal_said(Removed(removal, ("P01",), ()), "2019.2"))


def test_walks_are_chosen_and_walked(displays: Standings, said: Said) -> None:
    """Every location and pairing is a walk, cases in the order of their numbers; a walk asks what was found."""
    state = displays.states[0]
    places = [replace(state, display=replace(state.display, location=name)) for name in ("Case 10", "Case 2")]
    text = said(walk.choose(places))
    assert text.index("Case 2") < text.index("Case 10")
    shown = said(walk.walk(places, today="2026-03-02", heading="Case 2"))
    assert "fallen" in shown
    assert "Record what is marked" in shown
    long = walk.walk([state] * 301, today="", heading="", sheet=1, address="/display?view=walk&pairing=P01")
    assert "Sheet 2 of 3, 301 objects in all" in said(long)
    assert "/display?view=walk&pairing=P01&leaf=2" in str(long)
    assert walk.status_line([]) == "No object is on show there."


@pytest.mark.parametrize(("marks", "after", "by", "expected"), [
    ({"a": None}, "tremor", "R. Vale", "Nothing is marked"),
    ({"a": "holds"}, None, "R. Vale", "Why you looked"),
    ({"a": "holds"}, "tremor", "", "Nobody's name"),
])  # fmt: skip
def test_a_walk_is_refused_with_help(
    book: Book, said: Said, marks: dict[str, str | None], after: str | None, by: str, expected: str
) -> None:
    """A name, a cause and a mark are needed."""
    assert expected in said(walk.recorded(book, marks, after=after, on="2026-03-02", note="", by=by))


def test_needs_you_says_old_and_new(sheet: DaySheet, said: Said) -> None:
    """What was acknowledged and what stands now stand side by side, each with its button; quiet where nothing is."""
    text = said(today.needs_you(sheet))
    assert "remove by 1\u202fJun\u202f2026" in text
    assert "remove by 1\u202fFeb\u202f2026, overdue" in text
    assert "nothing seen yet" in text
    assert "Acknowledge all 2 listed" in text
    quiet = replace(sheet.displays, states=(), acknowledged={})
    assert "Nothing has changed" in said(today.needs_you(replace(sheet, displays=quiet)))


def test_acknowledging_needs_a_name(book: Book, sheet: DaySheet, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    """Without a name nothing is written; with one the day is shown as it stands then."""
    monkeypatch.setattr(today, "acknowledge", lambda study, numbers, on, signature: len(numbers))
    monkeypatch.setattr(today, "day_sheet", lambda study, on: sheet)
    shown, after = today.seen(book, [3, 5], by=" ")
    assert after is None
    assert "Nobody's name" in said(shown)
    shown, after = today.seen(book, [3, 5], by="R. Vale")
    assert after is sheet
    assert "Acknowledged for 2 objects by R. Vale." in said(shown)


def test_long_lists_of_today_lead_to_display(sheet: DaySheet, said: Said) -> None:
    """Forty lines stand here; the rest is one click away, already filtered."""
    many = replace(sheet.displays, states=(sheet.displays.states[2],) * 120)
    shown = today.coming_off(replace(sheet, displays=many))
    assert "Overdue: 120" in said(shown)
    assert "all 120 on the page Display" in said(shown)
    assert "/display?state=overdue" in str(shown)


def test_a_pairing_shows_field_evidence_objects_and_later_protocols(
    pairing_book: Callable[..., Any], said: Said
) -> None:
    """Beside the coupons stand removals, objects touched with old and new, interim and what a later version judges."""
    later = ("display-dots version 2: Residue is unacceptable from grade 2",)
    found = pairing_book(1, later=later, stopped="P02: harm when 2019.9 was removed on 2026-02-03")
    found = replace(found, standing=replace(found.standing, analysed=pairing_book(0).standing.analysed))
    text = said(decide.one_standing(found))
    for words in (
        "3 of 4 removals", "5 objects: 1 stopped", "2 objects changed and wait", "Interim:", "version 2: Residue",
        "Stopped.", "3\u202fFeb\u202f2026",
    ):  # fmt: skip
        assert words in text
    acts = said(decide.acts(found))
    assert "Lift the stop" in acts
    assert "Second person" in acts
    assert "Gel B, formulation 2" in str(decide.acts(found)), "another formulation is offered"
    assert "Gel A, formulation 1" not in str(decide.acts(found)), "its own is not"
    assert "Lift the stop" not in said(decide.acts(pairing_book(2)))


@pytest.mark.parametrize(("act", "use_case", "answer", "expected"), [
    ("withdraw", "withdraw_decision", None, "none stands in its place"),
    ("lift", "lift_stop", ["2019.9"], "lifted by R. Vale and M. Quill for 2019.9"),
    ("carry", "carry_result", None, "count for M. Quill too"),
])  # fmt: skip
def test_acts_on_a_pairing_are_said(
    book: Book, pairing_book: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, said: Said,
    act: str, use_case: str, answer: Any, expected: str,
) -> None:  # fmt: skip
    """Each act is confirmed in a sentence."""
    given = pairing_book(0).standing.decision if act == "withdraw" else answer
    monkeypatch.setattr(decide, use_case, lambda *args, **named: given)
    monkeypatch.setattr(decide, "pairing_book", lambda book, key: pairing_book(0))
    assert expected in said(decide.acted(book, act, "P01", by="R. Vale", why="new", other="M. Quill")[0])


def test_carrying_needs_a_formulation(book: Book, said: Said) -> None:
    """No formulation chosen is refused in place."""
    assert "No formulation is chosen." in said(decide.acted(book, "carry", "P01", by="R. Vale", why="same")[0])


def test_days_are_read_and_said() -> None:
    """Dates inside a sentence are said as in tables; a day that is none says how to write one."""
    assert days_said("from 2026-01-05 on") == "from 5\u202fJan\u202f2026 on"
    assert typed_day(" 2026-01-05 ") == date(2026, 1, 5)
    with pytest.raises(DwellbookError, match="No day is given"):
        typed_day("")


def test_counts_follow_urgency(displays: Standings) -> None:
    """The most urgent state is named first and empty ones are left out."""
    assert counted(displays.states[:2]) == "1 due, 1 within"


def test_every_part_is_wired(tmp_path: Path) -> None:
    """Filters, answers, entry, removal, walk, acknowledgement and the four acts answer in the application."""
    app = create_app(tmp_path / "one.sqlite", today=lambda: date(2026, 3, 2))
    app.server.test_client().get("/")
    inputs = {str(part["id"]) for entry in app.callback_map.values() for part in entry["inputs"]}
    for name in ("find-text", "may", "entry-save", "paste-save", "removal-save", "again-save", "undo-save",
                 "walk-save", "seen-all", "issue", "withdraw", "lift", "carry"):  # fmt: skip
        assert name in inputs
