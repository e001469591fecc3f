"""Read, imports: sheets of any layout taken whole, versions compared, layouts remembered, nothing lost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from study.commands.pull import record_pulls
from study.commands.read import verdict_counts
from study.commands.read_correct import correct_reading, withdraw_reading
from study.commands.read_import import CORRECT, LEAVE, import_file, import_readings, layouts, preview
from study.errors import FileRefused, NotPossible, Unanswered, Unknown
from study.model.person import Signature
from study.store.changes import fetch_changes
from study.store.coupons import fetch_coupons
from study.store.imports import count_readings, fetch_last_import, fetch_sheet
from study.store.readings import fetch_in_force, fetch_readings
from study.store.study_file import StudyFile

PULLED = date(2025, 4, 15)
HEAD = "Specimen;Date tested;Peel force (N);Failure mode;Side;Residue;Operator;Comment\n"
SCALE = {"residue scale": "0 to 5, 0 is clean"}
Sheet = Callable[..., Path]


def rows_of(codes: list[str]) -> list[str]:
    return [f"{code};16/04/2025;5,{place};AF;object;1;R. Vale;" for place, code in enumerate(codes)]


def test_a_laboratory_s_sheet_is_previewed_then_taken_and_its_layout_remembered(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """The preview writes nothing and shows cells beside what they mean; the next sheet is asked nothing."""
    path = sheet(*rows_of(dots[:3]))
    before = study.last_change()
    asked = preview(study, path, signature=signature)
    assert [question.key for question in asked.questions] == ["residue scale"]
    assert not asked.ready
    with pytest.raises(Unanswered, match="residue scale"):
        import_file(study, path, signature=signature)
    ready = preview(study, path, answers=SCALE, signature=signature)
    assert ready.ready
    assert (ready.rows, ready.coupons, ready.readings) == (3, 3, 9)
    first = ready.first[1]
    assert (first.row, first.in_file[2], first.understood["removal_force"]) == (3, "5,1", "5.1")
    assert study.last_change() == before
    done = import_file(study, path, answers=SCALE, remember="march sheets", signature=signature)
    assert len(done.readings) == 9
    assert study.last_change() == before + 1
    assert fetch_in_force(study, dots[1])["removal_force"].lower == 5.1
    kept = fetch_last_import(study, path.name)
    assert kept is not None
    assert fetch_sheet(study, kept) == path.read_bytes()
    layout, by, _ = layouts(study)["march sheets"]
    assert by == "R. Vale"
    assert layout.columns["Peel force (N)"] == "removal_force"
    later = sheet(*rows_of(dots[3:5]), name="april.csv")
    assert len(import_file(study, later, layout="march sheets", signature=signature).readings) == 6


def test_an_unknown_layout_is_refused_with_those_known(study: StudyFile, sheet: Sheet, signature: Signature) -> None:
    """A name that was never remembered does nothing."""
    with pytest.raises(Unknown, match="none yet"):
        import_file(study, sheet("x;y"), layout="march", signature=signature)


def test_a_layout_under_a_taken_name_supersedes_it(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """The older one stays on file, superseded; only the newer answers to the name."""
    import_file(study, sheet(*rows_of(dots[:1])), answers=SCALE, remember="ours", signature=signature)
    other = "Piece,Day,Max force (gf)\n"
    path = sheet(f"{dots[1]},2025-04-16,510", name="may.csv", head=other)
    answers = {"column Piece": "coupon", "column Day": "read_on", "unusual": "as typed"}
    import_file(study, path, answers=answers, remember="ours", signature=signature)
    assert "Max force (gf)" in layouts(study)["ours"][0].columns
    counts = study.rows("SELECT count(*) AS n, sum(superseded_change IS NULL) AS now FROM layouts")[0]
    assert (counts["n"], counts["now"]) == (2, 1)


# Task 19: codes as people type them


@pytest.mark.parametrize("typed", ["as it is", "spaced", "lower case", "full width", "en dash", "no dash"])
def test_19_spellings_of_a_code_are_one_code(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature, typed: str
) -> None:
    """Case, spaces, an en dash and full-width letters name the same coupon."""
    code = dots[0]
    wide = "".join(chr(ord(c) + 0xFEE0) if c.isalnum() else c for c in code)
    spelled = {
        "as it is": code, "spaced": f" {code} ", "lower case": code.lower(), "full width": wide,
        "en dash": code.replace("-", "–"), "no dash": code.replace("-", " "),
    }  # fmt: skip
    path = sheet(f"{spelled[typed]};16/04/2025;5,1;AF;object;;;")
    import_file(study, path, signature=signature)
    assert set(fetch_in_force(study, code)) == {"removal_force", "failure_pattern"}


@pytest.mark.parametrize(("typed", "meant"), [("AB-O12", "AB012"), ("12", "AB012"), ("AB-O12 ", "AB012")])
def test_19_near_marks_are_offered_and_never_merged(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature, typed: str, meant: str
) -> None:
    """O for 0 and zeros lost in front: the mark that is near is named, the row is refused, nothing is written."""
    study.db.execute("UPDATE coupons SET own_mark = 'AB-012' WHERE code = ?", [dots[0]])
    study.db.conn.commit()
    taken = import_file(study, sheet("ab 012;16/04/2025;5,1;AF;object;;;"), signature=signature)
    assert taken.readings[0].code == dots[0]
    path = sheet(f"{typed};16/04/2025;5,1;AF;object;;;", name="other.csv")
    with pytest.raises(FileRefused, match=f"Did you mean {meant}") as refused:
        import_file(study, path, signature=signature)
    assert refused.value.problems[0].row == 2
    assert count_readings(study) == 2


# Task 20: the same coupon twice


def test_20_the_same_coupon_twice_is_asked_about(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """Four answers, four outcomes; without one nothing is written."""
    path = sheet(*(f"{dots[0]};16/04/2025;{force};AF;object;;;" for force in ("5,1", "5,9")))
    found = preview(study, path, signature=signature)
    assert [(q.key, q.answers) for q in found.questions] == [
        ("repeats", ("repeat reading", "correction", "duplicate", "second dot"))
    ]
    assert preview(study, path, answers={"repeats": "duplicate"}, signature=signature).readings == 2
    corrected = preview(study, path, answers={"repeats": "correction"}, signature=signature)
    assert corrected.first[0].understood["removal_force"] == "5.9"
    second = preview(study, path, answers={"repeats": "second dot"}, signature=signature)
    assert any(f"{dots[0]} dot 2" in problem.value for problem in second.problems)
    done = import_file(study, path, answers={"repeats": "repeat reading"}, signature=signature)
    force = fetch_in_force(study, dots[0])["removal_force"]
    assert force.lower == 5.1
    assert "repeat in row 3: removal_force 5.9" in force.details.note
    assert any("whose reading counts" in note for note in done.notes)


def test_20_a_second_dot_goes_to_its_own_coupon(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A coupon whose own mark is that of the second dot takes it."""
    study.db.execute("UPDATE coupons SET own_mark = ? WHERE code = ?", [f"{dots[0]} dot 2", dots[1]])
    study.db.conn.commit()
    path = sheet(*(f"{dots[0]};16/04/2025;{force};AF;object;;;" for force in ("5,1", "5,9")))
    import_file(study, path, answers={"repeats": "second dot"}, signature=signature)
    assert [fetch_in_force(study, code)["removal_force"].lower for code in dots[:2]] == [5.1, 5.9]


def test_20_a_grade_read_again_stands_as_the_second_grade_and_a_colour_as_another_spot(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """The worse grade counts; several spots are averaged; nothing of a repeat is lost."""
    head = "coupon,read_on,residue_grade,L_after,a_after,b_after,comment\n"
    rows = [f"{dots[0]},2025-04-16,1,90,0.1,1,", f"{dots[0]},2025-04-17,3,92,0.3,3,"]
    path = sheet(*rows, head=head)
    import_file(study, path, answers={"repeats": "repeat reading"} | SCALE, signature=signature)
    found = fetch_in_force(study, dots[0])
    assert found["residue_second"].lower == 3.0
    assert found["colour_after"].lab == pytest.approx((91.0, 0.2, 2.0))
    assert len(found["colour_after"].details.spots) == 2


# Task 21: the same file again, and another version of it


def test_21_the_same_bytes_under_another_name_are_refused_politely(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """Who took it and when; by the preview as well."""
    path = sheet(*rows_of(dots[:1]))
    import_file(study, path, answers=SCALE, signature=signature)
    again = sheet(*rows_of(dots[:1]), name="copy.csv")
    for way in (import_file, preview):
        with pytest.raises(NotPossible, match=r"taken already by R. Vale on 2026-03-02"):
            way(study, again, answers=SCALE, signature=signature)


@pytest.mark.parametrize("answer", [CORRECT, LEAVE])
def test_21_a_later_version_is_shown_as_a_difference(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature, answer: str
) -> None:
    """New rows are entered, changed cells are corrections if agreed to, rows that are gone stay and are said."""
    import_file(study, sheet(*rows_of(dots[:3])), answers=SCALE, signature=signature)
    rows = rows_of(dots[:5])
    path = sheet(rows[0].replace("5,0", "6,0"), rows[2], rows[3], rows[4])
    found = preview(study, path, answers=SCALE, signature=signature)
    assert found.difference is not None
    assert len(found.difference.added) == 2
    assert [row.cells["coupon"] for row in found.difference.removed] == [dots[1]]
    assert [cell.words() for cell in found.difference.cells] == [f"row 2, {dots[0]}, removal_force: “5.0” → “6.0”"]
    assert [question.answers for question in found.questions] == [(CORRECT, LEAVE)]
    assert any(dots[1] in line and "stay in the study" in line for line in found.will)
    with pytest.raises(Unanswered, match="changed cells"):
        import_file(study, path, answers=SCALE, signature=signature)
    before = study.last_change()
    done = import_file(study, path, answers=SCALE | {"changed cells": answer}, signature=replace(signature, why=""))
    assert study.last_change() == before + 1
    assert len(done.readings) == 6
    assert fetch_in_force(study, dots[1])["removal_force"].typed == "5.1"
    trail = [(r.typed, who["why"]) for r, who in fetch_readings(study, dots[0]) if r.kind == "removal_force"]
    if answer == LEAVE:
        assert trail == [("5.0", None)]
        assert done.corrected == ()
    else:
        assert [typed for typed, _ in trail] == ["5.0", "6.0"]
        assert "later version of march.csv" in str(trail[0][1])
        change = fetch_changes(study, newest=1)[0]
        assert f'"{dots[0]} removal_force": "5.0"' in change["before"]


def test_21_a_cell_filled_later_is_entered_and_one_already_corrected_by_hand_is_left(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """What the file now says and the study says already is no correction."""
    import_file(study, sheet(f"{dots[0]};16/04/2025;5,0;;;;;"), signature=signature)
    correct_reading(study, dots[0], "removal_force", "5.5 N", signature=signature)
    path = sheet(f"{dots[0]};16/04/2025;5,5;AF;object;;;")
    done = import_file(study, path, answers={"changed cells": CORRECT}, signature=signature)
    assert [reading.kind for reading in done.readings] == ["failure_pattern"]
    forces = [r for r, _ in fetch_readings(study, dots[0]) if r.kind == "removal_force"]
    assert [r.lower for r in forces][:2] == [5.0, 5.5]
    assert fetch_in_force(study, dots[0])["removal_force"].lower == 5.5


def test_21_no_version_of_a_sheet_changes_back_what_a_person_changed_since(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A note typed beside it in the sheet brings back neither a wrong force nor a grade that was taken back."""
    head = "coupon,read_on,removal_force,force_unit,residue_grade,note\n"
    rows = [f"{dots[0]},2025-04-16,5.1,N,1,", f"{dots[1]},2025-04-16,5.2,N,1,", f"{dots[2]},2025-04-16,5.3,N,1,"]
    import_file(study, sheet(*rows, head=head), signature=signature)
    correct_reading(study, dots[0], "removal_force", "5.7 N", signature=signature)
    withdraw_reading(study, dots[1], "residue_grade", signature=signature)
    path = sheet(*(f"{row}seen again" for row in rows), head=head)
    asked = {"changed cells": CORRECT}
    told = [f"{dots[0]} removal force is left at “5.7 N”, which did not come from {path.name}.",
            f"{dots[1]} residue grade was taken back since, and stays so."]  # fmt: skip
    assert preview(study, path, answers=asked, signature=signature).will[-2:] == tuple(told)
    done = import_file(study, path, answers=asked, signature=signature)
    assert (list(done.notes), len(done.corrected)) == (told, 4)
    assert fetch_in_force(study, dots[0])["removal_force"].typed == "5.7 N"
    assert "residue_grade" not in fetch_in_force(study, dots[1])
    assert fetch_in_force(study, dots[2])["removal_force"].details.note == "seen again"


def test_21_readings_in_force_are_passed_over_and_what_differs_is_told(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """The rest of a half typed sheet enters; another value, day, pattern or area beside a grade is a conflict."""
    head = "coupon,read_on,removal_force,force_unit,failure_pattern,side,residue_grade,residue_area_percent,note\n"
    had = [f"{code},2025-04-16,5.{n},N,AF,object,1,,wiped" for n, code in enumerate(dots[:2])]
    import_file(study, sheet(*had, head=head, name="first.csv"), signature=signature)
    typed = [
        f"{dots[0]},2025-04-16,5000,mN,AF,object,1,,",  # the same in another unit, the note blank: nothing is new
        f"{dots[1]},2025-04-16,5.1,N,,,,,seen again",  # the note otherwise
        f"{dots[2]},2025-04-16,5.2,N,AF,object,0,,",
    ]
    path = sheet(*typed, head=head, name="second.csv")
    said = (
        "4 readings are in the study already, with the same values; 3 are new.",
        "1 of them has another note, instrument, reader or room in the file; the study keeps its own.",
    )
    found = preview(study, path, signature=signature)
    assert (found.will, found.ready, found.readings) == (said, True, 3)
    before, last = fetch_in_force(study, dots[0]), study.last_change()
    done = import_file(study, path, signature=signature)
    assert (done.passed, done.coupons, study.last_change()) == (said, {dots[2]}, last + 1)
    assert (fetch_in_force(study, dots[0]), count_readings(study)) == (before, 9)
    with pytest.raises(NotPossible):
        import_file(study, path, signature=signature)
    for cells, column in (
        ("2025-04-16,5.01,N,AF,object,1,,", "removal_force"),
        ("2025-04-17,,,,,1,,", "residue_grade"),
        ("2025-04-16,5.0,N,AF,mount,1,,", "failure_pattern"),
        ("2025-04-16,5.0,N,AF,object,1,3,", "residue_grade"),
    ):
        with pytest.raises(FileRefused) as refused:
            import_file(study, sheet(f"{dots[0]},{cells}", head=head, name="third.csv"), signature=signature)
        assert [(p.row, p.column) for p in refused.value.problems] == [(2, column)]
        assert "in the study already" in refused.value.problems[0].what
    twice = [f"{dots[0]},2025-04-16,5.0,N,,,,,", f"{dots[0]},2025-04-16,5.0,N,,,,,"]
    with pytest.raises(FileRefused, match="row 3, removal_force"):
        import_file(study, sheet(*twice, head=head, name="fourth.csv"), signature=signature)


def test_21_another_sheet_under_an_old_name_is_no_version_of_it(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """No coupon in common: it is simply entered."""
    import_file(study, sheet(*rows_of(dots[:2])), answers=SCALE, signature=signature)
    found = preview(study, sheet(*rows_of(dots[2:4])), answers=SCALE, signature=signature)
    assert found.difference is None
    assert found.ready


# Task 28: dates out of order


@pytest.mark.parametrize("day", ["14/04/2025", "14/01/2025", "16/04/2030"])
def test_28_a_reading_before_its_pull_or_after_today_is_refused(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature, day: str
) -> None:
    """A hard error in its cell, in the sheet's own words."""
    path = sheet(f"{dots[0]};{day};5,0;AF;object;;;")
    with pytest.raises(FileRefused) as refused:
        import_file(study, path, signature=signature)
    assert [(p.row, p.column) for p in refused.value.problems] == [(2, "Date tested")]
    assert count_readings(study) == 0


def test_28_a_reading_long_after_its_pull_is_asked_about(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A year later may be a slip: it is taken once somebody says so, and carries a mark."""
    path = sheet(f"{dots[0]};16/02/2026;5,0;AF;object;;;")
    with pytest.raises(Unanswered, match="may be a wrong year"):
        import_file(study, path, signature=signature)
    import_file(study, path, answers={"unusual": "as typed"}, signature=signature)
    assert "kept as typed" in fetch_in_force(study, dots[0])["removal_force"].details.marks[0]


# Task 31: places in the memory of a gauge


def test_31_places_in_a_gauge_s_memory_are_no_coupons(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """1, 2, 3 down the first column: asked, and as numbers of the gauge refused whole."""
    path = sheet("1,5.1,2025-04-16", "2,5.3,2025-04-16", "3,5.2,2025-04-16", head="Sample,Peak (N),Date\n")
    found = preview(study, path, signature=signature)
    assert [question.key for question in found.questions] == ["coupon numbers"]
    with pytest.raises(FileRefused, match="memory of a gauge"):
        import_file(study, path, answers={"coupon numbers": "numbers of the gauge"}, signature=signature)
    assert count_readings(study) == 0


# Task 33: one pull read in two sessions


def test_33_a_pull_read_in_two_sessions_is_one_pull(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """Coupons read a week later than the others keep their own day and the dwell of their pull."""
    first = [row.replace("16/04", "16/04") for row in rows_of(dots[:3])]
    second = [row.replace("16/04", "23/04") for row in rows_of(dots[3:])]
    import_file(study, sheet(*first), answers=SCALE, signature=signature)
    import_file(study, sheet(*second, name="week-later.csv"), answers=SCALE, signature=signature)
    rows = study.rows("SELECT DISTINCT read_on, dwell_days FROM readings_now ORDER BY read_on")
    assert [(row["read_on"], row["dwell_days"]) for row in rows] == [("2025-04-16", 90), ("2025-04-23", 90)]


# What cannot be entered, all of it at once


def test_every_problem_of_sheet_and_study_is_told_at_once_in_the_sheet_s_words(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A coupon never pulled, one read already, an unknown code, a word that is no number."""
    import_file(study, sheet(f"{dots[0]};16/04/2025;5,0;;;;;", name="first.csv"), signature=signature)
    waiting = next(c.code for c in fetch_coupons(study).values() if c.set_key == "tile" and c.test == "pull-off-dot")
    path = sheet(
        f"{waiting};16/04/2025;5,0;;;;;",
        f"{dots[0]};16/04/2025;5,5;;;;;",
        "QQQQ-Q;16/04/2025;5,0;;;;;",
        f"{dots[1]};16/04/2025;five;;;;;",
    )
    found = preview(study, path, signature=signature)
    wanted = {(2, "Specimen"), (3, "Peel force (N)"), (4, "Specimen"), (5, "Peel force (N)")}
    assert {(p.row, p.column) for p in found.problems} >= wanted
    with pytest.raises(FileRefused):
        import_file(study, path, signature=signature)
    assert count_readings(study) == 1


def test_a_released_coupon_in_a_sheet_is_an_event_and_must_agree_with_its_pull(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """Recorded as released by itself the words are passed over; recorded as pulled they are a problem."""
    other = [c.code for c in fetch_coupons(study).values() if c.set_key == "tile" and c.test == "pull-off-dot"]
    record_pulls(study, other[:1], kind="released by itself", on=PULLED, last_seen="2025-03-01", signature=signature)
    path = sheet(f"{other[0]};16/04/2025;released before test;;;2;;", f"{dots[0]};16/04/2025;5,0;;;1;;")
    import_file(study, path, answers=SCALE, signature=signature)
    assert set(fetch_in_force(study, other[0])) == {"residue_grade"}
    path = sheet(f"{dots[1]};16/04/2025;fell off before test;;;1;;", name="other.csv")
    with pytest.raises(FileRefused, match="recorded as pulled"):
        import_file(study, path, answers=SCALE, signature=signature)


def test_the_same_attempt_twice_saves_once(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A button pressed again after a lost connection writes nothing more and refuses nothing."""
    path = sheet(*rows_of(dots[:2]))
    first = import_file(study, path, answers=SCALE, token="once", signature=signature)
    second = import_file(study, path, answers=SCALE, token="once", signature=signature)
    assert (len(first.readings), len(second.readings)) == (6, 0)
    assert count_readings(study) == 6


def test_our_own_columns_stay_strict_and_layouts_belong_to_others(
    study: StudyFile, dots: list[str], tmp_path: Path, signature: Signature
) -> None:
    """A decimal comma in our own columns is refused with what to write; there is no layout to remember."""
    path = tmp_path / "ours.csv"
    path.write_text(f'coupon,read_on,removal_force\n{dots[0]},2025-04-16,"5,1 N"\n', "utf-8")
    with pytest.raises(FileRefused, match=r"Write 5\.1"):
        import_readings(study, path, signature=signature)
    path.write_text(f"coupon,read_on,removal_force\n{dots[0]},2025-04-16,5.1 N\n", "utf-8")
    with pytest.raises(NotPossible, match="own columns"):
        import_file(study, path, remember="ours", signature=signature)
    assert len(import_readings(study, path, signature=signature)) == 1


def test_our_own_columns_saved_by_a_spreadsheet_of_another_language_are_understood(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """Semicolons, decimal commas and days rewritten on saving are read as what they were; in doubt they are asked."""
    head = "coupon;read_on;removal_force;force_unit;residue_grade\n"
    saved = sheet(f"{dots[0]};16.04.2025;5,12;N;1", f"{dots[1]};16.04.2025;5,4;N;3-4", head=head)
    import_file(study, saved, signature=signature)
    found = fetch_in_force(study, dots[0])
    assert (found["removal_force"].lower, found["removal_force"].read_on) == (5.12, date(2025, 4, 16))
    assert found["residue_grade"].lower == 1
    doubtful = sheet(f"{dots[2]};05/06/2025;5,12;N;1", head=head, name="later.csv")
    assert preview(study, doubtful, signature=signature).questions
    american = sheet(f"{dots[2]},4/16/2025,5.2,N", head="coupon,read_on,removal_force,force_unit\n", name="us.csv")
    import_file(study, american, signature=signature)
    assert fetch_in_force(study, dots[2])["removal_force"].read_on == date(2025, 4, 16)


def test_a_scale_turned_round_is_said_again_where_a_layout_remembers_it(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A grade 5 that becomes 0 is never silent."""
    answers = {"residue scale": "0 to 5, 5 is clean"}
    import_file(study, sheet(*rows_of(dots[:2])), answers=answers, remember="turned", signature=signature)
    later = import_file(study, sheet(*rows_of(dots[2:4]), name="b.csv"), layout="turned", signature=signature)
    assert any("5 is clean" in note and "1 is 4" in note for note in later.notes)


def test_progress_is_said_step_by_step(study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature) -> None:
    """Reading, checking, writing and closing, each in words."""
    said: list[str] = []
    import_file(study, sheet(*rows_of(dots)), answers=SCALE, signature=signature, progress=said.append)
    assert [line.split(" ")[0] for line in said] == ["reading", "checking", "writing", "closing"]


def test_a_verdict_follows_an_import(study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature) -> None:
    """What a batch shows is told from the study itself."""
    path = sheet(*(row.replace(";1;R", ";4;R") for row in rows_of(dots[:2])))
    done = import_file(study, path, answers=SCALE, signature=signature)
    assert verdict_counts(study, done.coupons)[0] == "Residue: 2 unacceptable"
