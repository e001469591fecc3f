"""Register and pull by command: a set with its coupons, effects said first, lost and found, undone, pooled."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from study.cli.register import KINDS
from study.commands.opening import open_study
from study.commands.pull import due_pulls
from study.commands.register import ROWS
from study.intake.register_file import columns_of


@pytest.fixture
def waiting(study_path: Path) -> list[str]:
    """Codes of one set due on 15 April 2025, three of each test."""
    with open_study(study_path) as study:
        return list(due_pulls(study, on=date(2025, 4, 15))[0].codes)


@pytest.mark.parametrize("kind", KINDS)
def test_the_help_names_every_column(kind: str) -> None:
    """What the help lists is what a file may have."""
    listed = [name for part in KINDS[kind].split(";") for name in part.replace(" ", "").split(",")]
    assert sorted(listed) == sorted(columns_of(ROWS[kind]))


def test_a_set_with_coupons_by_command(dwellbook: Callable[..., str], study_path: Path) -> None:
    """One line registers a set with three coupons of each of two tests at each of eight pulls, and its particulars."""
    said = dwellbook(
        study_path, "register", "sets", "set=S9", "lot=A-1", "substrate=tile", "environment=store",
        "protocol=display-dots", "placed_on=2025-02-01", "dot_diameter_mm=8", "dots=3", "coupons_per_pull=3",
        "pressing_load_n=20",
    )  # fmt: skip
    assert "With 48 coupons" in said
    assert dwellbook(study_path, "register", "show", "--set", "S9").count("\n") == 49


def test_an_effect_is_said_and_nothing_written(
    dwellbook: Callable[..., str], study_path: Path, waiting: list[str]
) -> None:
    """The loss of one of three is told with its count, and the coupon still waits."""
    said = dwellbook(study_path, "pull", "effect", waiting[0], "--as", "lost", "--on", "2025-04-15")
    assert "then has 2 of 3 pull-off-dot coupons" in said
    assert "no longer carries a decision" in said
    assert waiting[0] in dwellbook(study_path, "pull", "due", "--on", "2025-04-15")


def test_lost_found_kept_and_undone_by_command(
    dwellbook: Callable[..., str], study_path: Path, waiting: list[str]
) -> None:
    """Lost and found in place; lost and kept; pulled in error; undone, with reasons."""
    first, second, third = waiting[:3]
    on = ["--on", "2025-04-15"]
    dwellbook(study_path, "pull", "record", first, second, "--as", "lost", *on)
    assert "waits in its placement again" in dwellbook(study_path, "pull", "found", first, "--why", "Behind the rack.")
    kept = dwellbook(study_path, "pull", "found", second, "--kept", "--on", "2025-04-16", "--why", "In a drawer.")
    assert "is pulled on 2025-04-16" in kept
    assert "Recorded pulled in error" in dwellbook(study_path, "pull", "record", third, "--as", "pulled in error", *on)
    assert "needs a reason" in dwellbook(study_path, "pull", "undo", third, status=2)
    assert "in its placement again" in dwellbook(study_path, "pull", "undo", third, "--why", "Wrong tile.")
    due = dwellbook(study_path, "pull", "due", *on).split("PULLED")[0]
    assert first in due
    assert third in due
    assert second not in due


def test_a_late_pull_asks_for_a_note(dwellbook: Callable[..., str], study_path: Path, waiting: list[str]) -> None:
    """Outside its window a pull is refused until a deviation is noted."""
    late = ["pull", "record", waiting[0], "--on", "2025-05-15"]
    assert "deviation note is needed" in dwellbook(study_path, *late, status=2)
    assert "Recorded pulled" in dwellbook(study_path, *late, "--deviation", "The store was closed.")


def test_lots_are_pooled_by_command(dwellbook: Callable[..., str], study_path: Path) -> None:
    """With a reason, once."""
    assert "needs a reason" in dwellbook(study_path, "register", "pool", "P01", status=2)
    assert "now count together" in dwellbook(study_path, "register", "pool", "P01", "--why", "The line is common.")
    assert "pooled already" in dwellbook(study_path, "register", "pool", "P01", "--why", "Again.", status=2)
