"""Check values: every row names its kind, its source and why its tolerance is what it is."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

FILES = sorted((Path(__file__).parent.parent / "published").glob("*.toml"))
KINDS = {"published", "hand-worked", "other-program", "common-practice", "from-memory", "frozen"}
SOURCES = tomllib.loads(
    (Path(__file__).parent.parent.parent / "protocols" / "sources.toml").read_text(encoding="utf-8")
)


@pytest.mark.parametrize(
    "file", [f for f in FILES if f.stem in ("tolerance", "curve", "decline", "pass_fail", "colour", "pooling")]
)
def test_rows_say_where_they_come_from(file: Path) -> None:
    """A check value without a source is only a claim."""
    for row in tomllib.loads(file.read_text(encoding="utf-8"))["case"]:
        assert row["kind"] in KINDS, row["name"]
        assert row["source"] in SOURCES, row["name"]
        assert row["where"], row["name"]
        assert row["because"], row["name"]
        assert row["expected"], row["name"]
        assert row["tolerance"] >= 0, row["name"]
