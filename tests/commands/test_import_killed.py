"""An import that is killed leaves all of its readings or none, and a chain that holds."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

KILLING = Path(__file__).resolve().parent.parent / "benchmarks" / "killing.py"


def test_killed_a_hundred_times_an_import_is_all_or_nothing() -> None:
    """SIGKILL at seeded moments; some die inside the writing, whose journal is then played back on opening."""
    done = subprocess.run(
        [sys.executable, str(KILLING), "100", "60"],
        capture_output=True, text=True, check=False, cwd=KILLING.parent.parent.parent,
        env={"PYTHONPATH": str(KILLING.parent.parent.parent), "PATH": ""},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "none" in done.stdout
    assert "BETWEEN" not in done.stdout
    assert "UNSOUND" not in done.stdout
