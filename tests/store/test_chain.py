"""The chain finds what was altered, added or removed behind the program's back, and names the change."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from study.store.chain import _bytes, _rows_text, broken_links, chain_head
from study.store.study_file import StudyFile


@pytest.fixture
def opened(demo_path: Path, tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """A copy of the demo with every guard taken away, as somebody with an SQLite tool could do."""
    copy = tmp_path / "study.sqlite"
    copy.write_bytes(demo_path.read_bytes())
    with StudyFile(copy) as study:
        connection = study.db.conn
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("PRAGMA foreign_keys = OFF")
        yield connection


def test_an_untouched_study_has_no_broken_link(opened: sqlite3.Connection) -> None:
    """Whatever acts the demo holds, its chain closes and its head is the newest change."""
    assert list(broken_links(opened)) == []
    assert chain_head(opened)[0] == opened.execute("SELECT max(number) FROM changes").fetchone()[0]


@pytest.mark.parametrize(
    ("tampering", "asked"),
    [
        ("UPDATE readings SET typed = '1 N' WHERE id = 7", "SELECT entered_change FROM readings WHERE id = 7"),
        ("UPDATE changes SET by = 'Somebody Else' WHERE number = 3", "SELECT 3"),
        ("UPDATE pulls SET on_date = '2024-01-01' WHERE id = 2", "SELECT entered_change FROM pulls WHERE id = 2"),
        ("UPDATE readings SET superseded_change = 4 WHERE id = 7", "SELECT 4"),
        ("INSERT INTO readings (code, kind, read_on, typed, entered_change) SELECT code, 'colour_look', '2024-01-01', "
         "'1', 5 FROM coupons LIMIT 1", "SELECT 5"),
    ],
)  # fmt: skip
def test_a_tampered_row_names_its_change(opened: sqlite3.Connection, tampering: str, asked: str) -> None:
    """One altered or added row breaks exactly the link of the change it belongs to."""
    (number,) = opened.execute(asked).fetchone()
    opened.execute(tampering)
    assert [found for found, _ in broken_links(opened)] == [number]


def test_a_removed_reading_is_found(opened: sqlite3.Connection) -> None:
    """A deleted row leaves its change with another hash."""
    (number,) = opened.execute("SELECT entered_change FROM readings WHERE id = 9").fetchone()
    opened.execute("DELETE FROM readings WHERE id = 9")
    assert [found for found, _ in broken_links(opened)] == [number]


def test_a_removed_change_is_named_missing(opened: sqlite3.Connection) -> None:
    """A line taken out of the log is a gap in the numbers, and its rows belong to no change."""
    (number,) = opened.execute("SELECT min(entered_change) FROM pulls").fetchone()
    opened.execute("DELETE FROM chain WHERE number = ?", [number])
    opened.execute("DELETE FROM changes WHERE number = ?", [number])
    said = list(broken_links(opened))
    assert (number, "the change is missing from the log") in said
    assert any(found == 0 and "pulls" in words for found, words in said)


def test_a_cut_off_end_shows_in_the_head(opened: sqlite3.Connection) -> None:
    """Only a head kept elsewhere shows that the newest change was taken away with everything it wrote."""
    head = chain_head(opened)
    number = head[0]
    for (table,) in opened.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
        columns = [row[1] for row in opened.execute(f"PRAGMA table_info({table})")]
        if "entered_change" in columns:
            opened.execute(f"DELETE FROM {table} WHERE entered_change = ?", [number])
        if "superseded_change" in columns:
            opened.execute(f"UPDATE {table} SET superseded_change = NULL WHERE superseded_change = ?", [number])
    opened.execute("DELETE FROM chain WHERE number = ?", [number])
    opened.execute("DELETE FROM changes WHERE number = ?", [number])
    assert list(broken_links(opened)) == []
    assert chain_head(opened) != head


VALUES = st.one_of(
    st.none(), st.text(st.characters(codec="utf-8")), st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False), st.binary(), st.just("{}"),
)  # fmt: skip


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[str], list[tuple[object, ...]]]:
    """Names of columns and rows under them; some columns hold few values, which come again and again."""
    names = draw(st.lists(st.text(st.characters(codec="utf-8"), min_size=1), max_size=6))
    alike = (
        st.sampled_from((0.0, -0.0, 1.0, 2.5, None)), st.sampled_from((0, 1, 1.0, "1", "", None)),
        st.sampled_from(("", "{}", None)), st.sampled_from((1.5, 2.5)), st.sampled_from((1, 2, None)),
        st.sampled_from(("a", "ä", '"', "")),
    )  # fmt: skip
    columns = [draw(st.sampled_from((VALUES, *alike))) for _ in names]
    rows = draw(st.lists(st.tuples(*columns), min_size=1, max_size=6))
    return names, rows


@given(tables())
def test_rows_are_hashed_as_the_json_they_always_were(table: tuple[list[str], list[tuple[object, ...]]]) -> None:
    """The text put together by hand is that of the json module, so that chains of older studies hold."""
    names, rows = table
    said = [json.dumps(name, ensure_ascii=False) for name in names]
    made = _rows_text('"readings"', said, [(number, *row) for number, row in enumerate(rows)])
    wanted = [
        ["readings", number, *(pair for pair in zip(names, row, strict=True) if pair[1] not in (None, "", "{}"))]
        for number, row in enumerate(rows)
    ]
    assert made == "".join(json.dumps(row, ensure_ascii=False, default=_bytes) for row in wanted)
