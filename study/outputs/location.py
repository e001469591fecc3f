"""Files as they may leave the house: where a picture was taken is cut out of it, its pixels stay as they are."""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator

from study.outputs.location_tags import PLACE_RECORDS, PLACE_WORDS, blank_tags

_XMP = b"http://ns.adobe.com/xap/1.0/\0"
_LONG_XMP = b"http://ns.adobe.com/xmp/extension/\0"
_EXIF = b"Exif\0\0"
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_ALONE = frozenset(range(0xD0, 0xD9)) | {0x01}


class CannotClean(ValueError):
    """A picture whose structure cannot be followed, so that nobody can say what it still tells."""


def without_location(content: bytes, media_type: str) -> tuple[bytes, bool]:
    """A picture without the place it was taken at: EXIF GPS block, makers' notes, XMP and IPTC places.

    Nothing is decoded or compressed again: blocks of metadata are blanked or left out, and what lies behind the
    picture's end (a second picture, a film) is cut off. Day, camera and colour profile stay. Other kinds of files
    are given back as they are.

    Returns
    -------
    bytes, bool
        The file, and whether anything was taken out.

    Raises
    ------
    CannotClean
        If the file's structure cannot be followed to its end.
    """
    clean = {
        "image/jpeg": _jpeg, "image/png": _png, "image/webp": _webp, "image/tiff": lambda c: blank_tags(bytes(c)),
    }.get(media_type)  # fmt: skip
    if clean is None:
        return content, False
    try:
        done = clean(content)
    except (struct.error, IndexError, ValueError, zlib.error) as fault:
        raise CannotClean(str(fault)) from fault
    return done, done != content


def _jpeg(content: bytes) -> bytes:
    kept = [content[:2]]
    for marker, segment in _segments(content):
        payload = segment[4:]
        if marker == 0xE1 and payload.startswith(_EXIF):
            block = _blanked(payload[6:])
            kept += [segment[:10] + block] if block else []
        elif marker == 0xE1 and payload.startswith((_XMP, _LONG_XMP)):
            if payload.startswith(_XMP) and not _says_a_place(payload):
                kept.append(segment)
        elif (marker == 0xED and PLACE_RECORDS.search(payload)) or (marker == 0xE2 and payload.startswith(b"MPF\0")):
            continue  # places by hand; and the list of further pictures, which are cut off
        else:
            kept.append(segment)
    return b"".join(kept)


def _segments(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Each part of a JPEG from its marker on; the scans with their data; ends with the end of the first picture."""
    place = 2
    while True:
        while content[place + 1] == 0xFF:  # fill bytes may stand before a marker
            place += 1
        if content[place] != 0xFF:
            raise CannotClean("no marker where one is due")
        marker = content[place + 1]
        if marker == 0xD9:
            yield marker, content[place : place + 2]
            return
        if marker in _ALONE:
            yield marker, content[place : place + 2]
            place += 2
            continue
        end = place + 2 + struct.unpack_from(">H", content, place + 2)[0]
        if marker == 0xDA:
            found = _MARKER.search(content, end)
            if found is None:
                raise CannotClean("no end of the picture")
            end = found.start()
        if end > len(content) or end < place + 4:
            raise CannotClean("a part runs beyond the end")
        yield marker, content[place:end]
        place = end


def _png(content: bytes) -> bytes:
    kept = [content[:8]]
    place, name = 8, b""
    while name != b"IEND":
        length, name = struct.unpack_from(">I4s", content, place)
        end = place + 12 + length
        if end > len(content):
            raise CannotClean("a chunk runs beyond the end")
        data = content[place + 8 : end - 4]
        if name == b"eXIf":
            start = 6 if data.startswith(_EXIF) else 0
            block = _blanked(data[start:])
            data = name + data[:start] + block
            if block:
                kept.append(struct.pack(">I", len(data) - 4) + data + struct.pack(">I", zlib.crc32(data)))
        elif name not in (b"iTXt", b"tEXt", b"zTXt") or not _png_text_says_a_place(name, data):
            kept.append(content[place:end])
        place = end
    return b"".join(kept)


def _png_text_says_a_place(name: bytes, data: bytes) -> bool:
    keyword, _, rest = data.partition(b"\0")
    if keyword.startswith(b"Raw profile type") or PLACE_WORDS.search(keyword):
        return True  # other programs' way to keep EXIF, IPTC or XMP, as hexadecimal digits
    if keyword != b"XML:com.adobe.xmp":
        return False
    return name == b"zTXt" or rest[:1] == b"\x01" or _says_a_place(rest)


def _webp(content: bytes) -> bytes:
    total = min(len(content), 8 + struct.unpack_from("<I", content, 4)[0])
    kept: list[bytes] = []
    place, dropped = 12, 0
    while place + 8 <= total:
        name, length = struct.unpack_from("<4sI", content, place)
        end = place + 8 + length + length % 2
        if place + 8 + length > total:
            raise CannotClean("a chunk runs beyond the end")
        data = content[place + 8 : place + 8 + length]
        if name == b"EXIF":
            start = 6 if data.startswith(_EXIF) else 0
            block = _blanked(data[start:])
            data = data[:start] + block
            dropped |= 0 if block else 0x08
        if name == b"XMP " and _says_a_place(data):
            dropped |= 0x04
        elif name == b"EXIF" and dropped & 0x08:
            pass
        else:
            kept.append(struct.pack("<4sI", name, length) + data + b"\0" * (length % 2))
        place = end
    if kept and kept[0].startswith(b"VP8X") and dropped:
        head = bytearray(kept[0])
        head[8] &= ~dropped & 0xFF  # the flags that promise EXIF and XMP
        kept[0] = bytes(head)
    body = b"".join(kept)
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WEBP" + body


def _blanked(block: bytes) -> bytes:
    """An EXIF block without its place; nothing of it where it cannot be followed."""
    try:
        return blank_tags(block)
    except (struct.error, IndexError, ValueError):
        return b""


def _says_a_place(packet: bytes) -> bool:
    # UTF-16 packets are allowed, though hardly ever written: looked through without their zero bytes.
    return PLACE_WORDS.search(packet.replace(b"\0", b"")) is not None
