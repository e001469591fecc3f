"""The memo of estimates: kept by digest of readings, protocol, surface, code and libraries, on this machine."""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Callable
from dataclasses import asdict
from functools import lru_cache
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from study.model.estimate import PairingEstimate

if TYPE_CHECKING:
    from pydantic import TypeAdapter

MOST_FILES = 2000


def remembered(parts: tuple[str, ...], compute: Callable[[], PairingEstimate]) -> PairingEstimate:
    """The estimate for these digests: as kept on this machine, else computed and kept.

    A memo that cannot be read or written is passed over: it only saves time. ``DWELLBOOK_MEMO`` names another
    folder; empty, nothing is kept.
    """
    folder = memo_folder()
    if folder is None:
        return compute()
    path = folder / f"{hashlib.sha256(json.dumps([*parts, *code_versions()]).encode()).hexdigest()}.json"
    found = _read(path)
    if found is None:
        found = compute()
        keep_file(path, json.dumps(asdict(found)), most=MOST_FILES)
    return found


def memo_folder() -> Path | None:
    """Where estimates are kept, or None where nothing is to be kept."""
    named = os.environ.get("DWELLBOOK_MEMO")
    if named is not None:
        return Path(named) if named else None
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache"))
    return base / "dwellbook"


@lru_cache(maxsize=1)
def code_versions() -> tuple[str, ...]:
    """Digest of the estimators' own text, and the numerical libraries: another of either is another estimate."""
    digest = hashlib.sha256()
    for name in ("analysis", "model"):
        for source in sorted(Path(str(files("study").joinpath(name))).glob("*.py")):
            digest.update(source.read_bytes())
    return (digest.hexdigest(), *(version(name) for name in ("numpy", "scipy", "scikit-image", "lifelines")))


def _read(path: Path) -> PairingEstimate | None:
    from pydantic import ValidationError

    try:
        return _form().validate_python(json.loads(path.read_text("utf-8")))
    except (OSError, ValueError, ValidationError):
        return None


@lru_cache(maxsize=1)
def _form() -> TypeAdapter[PairingEstimate]:
    """What an estimate must look like; building it takes ten times as long as reading one by it."""
    from pydantic import TypeAdapter

    return TypeAdapter(PairingEstimate)


def keep_file(path: Path, text: str, *, most: int) -> None:
    """A file of the memo; beyond ``most`` in its folder the oldest go. One that cannot be written is passed over."""
    # Written beside and renamed, so that a reader meets a whole file or none.
    part = path.with_suffix(f".{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        part.write_text(text, "utf-8")
        part.replace(path)
        kept = sorted(path.parent.glob("*.json"), key=lambda file: file.stat().st_mtime)
        for old in kept[:-most]:
            old.unlink(missing_ok=True)
    except OSError:
        part.unlink(missing_ok=True)
