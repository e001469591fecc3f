"""Photographs and files hang on coupons: stored once, checked, listed, taken off and never deleted."""

from __future__ import annotations

import io
import sqlite3
from pathlib import Path

import pytest
from PIL import Image

from study.commands.read_attachments import (
    NewFile,
    attach_files,
    attach_paths,
    coupon_attachments,
    detach_file,
    served_file,
    served_thumbnail,
)
from study.errors import FileRefused, NotPossible, Unknown
from study.model.attachment import LARGEST_FILE_BYTES, content_digest
from study.model.person import Signature
from study.store.attachments import fetch_content
from study.store.chain import broken_links
from study.store.changes import refuse_same_file
from study.store.coupons import fetch_codes
from study.store.study_file import StudyFile


def photo(shade: int = 90) -> bytes:
    """An invented grey picture with a place in it."""
    exif = Image.Exif()
    exif[0x0132] = "2025:04:15 10:00:00"
    exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (shade, shade, shade)).save(out, "JPEG", exif=exif)
    return out.getvalue()


def count(study: StudyFile, table: str) -> int:
    return int(study.rows(f"SELECT count(*) AS n FROM {table}")[0]["n"])


@pytest.fixture
def codes(study: StudyFile) -> list[str]:
    """Coupons of the small study."""
    return fetch_codes(study)


def test_the_same_bytes_are_stored_once(study: StudyFile, codes: list[str], signature: Signature) -> None:
    """On two coupons, and twice on one under another kind: three attachments, one file."""
    for code, kind in ((codes[0], ""), (codes[0], "residue_grade"), (codes[1].lower(), "residue_grade")):
        attach_files(study, code, [NewFile("IMG_1.jpg", photo())], kind=kind, signature=signature)
    assert (count(study, "files"), count(study, "attachments")) == (1, 3)
    one, other = coupon_attachments(study, codes[0])
    assert one.attachment.sha256 == other.attachment.sha256
    assert (one.attachment.media_type, one.attachment.thumbnail, one.entered_by) == ("image/jpeg", True, "R. Vale")
    found = fetch_content(study, one.attachment.sha256)
    assert found == (photo(), "image/jpeg")
    assert list(broken_links(study.db.conn)) == []


def test_listing_by_kind(study: StudyFile, codes: list[str], signature: Signature) -> None:
    """All of a coupon, those of one kind of reading, those of the coupon as a whole."""
    attach_files(study, codes[0], [NewFile("a.jpg", photo(1)), NewFile("a.txt", b"seen")], signature=signature)
    attach_files(study, codes[0], [NewFile("b.jpg", photo(2))], kind="residue_grade", note="top", signature=signature)
    names = lambda kind: [h.attachment.name for h in coupon_attachments(study, codes[0], kind=kind)]  # noqa: E731
    assert names(None) == ["a.jpg", "a.txt", "b.jpg"]
    assert names("") == ["a.jpg", "a.txt"]
    assert names("residue_grade") == ["b.jpg"]
    assert names("hold_angle") == []
    assert coupon_attachments(study, codes[1]) == []
    with pytest.raises(NotPossible, match="Did you mean residue_grade"):
        coupon_attachments(study, codes[0], kind="residue")


def test_all_or_nothing_with_every_fault(study: StudyFile, codes: list[str], signature: Signature) -> None:
    """One good file and three bad ones: all three are told, nothing is kept, no line in the log."""
    before = study.last_change()
    files = [NewFile("good.jpg", photo()), NewFile("cut.jpg", photo()[:900]), NewFile("x.gif", b"GIF89a" + bytes(40)),
             NewFile("photo.pdf", photo())]  # fmt: skip
    with pytest.raises(FileRefused) as refusal:
        attach_files(study, codes[0], files, signature=signature)
    assert [problem.value for problem in refusal.value.problems] == ["cut.jpg", "x.gif", "photo.pdf"]
    assert str(refusal.value).count("cut.jpg") == 1
    assert (count(study, "files"), study.last_change()) == (0, before)


def test_paths_are_read_and_large_ones_are_not(
    study: StudyFile, codes: list[str], signature: Signature, tmp_path: Path
) -> None:
    """A file beyond the limit is refused by its size, before it is read; a missing one beside it is told too."""
    large = tmp_path / "large.txt"
    with large.open("wb") as handle:
        handle.truncate(LARGEST_FILE_BYTES + 1)
    with pytest.raises(FileRefused, match=r"large\.txt.*at most 25 MB") as refusal:
        attach_paths(study, codes[0], [large, tmp_path / "none.jpg"], signature=signature)
    assert len(refusal.value.problems) == 2
    (tmp_path / "seen.jpg").write_bytes(photo())
    (one,) = attach_paths(study, codes[0], [tmp_path / "seen.jpg"], signature=signature)
    assert (one.name, one.code, one.number) == ("seen.jpg", codes[0], 1)


def test_the_same_file_twice_in_one_place_is_refused(study: StudyFile, codes: list[str], signature: Signature) -> None:
    """A second press attaches nothing; another kind or another coupon is another matter."""
    attach_files(study, codes[0], [NewFile("a.jpg", photo())], signature=signature)
    with pytest.raises(NotPossible, match=r"already, by R\. Vale"):
        attach_files(study, codes[0], [NewFile("b.jpg", photo(3)), NewFile("a.jpg", photo())], signature=signature)
    with pytest.raises(NotPossible, match="already"):
        attach_files(study, codes[1], [NewFile("a.jpg", photo()), NewFile("a.jpg", photo())], signature=signature)
    assert count(study, "attachments") == 1


def test_an_attachment_is_taken_off_and_stays(study: StudyFile, codes: list[str], signature: Signature) -> None:
    """With a reason, once; its bytes and its line stay, and it may be attached again."""
    (one,) = attach_files(study, codes[0], [NewFile("a.jpg", photo())], signature=signature)
    with pytest.raises(NotPossible, match="needs a reason"):
        detach_file(study, one.number, signature=signature.because(""))
    assert detach_file(study, one.number, signature=signature).name == "a.jpg"
    assert coupon_attachments(study, codes[0]) == []
    (gone,) = coupon_attachments(study, codes[0], superseded=True)
    assert (gone.superseded_by, gone.why) == ("R. Vale", "Because the test needs it.")
    with pytest.raises(NotPossible, match=r"was taken off by R\. Vale"):
        detach_file(study, one.number, signature=signature)
    with pytest.raises(Unknown, match="no attachment 99"):
        detach_file(study, 99, signature=signature)
    with pytest.raises(sqlite3.IntegrityError):
        study.db.conn.execute("DELETE FROM attachments")
    assert attach_files(study, codes[0], [NewFile("a.jpg", photo())], signature=signature)[0].number == 2
    assert count(study, "files") == 1
    assert list(broken_links(study.db.conn)) == []


def test_what_is_served_tells_no_place(study: StudyFile, codes: list[str], signature: Signature) -> None:
    """The original stays in the study; what is handed out has lost its place and kept its day."""
    (one,) = attach_files(study, codes[0], [NewFile("a.jpg", photo())], signature=signature)
    served = served_file(study, one.sha256)
    assert served is not None
    assert (served.name, served.media_type) == ("a.jpg", "image/jpeg")
    with Image.open(io.BytesIO(served.content)) as image:
        assert dict(image.getexif().get_ifd(0x8825)) == {}
        assert image.getexif()[0x0132] == "2025:04:15 10:00:00"
    assert served_file(study, "0" * 64) is None
    small = served_thumbnail(study, one.sha256)
    assert small is not None
    assert small.startswith(b"\xff\xd8")


@pytest.mark.parametrize(("code", "kind", "note", "words"), [
    ("ZZZZ-9", "", "", "“ZZZZ-9”"),
    ("", "resid", "", "not a kind of reading"),
    ("", "", "x" * 501, "longer than 500"),
])  # fmt: skip
def test_a_wrong_place_is_refused(
    study: StudyFile, codes: list[str], signature: Signature, code: str, kind: str, note: str, words: str
) -> None:
    """An unknown coupon, an unknown kind, an endless note."""
    with pytest.raises((Unknown, NotPossible), match=words):
        attach_files(study, code or codes[0], [NewFile("a.txt", b"a")], kind=kind, note=note, signature=signature)
    with pytest.raises(NotPossible, match="No file"):
        attach_files(study, codes[0], [], signature=signature)


def test_an_attached_sheet_may_still_be_imported(
    study: StudyFile, codes: list[str], signature: Signature, tmp_path: Path
) -> None:
    """The gauge's own file hangs on a coupon as a proof, and its readings are taken from it afterwards."""
    sheet = tmp_path / "gauge.csv"
    sheet.write_text("coupon,read_on\n", "utf-8")
    attach_paths(study, codes[0], [sheet], signature=signature)
    refuse_same_file(study, content_digest(sheet.read_bytes()), sheet)
    with pytest.raises(NotPossible, match="already"):
        attach_paths(study, codes[0], [sheet], signature=signature)


def test_later_changes_do_not_walk_through_the_files(study: StudyFile, codes: list[str], signature: Signature) -> None:
    """What a change entered is found by an index; else every change would read every photograph to be chained."""
    attach_files(study, codes[0], [NewFile("a.txt", b"a")], signature=signature)
    for table in ("files", "attachments"):
        (plan,) = study.rows(f"EXPLAIN QUERY PLAN SELECT rowid, * FROM {table} WHERE entered_change = 4 ORDER BY rowid")
        assert "USING INDEX" in plan["detail"]


def test_a_mark_on_two_pieces_names_neither(study: StudyFile, codes: list[str], signature: Signature) -> None:
    """A photograph is hung on a piece by its own mark, never on one of two that carry the same."""
    study.db.execute("UPDATE coupons SET own_mark = 'AB-012' WHERE code = ?", [codes[0]])
    (hung,) = attach_files(study, "ab 012", [NewFile("a.jpg", photo())], signature=signature)
    assert hung.code == codes[0]
    study.db.execute("UPDATE coupons SET own_mark = 'AB 012' WHERE code = ?", [codes[1]])
    study.db.conn.commit()
    with pytest.raises(Unknown, match="AB-012"):
        attach_files(study, "AB-012", [NewFile("b.jpg", photo(91))], signature=signature)
