"""The study file: opened, checked, locked for one writing at a time, copied."""

from __future__ import annotations

import json
import os
import sqlite3
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from study.errors import NotAStudy, NotPossible
from study.model.person import Signature
from study.store.chain import link_change
from study.store.schema import APPLICATION_ID, SCHEMA_VERSION, migrations

BUSY_MS = 5000
_WHAT_NOW = "Nothing was written."


class StudyFile:
    """One open study file; close it, or use it in a ``with``.

    The rollback journal with full synchronisation is the safe choice for SQLite before 3.51.3 with several
    connections, and keeps the study one file to copy; the load is a few writings a minute.
    """

    def __init__(self, path: Path, *, busy_ms: int = BUSY_MS, fresh: bool = False) -> None:
        self.path = path
        self.db = Database(_connect(path, busy_ms, fresh))

    def __enter__(self) -> StudyFile:
        return self

    def __exit__(self, *_: object) -> None:
        self.db.close()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """One transaction that holds the write lock from its start; all or nothing.

        Checks made inside still hold when the rows are written. Inside another writing it is that one.
        """
        if self.db.conn.in_transaction:
            yield
            return
        with self._in_words():
            self.db.conn.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self.db.conn.rollback()
                raise
            self.db.conn.commit()

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Several queries that see one state of the file, whatever others write meanwhile."""
        if self.db.conn.in_transaction:
            yield
            return
        with self._in_words():
            self.db.conn.execute("BEGIN")
            try:
                yield
            finally:
                self.db.conn.rollback()

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.IntegrityError as fault:
            # What was checked before the lock was taken no longer holds: somebody else wrote in between.
            raise NotPossible(
                f"Somebody else wrote to the same place just now ({fault}). {_WHAT_NOW}", "Look again, then repeat it."
            ) from fault
        except sqlite3.DatabaseError as fault:
            raise _said(self.path, fault) from fault

    @contextmanager
    def change(
        self, signature: Signature, *, act: str, subject: str, before: object = None, after: object = None
    ) -> Iterator[int]:
        """One writing and its line in the change log; yields the change number."""
        with self.writing():
            row = {
                "at": signature.at.isoformat(timespec="seconds"),
                "by": signature.by.strip(),
                "act": act,
                "subject": subject,
                "before": _json(before),
                "after": _json(after),
                "why": signature.why,
            }
            number = self.db.table("changes").insert(row).last_pk
            assert isinstance(number, int)
            yield number
            link_change(self.db.conn, number)

    def rows(self, sql: str, **values: Any) -> list[dict[str, Any]]:
        """Rows of one query as dicts."""
        with self._in_words():
            return list(self.db.query(sql, values))

    def last_change(self) -> int:
        """Number of the newest change; 0 in a study just begun."""
        return int(self.rows("SELECT coalesce(max(number), 0) AS n FROM changes")[0]["n"])

    def fact(self, name: str) -> str:
        """One fact about the file itself, or empty."""
        found = self.rows("SELECT content FROM facts WHERE name = :name", name=name)
        return str(found[0]["content"]) if found else ""


def among(codes: Iterable[str] | None, column: str = "code") -> tuple[str, dict[str, str]]:
    """The condition that a query's coupon code is one of these, with its value; none for all."""
    if codes is None:
        return "", {}
    return f" WHERE {column} IN (SELECT value FROM json_each(:codes))", {"codes": json.dumps(sorted(codes))}


def begin_file(path: Path, *, facts: dict[str, str]) -> StudyFile:
    """A new study file with its tables.

    Raises
    ------
    NotPossible
        If something already lies at ``path``, or its folder cannot be written.
    """
    if not path.parent.is_dir():
        raise NotPossible(f"There is no folder {path.parent}.", "Make it first, or name another place.")
    try:
        path.touch(exist_ok=False)
    except FileExistsError:
        raise NotPossible(f"{path} is already there; it was left alone.", "Choose another name.") from None
    except OSError as fault:
        raise NotPossible(f"{path} cannot be made: {fault.strerror}.", "Choose another place.") from None
    study = StudyFile(path, fresh=True)
    with study.writing():
        study.db.table("facts").insert_all({"name": name, "content": content} for name, content in facts.items())
    return study


def copy_file(study: StudyFile, to: Path) -> dict[str, int]:
    """A copy by SQLite's own backup, verified: sound, the same schema, the same number of rows in every table.

    Returns
    -------
    dict
        Rows by table, as counted in the copy.
    """
    if to.exists():
        raise NotPossible(f"{to} is already there; it was left alone.", "Choose another name for the copy.")
    try:
        handle, name = tempfile.mkstemp(prefix=f"{to.name}.", suffix=".part", dir=to.parent)
        os.close(handle)
    except OSError as fault:
        raise NotPossible(
            f"The copy could not be written to {to}: {fault.strerror}.",
            "Make the folder first, or choose another place.",
        ) from fault
    part = Path(name)
    try:
        with closing(sqlite3.connect(part)) as target, study.snapshot():
            study.db.conn.backup(target)
            verdict = target.execute("PRAGMA integrity_check").fetchone()[0]
            counts = _row_counts(target)
            same = counts == _row_counts(study.db.conn) and _schema(target) == _schema(study.db.conn)
        if verdict != "ok" or not same:
            raise NotPossible(
                f"The copy did not verify ({verdict}).", "Try another disk; the study itself is untouched."
            )
        part.rename(to)
    except (OSError, sqlite3.Error) as fault:
        raise NotPossible(f"The copy could not be written to {to}: {fault}.", "Choose another place.") from fault
    finally:
        part.unlink(missing_ok=True)
    return counts


def _schema(connection: sqlite3.Connection) -> list[tuple[str, str]]:
    return connection.execute("SELECT name, sql FROM sqlite_master ORDER BY type, name").fetchall()


def _row_counts(connection: sqlite3.Connection) -> dict[str, int]:
    names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    return {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names}


def _connect(path: Path, busy_ms: int, fresh: bool) -> sqlite3.Connection:
    if not path.is_file():
        raise NotAStudy(f"There is no study file at {path}.", f"Begin one with: dwellbook begin {path}")
    # Each call of the dashboard opens its own; waitress may close it in another thread than it was opened in.
    connection = sqlite3.connect(path, timeout=busy_ms / 1000, check_same_thread=False)
    try:
        _check(path, connection, fresh)
    except BaseException:
        connection.close()
        raise
    return connection


def _check(path: Path, connection: sqlite3.Connection, fresh: bool) -> None:
    try:
        mark = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
    except sqlite3.OperationalError as fault:
        raise _said(path, fault) from fault
    except sqlite3.DatabaseError:
        raise NotAStudy(f"{path} is not a study file.", "Name the file that dwellbook begin made.") from None
    if not fresh and mark != APPLICATION_ID:
        raise NotAStudy(f"{path} is not a study file.", "Name the file that dwellbook begin made.")
    if version > SCHEMA_VERSION:
        raise NotAStudy(
            f"{path} was written by a newer Dwellbook (file version {version}, this one knows {SCHEMA_VERSION}).",
            "Install the newer Dwellbook; the file was left alone.",
        )
    try:
        for pragma in ("journal_mode = DELETE", "synchronous = FULL", "foreign_keys = ON", "cache_size = -65536"):
            connection.execute(f"PRAGMA {pragma}")
    except sqlite3.DatabaseError as fault:
        raise _said(path, fault) from fault
    if version < SCHEMA_VERSION:
        _migrate(path, connection)


def _migrate(path: Path, connection: sqlite3.Connection) -> None:
    # The lock is taken before looking at what is pending: two processes that start at once do it one after the other.
    db = Database(connection)
    try:
        connection.execute("BEGIN IMMEDIATE")
        migrations.apply(db)
        connection.commit()
    except sqlite3.OperationalError as fault:
        connection.rollback()
        raise _said(path, fault) from fault


def _said(path: Path, fault: sqlite3.DatabaseError) -> NotAStudy:
    text = str(fault)
    if "locked" in text or "busy" in text:
        return NotAStudy(
            f"{path} is locked: another program has been writing to it for {BUSY_MS // 1000} seconds. {_WHAT_NOW}",
            "Close the other program or wait, then try again.",
        )
    if "readonly" in text or "read-only" in text:
        return NotAStudy(
            f"{path} is read-only. {_WHAT_NOW}", "Copy it to a folder you may write to, or ask for the right to write."
        )
    return NotAStudy(f"{path} cannot be used: {text}. {_WHAT_NOW}", "Check the disk and the file, then try again.")


def _json(value: object) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False, default=str)
