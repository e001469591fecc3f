"""Files of the study as the browser asks for them: a thumbnail, or the file itself without its place."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import TypeVar

from flask import Flask, Response, abort, send_file

from dashboard.answers import refusal_answer
from dashboard.book import Book
from study.commands.opening import open_study
from study.commands.read_attachments import served_file, served_thumbnail
from study.errors import DwellbookError

Found = TypeVar("Found")
SHOWN = ("image/jpeg", "image/png", "image/webp")
"""What a browser shows by itself; every other kind is handed over to be saved."""
POLICY = "default-src 'none'; img-src 'self'; style-src 'unsafe-inline'; sandbox; frame-ancestors 'none'"
"""A file, opened by itself, may run nothing and fetch nothing."""
_DIGEST = re.compile(r"[0-9a-f]{64}")


def file_address(digest: str) -> str:
    """Where a file is asked for."""
    return f"/file/{digest}"


def thumbnail_address(digest: str) -> str:
    """Where a picture's thumbnail is asked for."""
    return f"/thumbnail/{digest}"


def serve_files(server: Flask, book: Book) -> None:
    """Answer for the files of the open study, and for no others."""

    def sought(find: Callable[..., Found | None], digest: str) -> Found | Response:
        if not _DIGEST.fullmatch(digest):
            abort(404, "This study holds no such file.")
        try:
            with open_study(book.study_file) as study:
                found = find(study, digest)
        except DwellbookError as error:
            return refusal_answer(error)
        if found is None:
            abort(404, "This study holds no such file.")
        return found

    @server.get("/file/<path:digest>")
    def file(digest: str) -> Response:
        found = sought(served_file, digest)
        if isinstance(found, Response):
            return found
        return _handed(found.content, found.media_type, found.name, saved=found.media_type not in SHOWN)

    @server.get("/thumbnail/<path:digest>")
    def thumbnail(digest: str) -> Response:
        found = sought(served_thumbnail, digest)
        if isinstance(found, Response):
            return found
        return _handed(found, "image/jpeg", f"{digest[:12]}.jpg", saved=False)


def _handed(content: bytes, media_type: str, name: str, *, saved: bool) -> Response:
    answer = send_file(io.BytesIO(content), mimetype=media_type, as_attachment=saved, download_name=name)
    if not saved:
        answer.headers.set("Content-Disposition", "inline", filename=_plain(name))
    answer.headers["Content-Security-Policy"] = POLICY
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Cache-Control"] = "no-store"  # photographs do not stay in the browser's folder
    return answer


def _plain(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9._ -]", "_", name)
