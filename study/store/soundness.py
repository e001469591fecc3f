"""Whether a study file is sound: its pages, its references, its chain of changes, its stored files, its log's end."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from typing import Any

from study.errors import NotAStudy
from study.store.attachments import altered_files
from study.store.chain import broken_links, chain_head
from study.store.study_file import StudyFile

_MOST_LINES = 20


def fetch_faults(study: StudyFile) -> list[tuple[int, str]]:
    """Everything that is not as it was written, each with the number of its change; 0 where no change can be named."""
    checks: tuple[tuple[str, Callable[[StudyFile], Iterator[tuple[int, str]]]], ...] = (
        ("pages", _pages),
        ("chain of changes", lambda study: broken_links(study.db.conn)),
        ("end of the log", _cut_off),
        ("references", _references),
        ("status of adhesives and lots", _status),
        ("stored files", _files),
    )
    found: list[tuple[int, str]] = []
    for name, check in checks:
        try:
            found += check(study)
        except (sqlite3.Error, NotAStudy, ValueError) as fault:
            # A damaged page may stop any of them; what the others still find is worth knowing.
            found.append((0, f"the {name} could not be read to the end: {fault}"))
    return found


def fetch_head(study: StudyFile) -> tuple[int, str]:
    """Number and hash of the newest change."""
    return chain_head(study.db.conn)


def fetch_chained(study: StudyFile, head: str) -> list[int]:
    """Changes whose hash begins with this text."""
    rows = study.rows("SELECT number FROM chain WHERE substr(hash, 1, length(:head)) = :head", head=head)
    return [row["number"] for row in rows]


def fetch_acts(study: StudyFile, numbers: set[int]) -> dict[int, dict[str, Any]]:
    """Act, subject, by and at of these changes."""
    rows = (
        study.rows("SELECT number, act, subject, by, at FROM changes WHERE number = :number", number=number)
        for number in numbers
    )
    return {found[0]["number"]: found[0] for found in rows if found}


def fetch_counts(study: StudyFile) -> dict[str, int]:
    """How many changes, readings and files were looked at."""
    return {
        table: int(study.rows(f"SELECT count(*) AS n FROM {table}")[0]["n"])
        for table in ("changes", "readings", "files")
    }


def _pages(study: StudyFile) -> Iterator[tuple[int, str]]:
    for (line,) in study.db.execute(f"PRAGMA integrity_check({_MOST_LINES})").fetchall():
        if line != "ok":
            yield 0, f"SQLite's integrity check: {line}"


def _references(study: StudyFile) -> Iterator[tuple[int, str]]:
    for table, place, parent, _ in study.db.execute("PRAGMA foreign_key_check").fetchall()[:_MOST_LINES]:
        columns = [row[1] for row in study.db.execute(f'PRAGMA table_info("{table}")')]
        number = 0
        if "entered_change" in columns and place is not None:
            (number,) = study.db.execute(f'SELECT entered_change FROM "{table}" WHERE rowid = ?', [place]).fetchone()
        yield number, f"row {place} of {table} points to something that is not in {parent}"


def _cut_off(study: StudyFile) -> Iterator[tuple[int, str]]:
    # SQLite remembers the largest number it ever gave to a change.
    rows = study.rows("SELECT seq FROM sqlite_sequence WHERE name = 'changes'")
    last, once = study.last_change(), int(rows[0]["seq"]) if rows else 0
    if once > last:
        yield last, f"the log ends here, but it once went on to change {once}"


def _files(study: StudyFile) -> Iterator[tuple[int, str]]:
    for number, digest, what in altered_files(study):
        yield number, f"file {digest[:12]}…: {what}"


def _status(study: StudyFile) -> Iterator[tuple[int, str]]:
    """Columns that later acts set, compared with what the newest of those acts says."""
    status: dict[str, tuple[int, Any, Any]] = {}
    withdrawn: dict[str, tuple[int, Any]] = {}
    for row in study.rows(
        "SELECT number, act, subject, after FROM changes WHERE act IN "
        "('register adhesives', 'register lots', 'change adhesive status', 'withdraw lot') ORDER BY number"
    ):
        number, after = row["number"], json.loads(row["after"] or "null")
        if row["act"] == "withdraw lot":
            withdrawn[row["subject"]] = (number, after["withdrawn_on"])
            continue
        for noun in after if isinstance(after, list) else [after]:
            if row["act"] == "register lots":
                withdrawn[noun["key"]] = (number, None)
            else:
                status[noun["key"]] = (number, noun["status"], noun["status_on"])
    for row in study.rows("SELECT key, status, status_on, entered_change FROM adhesives"):
        number, *said = status.get(row["key"], (row["entered_change"], None, None))
        if [row["status"], row["status_on"]] != said:
            yield number, f"adhesive {row['key']} stands as {_in_words(row['status'], row['status_on'])}, but the log "\
                f"says {_in_words(*said)}"  # fmt: skip
    for row in study.rows("SELECT key, withdrawn_on, entered_change FROM lots"):
        number, day = withdrawn.get(row["key"], (row["entered_change"], None))
        if row["withdrawn_on"] != day:
            yield (
                number,
                (f"lot {row['key']} stands as {_withdrawn(row['withdrawn_on'])}, but the log says {_withdrawn(day)}"),
            )


def _in_words(status: str | None, on: str | None) -> str:
    return f"“{status or 'nothing'}”{f' from {on}' if on else ''}"


def _withdrawn(day: str | None) -> str:
    return f"withdrawn on {day}" if day else "not withdrawn"
