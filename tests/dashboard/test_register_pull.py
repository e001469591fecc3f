"""Register and Pull without a browser: what is said, what is marked, what is written, and what is not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.book import Book
from dashboard.pages import pull as pull_page
from dashboard.pages import register as register_page
from dashboard.pull import due, one_coupon, scanning
from dashboard.register import acts, checked, form, grid, paste
from dashboard.register.fields import FIELDS, KINDS, options
from study.commands.opening import begin_study, open_study
from study.commands.pull import due_pulls, record_pulls, recorded_pulls
from study.commands.register import ROWS
from study.commands.shelf import Register, register_book
from study.errors import FileRefused
from study.intake.register_file import columns_of
from study.model.person import Signature
from study.store.pulls import fetch_pulls

Said = Callable[[Any], str]
DUE = date(2025, 4, 15)


@pytest.fixture
def codes(small: Book) -> list[str]:
    """Coupons of the sheet set that are due."""
    with open_study(small.study_file) as study:
        return list(due_pulls(study, on=DUE)[0].codes)


def register_of(book: Book) -> Register:
    """The register as it stands."""
    with open_study(book.study_file) as study:
        return register_book(study)


@pytest.mark.parametrize("kind", KINDS)
def test_the_fields_are_the_columns_of_a_file(kind: str) -> None:
    """Form and grid ask for every column that a file may have, the needed ones marked, and for nothing else."""
    assert sorted(field.column for field in FIELDS[kind]) == sorted(columns_of(ROWS[kind]))
    needed = {name for name, field in ROWS[kind].model_fields.items() if field.is_required()}
    assert {field.column for field in FIELDS[kind] if field.needed} == needed


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("way", ["", "grid", "paste"])
def test_every_kind_has_three_ways(small: Book, said: Said, kind: str, way: str) -> None:
    """Each kind opens in each way, with what is on file below."""
    text = said(register_page.layout(small, what=kind, by=way))
    assert f"On file: {register_of(small).count(kind)}" in text
    assert "Entered by" in text


def test_a_new_study_is_led_from_kind_to_kind(tmp_path: Path, signature: Signature, said: Said) -> None:
    """Nothing on file opens at adhesives; sets say what is missing; the next kind is the first that lacks."""
    begin_study(tmp_path / "new.sqlite", institution="", signature=signature)
    book = Book(study_file=tmp_path / "new.sqlite", today=lambda: DUE)
    assert "begin with an adhesive" in said(register_page.layout(book))
    assert "made of lots, substrates and environments" in said(register_page.layout(book, what="sets"))
    assert "Register a coupon set with its coupons first" in said(pull_page.layout(book))
    assert register_page.next_kind(register_of(book)) == "adhesives"


def test_withdrawn_lots_are_not_offered(small: Book) -> None:
    """A set cannot be begun on a lot that may no longer be relied on."""
    field = next(field for field in FIELDS["sets"] if field.column == "lot")
    assert [value for value, _ in options(field, register_of(small))] == ["A-1"]
    acts.done(small, "withdraw", {"key": "A-1", "on": "2025-04-01", "by": "R. Vale", "why": "It sweats."}, "lots")
    assert options(field, register_of(small)) == []


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"protocol": "display-dots", "coupons_per_pull": "5"}, "makes 80 coupons: 2 tests × 8 pulls × 5"),
        ({"protocol": "display-dots", "coupons_per_pull": "3", "role": "blank"}, "24 coupons: 1 test × 8 pulls × 3"),
        ({"protocol": "display-dots", "coupons_per_pull": "5", "role": "time-zero"}, "makes 10 coupons"),
        ({"protocol": "display-dots", "coupons_per_pull": ""}, "register them afterwards"),
        ({"protocol": "display-dots", "coupons_per_pull": "many"}, "Choose a protocol"),
        ({"protocol": "", "coupons_per_pull": "5"}, "Choose a protocol"),
    ],
)
def test_a_set_says_what_it_is_made_of(cells: dict[str, str], words: str) -> None:
    """Tests times pulls times coupons, before anything is made."""
    assert words in form.plan_words("sets", cells)


def test_a_form_is_refused_in_place_and_saved_once(small: Book, said: Said) -> None:
    """A fault stands at its field; saved, the list comes back; the same press again is refused."""
    cells = {"lot": "B-1", "adhesive": "gel-a", "cure_hours": "2,5"}
    shown, errors, listed = form.entered(small, "lots", cells, by="R. Vale", token="t")
    assert (set(errors), listed) == ({"cure_hours"}, None)
    assert "see the marked fields" in said(shown)
    shown, errors, listed = form.entered(small, "lots", {**cells, "cure_hours": "2.5"}, by="R. Vale", token="t")
    assert "Lot B-1 is registered by R. Vale." in said(shown)
    assert "B-1" in said(listed)
    coupons = {"set": "sheet", "test": "hold-angle", "pull": "6 months", "count": "2"}
    first, _, _ = form.entered(small, "coupons", coupons, by="R. Vale", token="once")
    again, _, listed = form.entered(small, "coupons", coupons, by="R. Vale", token="once")
    assert "2 coupons with their codes" in said(first)
    assert "taken already" in said(again)
    assert listed is None
    assert register_of(small).coupons == 26


def test_pasted_cells_are_marked_where_they_stand(small: Book, said: Said) -> None:
    """A cell that cannot be read and one that names nothing registered, told together; clean, it is saved."""
    block = "lot\tadhesive\tsupplied_on\nB-1\tgel-z\t5.1.2025\n\nB-2\tgel-a\t\n"
    text = said(paste.looked_at(small, "lots", block))
    assert "2 cells need you" in text
    assert "row 2, Received on: “5.1.2025” is not a date." in text
    assert "row 2, Adhesive: “gel-z” is not a known adhesive." in text
    shown, listed = paste.pasted(small, "lots", block, by="R. Vale", token="t")
    assert listed is None
    clean = block.replace("gel-z", "gel-a").replace("5.1.2025", "2025-01-05")
    assert "2 lots can be registered. Nothing is saved yet." in said(paste.looked_at(small, "lots", clean))
    assert len(register_of(small).lots) == 1
    shown, listed = paste.pasted(small, "lots", clean, by="", token="t")
    assert "Nobody's name" in said(shown)
    shown, listed = paste.pasted(small, "lots", clean, by="R. Vale", token="t")
    assert "Lots B-1, B-2 are registered" in said(shown)
    assert "header and no rows" in said(paste.looked_at(small, "lots", "lot\tadhesive\n"))
    assert "is empty" in said(paste.pasted(small, "lots", " ", by="R. Vale", token="u")[0])


def test_a_grid_numbers_rows_from_one(small: Book, said: Said) -> None:
    """The second row of a grid is called row 2 and carries its fault by column."""
    rows = grid.blank_rows("lots")
    rows[0] |= {"lot": "B-1", "adhesive": "gel-a"}
    rows[1] |= {"lot": "B 2", "adhesive": "gel-a"}
    words, problems = checked.check(small, "lots", checked.clean_rows("lots", rows), first=1)
    assert "row 2, Key: “B 2” is not a key." in said(words)
    marked = grid.marked(rows, problems)
    assert [row["wrong"] for row in marked[:3]] == [
        None,
        {"lot": "is not a key. Use letters, digits, dot, dash and underscore, no spaces."},
        None,
    ]
    assert "Nothing is filled in" in said(checked.check(small, "lots", [], first=1)[0])


@pytest.mark.parametrize(
    ("act", "asked", "kind", "words"),
    [
        ("status", {"key": "gel-a", "to": "withdrawn", "on": "2025-04-01"}, "adhesives", "gel-a is now withdrawn."),
        ("withdraw", {"key": "A-1", "on": "2025-04-01"}, "lots", "Lot A-1 is withdrawn."),
        ("pool", {"key": "P01"}, "lots", "The lots of P01 now count together."),
        ("note", {"key": "sheet", "on": "2025-04-01", "text": "Moved."}, "sets", "Noted for sheet."),
    ],
)
def test_acts_are_done_with_a_name(
    small: Book, said: Said, act: str, asked: dict[str, str | None], kind: str, words: str
) -> None:
    """Each act is refused without its name or its choice, and says what it did."""
    assert "Nothing is chosen" in said(acts.done(small, act, {"by": "R. Vale"}, kind)[0])
    assert "Nobody's name" in said(acts.done(small, act, asked, kind)[0])
    shown, listed = acts.done(small, act, {**asked, "by": "R. Vale", "why": "Because."}, kind)
    assert words in said(shown)
    assert listed is not None


def test_the_due_list_stands_in_shelf_order(small: Book, said: Said) -> None:
    """What waits is counted; further ahead more stands there; the codes lead to Read."""
    text = said(pull_page.layout(small))
    assert "2 pulls wait: 12 coupons." in text
    assert "Scan the 12 coupons that wait" in text
    assert "12 months" not in text
    assert "12 months" in said(pull_page.layout(small, ahead="366"))
    assert due.counted([]) == "No coupon has to come off today."


def test_a_scanned_list_is_recorded_or_kept(small: Book, codes: list[str], said: Said) -> None:
    """Without scans or a name nothing is saved; late, the note is asked; saved, it is said with a way to read."""
    shown, note, done, _ = scanning.recorded(small, [], on="2025-04-15", by="R. Vale", deviation="")
    assert "Nothing is scanned yet" in said(shown)
    shown, note, done, _ = scanning.recorded(small, codes, on="2025-04-15", by="", deviation="")
    assert (done, note) == (None, scanning.HIDDEN)
    late = Book(study_file=small.study_file, today=lambda: date(2025, 5, 1))
    shown, note, done, _ = scanning.recorded(late, codes, on="2025-05-01", by="R. Vale", deviation=" ")
    assert (done, note) == (None, scanning.SHOWN)
    assert "9 d after the window" in said(shown)
    shown, note, done, _ = scanning.recorded(small, codes[:2], on="2025-04-15", by="R. Vale", deviation="")
    assert done == codes[:2]
    assert "2 coupons are recorded as pulled" in said(shown)
    assert "/read?view=pull&on=2025-04-15" in str(shown), "all of the day in one grid"


def test_the_line_above_a_scanned_list_follows_it(small: Book, codes: list[str], signature: Signature) -> None:
    """A list by name: waiting, not due yet, all off; it is counted anew after each record."""
    pulls = scanning.wanted(small, "sheet", "3 months")
    assert scanning.status_line(pulls, "sheet", "3 months") == f"1 pull waits: {len(codes)} coupons."
    with open_study(small.study_file) as study:
        record_pulls(study, codes[:2], kind="pulled", on=DUE, signature=signature)
    left = scanning.wanted(small, "sheet", "3 months")
    assert f": {len(codes) - 2} coupon" in scanning.status_line(left, "sheet", "3 months")
    assert scanning.status_line([], "sheet", "3 months") == "No coupon of this pull is in its placement."
    early = scanning.wanted(Book(study_file=small.study_file, today=lambda: date(2025, 2, 1)), "sheet", "3 months")
    assert scanning.status_line(early, "sheet", "3 months").startswith("Not due yet: ")


def test_a_conflict_overwrites_nothing(small: Book, codes: list[str], signature: Signature, said: Said) -> None:
    """A coupon recorded meanwhile keeps its record; the list is refused whole and names it."""
    with open_study(small.study_file) as study:
        record_pulls(study, codes[:1], kind="lost", on=DUE, signature=signature)
    shown, _, done, gone = scanning.recorded(small, codes, on="2025-04-15", by="M. Quill", deviation="")
    assert (done, gone) == (None, codes[:1])
    assert "R. Vale" in said(shown)
    assert "Take it off my list" in said(shown)
    with open_study(small.study_file) as study:
        assert {event.code: event.kind for event in fetch_pulls(study).values()} == {codes[0]: "lost"}


@pytest.mark.parametrize("act", one_coupon.RECORDS)
def test_each_act_says_its_effect_first(small: Book, codes: list[str], said: Said, act: str) -> None:
    """The form of an act shows what follows, and opening it writes nothing."""
    text = said(pull_page.layout(small, code=codes[0], **{"as": act}))
    assert "What follows for the analysis" in text
    assert f"Record it as {act}" in text
    with open_study(small.study_file) as study:
        assert recorded_pulls(study) == []


def test_a_coupon_is_lost_found_and_corrected(small: Book, codes: list[str], said: Said) -> None:
    """What can be done depends on what is on record; each act says what stands then."""
    code, signed = codes[0], {"by": "R. Vale", "why": "Seen.", "on": "2025-04-15"}
    assert "is recorded as lost" in said(one_coupon.done(small, code, "lost", signed)[0])
    text = said(pull_page.layout(small, code=code))
    assert "Found again, in its placement" in text
    assert "Take this record back" not in text
    assert "lost on" in text
    assert "then has 3 of 3" in said(one_coupon.effect_said(small, code, one_coupon.FOUND_BACK, {}))
    shown, done = one_coupon.done(small, code, one_coupon.CORRECTED, {**signed, "to": "damaged"})
    assert (done, "is corrected: damaged" in said(shown)) == (True, True)
    shown, done = one_coupon.done(small, code, one_coupon.KEPT, signed)
    assert (done, "is not lost" in said(shown)) == (False, True)
    shown, done = one_coupon.done(small, code, one_coupon.TAKEN_BACK, {**signed, "why": ""})
    assert (done, "needs a reason" in said(shown)) == (False, True)
    assert one_coupon.done(small, code, one_coupon.TAKEN_BACK, signed)[1]
    shown, done = one_coupon.done(small, code, "released by itself", {**signed, "seen": "2025-04-20"})
    assert (done, "is not between" in said(shown)) == (False, True)
    assert "is not a day" in said(one_coupon.done(small, code, "lost", {**signed, "on": "soon"})[0])


def test_a_day_outside_the_window_shows_the_note(small: Book, codes: list[str]) -> None:
    """Only for a pull, and only outside."""
    assert one_coupon.late_for(small, codes[0], "pulled", "2025-04-22") is False
    assert one_coupon.late_for(small, codes[0], "pulled", "2025-04-23") is True
    assert one_coupon.late_for(small, codes[0], "lost", "2025-04-23") is False
    assert one_coupon.late_for(small, codes[0], "pulled", "soon") is False


def test_what_is_recorded_is_listed(small: Book, codes: list[str], signature: Signature, said: Said) -> None:
    """The latest first, with who entered it; before the first, what stands there."""
    assert "Scan the first pull" in said(pull_page.layout(small, view="recorded"))
    with open_study(small.study_file) as study:
        record_pulls(study, codes[:1], kind="damaged", on=DUE, note="A corner broke.", signature=signature)
    text = said(pull_page.layout(small, view="recorded"))
    assert "A corner broke." in text
    assert "R. Vale" in text


def test_an_unknown_code_opens_no_coupon(small: Book, said: Said) -> None:
    """It says what is wrong with the code and offers the field again."""
    text = said(pull_page.layout(small, code="AAAA-A"))
    assert "No coupon is open" in text
    assert "Coupon code" in text


def test_a_refused_file_is_said_without_its_file(said: Said) -> None:
    """One problem is one cell; the header's own problems keep the column as it was typed."""
    from study.errors import Problem

    one = FileRefused("rows", [Problem(1, "glue", "", "column is not known.", "Take it out.")])
    text = said(checked.faults(one, "lots", first=2))
    assert "1 cell needs you" in text
    assert "row 1, glue: column is not known. Take it out." in text


def test_an_act_on_a_record_changed_meanwhile_is_refused(small: Book, codes: list[str], said: Said) -> None:
    """The page remembers the record as it was shown; another's change is named and stays."""
    code, signed = codes[0], {"by": "R. Vale", "why": "Seen.", "on": "2025-04-15"}
    one_coupon.done(small, code, "lost", signed)
    with open_study(small.study_file) as study:
        shown_record = one_coupon.kept_record(fetch_pulls(study)[code])
    one_coupon.done(small, code, one_coupon.CORRECTED, {**signed, "by": "M. Quill", "to": "damaged"}, shown_record)
    shown, done = one_coupon.done(small, code, one_coupon.FOUND_BACK, signed, shown_record)
    assert not done
    assert "M. Quill changed this record meanwhile" in said(shown)
    with open_study(small.study_file) as study:
        assert fetch_pulls(study)[code].kind == "damaged"
