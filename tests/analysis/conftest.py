"""Check values as data: a test marked ``published`` runs once for each row of its file and check."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from study.model.protocol import Criterion, Protocol
from study.model.reading import CouponHistory, Reading

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


class _Coupons:
    """Makes invented coupons with running codes."""

    def __init__(self) -> None:
        self.made = 0

    def __call__(
        self, *, dwell: float = 91, role: str = "test", test: str = "pull-off-dot", lot: str = "L",
        pull_kind: str = "pulled", group: str = "3 months", planned: str | None = None, set_key: str = "S1",
        last_seen: float = 0.0, pattern: tuple[str, str] | None = None,
        colours: tuple[tuple[float, float, float], tuple[float, float, float]] | None = None,
        **values: tuple[float, float, str],
    ) -> CouponHistory:  # fmt: skip
        self.made += 1
        code = f"N{self.made:03d}"
        readings = {
            kind: Reading(code=code, kind=kind, read_on=date(2026, 1, 1), typed=typed, lower=lower, upper=upper)
            for kind, (lower, upper, typed) in values.items()
        }
        if pattern is not None:
            readings["failure_pattern"] = Reading(
                code=code, kind="failure_pattern", read_on=date(2026, 1, 1), typed=pattern[0], pattern=pattern[0],
                side=pattern[1],
            )  # fmt: skip
        for kind, lab in zip(("colour_before", "colour_after"), colours or (), strict=False):
            readings[kind] = Reading(code=code, kind=kind, read_on=date(2026, 1, 1), typed="", lab=lab)
        return CouponHistory(
            code=code, set_key=set_key, role=role, test=test, lot=lot, pull_kind=pull_kind, pull_group=group,
            planned_group=group if planned is None else planned, dwell_days=dwell, last_seen_days=last_seen,
            readings=readings,
        )  # fmt: skip


@pytest.fixture
def coupon() -> _Coupons:
    """A maker of invented coupons."""
    return _Coupons()


def _criterion(**asked: Any) -> Criterion:
    usual: dict[str, Any] = {
        "key": "force", "title": "Removal force", "quantity": "removal_force", "unacceptable": "above", "limit": 20.0,
        "unit": "N", "reason": "invented", "sources": ("common-practice",),
    }  # fmt: skip
    return Criterion(**{**usual, **asked})


@pytest.fixture
def criterion() -> Any:
    """A maker of criteria on removal force."""
    return _criterion


@pytest.fixture
def harm() -> Criterion:
    """Harm to the surface by failure pattern."""
    return _criterion(
        key="harm", title="Harm to the surface", quantity="failure_pattern", unacceptable="any of", limit=None,
        patterns=("SF", "CSF", "DF"), stop_patterns=("SF", "CSF", "DF"),
    )  # fmt: skip


@pytest.fixture
def hold() -> Criterion:
    """Hold angle, for which a release by itself counts."""
    return _criterion(
        key="hold", title="Hold", quantity="hold_angle", unacceptable="below", limit=60.0, unit="°",
        value_scale="as read", release_counts=True, tests=("hold-angle",),
    )  # fmt: skip


@pytest.fixture
def protocol() -> Protocol:
    """The shipped protocol for display dots, built straight from its files."""
    folder = Path(__file__).parent.parent.parent / "protocols"
    written = tomllib.loads((folder / "display-dots.toml").read_text(encoding="utf-8"))
    methods = tomllib.loads((folder / "test_methods.toml").read_text(encoding="utf-8"))["test_method"]
    used = {key for test in written["tests"] for key in (test["method"], *test.get("then_read", []))}
    return Protocol.model_validate({**written, "methods": [m for m in methods if m["key"] in used]})
