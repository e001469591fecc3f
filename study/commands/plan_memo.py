"""The memo of tables: what the pass/fail bounds of planned designs are compared with, kept on this machine."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from hashlib import sha256
from pathlib import Path
from typing import Any

from study.commands.memo import code_versions, keep_file, memo_folder

MOST_TABLES = 500
PARTS = ("critical", "plain", "bounds")


@contextmanager
def kept_tables() -> Iterator[dict[Any, Any]]:
    """Tables of designs, read from the memo as they are asked for and kept there afterwards.

    No reading enters a table, and its name holds the estimators' own text, so that it can only save time. A memo that
    cannot be read or written is passed over.
    """
    folder = memo_folder()
    tables = _Tables(folder / "tables" if folder is not None else None)
    yield tables
    tables.keep()


class _Tables(dict[Any, Any]):
    def __init__(self, folder: Path | None) -> None:
        super().__init__()
        self.folder = folder
        self.known: dict[Any, int] = {}

    def setdefault(self, key: Any, default: Any = None) -> Any:
        """The table of a design and day share: as kept, else the one given."""
        if key not in self:
            self.read(key, default)
            self[key] = default
            self.known[key] = len(default)
        return self[key]

    def path(self, key: Any) -> Path | None:
        design, tenths = key
        named = json.dumps([asdict(design), tenths, *code_versions()], sort_keys=True)
        return self.folder / f"{sha256(named.encode()).hexdigest()}.json" if self.folder is not None else None

    def read(self, key: Any, table: Any) -> None:
        path = self.path(key)
        try:
            kept = json.loads(path.read_text("utf-8")) if path is not None else {}
            found = {part: {tuple(at): float(value) for at, value in kept.get(part, [])} for part in PARTS}
        except (OSError, ValueError, TypeError, AttributeError):
            return
        for part in PARTS:
            getattr(table, part).update(found[part])

    def keep(self) -> None:
        for key, table in self.items():
            path = self.path(key)
            if path is None or len(table) == self.known.get(key):
                continue
            text = json.dumps({name: list(getattr(table, name).items()) for name in PARTS})
            keep_file(path, text, most=MOST_TABLES)
