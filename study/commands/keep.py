"""Keep: verified copies of the study, its change log, its soundness, and its files written out."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from study.errors import NotPossible
from study.model.attachment import PICTURES, Attachment, kept_names
from study.outputs.location import CannotClean, without_location
from study.outputs.safe_csv import csv_text
from study.store import soundness
from study.store.attachments import fetch_all_attachments, fetch_content
from study.store.changes import fetch_changes
from study.store.coupons import fetch_coupons
from study.store.study_file import StudyFile, copy_file

SHORTEST_HEAD = 12
"""Characters of a head that are enough to look for it."""
CONTENTS = "contents.csv"
CONTENT_COLUMNS = (
    "file", "coupon", "set", "kind", "original_name", "media_type", "bytes", "sha256_in_study", "location", "note",
    "attached_by", "attached_at",
)  # fmt: skip


@dataclass(frozen=True)
class Copied:
    """A verified copy: rows by table, and the newest change in it with its hash."""

    counts: dict[str, int]
    number: int
    head: str


@dataclass(frozen=True)
class Fault:
    """Something that is not as it was written; number 0 where no change can be named."""

    number: int
    what: str
    act: str = ""
    subject: str = ""
    by: str = ""
    at: str = ""


@dataclass(frozen=True)
class Verified:
    """What a verification found."""

    faults: tuple[Fault, ...]
    number: int
    head: str
    """The newest change and its hash; noted elsewhere, it shows later whether the end of the log was cut off."""
    counts: dict[str, int]
    """Changes, readings and files that were looked at."""
    compared: str = ""
    """What the head noted earlier says, in words; empty where none was given."""
    continues: bool = True
    """Whether the head noted earlier is part of this study's chain."""

    @property
    def sound(self) -> bool:
        """Nothing is broken, and the study continues from the head noted earlier."""
        return not self.faults and self.continues


@dataclass(frozen=True)
class KeptFile:
    """One file written out, or left in the study because its place could not be taken out."""

    name: str
    attachment: Attachment
    location: str
    """"removed", "none found", "not looked for" in what is no picture, or "not written"."""


def keep_copy(study: StudyFile, to: Path) -> Copied:
    """A verified copy of the study file, with the head of its chain to be noted elsewhere."""
    counts = copy_file(study, to)
    with StudyFile(to) as copy:
        number, head = soundness.fetch_head(copy)
    return Copied(counts, number, head)


def read_log(study: StudyFile, *, newest: int = 50) -> list[dict[str, Any]]:
    """The newest lines of the change log, newest first."""
    return fetch_changes(study, newest=newest)


def verify_study(study: StudyFile, *, head: str = "") -> Verified:
    """Whether everything in the study is as it was written; what is not, by change, act, who and when.

    Looked at: SQLite's own checks, the chain over the change log, the end of the log, what acts set later (status of
    adhesives, withdrawn lots), and the bytes of every stored file.

    Parameters
    ----------
    head : str
        The hash noted earlier, or its first 12 characters or more; the whole line that was printed will do.

    Raises
    ------
    NotPossible
        If the head is not one.
    """
    wanted = re.sub(r"^head: change \d+, ", "", head.strip().lower())
    if wanted and not re.fullmatch(rf"[0-9a-f]{{{SHORTEST_HEAD},64}}", wanted):
        raise NotPossible(
            f"“{head}” is not a head: {SHORTEST_HEAD} to 64 characters from 0 to 9 and a to f.",
            "Copy it from what keep verify or keep copy printed.",
        )
    with study.snapshot():
        found = soundness.fetch_faults(study)
        acts = soundness.fetch_acts(study, {number for number, _ in found if number})
        faults = tuple(_fault(number, what, acts.get(number)) for number, what in found)
        number, newest = soundness.fetch_head(study)
        places = soundness.fetch_chained(study, wanted) if wanted else []
        counts = soundness.fetch_counts(study)
    if not wanted:
        return Verified(faults, number, newest, counts)
    return Verified(faults, number, newest, counts, _compared(places, number), bool(places))


def keep_files(study: StudyFile, folder: Path) -> list[KeptFile]:
    """Every file attached now, written into a new folder under CODE_kind_name.ext, with a table of contents.

    The place a picture was taken at is cut out of it; the originals stay in the study. A picture whose structure
    cannot be followed is not written, and the table says so.

    Raises
    ------
    NotPossible
        If something lies at ``folder`` already, or it cannot be written; then nothing is left there.
    """
    if folder.exists():
        raise NotPossible(f"{folder} is already there; it was left alone.", "Choose a new folder.")
    part = folder.with_name(f"{folder.name}.part")
    try:
        part.mkdir()
        try:
            with study.snapshot():
                kept = list(_written(study, part))
            part.rename(folder)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except OSError as fault:
        raise NotPossible(
            f"The files could not be written to {folder}: {fault.strerror}.",
            "Make the folder above it first, or choose another place.",
        ) from fault
    return kept


def _written(study: StudyFile, part: Path) -> Iterator[KeptFile]:
    everything = fetch_all_attachments(study)
    names = kept_names(one for one, _ in everything)
    sets = {code: coupon.set_key for code, coupon in fetch_coupons(study).items()}
    contents: list[tuple[object, ...]] = []
    for one, who in everything:
        if who["superseded_by"] is not None:
            continue
        location = _write(study, one, part / names[one.number])
        name = "" if location == "not written" else names[one.number]
        contents.append(
            (name, one.code, sets[one.code], one.kind, one.name, one.media_type, one.bytes, one.sha256, location,
             one.note, who["entered_by"], who["entered_at"])
        )  # fmt: skip
        yield KeptFile(name, one, location)
    (part / CONTENTS).write_text(csv_text(CONTENT_COLUMNS, contents), encoding="utf-8", newline="")


def _write(study: StudyFile, one: Attachment, to: Path) -> str:
    found = fetch_content(study, one.sha256)
    assert found is not None
    content, _ = found
    try:
        clean, removed = without_location(content, one.media_type)
    except CannotClean:
        return "not written"
    to.write_bytes(clean)
    if one.media_type not in PICTURES:
        return "not looked for"
    return "removed" if removed else "none found"


def _compared(places: list[int], newest: int) -> str:
    if not places:
        return "It is not part of this chain: the end of the log was cut off, or the file is another."
    if places[-1] == newest:
        return f"It is the newest change, {newest}: nothing was entered since."
    return f"It is change {places[-1]}: the study continues from it to change {newest}."


def _fault(number: int, what: str, act: dict[str, Any] | None) -> Fault:
    if act is None:
        return Fault(number, what)
    return Fault(number, what, act["act"], act["subject"], act["by"], act["at"])
