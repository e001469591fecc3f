"""What leaves the house tells no place, and its pixels are those of the study."""

from __future__ import annotations

import io
import struct
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from study.outputs.location import CannotClean, without_location

XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description exif:GPSLatitude="51,30.5N" photoshop:City="Invented"/></rdf:RDF></x:xmpmeta>'
)
NO_PLACE = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:Description xmp:Rating="4"/></x:xmpmeta>'
FORMATS = {"JPEG": "image/jpeg", "PNG": "image/png", "TIFF": "image/tiff", "WEBP": "image/webp"}
SECRET = "SECRETPLACE"


def tagged(form: str, *, xmp: bytes = XMP, place: bool = True) -> bytes:
    """A picture of a ramp with EXIF (day, orientation, GPS, maker's notes) and XMP."""
    exif = Image.Exif()
    exif[0x0112] = 3
    exif[0x0132] = "2025:04:15 10:00:00"
    if place:
        gps = exif.get_ifd(0x8825)
        gps[1], gps[2], gps[3], gps[4] = "N", (51.0, 30.0, 30.1234), "W", (0.0, 7.0, 40.4321)
        gps[0x1C] = SECRET.encode()
        exif.get_ifd(0x8769)[0x927C] = b"maker" + SECRET.encode()
    exif.get_ifd(0x8769)[0x9003] = "2025:04:15 09:59:00"
    for block in (0x8769, *((0x8825,) if place else ())):
        exif[block] = exif.get_ifd(block)  # the TIFF writer looks for the pointer's own tag
    image = Image.linear_gradient("L").resize((320, 200)).convert("RGB")
    more: dict[str, object] = {"exif": exif}
    if form == "PNG":
        info = PngImagePlugin.PngInfo()
        info.add_itxt("XML:com.adobe.xmp", xmp.decode())
        info.add_text("Location", SECRET)
        info.add_text("Title", "kept words")
        more["pnginfo"] = info
    elif form == "TIFF":
        exif[700] = xmp
    else:
        more["xmp"] = xmp
    out = io.BytesIO()
    image.save(out, form, **more)
    return out.getvalue()


def pixels(content: bytes) -> tuple[str, tuple[int, int], bytes]:
    with Image.open(io.BytesIO(content)) as image:
        return image.mode, image.size, image.tobytes()


@pytest.mark.parametrize("form", FORMATS)
def test_the_place_is_gone_and_the_pixels_are_the_same(form: str) -> None:
    """GPS block, maker's notes and XMP are gone, bytes and all; day and orientation stay; every pixel is the same."""
    content = tagged(form)
    assert SECRET.encode() in content
    assert b"GPSLatitude" in content
    cleaned, removed = without_location(content, FORMATS[form])
    assert removed
    assert SECRET.encode() not in cleaned
    assert b"GPS" not in cleaned
    assert struct.pack(">HHI", 0x8825, 4, 1) not in cleaned
    assert struct.pack("<HHI", 0x8825, 4, 1) not in cleaned
    assert pixels(cleaned) == pixels(content)
    with Image.open(io.BytesIO(cleaned)) as image:
        image.verify()
    with Image.open(io.BytesIO(cleaned)) as image:
        exif = image.getexif()
        assert dict(exif.get_ifd(0x8825)) == {}
        assert 0x8825 not in exif
        assert exif[0x0132] == "2025:04:15 10:00:00"
        assert exif[0x0112] == 3
        assert 0x927C not in exif.get_ifd(0x8769)
        assert exif.get_ifd(0x8769)[0x9003] == "2025:04:15 09:59:00"


@pytest.mark.parametrize("form", FORMATS)
def test_cleaning_twice_changes_nothing_more(form: str) -> None:
    """What is clean stays as it is, byte for byte."""
    cleaned, _ = without_location(tagged(form), FORMATS[form])
    assert without_location(cleaned, FORMATS[form]) == (cleaned, False)


@pytest.mark.parametrize("form", ["JPEG", "TIFF", "WEBP"])
def test_other_metadata_stays(form: str) -> None:
    """A picture that tells no place leaves byte for byte, with its XMP."""
    content = tagged(form, xmp=NO_PLACE, place=False)
    assert without_location(content, FORMATS[form]) == (content, False)


def test_words_without_a_place_stay_in_a_png() -> None:
    """Only the text that names a place is left out."""
    cleaned, _ = without_location(tagged("PNG", xmp=NO_PLACE, place=False), "image/png")
    assert b"kept words" in cleaned
    assert b"xmp:Rating" in cleaned
    assert SECRET.encode() not in cleaned


def test_what_lies_behind_the_picture_is_cut_off() -> None:
    """Phones put a film or a second picture, with a place of its own, behind the first."""
    content = tagged("JPEG")
    cleaned, _ = without_location(content + tagged("JPEG") + b"film of " + SECRET.encode(), "image/jpeg")
    assert cleaned == without_location(content, "image/jpeg")[0]
    png = tagged("PNG")
    assert SECRET.encode() not in without_location(png + SECRET.encode(), "image/png")[0]


def test_places_typed_by_hand_go_too() -> None:
    """IPTC city and sublocation in the resources of a JPEG."""
    content = tagged("JPEG", place=False, xmp=NO_PLACE)
    records = b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\x10\x1c\x02\x5a\0\x0b" + SECRET.encode()
    with_city = content[:2] + struct.pack(">HH", 0xFFED, len(records) + 2) + records + content[2:]
    assert without_location(with_city, "image/jpeg") == (content, True)


def test_progressive_pictures_are_followed_to_their_end() -> None:
    """Several scans with tables between them."""
    out = io.BytesIO()
    Image.effect_noise((400, 300), 80).convert("RGB").save(out, "JPEG", progressive=True, exif=b"", quality=95)
    content = out.getvalue()
    assert without_location(content + b"tail", "image/jpeg") == (content, True)


def test_other_files_are_given_back_as_they_are() -> None:
    """A PDF or a table is not looked into."""
    assert without_location(b"GPSLatitude", "text/plain") == (b"GPSLatitude", False)


def test_exif_that_cannot_be_followed_is_left_out_whole() -> None:
    """Better no day than a place nobody can rule out."""
    content = tagged("JPEG", place=False, xmp=NO_PLACE)
    broken = b"Exif\0\0II*\0\xff\xff\xff\x7f" + SECRET.encode()
    with_broken = content[:2] + struct.pack(">HH", 0xFFE1, len(broken) + 2) + broken + content[2:]
    assert without_location(with_broken, "image/jpeg") == (content, True)


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("share", [0.02, 0.4])
def test_what_cannot_be_followed_is_refused(form: str, share: float) -> None:
    """A cut-off picture never leaves as if it were clean."""
    content = tagged(form)
    cut = content[: int(len(content) * share)]
    try:
        cleaned, _ = without_location(cut, FORMATS[form])
    except CannotClean:
        return
    assert SECRET.encode() not in cleaned


@given(st.binary(max_size=400), st.sampled_from(sorted(FORMATS.values())), st.booleans())
def test_no_bytes_break_it(noise: bytes, media_type: str, headed: bool) -> None:
    """Any bytes are cleaned or refused in words, never another fault."""
    heads = {"image/jpeg": b"\xff\xd8\xff\xe1\0\x40Exif\0\0II*\0\x08\0\0\0", "image/png": b"\x89PNG\r\n\x1a\n",
             "image/tiff": b"MM\0*\0\0\0\x08", "image/webp": b"RIFF\x40\0\0\0WEBP"}  # fmt: skip
    with suppress(CannotClean):
        assert isinstance(without_location((heads[media_type] if headed else b"") + noise, media_type), tuple)
