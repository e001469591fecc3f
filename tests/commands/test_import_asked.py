"""Read, imports: what is asked comes before what rests on it, rows with nothing in them do no harm, names are told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from study.commands.read_import import import_file, layouts, preview
from study.commands.register_instruments import register_instrument
from study.errors import FileRefused, Unanswered
from study.model.person import Signature
from study.store.readings import fetch_in_force
from study.store.study_file import StudyFile

HEAD = "Specimen;Date tested;Peel force (N);Residue;Gauge\n"
SCALE = {"residue scale": "0 to 5, 0 is clean"}
Sheet = Callable[..., Path]


def keys(found: object) -> list[str]:
    return [question.key for question in getattr(found, "questions", ())]


def test_nothing_is_asked_of_a_value_that_may_yet_be_read_otherwise(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """1,234 N is unusual only if its comma is one of thousands: that is asked first, and alone."""
    path = sheet(f"{dots[0]}\t2025-04-16\t1,234", head="Specimen\tDate tested\tPeel force (N)\n", name="a.txt")
    assert keys(preview(study, path, signature=signature)) == ["decimal mark"]
    answers = {"decimal mark": "thousands comma"}
    assert keys(preview(study, path, answers=answers, signature=signature)) == ["unusual"]


def test_a_refused_import_says_what_it_asks_besides(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A word for a force is wrong where it stands, and asked about; both come in the same go."""
    path = sheet(f"{dots[0]};2025-04-16;5.1;1;", f"{dots[1]};2025-04-16;kaputt;1;")
    with pytest.raises(FileRefused) as refused:
        import_file(study, path, answers=SCALE, signature=signature)
    assert [problem.row for problem in refused.value.problems] == [3]
    assert keys(refused.value) == ["word kaputt"]
    done = import_file(study, path, answers=SCALE | {"word kaputt": "not measured"}, signature=signature)
    assert len(done.readings) == 3


def test_rows_without_a_reading_are_passed_over_and_said(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A spreadsheet's error, a reason, an empty row of a template: nothing is lost, and nothing is refused for it."""
    path = sheet(f"{dots[0]};2025-04-16;5.1;1;", f"{dots[1]};2025-04-16;#N/A;;", f"{dots[2]};2025-04-16;;n/a;",
                 f"{dots[3]};;;;")  # fmt: skip
    done = import_file(study, path, answers=SCALE, signature=signature)
    assert {reading.code for reading in done.readings} == {dots[0]}
    assert "Rows 3, 4 and 5 hold no reading and were passed over." in done.notes
    assert "Peel force (N): no value in row 3 (spreadsheet error #N/A)." in done.notes


def test_a_sheet_of_no_reading_at_all_names_the_columns_that_were_left_out(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """One sentence for the file instead of one a row."""
    path = sheet(f"{dots[0]};2025-04-16;5", f"{dots[1]};2025-04-16;4", head="Specimen;Date tested;Zustand\n")
    found = preview(study, path, signature=signature)
    assert [(problem.row, "“Zustand”" in problem.do) for problem in found.problems] == [(0, True)]


def test_a_cell_left_blank_for_a_problem_raises_no_second_one(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """Two orders of dates, two decimal marks: the cells are named, and nothing is said to be missing."""
    path = sheet(f"{dots[0]};04/16/2025;5.1;;", f"{dots[1]};16/04/2025;5,2;;")
    found = preview(study, path, signature=signature)
    assert {(p.row, p.column) for p in found.problems} == {
        (0, ""), (2, "Date tested"), (3, "Date tested"), (2, "Peel force (N)"), (3, "Peel force (N)"),
    }  # fmt: skip


def test_numbers_of_a_gauge_are_not_offered_as_coupons(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """While it is asked what 1, 2, 3 are, no coupon with such a number in its mark is suggested."""
    study.db.execute("UPDATE coupons SET own_mark = 'AB-001' WHERE code = ?", [dots[0]])
    study.db.conn.commit()
    path = sheet("1;2025-04-16;5.1;;", "2;2025-04-16;5.2;;")
    found = preview(study, path, signature=signature)
    assert keys(found) == ["coupon numbers"]
    assert not found.problems
    marks = preview(study, path, answers={"coupon numbers": "marks of coupons"}, signature=signature)
    assert "Did you mean AB001" in marks.problems[0].do
    memory = preview(study, path, answers={"coupon numbers": "numbers of the gauge"}, signature=signature)
    assert [problem.row for problem in memory.problems] == [0]


def test_another_version_of_a_sheet_is_understood_as_the_first_was(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """What was answered for a file of that name is not asked again; an answer still goes before it."""
    first = sheet(f"{dots[0]};2025-04-16;5.1;1;", f"{dots[1]};2025-04-16;5.3;2;")
    import_file(study, first, answers=SCALE, signature=signature)
    later = sheet(f"{dots[0]};2025-04-16;5.1;1;", f"{dots[1]};2025-04-16;5.3;3;")
    found = preview(study, later, signature=signature)
    assert keys(found) == ["changed cells"]
    assert found.difference is not None
    assert [(cell.row, cell.before, cell.after) for cell in found.difference.cells] == [(3, "2", "3")]
    other = preview(study, later, answers={"residue scale": "0 to 5, 5 is clean"}, signature=signature)
    assert other.first[1].understood["residue_grade"] == "2"


def test_another_sheet_of_the_same_name_is_asked_about_anew(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """No coupon in common: what was said of the scale of the first sheet says nothing of the second."""
    first = sheet(f"{dots[0]};2025-04-16;5.1;4;", name="book.csv")
    import_file(study, first, answers={"residue scale": "0 to 5, 5 is clean"}, signature=signature)
    assert fetch_in_force(study, dots[0])["residue_grade"].lower == 1
    other = sheet(f"{dots[1]};2025-04-16;5.2;1;", name="book.csv")
    assert keys(preview(study, other, signature=signature)) == ["residue scale"]
    with pytest.raises(Unanswered):
        import_file(study, other, signature=signature)


def test_an_instrument_that_is_asked_about_is_not_refused_besides(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """One question for all its cells, and no problem of its own."""
    register_instrument(study, {"instrument": "g1", "name": "gauge", "measures": "force"}, signature=signature)
    path = sheet(f"{dots[0]};2025-04-16;5.1;1;Blue gauge", f"{dots[1]};2025-04-16;5.1;1;Blue gauge")
    found = preview(study, path, answers=SCALE, signature=signature)
    assert keys(found) == ["instrument Blue gauge"]
    assert found.problems == ()


def test_an_instrument_by_another_name_is_asked_about_and_remembered(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """One that is registered under its own name is known; another is told apart once, or kept in the note."""
    register_instrument(
        study, {"instrument": "gauge-2", "name": "FG 50", "measures": "force"}, signature=signature
    )  # fmt: skip
    rows = [f"{code};2025-04-16;5.{n};;{gauge}" for n, (code, gauge) in enumerate(
        zip(dots, ("fg 50", "blue one", "blue one", "old one"), strict=False))]  # fmt: skip
    path = sheet(*rows)
    asked = preview(study, path, signature=signature)
    assert keys(asked) == ["instrument blue one", "instrument old one"]
    assert asked.questions[0].answers == ("gauge-2", "keep in the note")
    answers = {"instrument blue one": "gauge-2", "instrument old one": "keep in the note"}
    import_file(study, path, answers=answers, remember="ours", signature=signature)
    details = [fetch_in_force(study, code)["removal_force"].details for code in dots[:4]]
    assert [one.instrument for one in details] == ["gauge-2", "gauge-2", "gauge-2", ""]
    assert details[3].note == "instrument: old one"
    assert layouts(study)["ours"][0].words["instrument"]["blue one"] == "gauge-2"
    april = sheet(f"{dots[4]};2025-04-17;5.1;;Blue One", name="april.csv")
    import_file(study, april, layout="ours", signature=signature)
    assert fetch_in_force(study, dots[4])["removal_force"].details.instrument == "gauge-2"


def test_a_difference_does_not_take_a_told_instrument_for_another(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """The earlier version is read with the same words, so that only what was changed is different."""
    answers = {"instrument old one": "keep in the note"}
    import_file(study, sheet(f"{dots[0]};2025-04-16;5.1;;old one"), answers=answers, signature=signature)
    later = sheet(f"{dots[0]};2025-04-16;5.1;;old one", f"{dots[1]};2025-04-16;5.4;;old one")
    found = preview(study, later, signature=signature)
    assert found.difference is not None
    assert not found.difference.cells
    assert found.readings == 1


def test_an_import_that_only_asks_writes_nothing(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """A side nobody told: no reading is made up."""
    path = sheet(f"{dots[0]};2025-04-16;AF", head="Specimen;Date tested;Failure mode\n")
    before = study.last_change()
    with pytest.raises(Unanswered, match="name no side"):
        import_file(study, path, signature=signature)
    assert study.last_change() == before
    import_file(study, path, answers={"side": "mount"}, signature=signature)
    assert fetch_in_force(study, dots[0])["failure_pattern"].side == "mount"


def test_a_file_with_line_ends_of_old_makes_is_read(
    study: StudyFile, dots: list[str], tmp_path: Path, signature: Signature
) -> None:
    """Carriage returns alone, in our own columns and in a laboratory's."""
    ours, theirs = tmp_path / "ours.csv", tmp_path / "theirs.csv"
    ours.write_bytes(f"coupon,read_on,removal_force,force_unit\r{dots[0]},2025-04-16,5.1,N\r".encode())
    theirs.write_bytes(f"Specimen,Date tested,Peel force (N)\r{dots[1]},2025-04-16,5.1\r".encode())
    for path in (ours, theirs):
        assert len(import_file(study, path, signature=signature).readings) == 1


def test_a_cell_of_forty_thousand_characters_fits_into_a_sentence(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """As a note it is kept whole; as a coupon it is refused in one line."""
    long = "y" * 40_000
    head = "Specimen;Date tested;Peel force (N);Comment\n"
    import_file(study, sheet(f"{dots[0]};2025-04-16;5.1;{long}", head=head), signature=signature)
    assert fetch_in_force(study, dots[0])["removal_force"].details.note == long
    with pytest.raises(FileRefused) as refused:
        import_file(study, sheet(f"{long};2025-04-16;5.1;", head=head, name="b.csv"), signature=signature)
    assert len(str(refused.value)) < 1000


def test_a_room_that_cannot_be_is_told_in_words(
    study: StudyFile, dots: list[str], sheet: Sheet, signature: Signature
) -> None:
    """104 % and 900 °C: the limit, and nothing about inputs."""
    path = sheet(f"{dots[0]};2025-04-16;5.1;104;21", f"{dots[1]};2025-04-16;5.1;50;900",
                 head="Specimen;Date tested;Peel force (N);RH;Temp\n")  # fmt: skip
    found = preview(study, path, signature=signature)
    assert [(p.row, p.column, p.what) for p in found.problems] == [
        (2, "RH", "is above 100."),
        (3, "Temp", "is above 80."),
    ]
