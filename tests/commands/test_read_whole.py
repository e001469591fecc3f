"""Read, whole: a study already under way enters from one wide sheet, with one look at it before."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands.pull import due_pulls, record_pulls
from study.commands.read import record_reading
from study.commands.read_whole import begin_from, preview_whole
from study.commands.register import register_one
from study.errors import FileRefused, NotPossible, Unanswered, Unknown
from study.model.person import Signature
from study.store.chain import broken_links
from study.store.coupons import fetch_coupons
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_in_force
from study.store.register import fetch_adhesives, fetch_lots, fetch_pairings, fetch_sets, fetch_substrates
from study.store.study_file import StudyFile

HEAD = (
    "coupon,adhesive,formulation_version,composition_class,lot,substrate,preparation,stands_for,environment,placed_on,"
    "pulled_on,pull_kind,last_seen_on,test,pull,dot_diameter_mm,dots,dwell_load_n,read_on,removal_force,force_unit,"
    "failure_pattern,side,residue_grade,hold_angle_deg\n"
)
SET = "Gel Q,2,acrylic gel,Q-7,oak panel,as found,object,store"
ANSWERS = {"residue scale": "0 to 5, 0 is clean"} | {
    f"fill down {column}": "no" for column in ("read_on", "placed_on", "pulled_on", "pull")
}
"""A blank in these rows means that there is nothing, not that it is as above."""


def row(mark: str, *, placed: str = "2025-01-15", left: str = ",,", pull: str = "", read: str = ",,,,,,") -> str:
    """One row: how it left as ``day,kind,last seen``; what was read as its seven columns."""
    return f"{mark},{SET},{placed},{left},pull-off-dot,{pull},8,3,2,{read}"


def sheet(tmp_path: Path, *rows: str, name: str = "study.csv", head: str = HEAD) -> Path:
    path = tmp_path / name
    path.write_text(head + "".join(f"{line}\n" for line in rows), "utf-8")
    return path


FULL = (
    row("T-001", left="2025-04-15,pulled,", read="2025-04-16,5.1,N,AF,object,1,"),
    row("T-002", left="2025-04-16,,", pull="3 mo", read=",5.3,N,AF,object,0,"),
    row("T-003", left="2025-03-20,fell off,2025-03-10"),
    row("T-004", left="2025-04-15,lost,"),
    row("T-005", left="2025-04-15,broken,"),
    row("T-006", pull="36 months"),
    row("T-007", placed="2025-01-20", left="2025-01-20,,", read="2025-01-20,4.9,N,AF,object,0,"),
)


def test_a_wide_sheet_becomes_a_study_in_one_change(empty: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """Sets, coupons with their marks, every way of leaving, readings; what waits becomes due."""
    path = sheet(tmp_path, *FULL)
    before = empty.last_change()
    found = preview_whole(empty, path, answers=ANSWERS, signature=signature)
    assert found.ready, (found.problems, found.questions)
    assert found.words().startswith("2 sets, 7 coupons, 6 pulls, 9 readings; this adhesive is new: Gel Q")
    assert empty.last_change() == before
    done = begin_from(empty, path, answers=ANSWERS, signature=signature)
    assert empty.last_change() == before + 1
    assert done.words() == found.words()
    assert list(broken_links(empty.db.conn)) == []
    coupons = {coupon.own_mark: coupon for coupon in fetch_coupons(empty).values()}
    assert set(coupons) == {f"T-00{n}" for n in range(1, 8)}
    labels = {mark: coupon.pull_label for mark, coupon in coupons.items()}
    assert labels == {"T-001": "3 months", "T-002": "3 months", "T-003": "3 months", "T-004": "3 months",
                      "T-005": "3 months", "T-006": "36 months", "T-007": ""}  # fmt: skip
    pulls = fetch_pulls(empty)
    kinds = {mark: pulls[coupon.code].kind for mark, coupon in coupons.items() if coupon.code in pulls}
    assert kinds == {"T-001": "pulled", "T-002": "pulled", "T-003": "released by itself", "T-004": "lost",
                     "T-005": "damaged", "T-007": "pulled"}  # fmt: skip
    assert pulls[coupons["T-003"].code].last_seen_on == date(2025, 3, 10)
    assert fetch_in_force(empty, coupons["T-002"].code)["removal_force"].read_on == date(2025, 4, 16)
    assert [coupon_set.role for coupon_set in fetch_sets(empty).values()] == ["test", "time-zero"]
    assert len(fetch_pairings(empty)) == 1
    due = due_pulls(empty, on=date(2028, 1, 15))
    assert [(pull.pull_label, pull.codes) for pull in due] == [("36 months", (coupons["T-006"].code,))]


def test_the_laboratory_s_mark_is_taken_wherever_a_code_is_typed(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """A reading typed by the mark lands on its coupon."""
    begin_from(empty, sheet(tmp_path, *FULL), answers=ANSWERS, signature=signature)
    waiting = next(c for c in fetch_coupons(empty).values() if c.own_mark == "T-006")
    record_pulls(empty, [waiting.code], kind="pulled", on=date(2026, 2, 1), signature=signature)
    record_reading(empty, "t 006", {"residue_grade": "2"}, read_on=date(2026, 2, 2), signature=signature)
    assert fetch_in_force(empty, waiting.code)["residue_grade"].lower == 2.0


@pytest.mark.parametrize(
    ("answer", "labels"),
    [
        ("next pull", ["18 months", "18 months", "18 months"]),
        ("spread over the pulls to come", ["18 months", "24 months", "36 months"]),
        ("spares", ["", "", ""]),
    ],
)
def test_what_waits_without_a_pull_is_asked_about(
    empty: StudyFile, tmp_path: Path, signature: Signature, answer: str, labels: list[str]
) -> None:
    """Three ways on, and none of them is guessed."""
    path = sheet(tmp_path, *(row(f"T-{n}") for n in range(3)))
    with pytest.raises(Unanswered, match="coupons still placed"):
        begin_from(empty, path, signature=signature)
    begin_from(empty, path, answers={"coupons still placed": answer}, signature=signature)
    assert [coupon.pull_label for coupon in fetch_coupons(empty).values()] == labels


def test_what_the_register_needs_and_the_sheet_lacks_is_asked_once(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Class, preparation, what the surface stands for, dots: a question each for all rows; nothing is made up."""
    head = "coupon,adhesive,substrate,environment,placed_on,pulled_on,removal_force,read_on\n"
    path = sheet(tmp_path, *(f"M{n},Gel Q,oak,store,2025-01-15,2025-04-15,5 N,2025-04-15" for n in range(4)), head=head)
    found = preview_whole(empty, path, signature=signature)
    keys = [question.key for question in found.questions]
    wanted = ["composition class Gel Q", "dot diameter mm", "dots", "preparation oak", "stands for oak"]
    assert sorted(keys) == sorted(wanted)
    answers = dict(zip(wanted, ("acrylic gel", "8", "3", "cleaned", "object"), strict=True))
    begin_from(empty, path, answers=answers, signature=signature)
    adhesive = next(iter(fetch_adhesives(empty).values()))
    assert (adhesive.formulation_version, adhesive.composition_class) == ("not stated", "acrylic gel")
    assert next(iter(fetch_substrates(empty).values())).faces_object
    pairing = next(iter(fetch_pairings(empty).values()))
    assert (pairing.dot_diameter_mm, pairing.dots, pairing.dwell_load_n) == (8.0, 3, 0.0)


def test_what_is_registered_is_used_and_what_is_near_is_asked_about(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """The same name is the same adhesive; “Gel-Q” beside “Gel Q” is not decided by the program."""
    cells = {"adhesive": "gel-one", "name": "Gel-Q", "composition_class": "acrylic gel", "formulation_version": "2"}
    register_one(empty, "adhesives", cells, signature=signature)
    path = sheet(tmp_path, row("T-1", left="2025-04-15,,"))
    with pytest.raises(Unanswered, match="near gel-one"):
        begin_from(empty, path, signature=signature)
    begin_from(empty, path, answers={"adhesive Gel Q": "gel-one"}, signature=signature)
    assert list(fetch_adhesives(empty)) == ["gel-one"]
    again = sheet(tmp_path, row("U-1", left="2025-04-15,,").replace("Gel Q", "gel-q"), name="again.csv")
    begin_from(empty, again, signature=signature)
    assert list(fetch_adhesives(empty)) == ["gel-one"]
    assert list(fetch_lots(empty)) == ["Q-7"]


@pytest.mark.parametrize(
    ("line", "column", "words"),
    [
        (row("T-1", left="2025-01-10,,"), "pulled_on", "before the placement"),
        (row("T-1", left="2030-01-10,,"), "pulled_on", "lies after"),
        (row("T-1", placed="2030-01-10"), "placed_on", "lies after"),
        (row("T-1", placed="", pull="3 months"), "placed_on", "is blank"),
        (row("T-1", left=",lost,", pull="3 months"), "pulled_on", "is blank"),
        (row("T-1", left="2025-04-15,eaten,"), "pull_kind", "not a way"),
        (row("T-1", left="2025-04-15,,", pull="5 months"), "pull", "not in the schedule"),
        (row("T-1", left="2025-04-15,,", read="2025-04-10,5,N,AF,object,,"), "read_on", "before the pull"),
        (row("T-1", left="2025-04-15,lost,", read="2025-04-16,5,N,AF,object,,"), "coupon", "recorded as lost"),
    ],
)
def test_28_rows_that_cannot_be_are_told_and_nothing_is_written(
    empty: StudyFile, tmp_path: Path, signature: Signature, line: str, column: str, words: str
) -> None:
    """Order of dates, unknown words, readings of what is gone: its row and column, and the study stays empty."""
    path = sheet(tmp_path, row("T-0", left="2025-04-15,,"), line)
    found = preview_whole(empty, path, answers=ANSWERS, signature=signature)
    assert [(p.row, p.column) for p in found.problems] == [(3, column)]
    assert words in found.problems[0].what
    with pytest.raises(FileRefused, match=words):
        begin_from(empty, path, answers=ANSWERS, signature=signature)
    assert fetch_coupons(empty) == {}


def test_28_an_age_far_from_its_pull_is_asked_about(empty: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """1096 d written for 1 month looks like a wrong year: asked, and kept once somebody says so."""
    path = sheet(tmp_path, row("T-1", placed="2023-01-15", left="2026-01-15,,", pull="1 month"))
    found = preview_whole(empty, path, signature=signature)
    assert [(question.key, question.answers) for question in found.questions] == [("unusual ages", ("as typed",))]
    assert "row 2, T-1: 1096 d, written for 1 month" in found.questions[0].what
    begin_from(empty, path, answers={"unusual ages": "as typed"}, signature=signature)
    late = sheet(tmp_path, row("T-2", left="2025-05-20,,", pull="3 months"), name="late.csv")
    assert preview_whole(empty, late, signature=signature).ready


@pytest.mark.parametrize("word", ["lost", "Missing", "missed"])
def test_a_lost_coupon_is_no_missing_word(empty: StudyFile, tmp_path: Path, signature: Signature, word: str) -> None:
    """A word that means no value in a column of numbers means a lost coupon here, and it is never taken as pulled."""
    path = sheet(tmp_path, row("T-1", left=f"2025-04-15,{word},"), row("T-2", left="2025-04-15,,"))
    begin_from(empty, path, answers=ANSWERS, signature=signature)
    marks = {coupon.code: coupon.own_mark for coupon in fetch_coupons(empty).values()}
    kinds = {marks[event.code]: event.kind for event in fetch_pulls(empty).values()}
    assert kinds == {"T-1": "lost", "T-2": "pulled"}


def test_rows_of_one_coupon_complete_each_other_and_may_not_disagree(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Two sessions in two rows are one coupon; another placement in the second row is a problem."""
    one = row("T-1", left="2025-04-15,,", read="2025-04-16,5.1,N,AF,object,,")
    two = row("t 1", left="2025-04-15,,", read="2025-04-23,,,,,2,")
    begin_from(empty, sheet(tmp_path, one, two), answers=ANSWERS, signature=signature)
    (coupon,) = fetch_coupons(empty).values()
    days = {kind: reading.read_on.day for kind, reading in fetch_in_force(empty, coupon.code).items()}
    assert days == {"removal_force": 16, "failure_pattern": 16, "residue_grade": 23}
    moved = two.replace("t 1", "U-1").replace("2025-01-15", "2025-01-16")
    other = sheet(tmp_path, one.replace("T-1", "U-1"), moved, name="x.csv")
    with pytest.raises(FileRefused, match="row 2 of the same coupon"):
        begin_from(empty, other, answers=ANSWERS, signature=signature)


def test_the_same_sheet_again_is_refused_and_a_coupon_of_the_study_too(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """The very bytes, and a mark that is taken."""
    path = sheet(tmp_path, *FULL)
    begin_from(empty, path, answers=ANSWERS, signature=signature)
    with pytest.raises(NotPossible, match="taken already"):
        begin_from(empty, path, answers=ANSWERS, signature=signature)
    with pytest.raises(FileRefused, match="coupon of this study already"):
        begin_from(empty, sheet(tmp_path, FULL[0], name="b.csv"), answers=ANSWERS, signature=signature)


def test_plain_headings_are_not_asked_about_and_readings_may_be_of_the_pull_day(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Surface, Placed, Interval and Pulled are what they are; without a day of reading the pull's own is offered."""
    head = "Tile;Adhesive;Adhesive type;Surface;Prep;Stands for;Storage;Placed;Interval;Pulled;Force [N];"
    head += "Dot diameter;Dots\n"
    rows = [
        f"T{n};Gel X;acrylic gel;acrylic sheet;cleaned;object;store;04.05.2025;3 months;{left};{force};8;3"
        for n, left, force in ((1, "04.08.2025", "5,10"), (2, "05.08.2025", "5,35"), (3, "", ""))
    ]
    path = sheet(tmp_path, *rows, head=head)
    known = {"column Tile": "coupon", "column Storage": "environment", "column for coupon": "Tile",
             "date order Placed": "day month year", "date order Pulled": "day month year",
             "fill down Pulled": "no", "test": "pull-off-dot"}  # fmt: skip
    found = preview_whole(empty, path, answers=known, signature=signature)
    assert [(question.key, question.answers[0]) for question in found.questions] == [
        ("column for read_on", "same as the pull day")
    ]
    done = begin_from(empty, path, answers=known | {"column for read_on": "same as the pull day"}, signature=signature)
    assert [str(reading.read_on) for reading in done.readings] == ["2025-08-04", "2025-08-05"]
    assert [str(event.on) for event in done.pulls] == ["2025-08-04", "2025-08-05"]


def test_an_answer_to_nothing_of_a_whole_study_is_refused_when_strict(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Questions about a noun carry its name; a noun that is not in the sheet has none."""
    head = "coupon,adhesive,substrate,environment,placed_on,pulled_on,removal_force,read_on\n"
    path = sheet(tmp_path, "M1,Gel Q,oak,store,2025-01-15,2025-04-15,5 N,2025-04-15", head=head)
    known = {"composition class Gel Q": "acrylic gel", "unusual ages": "as typed"}
    found = preview_whole(empty, path, answers=known, signature=signature, strict=True)
    assert "dots" in [question.key for question in found.questions]
    with pytest.raises(Unknown, match="no question “composition class Gel R”") as refused:
        preview_whole(empty, path, answers={"composition class Gel R": "other"}, signature=signature, strict=True)
    assert "Open are: “composition class Gel Q”, “dot diameter mm”" in refused.value.do
