"""Read attachments: photographs and files hung on a coupon or one of its readings, listed, taken off with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from study.commands.bench import code_of
from study.errors import DwellbookError, FileRefused, NotPossible, Problem, Unknown
from study.model.attachment import (
    LARGEST_FILE_BYTES,
    PICTURES,
    Attachment,
    checked_type,
    content_digest,
    tidy_name,
    too_large,
)
from study.model.person import Signature
from study.model.picture import thumbnail
from study.model.reading import READING_KINDS
from study.outputs.location import CannotClean, without_location
from study.store import attachments as on_file
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class NewFile:
    """A file as it was given: its name and its bytes."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Hung:
    """One attachment with who attached it, and who took it off and why (None while it is in force)."""

    attachment: Attachment
    entered_by: str
    entered_at: str
    superseded_by: str | None
    superseded_at: str | None
    why: str | None


@dataclass(frozen=True)
class ServedFile:
    """A file as the dashboard hands it out: a picture without its place."""

    content: bytes
    media_type: str
    name: str


def attach_paths(
    study: StudyFile, typed_code: str, paths: Sequence[Path], *, kind: str = "", note: str = "", signature: Signature
) -> list[Attachment]:
    """Files on disk hung on a coupon, or on one kind of its readings; all or nothing.

    Raises
    ------
    FileRefused
        With every file that cannot be read or is not taken.
    """
    files, problems = [], []
    for path in paths:
        try:
            size = path.stat().st_size
            if size > LARGEST_FILE_BYTES:
                fault = too_large(path.name, size)
                problems.append(_problem(path.name, fault))
                continue
            files.append(NewFile(path.name, path.read_bytes()))
        except OSError as gone:
            what = f"cannot be read: {gone.strerror}."
            problems.append(Problem(0, "file", path.name, what, "Check the name and the folder."))
    if problems:
        raise FileRefused("attachments", problems)
    return attach_files(study, typed_code, files, kind=kind, note=note, signature=signature)


def attach_files(
    study: StudyFile, typed_code: str, files: Sequence[NewFile], *, kind: str = "", note: str = "", signature: Signature
) -> list[Attachment]:
    """Files hung on a coupon, or on one kind of its readings; all or nothing, in one change.

    The reading itself need not be there yet: a photograph is often taken before the grade is typed.

    Parameters
    ----------
    typed_code : str
        The coupon's code or the laboratory's own mark on it.
    files : sequence of NewFile
        Each at most 25 MB, told by its content: JPEG, PNG, TIFF, WebP, PDF, CSV or plain text.
    kind : str
        One of ``READING_KINDS``; empty for the coupon as a whole.

    Returns
    -------
    list of Attachment
        With their numbers; bytes that are in the study already are not stored again.

    Raises
    ------
    FileRefused
        With every file that is not taken, why, and what to do.
    NotPossible
        If no file is given, or the same file hangs there already.
    """
    _check_kind(kind)
    if len(note) > 500:
        raise NotPossible("The note is longer than 500 characters.", "Say it shorter.")
    if not files:
        raise NotPossible("No file was given.", "Choose at least one.")
    made, thumbnails, problems = [], [], []
    for file in files:
        name = tidy_name(file.name)
        try:
            media_type = checked_type(file.content, name)
            thumbnails.append(thumbnail(file.content, media_type, name) if media_type in PICTURES else None)
        except DwellbookError as fault:
            problems.append(_problem(name, fault))
            continue
        digest = content_digest(file.content)
        small = thumbnails[-1] is not None
        made.append(Attachment("", kind, name, digest, media_type, len(file.content), small, note.strip()))
    if problems:
        raise FileRefused("attachments", problems)
    with study.writing():
        code = code_of(study, typed_code)
        _refuse_repeats(study, code, made)
        # The whole hash stands in the attachment's row. The log is searched for hashes of sheets that were imported:
        # a sheet attached first must still be free to be imported.
        after = [{"name": one.name, "sha256_begins": one.sha256[:16], "kind": kind, "bytes": one.bytes} for one in made]
        with study.change(signature, act="attach files", subject=code, after=after) as change:
            saved = []
            for one, file, small_picture in zip(made, files, thumbnails, strict=True):
                on_file.save_file(
                    study, file.content, media_type=one.media_type, thumbnail=small_picture, change=change
                )
                placed = replace(one, code=code)
                saved.append(replace(placed, number=on_file.save_attachment(study, placed, change=change)))
    return saved


def coupon_attachments(
    study: StudyFile, typed_code: str, *, kind: str | None = None, superseded: bool = False
) -> list[Hung]:
    """Attachments of a coupon in the order they were attached.

    Parameters
    ----------
    kind : str or None
        Of one kind of reading alone; empty for those of the coupon as a whole; None for all.
    superseded : bool
        Those that were taken off too.
    """
    if kind is not None:
        _check_kind(kind)
    with study.snapshot():
        found = [Hung(one, **who) for one, who in on_file.fetch_attachments(study, code_of(study, typed_code))]
    return [
        hung
        for hung in found
        if (superseded or hung.superseded_by is None) and (kind is None or hung.attachment.kind == kind)
    ]


def detach_file(study: StudyFile, number: int, *, signature: Signature) -> Attachment:
    """Take an attachment off, with a reason; it and its bytes stay on file.

    Raises
    ------
    Unknown
        If there is no attachment of this number.
    NotPossible
        If it was taken off already, or no reason is given.
    """
    with study.writing():
        found = on_file.fetch_attachment(study, number)
        if found is None:
            raise Unknown(f"There is no attachment {number}.", "Look at its number with: dwellbook read attachments")
        one, who = found
        if who["superseded_by"]:
            what = f"Attachment {number} was taken off by {who['superseded_by']} on {who['superseded_at'][:10]}."
            raise NotPossible(what, "Nothing is left to do.")
        signature.need_reason("Taking an attachment off")
        before = {"number": number, "name": one.name, "sha256_begins": one.sha256[:16], "kind": one.kind}
        with study.change(signature, act="detach file", subject=one.code, before=before) as change:
            on_file.supersede_attachment(study, number, change=change)
    return one


def served_file(study: StudyFile, digest: str) -> ServedFile | None:
    """A stored file to be handed out, a picture without its place; None where the study has no such file.

    Raises
    ------
    NotPossible
        If the place cannot be taken out of a picture.
    """
    with study.snapshot():
        found = on_file.fetch_content(study, digest)
        names = on_file.fetch_file_names(study, digest)
    if found is None:
        return None
    try:
        content, _ = without_location(*found)
    except CannotClean:
        raise NotPossible(
            "This picture's structure cannot be followed, so its place cannot be taken out.", "It stays in the study."
        ) from None
    return ServedFile(content, found[1], names[0] if names else digest[:12])


def served_thumbnail(study: StudyFile, digest: str) -> bytes | None:
    """A picture's thumbnail (JPEG without metadata), or None."""
    return on_file.fetch_thumbnail(study, digest)


def _problem(name: str, fault: DwellbookError) -> Problem:
    return Problem(0, "file", name, fault.what.removeprefix(f"{name} "), fault.do)


def _refuse_repeats(study: StudyFile, code: str, made: Sequence[Attachment]) -> None:
    there: dict[tuple[str, str, str], Any] = {
        (one.sha256, one.kind, one.name): who["entered_by"]
        for one, who in on_file.fetch_attachments(study, code)
        if who["superseded_by"] is None
    }
    for one in made:
        key = (one.sha256, one.kind, one.name)
        if key in there:
            by = f", by {there[key]}" if there[key] else ""
            raise NotPossible(
                f"{one.name} hangs on {code} already{by}, byte for byte; nothing was attached.", "Leave it out."
            )
        there[key] = ""


def _check_kind(kind: str) -> None:
    if kind and kind not in READING_KINDS:
        near = get_close_matches(kind, READING_KINDS, n=1, cutoff=0.4)
        do = f"Did you mean {near[0]}?" if near else f"Use one of {', '.join(READING_KINDS)}, or leave it out."
        raise NotPossible(f"“{kind}” is not a kind of reading.", do)
