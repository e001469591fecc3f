"""The plan commands: from a template to coupons on shelves, and refusals with status 2."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from typer.testing import CliRunner

from study.cli.main import app
from study.errors import DwellbookError

PLAN = """
name = "tiles-2026"
title = "Gel on a tile"
adhesives = ["gel-a"]
substrates = ["tile"]
environments = ["store"]
pulls = "1, 3, 6 months"
[coupons]
"pull-off-dot" = 4
[controls]
time_zero = 3
spare_share = 0.1
"""
runner = CliRunner()


def dwellbook(*arguments: str, study: Path | None = None) -> tuple[str, str]:
    """Standard output and standard error of one command."""
    environment = {"DWELLBOOK_BY": "R. Vale", "DWELLBOOK_STUDY": str(study) if study else None}
    done = runner.invoke(app, list(arguments), env=environment)
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.stdout, done.stderr


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A small plan for what the small study has registered."""
    path = tmp_path / "plan.toml"
    path.write_text(PLAN, "utf-8")
    return path


def test_the_template_is_counted(tmp_path: Path) -> None:
    """What is printed can be read back, and its numbers stand in one place."""
    printed, _ = dwellbook("plan", "template")
    (tmp_path / "t.toml").write_text(printed, "utf-8")
    said, _ = dwellbook("plan", "size", str(tmp_path / "t.toml"))
    assert "256 test coupons" in said
    assert "448 coupons" in said
    assert "common practice" in said
    assert "Next: dwellbook plan support" in said


def test_a_plan_is_tried_out(file: Path) -> None:
    """Chances with their error, what was assumed, and other designs beside it."""
    said, _ = dwellbook(
        "plan", "support", str(file), "--decline", "fast", "--only", "removal", "--studies", "40", "--jobs", "1",
        "--wanted", "3 months", "--compare",
    )  # fmt: skip
    assert "not a finding" in said
    assert "Chance to show 3 months: " in said
    assert "Other designs" in said
    assert "From 40 invented studies, seed 1" in said


def test_fewest_coupons_are_suggested(file: Path) -> None:
    """The search and its answer."""
    said, _ = dwellbook(
        "plan", "suggest", str(file), "--wanted", "3 months", "--only", "removal", "--studies", "40", "--jobs", "1",
        "--chance", "0.6",
    )  # fmt: skip
    assert "Looked at 3 to 12 coupons per pull" in said
    assert "Fewest found: " in said


def test_a_plan_is_saved_made_and_dealt_anew(file: Path, study_path: Path) -> None:
    """Coupons come out as CSV with pull and place; again only with a reason."""
    said, _ = dwellbook("plan", "save", str(file), "--seed", "5", study=study_path)
    assert "kept with seed 5" in said
    made, told = dwellbook("plan", "make", "tiles-2026", "--on", "2026-02-02", study=study_path)
    rows = list(csv.DictReader(io.StringIO(made)))
    assert len(rows) == 12 + 3 + 2
    assert sum(row["pull"] == "3 months" for row in rows) == 4
    assert "17 coupons in 3 sets, seed 5" in told
    again, told = dwellbook("plan", "make", "tiles-2026", "--on", "2026-02-02", study=study_path)
    assert again == made
    assert "nothing was written" in told
    with pytest.raises(DwellbookError, match="needs a reason"):
        dwellbook("plan", "make", "tiles-2026", "--again", "--seed", "6", study=study_path)
    moved, told = dwellbook(
        "plan", "make", "tiles-2026", "--again", "--seed", "6", "--why", "Shelves were moved.", study=study_path
    )
    assert moved != made
    assert "dealt anew" in told


def test_labels_that_are_not_right_any_more_are_told(file: Path, study_path: Path) -> None:
    """Where another plan supersedes one whose labels may have been printed, and not before."""
    _, told = dwellbook("plan", "save", str(file), "--seed", "5", study=study_path)
    assert "Caution" not in told
    _, told = dwellbook("plan", "save", str(file), "--seed", "6", "--why", "Drawn by lot.", study=study_path)
    assert "Caution: Labels printed before are not right any more for 17 of 17 coupons" in told
    assert "Caution: A shelf map printed before" in told


def test_a_pairing_lends_its_decline(file: Path, demo_path: Path) -> None:
    """The study is opened for it alone."""
    said, _ = dwellbook(
        "plan", "support", str(file), "--decline", "P01", "--only", "removal", "--studies", "20", "--jobs", "1",
        study=demo_path,
    )  # fmt: skip
    assert "As P01 declined" in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["support", "FILE", "--decline", "odd"], "not a picture of decline"),
        (["support", "FILE", "--wanted", "soon"], "“soon” is no duration"),
        (["support", "FILE", "--only", "smell"], "not a criterion"),
        (["support", "FILE", "--cell", "a,b,c"], "not a cell"),
        (["size", "none.toml"], "cannot be read"),
    ],
)
def test_refusals_say_what_and_where(file: Path, arguments: list[str], words: str) -> None:
    """In words, before any work."""
    with pytest.raises(DwellbookError, match=words):
        dwellbook("plan", *[str(file) if part == "FILE" else part for part in arguments])
