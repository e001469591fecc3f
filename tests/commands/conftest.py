"""What several tests of use cases begin with: an empty study, coupons just pulled, a laboratory's sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from study.commands.opening import begin_study, open_study
from study.commands.pull import record_pulls
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.study_file import StudyFile


@pytest.fixture
def empty(tmp_path: Path, signature: Signature) -> Iterator[StudyFile]:
    """A study with nothing in it."""
    path = tmp_path / "empty.sqlite"
    begin_study(path, institution="An invented museum", signature=signature)
    with open_study(path) as study:
        yield study


@pytest.fixture
def dots(study: StudyFile, signature: Signature) -> list[str]:
    """Six dot coupons of the set on acrylic sheet, all pulled."""
    codes = [c.code for c in fetch_coupons(study).values() if (c.set_key, c.test) == ("sheet", "pull-off-dot")]
    record_pulls(study, codes, kind="pulled", on=date(2025, 4, 15), signature=signature)
    return codes


@pytest.fixture
def sheet(tmp_path: Path, request: pytest.FixtureRequest) -> Callable[..., Path]:
    """Writes a laboratory's sheet under the file's own HEAD: rows as they come, in text of any separator."""

    def written(*rows: str, name: str = "march.csv", head: str = request.module.HEAD) -> Path:
        path = tmp_path / name
        path.write_text(head + "".join(f"{row}\n" for row in rows), "utf-8")
        return path

    return written
