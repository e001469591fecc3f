"""The demo: written once, replaced by itself, never over a real study."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from study.cli.demo import write_demo
from study.commands.display import standings
from study.commands.opening import open_study
from study.errors import NotPossible
from study.resources import folder

ROOT = Path(__file__).resolve().parents[2]


def test_the_demo_prints_every_pairing_and_ends(tmp_path: Path) -> None:
    """With --once the demo writes its study, prints the durations with the cautions, and ends."""
    code = "from study.cli.main import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", code, "demo", "--once"], capture_output=True, text=True, cwd=tmp_path, check=False,
        env={"PYTHONPATH": str(ROOT), "PATH": "", "DWELLBOOK_MEMO": os.environ["DWELLBOOK_MEMO"]},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "dwellbook-demo.sqlite").is_file()
    for words in ("P01", "P13", "supported", "provisional", "not shown", "stopped", "invented", "earthquake"):
        assert words in done.stdout
    with open_study(tmp_path / "dwellbook-demo.sqlite") as study:
        states = {state.state for state in standings(study, on=date(2026, 11, 24)).states}
    assert states == {"within", "due", "overdue", "no evidence", "removed"}


def test_a_real_study_is_never_replaced_by_the_demo(study_path: Path) -> None:
    """Where a study lies that is no demo, the demo refuses and leaves it alone."""
    before = study_path.read_bytes()
    with pytest.raises(NotPossible, match="left alone"):
        write_demo(study_path)
    assert study_path.read_bytes() == before


def test_the_files_are_what_the_generator_makes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The invented files in the repository are, byte for byte, what the seeded generator writes."""
    source = folder("demo_data")
    spec = importlib.util.spec_from_file_location("make_demo", source / "make_demo.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "make_demo", made)
    spec.loader.exec_module(made)
    monkeypatch.setattr(made, "HERE", tmp_path)
    made.main()
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {path.name for path in source.iterdir() if path.suffix in (".csv", ".toml")}
    for name in names:
        assert (tmp_path / name).read_bytes() == (source / name).read_bytes(), name
