"""The command line: the whole path from an empty folder to a duration, and refusals with status 2."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from study.cli.main import app
from study.errors import Unanswered
from study.resources import folder

ROOT = Path(__file__).resolve().parents[2]
runner = CliRunner()


def dwellbook(*arguments: str, study: Path | None = None, status: int = 0) -> str:
    """Output of one command, run as a person runs it; refusals come on standard error."""
    environment = {"DWELLBOOK_BY": "R. Vale", **({"DWELLBOOK_STUDY": str(study)} if study else {})}
    done = runner.invoke(app, list(arguments), env=environment)
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == status, done.output
    return done.output


def test_the_whole_path_from_files_to_a_duration(tmp_path: Path) -> None:
    """Begin, register, pull, read, decide, check and copy a study with commands and files alone."""
    study, data = tmp_path / "study.sqlite", folder("demo_data")
    assert "Next: dwellbook register" in dwellbook("begin", str(study))
    for kind in ("adhesives", "lots"):
        dwellbook("register", kind, str(data / f"{kind}-2023.csv"), study=study)
    for kind in ("substrates", "environments"):
        dwellbook("register", kind, str(data / f"{kind}.csv"), study=study)
    for kind in ("sets", "coupons"):
        out = dwellbook("register", kind, str(data / f"{kind}-2023.csv"), study=study)
    assert re.search(r"Registered 9\d\d coupons", out)
    for pulls in sorted(data.glob("pulls-2023-*.csv")):
        dwellbook("pull", "import", str(pulls), study=study)
    for readings in sorted(data.glob("readings-2023-*.csv")):
        assert "Entered" in dwellbook("read", "import", str(readings), study=study)
    steps = dwellbook("decide", "show", "P02", study=study)
    assert "11 months" in steps
    assert "not an earthquake rating" in steps
    assert "Decision 1 for P02: 11 months" in dwellbook("decide", "issue", "P02", "--why", "Planned.", study=study)
    assert "recomputed the same" in dwellbook("decide", "check", study=study)
    assert "verified" in dwellbook("keep", "copy", str(tmp_path / "copy.sqlite"), study=study)
    assert "issue decision: P02  because Planned." in dwellbook("keep", "log", study=study)


def test_the_bench_by_command(study_path: Path) -> None:
    """Due, pulled, read, corrected and traced, one coupon at a time."""
    due = dwellbook("pull", "due", "--on", "2025-04-15", study=study_path)
    assert "DUE" in due
    code = next(line for line in due.splitlines() if "coupons:" in line).split()[2]
    dwellbook("pull", "record", code, "--on", "2025-04-15", study=study_path)
    said = dwellbook(
        "read", "enter", code, "removal_force=51.0 N", "residue_grade=1", "--on", "2025-04-16", study=study_path
    )
    assert "Removal force: " in said
    assert "P0" in dwellbook("read", "effect", code, "removal_force", "5.10 N", study=study_path)
    assert "P0" in dwellbook("read", "effect", code, "removal_force=5.10 N", study=study_path)
    dwellbook("read", "correct", code, "removal_force", "--why", "Slip.", "--yes", study=study_path, status=2)
    told = dwellbook("read", "correct", code, "removal_force=5.10 N", "--why", "Slip.", study=study_path, status=1)
    assert "Go on?" in told
    assert "Nothing was written." in told
    dwellbook("read", "correct", code, "removal_force", "5.10 N", "--why", "Slip.", "--yes", study=study_path)
    history = dwellbook("read", "history", code, study=study_path)
    assert "corrected removal force: “51.0 N” → “5.10 N”  by R. Vale on " in history
    assert "Why: Slip." in history
    beside = ("residue_grade", "residue_flags=loss", "note=")
    assert "P0" in dwellbook("read", "effect", code, *beside, study=study_path)
    told = dwellbook("read", "correct", code, *beside, "--why", "Seen late.", "--yes", study=study_path)
    assert "“1” is superseded by “1” with residue_flags=loss, note=." in told
    assert "→ “1” (loss)" in dwellbook("read", "history", code, study=study_path)
    dwellbook("read", "withdraw", code, "removal_force", "--why", "Another coupon's.", "--yes", study=study_path)
    again = ("read", "enter", code, "removal_force=510 N", "--on", "2025-04-16")
    with pytest.raises(Unanswered, match="Answer “unusual”"):
        dwellbook(*again, study=study_path)
    told_alone = run_alone(*again, "--study", str(study_path), "--by", "R. Vale", cwd=study_path.parent)
    assert told_alone.returncode == 2
    assert '--answer "unusual=as typed"' in told_alone.stderr
    assert "Removal force" in dwellbook(*again, "--answer", "unusual=as typed", study=study_path)
    assert "Residue" in dwellbook("analyse", "show", "P01", study=study_path)
    dwellbook("register", "note", "environment", "store", "Lamp out.", "--on", "2025-05-01", study=study_path)
    dwellbook("register", "status", "gel-a", "discontinued", "--why", "Letter.", study=study_path)
    assert "Nothing to pull" in dwellbook("pull", "due", "--on", "2025-01-20", study=study_path)
    undone = dwellbook(
        "pull", "record", "--as", "lost", "--on", "2025-04-15", due.split("coupons: ")[1].split()[1], study=study_path
    )
    assert "Recorded lost" in undone


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["decide", "show", "P99"], "not a pairing with coupons"),
        (["read", "history", "AAAA-3"], "check character"),
        (["read", "import", "none.csv"], "cannot be read"),
        (["keep", "copy", "/nowhere/at/all.sqlite"], "could not be written"),
        (["decide", "issue", "P01"], "needs a reason"),
        (["pull", "due", "--on", "yesterday"], "is not a date"),
        (["register", "lots", "A-2"], "cannot be read"),
        (["serve", "--host", "0.0.0.0"], "this machine"),
    ],
)
def test_a_refusal_ends_with_status_two_and_words(study_path: Path, arguments: list[str], words: str) -> None:
    """A refusal says what happened and what to do, on standard error, with status 2 and no traceback."""
    if arguments[0] == "serve":
        arguments = ["serve", str(study_path), *arguments[1:]]
    else:
        arguments = [*arguments, "--study", str(study_path)]
    code = "from study.cli.main import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, cwd=ROOT, check=False,
        env={"DWELLBOOK_BY": "R. Vale", "PATH": "", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.returncode == 2, done.stderr
    assert words in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr


def run_alone(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """One command in a process of its own, with its two outputs apart."""
    code = "from study.cli.main import run; run()"
    environment = {"PYTHONPATH": str(ROOT), "PATH": ""}
    return subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, cwd=cwd, check=False, env=environment
    )


def test_a_table_is_answered_in_json_alone(tmp_path: Path) -> None:
    """With --json nothing but JSON stands on standard output; progress goes to standard error."""
    days = (30, 91, 182, 365, 548, 730, 913, 1095)
    lines = ["d,ok,n"] + [f"{day},yes,5" for day in days]
    (tmp_path / "t.csv").write_text("\n".join(lines) + "\n", "utf-8")
    done = run_alone(
        "analyse", "table", "t.csv", "--dwell", "d", "--acceptable", "ok", "--count", "n", "--json", cwd=tmp_path
    )
    assert done.returncode == 0, done.stderr
    (group,) = json.loads(done.stdout)["groups"]
    assert set(group) == {
        "group", "n", "unacceptable", "dropped", "curve", "pulls", "lifetimes", "bound", "decline", "duration",
    }  # fmt: skip
    assert not group["bound"]["exact"]
    assert "studies" in done.stderr
    plain = run_alone("analyse", "table", "t.csv", "--dwell", "d", "--acceptable", "ok", "--count", "n", cwd=tmp_path)
    assert "provisional" in plain.stdout
    assert "because nothing unacceptable was seen yet" in plain.stdout


def test_bad_cells_of_a_table_leave_standard_output_empty(tmp_path: Path) -> None:
    """Status 2, every bad cell on standard error, nothing on standard output."""
    (tmp_path / "t.csv").write_text("d,ok\nx,yes\n30,perhaps\n", "utf-8")
    done = run_alone("analyse", "table", "t.csv", "--dwell", "d", "--acceptable", "ok", "--json", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "row 2, d" in done.stderr
    assert "row 3, ok" in done.stderr
    wrong = run_alone("analyse", "table", "t.csv", "--dwell", "d", "--shape", "wide", cwd=tmp_path)
    assert (wrong.returncode, wrong.stdout) == (2, "")


def test_nobody_writes_without_a_name(study_path: Path) -> None:
    """Where no name is given and nobody can be asked, nothing is written."""
    done = runner.invoke(
        app, ["register", "lots", "lot=A-2", "adhesive=gel-a", "--study", str(study_path)], env={"DWELLBOOK_BY": ""}
    )
    assert "Nobody's name" in str(done.exception)


def test_help_stays_light() -> None:
    """Asking for help loads no numerical or page library, so that it answers at once."""
    code = (
        "import sys; from study.cli.main import run\n"
        "try: run()\nexcept SystemExit: pass\n"
        "heavy = {'pandas', 'numpy', 'scipy', 'lifelines', 'plotly', 'dash', 'sqlite_utils', 'skimage'}\n"
        "heavy &= set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "--help"], capture_output=True, text=True, cwd=ROOT, check=False,
        env={"PYTHONPATH": str(ROOT), "PATH": ""},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_the_readme_lists_the_commands_there_are() -> None:
    """Every command in the README's list exists, and every command there is stands in the list."""
    text = (ROOT / "README.md").read_text("utf-8")
    block = text.split("<!-- commands -->")[1].split("```")[1].strip().splitlines()[1:]
    listed = {tuple(line.split("#")[0].split()[1:3]) for line in block if line.startswith("dwellbook")}
    import typer.main

    group = typer.main.get_command(app)
    there = set()
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        below = getattr(command, "commands", None)
        there |= {(name, sub) for sub in below} if below else {(name,)}
    assert {entry if entry in there else entry[:1] for entry in listed} == there
