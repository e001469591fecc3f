"""A laboratory's own words: what nobody else knows is asked about, taken as answered, and kept with the layout."""

from __future__ import annotations

import datetime
from pathlib import Path

import openpyxl
import pytest

from study.intake.understanding import Understood, understand

SHEETS = Path(__file__).parent / "nasty" / "sheets"
WORDS = {
    "word leicht": "slight", "word keine": "none found", "side objektteil": "object", "side Sockelbrett": "mount",
    "failure a": "AF", "failure k": "CF", "residue_grade 4?": "3-4", "residue_flags fleck": "stain",
    "residue_flags verlust": "loss", "residue_aids lupe": "10x", "specular mit Glanz": "SCI",
}  # fmt: skip
HEADINGS = {
    "column Prüfling": "coupon", "column Seite": "side", "column Rückstand": "residue_grade",
    "column Fleck": "residue_flags", "column Hilfsmittel": "residue_aids", "column Spekular": "specular",
}  # fmt: skip


def column(found: Understood, name: str) -> list[str]:
    return [row.cells[name] for row in found.table.rows]


def keys(found: Understood) -> set[str]:
    return {question.key for question in found.questions}


def written(folder: Path, text: str, name: str = "sheet.csv") -> Path:
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def test_every_word_of_its_own_is_asked_and_what_was_answered_is_remembered() -> None:
    """Sides alone and behind letters, letters of shares, grades, flags, aids, gloss: then the layout asks nothing."""
    path = SHEETS / "27-own-words.csv"
    first = understand(path, answers=HEADINGS)
    assert keys(first) == set(WORDS)
    found = understand(path, answers=HEADINGS | WORDS)
    assert not found.questions
    assert not found.problems
    assert column(found, "failure_pattern") == ["AF", "CF", "AF 60; CF 40"]
    assert column(found, "side") == ["object", "mount", "object"]
    assert column(found, "residue_grade") == ["2", "0", "3-4"]
    assert column(found, "residue_flags") == ["stain", "", "loss"]
    assert column(found, "residue_aids") == ["10x", "UV-A", "10x"]
    assert column(found, "specular") == ["SCI", "SCI", ""]
    assert column(found, "note")[2] == "removal_force: not measured; residue_grade: typed 4?"
    again = understand(path, layout=found.layout)
    assert not again.questions
    assert again.table.rows == found.table.rows
    assert "Rückstand: “leicht” is slight, from the layout." in again.notes


@pytest.mark.parametrize(
    ("answer", "force", "pattern", "note"),
    [
        ("released by itself", "", "released by itself", ""),
        ("the gauge ran out", ">50", "", "gauge ran out at 50"),
        ("below detection", "<0.05", "", ""),
        ("not measured", "", "", "removal_force: not measured"),
        ("leave blank", "", "", "removal_force: abgestürzt"),
    ],
)
def test_a_word_in_place_of_a_force_means_what_is_answered(
    tmp_path: Path, answer: str, force: str, pattern: str, note: str
) -> None:
    """An event, a bound, a reason, or nothing; until it is said the cell is wrong and its value is not made up."""
    path = written(tmp_path, "Coupon,Date,Force (N),Failure,Side\nAB-1,2025-03-01,5.1,AF,object\n"
                             "AB-2,2025-03-01,Abgestürzt,,\n")  # fmt: skip
    asked = understand(path)
    assert keys(asked) == {"word abgestürzt"}
    assert [(problem.row, problem.value) for problem in asked.problems] == [(3, "Abgestürzt")]
    limits = {"gauge capacity": "50 N", "detection limit": "0.05 N"}
    found = understand(path, answers={"word abgestürzt": answer} | limits)
    assert not found.problems
    row = found.table.rows[1].cells
    assert (row["removal_force"], row["failure_pattern"]) == (force, pattern)
    assert note in row.get("note", "")
    assert column(found, "removal_force")[0] == "5.1"


def test_a_unit_that_is_unknown_is_an_error_until_somebody_says_which_it_is(tmp_path: Path) -> None:
    """Never one to one; once told it is remembered."""
    path = written(tmp_path, "Coupon,Date,Force,Unit\nAB-1,2025-03-01,5.1,N\nAB-2,2025-03-01,0.5,Kraftkilo\n")
    asked = understand(path)
    assert [(problem.row, problem.value) for problem in asked.problems] == [(3, "Kraftkilo")]
    assert keys(asked) == {"unit Kraftkilo"}
    wrong = understand(path, answers={"unit Kraftkilo": "stones"})
    assert wrong.problems
    found = understand(path, answers={"unit Kraftkilo": "kgf"})
    assert column(found, "force_unit") == ["N", "kgf"]
    assert not understand(path, layout=found.layout).problems


def test_failures_that_name_no_side_ask_for_it_once() -> None:
    """An old sheet says AF and no face; one that names it keeps it, shares take what is answered."""
    path = SHEETS / "27-no-side.csv"
    answers = {"column Prüfling": "coupon"}
    assert keys(understand(path, answers=answers)) == {"side"}
    found = understand(path, answers=answers | {"side": "unknown"})
    assert column(found, "side") == ["unknown", "object", "unknown"]
    assert found.layout.side == "unknown"
    assert not understand(path, layout=found.layout).questions


def test_an_area_of_residue_alone_is_graded_or_left_out_as_answered() -> None:
    """The area says a grade of our scale; without the answer nothing is graded, and left out it stays in the note."""
    path = SHEETS / "10-area-alone.csv"
    assert keys(understand(path)) == {"area alone"}
    graded = understand(path, answers={"area alone": "grade by the area"})
    assert column(graded, "residue_grade") == ["3", "0", "2"]
    assert column(graded, "note")[0] == "residue_grade: by area alone"
    left = understand(path, answers={"area alone": "leave out"})
    assert column(left, "residue_area_percent") == ["", "", ""]
    assert column(left, "note")[2] == "residue_area_percent: 2.5"


def test_colours_of_two_illuminants_in_the_headings_are_refused() -> None:
    """Before in D50/2° and after in D65/10° give no difference of colour."""
    found = understand(SHEETS / "26-two-illuminants-in-headings.csv")
    assert [problem.row for problem in found.problems] == [0]
    assert "before: D50/2°, after: D65/10°" in found.problems[0].what


def test_a_workbook_s_numbers_have_no_decimal_sign_but_its_texts_do(tmp_path: Path) -> None:
    """One number typed as text with a comma does not turn the others into a mixture."""
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    day = datetime.date(2025, 3, 1)
    for row in (["Coupon", "Date", "Force (N)"], ["AB-1", day, "3,47"], ["AB-2", day, 2.5], ["AB-3", day, "1,234"]):
        page.append(row)
    path = tmp_path / "book.xlsx"
    book.save(path)
    found = understand(path)
    assert column(found, "removal_force") == ["3.47", "2.5", "1.234"]
    assert not found.problems
    page["C2"] = 3.47
    book.save(path)
    alone = understand(path)
    assert keys(alone) == {"decimal mark"}
    assert column(alone, "removal_force") == ["3.47", "2.5", ""]
    assert column(understand(path, answers={"decimal mark": "thousands comma"}), "removal_force")[2] == "1234"
    assert column(understand(path, layout=found.layout), "removal_force") == ["3.47", "2.5", "1.234"]


def test_headings_that_stand_twice_are_told_apart_by_the_row_below(tmp_path: Path) -> None:
    """L*, a*, b* twice, with before and after below them among the units."""
    path = written(tmp_path, "Coupon,Date,Force,L*,a*,b*,L*,a*,b*\n,,N,before,before,before,after,after,after\n"
                             "AB-1,2025-03-01,5.1,82,1,3,81,1,4\n")  # fmt: skip
    found = understand(path)
    assert (column(found, "L_before"), column(found, "L_after")) == (["82"], ["81"])
    assert "L* after" in found.headings
    assert not found.questions


def test_headings_of_other_tongues_are_known_and_what_may_be_two_things_is_asked(tmp_path: Path) -> None:
    """German, French, Italian and Spanish."""
    for head, doubtful in (
        ("Prüfling;Prüfdatum;Abzugskraft (N);Rückstand (0 = clean);Seite", "Seite"),
        ("Éprouvette;Date d'essai;Force d'arrachement (N);Résidu (0 = clean);Rupture", "Rupture"),
        ("Provino;Data prova;Forza massima (N);Residuo (0 = clean);Lato", "Lato"),
        ("Probeta;Fecha de ensayo;Fuerza máxima (N);Residuos (0 = clean);Lado", "Lado"),
    ):
        found = understand(written(tmp_path, f"{head}\nAB-1;2025-03-01;5,1;1;\n"))
        assert found.table.columns[:3] == ("coupon", "read_on", "removal_force"), head
        assert keys(found) == {f"column {doubtful}"}


def test_only_columns_that_can_hold_it_are_offered_for_the_day_and_the_coupon(tmp_path: Path) -> None:
    """A column of forces is no column of days; any heading is still taken as an answer."""
    lines = "".join(f"T{n};0{n}.03.2025;5,{n};Kork\n" for n in range(1, 6))
    found = understand(written(tmp_path, f"Stück;Wann;Peel force (N);Grund\n{lines}"))
    offered = {question.key: question.answers for question in found.questions}
    assert offered["column for coupon"] == ("Stück",)
    assert offered["column for read_on"] == ("Wann", "a date")
    taken = understand(tmp_path / "sheet.csv", answers={"column for coupon": "Grund", "column for read_on": "Wann"})
    assert column(taken, "coupon")[0] == "Kork"


def test_initials_are_given_names_by_an_answer_and_kept_with_the_layout(tmp_path: Path) -> None:
    """One name, or two that share them; then each sheet asks who it was."""
    path = written(tmp_path, "Coupon,Date,Force (N),Operator\nAB-1,2025-03-01,5.1,QV\n")
    assert "initials QV" in understand(path).asked
    assert column(understand(path, answers={"initials QV": "Quentin Vole"}), "read_by") == ["Quentin Vole"]
    two = {"initials QV": "Quentin Vole; Quilla Vane"}
    assert keys(understand(path, answers=two)) == {"whose QV"}
    found = understand(path, answers=two | {"whose QV": "Quilla Vane"})
    assert column(found, "read_by") == ["Quilla Vane"]
    assert keys(understand(path, layout=found.layout)) == {"initials QV"}


def test_a_bound_in_the_file_is_offered_for_a_gauge_that_ran_out(tmp_path: Path) -> None:
    """>50 in one row says where OL in another may have ended; it is offered and not taken."""
    path = written(tmp_path, "Coupon,Date,Force (N)\nA-1,2025-03-01,>50\nA-2,2025-03-01,OL\n")
    (question,) = understand(path).questions
    assert (question.key, question.answers) == ("gauge capacity", ("50", "a number"))
    assert column(understand(path, answers={"gauge capacity": "50"}), "removal_force") == [">50", ">50"]
