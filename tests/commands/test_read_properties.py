"""Whatever is entered, corrected and taken back, in any order: nothing typed is ever lost, and the chain closes."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read import record_reading
from study.commands.read_correct import correct_reading, withdraw_reading
from study.errors import DwellbookError
from study.model.person import Signature
from study.store.chain import broken_links
from study.store.coupons import fetch_coupons
from study.store.readings import fetch_in_force, fetch_readings

SIGNED = Signature(by="R. Vale", at=datetime(2026, 3, 2, 9, 30, tzinfo=UTC), why="Because the test needs it.")
TYPED = {
    "removal_force": st.floats(1.0, 15.0).map(lambda force: f"{force:.3f} N"),
    "residue_grade": st.sampled_from(["0", "1", "2", "3-4", "5"]),
    "failure_pattern": st.sampled_from(["AF object", "CF both", "CF 60 object; AF 40 mount"]),
}
ACTS = st.one_of(
    *(
        st.tuples(st.sampled_from(["enter", "correct"]), st.just(kind), values)
        for kind, values in TYPED.items()
    ),
    st.tuples(st.just("take back"), st.sampled_from(sorted(TYPED)), st.just("")),
)  # fmt: skip


@pytest.fixture
def pulled(study_path: Path) -> tuple[bytes, str]:
    """The small study with one coupon pulled, as bytes to begin each example from."""
    with open_study(study_path) as study:
        code = next(iter(fetch_coupons(study)))
        record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=SIGNED)
    return study_path.read_bytes(), code


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts=st.lists(ACTS, min_size=1, max_size=8))
def test_no_reading_is_ever_lost(pulled: tuple[bytes, str], tmp_path: Path, acts: list[tuple[str, str, str]]) -> None:
    """After each act everything typed before is on file, word for word, and at most one of a kind is in force."""
    content, code = pulled
    path = tmp_path / "study.sqlite"
    path.write_bytes(content)
    typed: list[tuple[str, str]] = []
    force: dict[str, str] = {}
    with open_study(path) as study:
        for act, kind, value in acts:
            done = _done(study, code, act, kind, value)
            anew = act != "correct" or force.get(kind) != value
            assert done == (anew and (act == "enter") != (kind in force))
            if done and act != "take back":
                typed.append((kind, value))
                force[kind] = value
            elif done:
                del force[kind]
            assert [(reading.kind, reading.typed) for reading, _ in fetch_readings(study, code)] == typed
            assert {kind: reading.typed for kind, reading in fetch_in_force(study, code).items()} == force
        assert list(broken_links(study.db.conn)) == []


def _done(study: Any, code: str, act: str, kind: str, value: str) -> bool:
    try:
        if act == "enter":
            cells = {kind: value}
            record_reading(study, code, cells, read_on=date(2025, 4, 16), signature=SIGNED, answers=ANSWERED)
        elif act == "correct":
            correct_reading(study, code, kind, value, signature=SIGNED, answers=ANSWERED)
        else:
            withdraw_reading(study, code, kind, signature=SIGNED)
    except DwellbookError:
        return False
    return True


ANSWERED = {"unusual": "as typed"}
