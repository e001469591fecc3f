"""The house: floors, door signs, file sizes, lint, types, and what the wheel carries."""

from __future__ import annotations

import ast
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SOURCES = [path for name in ("study", "dashboard") for path in sorted((ROOT / name).rglob("*.py"))]
TOOLS = Path(sys.executable).parent


def run(*command: str) -> None:
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_arrows_only_point_down() -> None:
    """A floor imports only what lies below it, and use cases never call each other."""
    run(str(TOOLS / "lint-imports"), "--no-cache")


def test_lint_finds_nothing() -> None:
    """The code reads the same everywhere."""
    run(str(TOOLS / "ruff"), "check", ".")
    run(str(TOOLS / "ruff"), "format", "--check", ".")


def test_types_agree() -> None:
    """What a function says it takes and gives is what its callers use."""
    run(str(TOOLS / "mypy"))


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_room_has_a_door_sign(path: Path) -> None:
    """A file begins with one sentence in trade words and is short enough to read in one go."""
    text = path.read_text("utf-8")
    assert text.startswith('"""'), "nothing stands before the door sign"
    assert ast.get_docstring(ast.parse(text)), "the first line says what lives here"
    assert len(text.splitlines()) <= 360


def test_the_wheel_carries_everything_a_user_needs(tmp_path: Path) -> None:
    """Protocols, demo data and every asset of the dashboard are found in the wheel."""
    from hatchling.builders.wheel import WheelBuilder

    (wheel,) = WheelBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"])
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder, inside in (("protocols", "study/"), ("demo_data", "study/"), ("dashboard/assets", "")):
        wanted = {f"{inside}{p.relative_to(ROOT)}" for p in (ROOT / folder).iterdir() if p.is_file()}
        assert wanted
        assert wanted <= names
