"""The Read page's parts, without a browser and without a study file."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from dash import no_update

from dashboard.book import Book
from dashboard.components.days import days_said
from dashboard.read import bench, correcting, grid, grid_checked, history, saving, words
from study.commands.bench import CriterionWord
from study.commands.moved import Moved
from study.commands.read_colour import ColourWords
from study.commands.read_form import CouponForm
from study.commands.read_grid import GridRow, PullGrid, WaitingPull
from study.commands.read_history import Happening
from study.commands.read_try import Tried
from study.errors import FileRefused, Problem, Question, Unanswered
from study.model.details import Details, PatternShare
from study.model.reading import Reading

Said = Callable[[Any], str]
TODAY = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def no_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """No part opens a study file here."""
    for part in (saving, correcting, grid):
        monkeypatch.setattr(part, "open_study", lambda path: nullcontext(path))
    monkeypatch.setattr(saving, "coupon_form", lambda study, code: SimpleNamespace(in_force={}))


def saved(book: Book, typed: dict[str, str], *, day: str = "2026-03-01", by: str = "R. Vale") -> Any:
    return saving.saved_reading(book, "3EG9-E", typed, read_on=day, read_by=by)


def test_a_form_asks_what_its_protocol_asks(form: CouponForm, said: Said) -> None:
    """Each field stands with its unit's name, help and the value read before it; the sitting stands below."""
    text = said(bench.form_shown(form, today=TODAY))
    for field in form.fields:
        assert field.label in text
    assert "last: 4.20" in text
    assert "Save readings" in text
    assert text.index("Residue") < text.index("Read by")


def test_what_may_follow_is_folded(form: CouponForm, said: Said) -> None:
    """An optional field stands in a folded part, an awaited one does not."""
    second = replace(form.fields[4], kind="residue_second", label="Second grade", optional=True)
    shown = bench.form_shown(replace(form, fields=(*form.fields, second)), today=TODAY)
    folds = [part for part in _all(shown) if type(part).__name__ == "Details" and "fold" in (part.className or "")]
    texts = [said(fold) for fold in folds]
    assert any("More about residue" in text and "Second grade" in text for text in texts)
    assert not any("Removal force" in text for text in texts)


def test_what_is_read_already_is_not_asked_again(form: CouponForm, said: Said) -> None:
    """A reading in force stands with who entered it and the ways to correct it, and its fields are gone."""
    done = Reading(form.coupon.code, "removal_force", date(2026, 2, 27), "4.20", unit="N",
                   details=Details(temperature_c=29, marks=("read at 29 °C, outside 18 to 25 °C",)))  # fmt: skip
    entered = {"removal_force": ("M. Quill", "2026-02-27T10:00:00+00:00")}
    read = replace(form, in_force={"removal_force": done}, entered=entered)
    assert "Unit of force" not in said(bench.form_shown(read, today=TODAY))
    shown = words.in_force_shown(read)
    text = said(shown)
    for part in ("4.20\u202fN", "M. Quill", "outside 18 to 25", "Correct", "Take back"):
        assert part in text
    assert "view=correct&code=" in str(shown)
    assert words.in_force_shown(form) is None


def test_a_coupon_not_pulled_takes_its_colour_alone(form: CouponForm, said: Said) -> None:
    """Without colours the page says what comes first; with them it says that it still stays placed."""
    waiting = replace(form, pulled_on=None, dwell_days=None, pull_kind="placed", in_place=True)
    assert "Record the pull first." in said(bench.form_shown(replace(waiting, fields=()), today=TODAY))
    assert bench.status_line(waiting).endswith("not pulled yet.")
    colours = tuple(field for field in form.fields if field.kind.endswith("_after"))
    text = said(bench.form_shown(replace(waiting, fields=colours), today=TODAY))
    assert "still stays placed" in text
    assert "L* after" in text


def test_a_released_coupon_is_not_asked_for_its_force(form: CouponForm, said: Said) -> None:
    """Nothing was left to pull; residue and colour may still be read."""
    text = said(bench.form_shown(replace(form, pull_kind="released by itself"), today=TODAY))
    assert "Removal force" not in text
    assert "Residue" in text


def test_saving_shows_the_verdict(book: Book, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    """What was typed reaches the study with day, name and attempt, and the verdict is shown at once."""
    seen: dict[str, Any] = {}

    def record(study: Any, code: str, typed: dict[str, str], **more: Any) -> list[CriterionWord]:
        seen.update(code=code, typed=typed, by=more["signature"].by, on=more["read_on"], token=more["token"])
        return [CriterionWord("Residue", "grade 3", True, True), CriterionWord("Hold", "62°", False)]

    monkeypatch.setattr(saving, "record_reading", record)
    shown, errors, done = saving.saved_reading(
        book, "3EG9-E", {"residue_grade": "3"}, read_on="2026-03-01", read_by=" R. Vale ", token="t-1"
    )
    assert seen == {"code": "3EG9-E", "typed": {"residue_grade": "3"}, "by": "R. Vale", "on": date(2026, 3, 1),
                    "token": "t-1"}  # fmt: skip
    text = said(shown)
    assert "Residue: unacceptable" in text
    assert "stops the pairing" in text
    assert "not an earthquake rating" in text
    assert (errors, done) == ({}, True)


def test_a_refusal_stands_at_its_field(book: Book, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    """Each problem is shown at the field it is about, and nothing is said to be saved."""

    def refuse(*args: Any, **named: Any) -> list[CriterionWord]:
        raise FileRefused("3EG9-E", [Problem(0, "residue_grade", "7", "is off the scale.", "Use 0 to 5.")])

    monkeypatch.setattr(saving, "record_reading", refuse)
    shown, errors, done = saved(book, {"residue_grade": "7"})
    assert errors == {"residue_grade": "“7” is off the scale. Use 0 to 5."}
    assert "Nothing was saved" in said(shown)
    assert not done


def test_a_question_is_asked_in_place(book: Book, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    """What is unusual is shown with the button that answers it; nothing is saved yet."""

    def ask(*args: Any, **named: Any) -> list[CriterionWord]:
        raise Unanswered([Question("unusual", "Unusual, yet possible: 510 N.", ("as typed",))])

    monkeypatch.setattr(saving, "record_reading", ask)
    shown, errors, done = saved(book, {"removal_force": "510 N"})
    assert "510 N" in said(shown)
    assert "It is as typed: save it" in said(shown)
    assert "unusual=as typed" in str(shown)
    assert (errors, done) == ({}, False)


@pytest.mark.parametrize(("day", "by", "place", "expected"), [
    ("1.3.2026", "R. Vale", "read_on", "is not a day"),
    ("2026-03-01", "  ", "read_by", "Nobody's name"),
])  # fmt: skip
def test_day_and_name_are_owed(
    book: Book, monkeypatch: pytest.MonkeyPatch, said: Said, day: str, by: str, place: str, expected: str
) -> None:
    """A reading without a day or a name is refused at the field, with what to do."""
    monkeypatch.setattr(saving, "tried", lambda *asked: None)
    shown, errors, done = saved(book, {"residue_grade": "1"}, day=day, by=by)
    assert "see the marked fields" in said(shown)
    assert list(errors) == [place]
    assert expected in errors[place]
    assert not done


def test_what_is_made_of_a_field_stands_under_it(said: Said) -> None:
    """A conversion in ink, a fault so far in quiet; flags and questions to come are said before saving."""
    problem = Problem(0, "residue_grade", "9", "is off the scale.", "Use 0 to 5.")
    verdicts = (CriterionWord("Residue", "", None), CriterionWord("Hold", "70°", True))
    found = Tried((problem,), {"removal_force": "0.52 kgf × 9.80665 = 5.1 N."}, ("gauge-1 was past calibration",),
                  ("a force of 0",), verdicts)  # fmt: skip
    assert saving.tells(found, "removal_force") == ("0.52 kgf × 9.80665 = 5.1 N.", "tell")
    assert saving.tells(found, "residue_grade") == ("“9” is off the scale. Use 0 to 5.", "tell wrong-so-far")
    assert saving.tells(None, "residue_grade") == ("", "tell")
    assert "flagged: gauge-1 was past calibration" in said(saving.marks_shown(found))
    assert "asked: a force of 0" in said(saving.marks_shown(found))
    so_far = said(saving.provisional_shown(found))
    assert "not saved" in so_far
    assert "Hold: unacceptable" in so_far
    assert "Residue" not in so_far, "what is not decided is no verdict"


@pytest.mark.parametrize(("code", "address"), [
    (" 3eg9-e ", "/read?code=3eg9-e"), ("A7K4&M#x", "/read?code=A7K4%26M%23x"), ("  ", no_update),
])  # fmt: skip
def test_a_typed_code_becomes_an_address(code: str, address: Any) -> None:
    """A code opens its form, whatever signs are in it; an empty field opens nothing."""
    assert bench.open_coupon(1, code) == address


def test_waiting_pulls_lead_to_both_ways(said: Said) -> None:
    """A pull that waits is one click from its first coupon and from its grid."""
    pulls = [WaitingPull("S01", "12 months", "Gel A on oak", TODAY, 3, "3EG9-E"),
             WaitingPull("S02", "12 months", "Gel B on oak", TODAY, 1, "AAAA-3")]  # fmt: skip
    assert bench.waiting_line(pulls) == "No coupon is open. 4 coupons wait to be read, of 2 pulls."
    shown = str(bench.waiting_shown(pulls))
    assert "/read?code=3EG9-E" in shown
    assert "view=pull&set=S01&pull=12+months" in shown
    assert "view=pull&on=2026-03-02" in shown
    assert bench.waiting_line([], pulled=True) == "No coupon is open, and every pulled coupon is read."
    assert bench.waiting_line([], pulled=False) == "No coupon is open, and none is pulled yet."
    assert "href='/pull'" in str(bench.waiting_shown([], pulled=False)), "an empty page leads to its beginning"


def test_how_it_was_read_is_said_in_one_line() -> None:
    """Area that counts, flags, aids and the room stand beside the value."""
    details = Details(sight_grade=(1, 1), area_percent=12, flags=("stain",), aids=(), temperature_c=21.5, note="Dull.")
    reading = Reading("3EG9-E", "residue_grade", TODAY, "1", unit="grade", lower=3, upper=3, details=details)
    assert words.details_words(reading) == (
        "counts as grade 3 by area, 1 by sight; area 12\u202f%; stain; looked with the bare eye; 21.5\u202f°C; “Dull.”"
    )
    assert words.value_words(reading) == "1"
    shares = (PatternShare(pattern="CF", side="object", percent=100),)
    pattern = Reading("3EG9-E", "failure_pattern", TODAY, "CF 100 object", details=Details(shares=shares))
    assert words.value_words(pattern) == "CF 100 object"


def test_a_history_says_how_it_was_read(form: CouponForm, monkeypatch: pytest.MonkeyPatch, said: Said) -> None:
    """Instrument, room, flags and file stand under the value of a reading, with their days as in tables."""
    beside = "27 °C; on gauge G1; past calibration since 2026-01-31; from march.csv"
    read = Happening("2026-02-27", "2026-02-27T10:00:00+00:00", "M. Quill", "read", "removal force", "", "5.1 N", "",
                     7, beside)  # fmt: skip
    bare = replace(read, what="note", new="Chipped corner.", beside="")
    monkeypatch.setattr(history, "coupon_form", lambda study, code: form)
    monkeypatch.setattr(history, "coupon_history", lambda study, code: [read, bare])
    monkeypatch.setattr(history, "frame", lambda book, **parts: parts["work"])
    nothing: Any = None
    shown = history.page(nothing, nothing, form.coupon.code)
    assert "5.1 N 27 °C; on gauge G1; past calibration since 31\u202fJan\u202f2026; from march.csv" in said(shown)
    assert len([part for part in _all(shown) if "key" in str(getattr(part, "className", ""))]) == 1


def test_only_what_is_a_day_is_said_as_one() -> None:
    """A number in somebody's note that looks like a day and is none stays as it was written."""
    assert days_said("On 2026-03-02, file 2026-13-45.") == "On 2\u202fMar\u202f2026, file 2026-13-45."


def test_a_colour_stands_beside_chance(said: Said) -> None:
    """A change not beyond what an unchanged spot shows is said to be so; without repeats that is not known."""
    found = ColourWords(0.31, None, False, "5", 0.12, 24, 0.42, "D65, 10° observer", "")
    text = said(words.colour_shown(found))
    assert "not beyond it" in text
    assert "from 24 readings" in text
    assert "D65" in text
    text = said(words.colour_shown(replace(found, noise_upper95=None, repeat_sd=None, degrees=0)))
    assert "not known" in text
    assert "No difference" in said(words.colour_shown(replace(found, difference=None, why_not="mixed.")))
    assert words.colour_shown(None) is None


def test_what_a_correction_moves_is_said(said: Said) -> None:
    """From and to, what stays, and a decision that it would overtake."""
    moved = [Moved("P01", "Gel A on oak", "12 months", "8 months", "Residue", "decision 3: 12 months"),
             Moved("P02", "Gel B on oak", "6 months", "6 months", "Hold", "")]  # fmt: skip
    text = said(correcting.moved_shown(moved))
    for part in ("12 months", "8 months", "stays", "decision 3", "overtaken"):
        assert part in text
    assert "No duration rests" in said(correcting.moved_shown([]))


def test_an_address_that_names_no_reading_is_answered(
    form: CouponForm, monkeypatch: pytest.MonkeyPatch, said: Said
) -> None:
    """A kind that is none, as somebody may type it into the address, is no fault of the page."""
    monkeypatch.setattr(correcting, "coupon_form", lambda study, code: form)
    for key in ("", "x y", "colour_look 2026-99-99"):
        text = said(correcting.page(Book(Path("none"), lambda: TODAY), None, "3EG9-E", key, back=False))
        assert "has no such reading in force" in text
    assert words.place_words("colour_look 2026-03-02") == "colour in place of 2\u202fMar\u202f2026"


def test_an_effect_needs_a_value(book: Book, said: Said) -> None:
    """An empty new value is no correction; the page says how to take it out instead."""
    asked = {"code": "3EG9-E", "kind": "residue_grade", "value": " ", "by": "", "back": False, "seen": 4,
             "beside": {}}  # fmt: skip
    shown, may = correcting.effect_of(book, asked)
    assert "No new value" in said(shown)
    assert not may


def test_a_grid_knows_what_may_be_filled(form: CouponForm) -> None:
    """Cells of a reading in force are read-only, also its empty ones; what is not asked is not in the row's list."""
    row = GridRow(form.coupon, "pulled", TODAY, 361, frozenset({"residue_grade", "residue_flags", "removal_force"}),
                  {"residue_grade": "2"}, {"force_unit": "N"}, ("removal_force",))  # fmt: skip
    made = grid.grid_row(row)
    assert made["read"] == {"residue_grade": True, "residue_flags": True}
    assert made["asked"].keys() == {"residue_grade", "residue_flags", "removal_force"}
    assert (made["residue_grade"], made["force_unit"], made["base"]) == ("2", "N", {"force_unit": "N"})
    found = PullGrid("Gel A", form.fields, (row,), 2, ("AAAA-3",))
    assert grid.status_line(found) == "1 coupon, 1 still to read; 2 not pulled yet; lost or damaged: AAAA-3."


def test_wrong_cells_are_named_by_coupon_and_column(said: Said) -> None:
    """The same fault is placed in the grid and told in words."""
    rows = [{"coupon": "AAAA-3"}, {"coupon": "3EG9-E"}]
    problems = [Problem(2, "residue_grade", "7", "is off the scale.", "Use 0 to 5.")]
    assert grid_checked.wrong_cells(rows, problems) == {"3EG9-E": {"residue_grade": "is off the scale. Use 0 to 5."}}
    text = said(grid_checked.problems_shown(rows, problems, {"residue_grade": "Residue"}))
    assert "1 cell is not right yet" in text
    assert "3EG9-E , Residue:" in text
    assert "“7” is off the scale." in text


def test_what_stands_above_a_grid_goes_with_each_row() -> None:
    """The room goes with every row; how colours were read only with rows that have one."""
    sent = {"sitting": {"temperature_c": "21", "illuminant": "D65", "instrument": ""},
            "rows": [{"coupon": "AAAA-3", "residue_grade": "1"}, {"coupon": "3EG9-E", "L_after": "80"}]}  # fmt: skip
    assert grid_checked.filled_rows(sent) == [
        {"coupon": "AAAA-3", "residue_grade": "1", "temperature_c": "21"},
        {"coupon": "3EG9-E", "L_after": "80", "temperature_c": "21", "illuminant": "D65"},
    ]
    problems = [Problem(row, "temperature_c", "2x", "is not a number.", "Write one.") for row in (1, 2)]
    problems.append(Problem(2, "L_after", "x", "is not a number.", "Write one."))
    above, left = grid_checked.above_the_grid(sent["rows"], problems)
    assert above == {"temperature_c": "“2x” is not a number. Write one."}, "said once, at its own field"
    assert [problem.column for problem in left] == ["L_after"]


def _all(part: Any) -> list[Any]:
    if isinstance(part, list | tuple):
        return [found for inner in part for found in _all(inner)]
    inner = getattr(part, "children", None)
    return [part, *(_all(inner) if inner is not None else [])]
