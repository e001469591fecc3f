"""What happened under way stands beside the evidence on Analyse and Decide: changed criteria, a lamp that was out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.book import Book
from dashboard.pages import analyse, decide
from study.commands.opening import open_study
from study.commands.pull_interrupt import interrupt
from study.commands.register_amend import amend_protocol
from study.intake.protocol_file import known_protocols
from study.model.person import Signature

Said = Callable[[Any], str]


@pytest.fixture
def amended(study_path: Path, tmp_path: Path, signature: Signature) -> Book:
    """A study whose first pairing was amended and whose room was without light."""
    text = known_protocols()["display-dots"].read_text("utf-8").replace('version = "2"', 'version = "3"')
    path = tmp_path / "third.toml"
    path.write_text(text.replace("limit = 20.0", "limit = 25.0"), "utf-8")
    with open_study(study_path) as study:
        amend_protocol(study, "P01", path, from_on=date(2026, 3, 1), signature=signature)
        interrupt(
            study, "store", "light out", from_on=date(2025, 3, 1), to_on=date(2025, 3, 9), signature=signature
        )  # fmt: skip
    return Book(study_file=study_path, today=lambda: date(2026, 3, 2))


@pytest.mark.parametrize("page", [analyse, decide])
def test_changed_criteria_stand_on_the_page(amended: Book, said: Said, page: Any) -> None:
    """Limit before and after, the day, how many readings had been seen, by whom and why; the other pairing has none."""
    shown = said(page.layout(amended, pairing="P01"))
    assert "On record" in shown
    assert (
        "Criteria changed on 1\u202fMar\u202f2026, before any reading had been seen: removal force: limit 20 → 25"
        in shown
    )
    assert "R. Vale, 2\u202fMar\u202f2026: Because the test needs it." in shown
    other = said(page.layout(amended, pairing="P02"))
    assert "Criteria changed" not in other
    assert (
        "Light out in store, dark, 1\u202fMar\u202f2025 to 9\u202fMar\u202f2025 (9 days): the clock of dwell ran on."
        in other
    )
