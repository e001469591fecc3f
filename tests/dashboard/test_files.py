"""Files are handed out by their hash alone, harmless by themselves, and attached from the page."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from PIL import Image

from dashboard.app import create_app
from dashboard.book import Book
from dashboard.components import attachments
from dashboard.security import LARGEST_POST_BYTES
from study.commands.opening import open_study
from study.commands.read_attachments import NewFile, attach_files, coupon_attachments
from study.model.attachment import LARGEST_FILE_BYTES, content_digest
from study.model.person import Signature
from study.store.coupons import fetch_codes

Said = Callable[[Any], str]
PDF = b"%PDF-1.4\nstartxref\n0\n%%EOF\n"


def photo(shade: int = 90) -> bytes:
    """An invented grey picture with a place in it."""
    exif = Image.Exif()
    exif[0x0132] = "2025:04:15 10:00:00"
    exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (shade, shade, shade)).save(out, "JPEG", exif=exif)
    return out.getvalue()


def sent(content: bytes, media_type: str = "image/jpeg") -> str:
    """A file as the browser sends it."""
    return f"data:{media_type};base64,{base64.b64encode(content).decode()}"


@pytest.fixture
def own(study_path: Path, signature: Signature) -> tuple[Book, str]:
    """A book on the small study with a photograph, a PDF and a table on its first coupon; and that coupon's code."""
    with open_study(study_path) as study:
        code = fetch_codes(study)[0]
        attach_files(
            study, code, [NewFile('a "b".jpg', photo())], kind="residue_grade", note="top", signature=signature
        )
        files = [NewFile("scan.pdf", PDF), NewFile("tabelle ä.csv", b"a,b\n")]
        attach_files(study, code, files, signature=signature)
    return Book(study_file=study_path, today=lambda: date(2026, 3, 2)), code


@pytest.fixture
def client(own: tuple[Book, str]) -> FlaskClient:
    """A client of the dashboard on that study."""
    return create_app(own[0].study_file, today=own[0].today).server.test_client()


def test_a_picture_is_shown_without_its_place(client: FlaskClient) -> None:
    """With its own type and name, nothing sniffed, nothing run, nothing kept by the browser."""
    answer = client.get(f"/file/{content_digest(photo())}")
    assert (answer.status_code, answer.mimetype) == (200, "image/jpeg")
    assert answer.headers["Content-Disposition"] == 'inline; filename="a _b_.jpg"'
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "no-store"
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "sandbox" in policy
    assert "script-src" not in policy
    assert answer.headers["Cross-Origin-Resource-Policy"] == "same-origin"
    with Image.open(io.BytesIO(answer.data)) as image, Image.open(io.BytesIO(photo())) as original:
        assert dict(image.getexif().get_ifd(0x8825)) == {}
        assert image.tobytes() == original.tobytes()


def test_a_thumbnail_is_a_small_jpeg(client: FlaskClient) -> None:
    """Of a picture alone; a PDF has none."""
    answer = client.get(f"/thumbnail/{content_digest(photo())}")
    assert (answer.status_code, answer.mimetype) == (200, "image/jpeg")
    with Image.open(io.BytesIO(answer.data)) as image:
        assert image.size == (320, 240)
    assert client.get(f"/thumbnail/{content_digest(PDF)}").status_code == 404


def test_other_files_are_handed_over_to_be_saved(client: FlaskClient) -> None:
    """A PDF and a table never open as a page of this address; letters of any script stay in the name."""
    answer = client.get(f"/file/{content_digest(PDF)}")
    assert (answer.mimetype, answer.data) == ("application/pdf", PDF)
    assert answer.headers["Content-Disposition"].startswith("attachment; filename=scan.pdf")
    table = client.get(f"/file/{content_digest(b'a,b' + bytes([10]))}")
    assert table.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert "filename*=UTF-8''tabelle%20%C3%A4.csv" in table.headers["Content-Disposition"]


@pytest.mark.parametrize("digest", ["0" * 64, "A" * 64, "abc", "..%2f..%2fetc", "0" * 63 + "g"])
@pytest.mark.parametrize("door", ["file", "thumbnail"])
def test_only_files_of_the_study_are_answered(client: FlaskClient, door: str, digest: str) -> None:
    """Any other hash, and anything that is no hash, is not found; another site may not ask at all."""
    assert client.get(f"/{door}/{digest}").status_code == 404
    right = f"/{door}/{content_digest(photo())}"
    assert client.get(right, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert client.get(right, headers={"Host": "museum.example"}).status_code == 400
    assert client.post(right).status_code == 405


def test_a_study_that_is_gone_is_said_in_words(client: FlaskClient, own: tuple[Book, str]) -> None:
    """No page of a fault, but a sentence."""
    own[0].study_file.unlink()
    answer = client.get(f"/file/{content_digest(photo())}")
    assert (answer.status_code, answer.mimetype) == (409, "text/plain")
    assert "no study file" in answer.get_data(as_text=True)


def test_pages_keep_their_own_policy(client: FlaskClient) -> None:
    """The narrower policy is the files' alone."""
    assert "script-src 'self'" in client.get("/").headers["Content-Security-Policy"]


def test_one_file_of_the_largest_size_fits_a_post() -> None:
    """Sent as text a file grows by a third."""
    assert LARGEST_FILE_BYTES * 4 / 3 + 100_000 < LARGEST_POST_BYTES


def parts(component: Any) -> list[Any]:
    """Every component of a tree."""
    inner = getattr(component, "children", None)
    found = [component]
    for part in inner if isinstance(inner, list | tuple) else [inner]:
        if part is not None and not isinstance(part, str):
            found += parts(part)
    return found


def test_the_strip_names_every_file(own: tuple[Book, str], said: Said) -> None:
    """Thumbnails for pictures, their ending for others; name, kind, size, who and when; each leads to its file."""
    book, code = own
    shown = attachments.attachments_shown(book, code)
    text = said(shown)
    for words in ('a "b".jpg', "residue grade, ", "R. Vale, 2\u202fMar\u202f2026", "top", "scan.pdf", "PDF", "CSV"):
        assert words in text
    everything = parts(shown)
    pictures = [part for part in everything if type(part).__name__ == "Img"]
    assert [part.src for part in pictures] == [f"/thumbnail/{content_digest(photo())}"]
    links = [part.href for part in everything if type(part).__name__ == "A"]
    assert links[:2] == [f"/file/{content_digest(photo())}", f"/file/{content_digest(PDF)}"]
    (upload,) = [part for part in everything if type(part).__name__ == "Upload"]
    assert upload.multiple
    assert ".jpg" in upload.accept
    idents = {getattr(part, "id", None) for part in everything}
    assert {"attach-files", "attach-files-label", "attach-files-help", "attached", "attach"} <= idents


def test_one_is_taken_off_with_a_reason(own: tuple[Book, str], said: Said) -> None:
    """Chosen, with name and reason: it leaves the strip and stays in the trail; without them it stays where it is."""
    book, code = own
    with open_study(book.study_file) as study:
        numbers = [str(hung.attachment.number) for hung in coupon_attachments(study, code)]
    for number, why, by, words in (
        ("", "x", "R. Vale", "Nothing is chosen"),
        (numbers[0], " ", "R. Vale", "needs a reason"),
        (numbers[0], "x", "", "Nobody's name"),
    ):
        told, strip = attachments.detached(book, code, number, why=why, by=by)
        assert words in said(told)
        assert strip is None
    told, strip = attachments.detached(book, code, numbers[0], why="Another coupon's.", by="R. Vale")
    assert "is taken off" in said(told)
    assert strip is not None
    with open_study(book.study_file) as study:
        assert [str(hung.attachment.number) for hung in coupon_attachments(study, code)] == numbers[1:]
        assert len(coupon_attachments(study, code, superseded=True)) == len(numbers)


def test_an_empty_strip_says_how_to_begin(own: tuple[Book, str], said: Said, study_path: Path) -> None:
    """Another coupon has none; an unknown one is refused in its place."""
    with open_study(study_path) as study:
        other = fetch_codes(study)[1]
    assert "Attach the first below" in said(attachments.attachments_shown(own[0], other))
    assert "check character" in said(attachments.attachments_shown(own[0], "AAAA-3"))


def test_files_are_attached_from_the_page(own: tuple[Book, str], said: Said) -> None:
    """Two at once, under one name and one note; the strip comes back with them."""
    book, code = own
    told, strip = attachments.attached(
        book, code, [sent(photo(1)), sent(photo(2))], ["1.jpg", "2.jpg"], kind="hold_angle", note="left", by="M. Quill"
    )
    assert f"2 files are attached to {code}." in said(told)
    assert strip is not None
    assert "2.jpg" in said(strip)
    with open_study(book.study_file) as study:
        found = coupon_attachments(study, code, kind="hold_angle")
    assert [(hung.attachment.name, hung.entered_by) for hung in found] == [("1.jpg", "M. Quill"), ("2.jpg", "M. Quill")]


@pytest.mark.parametrize(("content", "by", "words"), [
    (sent(photo(3)[:500]), "R. Vale", "“x.jpg” is damaged"),
    (sent(photo(3)), " ", "Nobody's name"),
    ("data:image/jpeg;base64,@@", "R. Vale", "x.jpg did not come through whole"),
    ("javascript:x", "R. Vale", "x.jpg did not come through whole"),
    (sent(b"GIF89a" + bytes(9)), "R. Vale", "seems to be a GIF picture"),
])  # fmt: skip
def test_a_refusal_stands_in_its_place(own: tuple[Book, str], said: Said, content: str, by: str, words: str) -> None:
    """What is wrong with which file, and nothing is attached."""
    book, code = own
    told, strip = attachments.attached(book, code, [content], ["x.jpg"], kind="", note="", by=by)
    assert strip is None
    assert words in said(told)
    with open_study(book.study_file) as study:
        assert len(coupon_attachments(study, code)) == 3
