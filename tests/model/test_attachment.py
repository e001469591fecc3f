"""What may be attached is told by its content, and pictures are read to their last byte."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from study.errors import DwellbookError
from study.model.attachment import (
    LARGEST_FILE_BYTES,
    LONGEST_NAME_BYTES,
    Attachment,
    checked_type,
    ending_of,
    kept_names,
    size_words,
    tidy_name,
)
from study.model.picture import thumbnail

PDF = b"%PDF-1.4\n1 0 obj<<>>endobj\nstartxref\n9\n%%EOF\n"
FORMATS = {"JPEG": "image/jpeg", "PNG": "image/png", "TIFF": "image/tiff", "WEBP": "image/webp"}


def picture(form: str = "JPEG", size: tuple[int, int] = (800, 500), mode: str = "RGB", **more: object) -> bytes:
    """An invented picture: a ramp from dark to light, with a dark left edge."""
    ramp = Image.linear_gradient("L").resize(size)
    ramp.paste(0, (0, 0, size[0] // 8, size[1]))
    out = io.BytesIO()
    ramp.convert(mode).save(out, form, **more)
    return out.getvalue()


@pytest.mark.parametrize("form", FORMATS)
def test_pictures_are_told_by_content(form: str) -> None:
    """With the right ending, or with none."""
    content = picture(form)
    assert checked_type(content, f"a.{form.lower()}") == FORMATS[form]
    assert checked_type(content, "a") == FORMATS[form]
    with pytest.raises(DwellbookError, match=r"called \.pdf"):
        checked_type(content, "a.pdf")


def test_documents_and_text_are_told_by_content() -> None:
    """A table and plain text differ by their ending alone; a marked UTF-8 file is text."""
    assert checked_type(PDF, "a.pdf") == "application/pdf"
    assert checked_type(b"a,b\n1,2\n", "A.CSV") == "text/csv"
    assert checked_type("\ufeffL*\t°\r\n".encode(), "note") == "text/plain"
    with pytest.raises(DwellbookError, match=r"called \.jpg"):
        checked_type(b"not a picture", "a.jpg")


@pytest.mark.parametrize(("content", "name", "seems"), [
    (b"", "a.txt", "empty"),
    (b"GIF89a\1\0\1\0", "a.gif", "GIF"),
    (b"PK\3\4rest", "a.csv", "ZIP"),
    (b"%PDF-1.4\ncut", "a.pdf", "cut off"),
    (b"<!DOCTYPE html><p>", "a.txt", "web page"),
    (b"  <svg onload='x'>", "a.txt", "drawing"),
    (b"\0\0\0\x18ftypheic", "a.heic", "HEIC"),
    (b"\0\0\0\x18ftypisom", "a.mp4", "video"),
    (b"MZ\x90\0", "a.txt", "program"),
    ("Größe".encode("latin-1"), "a.txt", "another encoding"),
    ("a,b".encode("utf-16"), "a.csv", "UTF-16"),
    (b"a\0b", "a.txt", "control characters"),
    (b"\x93\0\xff\x88", "a.txt", "not known"),
    (b"II+\0\x08\0\0\0", "a.tif", "BigTIFF"),
])  # fmt: skip
def test_other_content_is_refused_with_what_it_seems_to_be(content: bytes, name: str, seems: str) -> None:
    """Whatever its name says."""
    with pytest.raises(DwellbookError) as refusal:
        checked_type(content, name)
    assert seems in refusal.value.what
    assert refusal.value.do


def test_the_size_limit_is_said() -> None:
    """One byte more than 25 MB is refused, the limit itself is taken."""
    assert checked_type(b"a" * LARGEST_FILE_BYTES, "a.txt") == "text/plain"
    with pytest.raises(DwellbookError, match="at most 25 MB"):
        checked_type(b"a" * (LARGEST_FILE_BYTES + 1), "a.txt")


def test_names_lose_folders_and_control_characters() -> None:
    """A name is one line without a path, and keeps its ending when it is cut."""
    assert tidy_name("C:\\photos\\..\\a\n b.jpg") == "a b.jpg"
    assert tidy_name("../../etc/x.txt") == "x.txt"
    assert tidy_name("..") == "unnamed"
    long = tidy_name("x" * 400 + ".jpeg")
    assert len(long) == LONGEST_NAME_BYTES
    assert len(tidy_name("é" * 400 + ".jpeg").encode()) == LONGEST_NAME_BYTES - 1, "no half a character"
    assert ending_of(long) == "jpeg"
    assert (ending_of(".hidden"), ending_of("a.B")) == ("", "b")
    assert [size_words(n) for n in (820, 45_400, 3_140_000)] == ["820 B", "45 kB", "3.1 MB"]


def test_names_with_the_same_stem_do_not_collide() -> None:
    """Another ending, capitals, marks that a disk does not take: each file keeps a name of its own, for good."""
    names = ("IMG_1.jpg", "img_1.JPG", "IMG_1.png", "IMG_1-2.jpg", "IMG 1?.jpg", "…", "a/b", "Übersicht.tiff")
    types = {"jpg": "image/jpeg", "png": "image/png", "tiff": "image/tiff"}
    made = [
        Attachment("A7K4-M", "", name, "0" * 64, types.get(ending_of(name), "text/plain"), 1, False, "", number)
        for number, name in enumerate(names, 1)
    ]
    found = kept_names(made)
    assert list(found.values()) == [
        "A7K4-M_coupon_IMG_1.jpg", "A7K4-M_coupon_img_1-2.jpg", "A7K4-M_coupon_IMG_1-3.png",
        "A7K4-M_coupon_IMG_1-2-2.jpg", "A7K4-M_coupon_IMG-1.jpg", "A7K4-M_coupon_file.txt", "A7K4-M_coupon_a-b.txt",
        "A7K4-M_coupon_Übersicht.tiff",
    ]  # fmt: skip
    assert all(kept_names(made[:count])[count] == found[count] for count in range(1, len(made) + 1))


@given(st.lists(st.tuples(st.sampled_from(["", "residue_grade"]), st.text(max_size=80)), max_size=20))
def test_no_two_kept_names_are_alike(given_names: list[tuple[str, str]]) -> None:
    """Whatever files were called: no two stems alike without capitals, and nothing that leads out of the folder."""
    made = [
        Attachment("A7K4-M", kind, tidy_name(name), "", "text/plain", 1, False, "", n)
        for n, (kind, name) in enumerate(given_names, 1)
    ]
    stems = [name.rpartition(".")[0].casefold() for name in kept_names(made).values()]
    assert len(set(stems)) == len(made)
    assert not any(set(stem) & set('/\\:*?"<>|.\n') for stem in stems)


@pytest.mark.parametrize(("form", "mode"), [
    ("JPEG", "RGB"), ("JPEG", "L"), ("JPEG", "CMYK"), ("PNG", "RGBA"), ("PNG", "LA"), ("PNG", "P"), ("PNG", "I;16"),
    ("PNG", "1"), ("TIFF", "RGB"), ("TIFF", "I;16"), ("TIFF", "F"), ("WEBP", "RGB"), ("WEBP", "RGBA"),
])  # fmt: skip
def test_every_mode_has_a_thumbnail(form: str, mode: str) -> None:
    """A small JPEG in ordinary RGB, no side beyond 320 px, whatever the picture's depth or transparency."""
    content = picture(form, mode=mode if mode != "I;16" else "L")
    if mode == "I;16":
        out = io.BytesIO()
        Image.linear_gradient("L").resize((800, 500)).convert("I").point(lambda v: v * 257).convert("I;16").save(
            out, form
        )
        content = out.getvalue()
    with Image.open(io.BytesIO(thumbnail(content, FORMATS[form], "a"))) as small:
        assert (small.format, small.mode, small.size) == ("JPEG", "RGB", (320, 200))
        grey = small.convert("L").tobytes()
        assert min(grey) < 40
        assert max(grey) > 200


def test_a_thumbnail_is_upright_and_tells_nothing() -> None:
    """Orientation is carried out; GPS, comment and day of the original are not in it."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x0132] = "2025:04:15 10:00:00"
    exif.get_ifd(0x8825)[1] = "N"
    content = picture(exif=exif, comment=b"in the vault")
    small = thumbnail(content, "image/jpeg", "a")
    assert b"vault" not in small
    with Image.open(io.BytesIO(small)) as opened:
        assert opened.size == (200, 320)
        assert dict(opened.getexif()) == {}
        # The dark left edge of the picture as stored is on top once it is turned a quarter clockwise.
        grey = opened.convert("L").tobytes()
        assert grey[5 * 200 + 100] < 40
        assert grey[160 * 200 + 20] > 100


def test_a_small_picture_is_not_blown_up() -> None:
    """A thumbnail is never larger than its picture."""
    with Image.open(io.BytesIO(thumbnail(picture(size=(40, 30)), "image/jpeg", "a"))) as small:
        assert small.size == (40, 30)


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("share", [0.3, 0.8])
def test_a_picture_that_was_cut_off_is_refused(form: str, share: float) -> None:
    """Half a file opens in some viewers and shows half a coupon."""
    content = picture(form, size=(900, 700))
    with pytest.raises(DwellbookError, match="damaged"):
        thumbnail(content[: int(len(content) * share)], FORMATS[form], "a")


def test_a_picture_that_unpacks_without_end_is_refused() -> None:
    """A few kilobytes that claim ten thousand million pixels, or fifty million of a kind that is decoded whole."""
    for side in (100_000, 7_500):
        head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
        chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(bytes(1000))), (b"IEND", b""))
        content = b"\x89PNG\r\n\x1a\n" + b"".join(
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
            for name, data in chunks
        )
        with pytest.raises(DwellbookError, match="more pixels"):
            thumbnail(content, "image/png", "a.png")
