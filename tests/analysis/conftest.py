"""Check values as data: a test marked ``published`` runs once for each row of its file and check."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parent.parent / "published"
KINDS = ("published", "hand-worked", "other-program", "common-practice", "from-memory", "frozen")


def published_rows(file: str, check: str) -> list[Any]:
    """The rows of one check, those left out kept as skips with their reason."""
    rows = tomllib.loads((FOLDER / file).read_text(encoding="utf-8"))["case"]
    chosen = [row for row in rows if row["check"] == check]
    assert chosen, f"{file} has no row for {check}"
    return [
        pytest.param(row, id=row["name"], marks=[pytest.mark.skip(reason=row["left_out"])] if "left_out" in row else [])
        for row in chosen
    ]


def pytest_configure(config: pytest.Config) -> None:
    """Make the mark known."""
    config.addinivalue_line("markers", "published(file, check): runs once for each row of tests/published/file")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give each marked test its rows."""
    mark = metafunc.definition.get_closest_marker("published")
    if mark is not None:
        metafunc.parametrize("row", published_rows(*mark.args))
