"""The chain over the change log: each change is hashed with the rows it wrote and with the hash before it."""

from __future__ import annotations

import hashlib
import json
import json.encoder
import sqlite3
import sys
from collections.abc import Iterator
from typing import Any

_MAY_CHANGE = {"superseded_change", "status", "status_on", "withdrawn_on"}
"""Columns that later acts set; the acts themselves stand in the change log, which is chained."""
_EMPTY = (None, "", "{}")
"""Left out of what is hashed, so that a column added by a later version does not break the chain."""


def link_change(connection: sqlite3.Connection, number: int) -> None:
    """Close one change: hash it with all rows it entered or superseded, within the same transaction."""
    found = connection.execute("SELECT hash FROM chain WHERE number = ?", [number - 1]).fetchone()
    before = found[0] if found else _first(connection)
    row = (number, _hash(connection, before, number, _tables(connection)))
    connection.execute("INSERT INTO chain (number, hash) VALUES (?, ?)", row)


def link_all(connection: sqlite3.Connection) -> None:
    """Close every change of a file that had no chain yet."""
    for (number,) in connection.execute("SELECT number FROM changes ORDER BY number").fetchall():
        link_change(connection, number)


def chain_head(connection: sqlite3.Connection) -> tuple[int, str]:
    """The newest change and its hash; kept elsewhere, it shows whether the end of the log was cut off."""
    found = connection.execute("SELECT number, hash FROM chain ORDER BY number DESC LIMIT 1").fetchone()
    return (int(found[0]), str(found[1])) if found else (0, _first(connection))


def broken_links(connection: sqlite3.Connection) -> Iterator[tuple[int, str]]:
    """Every change whose rows no longer give the hash that was kept, each with what is wrong in words.

    A change is compared with the kept hash before it, so that one altered row is named once and not for every later
    change.
    """
    kept = dict(connection.execute("SELECT number, hash FROM chain").fetchall())
    numbers = [row[0] for row in connection.execute("SELECT number FROM changes ORDER BY number")]
    tables = _tables(connection)
    present = set(numbers)
    for number in sorted(set(range(1, max([*numbers, *kept], default=0) + 1)) - present):
        yield number, "the change is missing from the log"
    before = _first(connection)
    for number in numbers:
        if number not in kept:
            yield number, "the change was never closed by a hash"
        elif _hash(connection, kept.get(number - 1, before if number == 1 else ""), number, tables) != kept[number]:
            yield number, "the change, or a row it entered or superseded, was altered, added or removed"
    for table in tables:
        stray = connection.execute(
            f'SELECT count(*) FROM "{table.name}" WHERE entered_change NOT IN (SELECT number FROM changes)'
        ).fetchone()[0]
        if stray:
            yield 0, f"{stray} rows of {table.name} belong to no change"


class _Table:
    def __init__(self, name: str, columns: list[str]) -> None:
        self.name = name
        self.ends = "superseded_change" in columns
        self.columns = [column for column in columns if column not in _MAY_CHANGE]


def _tables(connection: sqlite3.Connection) -> list[_Table]:
    names = [r[0] for r in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    found = []
    for name in names:
        columns = sorted(row[1] for row in connection.execute(f'PRAGMA table_info("{name}")'))
        if "entered_change" in columns:
            found.append(_Table(name, columns))
    return found


def _first(connection: sqlite3.Connection) -> str:
    facts = connection.execute("SELECT name, content FROM facts ORDER BY name").fetchall()
    return hashlib.sha256(json.dumps(facts, ensure_ascii=False).encode()).hexdigest()


def _hash(connection: sqlite3.Connection, before: str, number: int, tables: list[_Table]) -> str:
    digest = hashlib.sha256(before.encode())
    for row in connection.execute("SELECT * FROM changes WHERE number = ?", [number]):
        digest.update(_said(list(row)))
    for table in tables:
        chosen = ", ".join(f'"{column}"' for column in table.columns)
        entered = f'SELECT rowid, {chosen} FROM "{table.name}" WHERE entered_change = ? ORDER BY rowid'
        name, columns = _text(table.name), [_text(column) for column in table.columns]
        rows = connection.execute(entered, [number])
        while chunk := rows.fetchmany(_CHUNK):
            digest.update(_rows_text(name, columns, chunk).encode())
        if table.ends:
            ended = f'SELECT rowid FROM "{table.name}" WHERE superseded_change = ? ORDER BY rowid'
            for row in connection.execute(ended, [number]):
                digest.update(_said([table.name, "superseded", row[0]]))
    return digest.hexdigest()


def _rows_text(name: str, columns: list[str], rows: list[tuple[Any, ...]]) -> str:
    """The very text that json makes of each row, one after another: a table's name, a rowid, pairs of column and value.

    Put together column by column, since an import has half a million rows that say few different things. ``name`` and
    ``columns`` are json texts already; what is empty is left out.
    """
    rowids, *cells = zip(*rows, strict=True)
    parts = [[f"[{name}, {rowid}" for rowid in rowids]]
    for column, values in zip(columns, cells, strict=True):
        if texts := _column_text(f", [{column}, ", values):
            parts.append(texts)
    return "".join([f"{''.join(row)}]" for row in zip(*parts, strict=True)])


def _column_text(lead: str, values: tuple[Any, ...]) -> list[str]:
    """Each value's pair with its column as json writes it, nothing for what is empty; no list where all of it is."""
    kinds = {*map(type, values)} - {type(None)}
    if not kinds:
        return []
    if kinds == {int}:
        return ["" if value is None else f"{lead}{value}]" for value in values]
    different = {*values}
    if different <= _NOTHING:
        return []
    # Equal texts are written alike; so are equal numbers of one type, but for the two zeros.
    if kinds == {str} or (kinds == {float} and 0.0 not in different):
        said = {value: _pair_text(lead, value) for value in different}
        return [*map(said.__getitem__, values)]
    return [_pair_text(lead, value) for value in values]


def _pair_text(lead: str, value: Any) -> str:
    if type(value) is str:
        return f"{lead}{_text(value)}]" if value and value != "{}" else ""
    if type(value) is float and -_LARGEST <= value <= _LARGEST:
        return f"{lead}{value!r}]"
    return f"{lead}{_SAY(value)}]" if value not in _EMPTY else ""


def _bytes(value: object) -> str:
    # A blob is named by its own hash.
    return hashlib.sha256(value).hexdigest() if isinstance(value, bytes) else str(value)


_NOTHING = {*_EMPTY}
_CHUNK = 1_000
_LARGEST = sys.float_info.max
_text = json.encoder.encode_basestring
_SAY = json.JSONEncoder(ensure_ascii=False, default=_bytes).encode


def _said(value: Any) -> bytes:
    return _SAY(value).encode()
