"""The commands of an import: preview, questions with their answers, layouts, a wide sheet, export, templates."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from study.cli.main import app
from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.imports import count_readings

RUNNER = CliRunner()
SCALE = ("--answer", "residue scale=0 to 5, 0 is clean")


def run(*words: str, study: Path, code: int = 0) -> str:
    """One command on a study, its two outputs together."""
    done = RUNNER.invoke(app, [*words], env={"DWELLBOOK_STUDY": str(study), "DWELLBOOK_BY": "R. Vale"})
    told = done.output + (str(done.exception) if done.exception and not isinstance(done.exception, SystemExit) else "")
    assert done.exit_code == code, told
    return told


@pytest.fixture
def sheet(study_path: Path, tmp_path: Path, signature: Signature) -> Path:
    """A laboratory's sheet of three pulled coupons."""
    with open_study(study_path) as study:
        codes = [c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot"][:3]
        record_pulls(study, codes, kind="pulled", on=signature.at.date(), signature=signature)
    path = tmp_path / "lab.csv"
    rows = "".join(f"{code};03/03/2026;5,{n};1\n" for n, code in enumerate(codes))
    path.write_text("Specimen;Date tested;Force (N);Residue\n" + rows.replace("03/03", "15/03"), "utf-8")
    return path


def test_a_sheet_is_previewed_answered_imported_and_its_layout_listed(study_path: Path, sheet: Path) -> None:
    """Status 2 while a question is open, with the words that answer it; the layout is there for the next sheet."""
    told = run("read", "preview", str(sheet), study=study_path, code=2)
    assert '--answer "residue scale=0 to 5, 0 is clean"' in told
    assert "row 2: Specimen" in told
    told = run("read", "import", str(sheet), study=study_path, code=2)
    assert "Nothing was written: 1 question first." in told
    told = run("read", "preview", str(sheet), *SCALE, study=study_path)
    assert "3 rows of 3 coupons: 6 readings would be entered." in told
    told = run("read", "import", str(sheet), *SCALE, "--remember", "bench", study=study_path)
    assert "Entered 6 readings of 3 coupons from lab.csv." in told
    assert "bench" in run("read", "layouts", study=study_path)
    assert "Force (N) → removal_force" in run("read", "layouts", "bench", study=study_path)
    assert "There is no layout" in run("read", "layouts", "other", study=study_path, code=1)
    with open_study(study_path) as study:
        assert count_readings(study) == 6


def test_an_export_and_a_template_are_written(study_path: Path, sheet: Path, tmp_path: Path) -> None:
    """A file that lies there is left alone."""
    run("read", "import", str(sheet), *SCALE, study=study_path)
    out = tmp_path / "out.csv"
    assert "Wrote 6 readings to out.csv." in run("read", "export", str(out), study=study_path)
    assert out.read_text("utf-8").startswith("coupon,read_on,removal_force,force_unit,residue_grade")
    assert "already there" in run("read", "export", str(out), study=study_path, code=1)
    assert run("read", "template", study=study_path).startswith("coupon,read_on,removal_force")
    assert run("read", "template", "--wide", study=study_path).startswith("coupon,adhesive,")
    filled = run("read", "template", "--set", "sheet", "--pull", "3 months", study=study_path)
    assert len(filled.strip().splitlines()) == 7


def test_a_wide_sheet_is_shown_first_and_entered_with_yes(study_path: Path, tmp_path: Path) -> None:
    """Without --yes it says what it would make and writes nothing."""
    path = tmp_path / "wide.csv"
    head = (
        "coupon,adhesive,formulation_version,composition_class,substrate,preparation,stands_for,environment,placed_on,"
    )
    head += "pulled_on,dot_diameter_mm,dots,read_on,removal_force\n"
    rows = [
        f"W-{n},Wax Z,1,other,slate,as found,object,cellar,2025-01-15,2025-04-15,8,3,2025-04-16,5.{n} N\n" for n in "12"
    ]
    path.write_text(head + "".join(rows), "utf-8")
    told = run("read", "begin-from", str(path), study=study_path)
    assert "1 set, 2 coupons, 2 pulls, 2 readings; this adhesive is new: Wax Z" in told
    assert "repeat it with --yes" in told
    with open_study(study_path) as study:
        assert count_readings(study) == 0
    assert "Entered 1 set, 2 coupons" in run("read", "begin-from", str(path), "--yes", study=study_path)
    told = run("read", "begin-from", str(path), "--yes", study=study_path, code=1)
    assert "taken already by R. Vale" in told


def test_a_sheet_in_words_of_its_own_asks_and_blames_nothing(study_path: Path, sheet: Path) -> None:
    """While it is asked which column holds the coupons, no coupon is called wrong, and the header is the sheet's."""
    text = sheet.read_text("utf-8").replace("Specimen;Date tested;Force (N);Residue", "Kachel;Wann;Wieviel;Belag")
    sheet.write_text("Pruefplatz 2;;;\n;;;\n" + text, "utf-8")
    told = run("read", "preview", str(sheet), study=study_path, code=2)
    assert '--answer "column for coupon=Kachel"' in told
    assert "is not a coupon code" not in told
    assert "row 4: Kachel “" in told
    assert "nothing yet: the questions below come first" in told


def test_an_answer_to_nothing_is_refused_with_the_open_keys(study_path: Path, sheet: Path) -> None:
    """A key mistyped, and a column that is none of ours; a question that a sheet merely does not raise is no fault."""
    wrong = ("--answer", "residu scale=0 to 5, 0 is clean")
    for command in ("preview", "import"):
        told = run("read", command, str(sheet), *wrong, study=study_path, code=1)
        assert "lab.csv raises no question “residu scale”." in told
        assert "Open is: “residue scale”." in told
        assert "0 is clean" in run("read", command, str(sheet), "--answer", "zone=UTC", study=study_path, code=2)
    told = run("read", "preview", str(sheet), *SCALE, "--answer", "column Residue=residu", study=study_path, code=2)
    assert "“residu” does not answer it" in told
    assert '--answer "column Residue=residue_grade"' in told
    told = run("read", "preview", str(sheet), *SCALE, "--answer", "colum Residue=note", study=study_path, code=1)
    assert "No question is open. Did you mean “column Residue”" in told


def test_a_column_left_out_is_told_with_the_option_as_typed(study_path: Path, sheet: Path) -> None:
    """The option takes it; the columns that it can be are named, and none that is taken."""
    lines = sheet.read_text("utf-8").splitlines()
    sheet.write_text("\n".join([f"{lines[0]};Qwx", *(f"{line};seen" for line in lines[1:])]) + "\n", "utf-8")
    told = run("read", "preview", str(sheet), *SCALE, study=study_path)
    assert "- Left out: “Qwx”." in told
    option = next(line for line in told.splitlines() if "To take one:" in line)
    assert '--answer "column Qwx=COLUMN"' in option
    free = option.partition("one of ")[2].rstrip(".").split(", ")
    assert "note" in free
    assert not {"coupon", "removal_force"} & set(free)
    assert "note seen" in run("read", "preview", str(sheet), *SCALE, "--answer", "column Qwx=note", study=study_path)
