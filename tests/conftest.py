"""What every test may use: a signature with a fixed moment, a small study, and the demo study."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import settings

from study.commands.opening import begin_study, open_study
from study.commands.register import register_one
from study.model.person import Signature
from study.store.study_file import StudyFile

# The same examples at every run, so that the suite says the same of the same code. HYPOTHESIS=explore looks for others.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS", "steady"))

PLACED = date(2025, 1, 15)


@pytest.fixture(scope="session")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that all workers of a test run share."""
    mine = tmp_path_factory.getbasetemp()
    return mine.parent if "PYTEST_XDIST_WORKER" in os.environ else mine


@pytest.fixture(scope="session", autouse=True)
def own_memo(run: Path) -> Iterator[None]:
    """Estimates of a test run are kept for that run alone, and shared by its workers."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DWELLBOOK_MEMO", str(run / "memo"))
        yield


@pytest.fixture(scope="session")
def signature() -> Signature:
    """An invented conservator's signature at a fixed moment, with a reason."""
    return Signature(by="R. Vale", at=datetime(2026, 3, 2, 9, 30, tzinfo=UTC), why="Because the test needs it.")


@pytest.fixture(scope="session")
def small_master(tmp_path_factory: pytest.TempPathFactory, signature: Signature) -> Path:
    """A small study, written once a run: one gel on two surfaces, three coupons a test at two pulls, none pulled."""
    path = tmp_path_factory.mktemp("small") / "small.sqlite"
    begin_study(path, institution="An invented museum", signature=signature)
    entries = [
        ("adhesives", "adhesive=gel-a|name=Gel A|composition_class=acrylic gel|formulation_version=1"),
        ("lots", "lot=A-1|adhesive=gel-a|cure_hours=24"),
        ("substrates", "substrate=sheet|name=acrylic sheet|preparation=cleaned|stands_for=display surface"),
        ("substrates", "substrate=tile|name=glazed tile|preparation=cleaned|stands_for=object"),
        ("environments", "environment=store|name=store, dark"),
    ]
    common = (
        f"lot=A-1|environment=store|protocol=display-dots|placed_on={PLACED}|dot_diameter_mm=8|dots=3|dwell_load_n=2"
    )
    entries += [("sets", f"set={name}|substrate={name}|{common}") for name in ("sheet", "tile")]
    entries += [
        ("coupons", f"set={name}|test={test}|pull={pull}|count=3")
        for name in ("sheet", "tile")
        for test in ("pull-off-dot", "hold-angle")
        for pull in ("3 months", "12 months")
    ]
    with open_study(path) as study:
        for kind, text in entries:
            register_one(study, kind, dict(part.split("=", 1) for part in text.split("|")), signature=signature)
    return path


@pytest.fixture
def study_path(small_master: Path, tmp_path: Path) -> Path:
    """A small study of the test's own."""
    return Path(shutil.copy(small_master, tmp_path / "small.sqlite"))


@pytest.fixture
def study(study_path: Path) -> Iterator[StudyFile]:
    """The small study, open."""
    with open_study(study_path) as opened:
        yield opened


@dataclass(frozen=True)
class Demo:
    """A demo study file and the day it takes for today."""

    file: Path
    today: date


def written_once(run: Path, name: str, *, leave_out: tuple[str, ...] = ()) -> Demo:
    """A demo study, written by the worker that comes first; the others wait for it."""
    from study.cli.demo import write_demo

    file, day = run / f"{name}.sqlite", run / f"{name}.today"
    with FileLock(run / f"{name}.lock"):
        if not day.exists():
            day.write_text(write_demo(file, leave_out=leave_out).isoformat())
    return Demo(file, date.fromisoformat(day.read_text()))


@pytest.fixture(scope="session")
def demo(run: Path) -> Demo:
    """The demo study; tests that write to it take a copy."""
    return written_once(run, "dwellbook-demo")


@pytest.fixture(scope="session")
def demo_master(run: Path) -> Path:
    """The demo study without its objects on show."""
    return written_once(run, "bare-demo", leave_out=("display", "remove")).file


@pytest.fixture
def demo_path(demo_master: Path, tmp_path: Path) -> Path:
    """A demo study of the test's own."""
    return Path(shutil.copy(demo_master, tmp_path / "demo.sqlite"))
