"""Tags that tell a place, blanked within a TIFF block: EXIF of any picture, or a whole TIFF file."""

from __future__ import annotations

import re
import struct

_GPS, _EXIF_BLOCK, _INTEROP, _SUB_BLOCKS = 0x8825, 0x8769, 0xA005, 0x014A
_ALWAYS = frozenset({_GPS, 0x927C, 0xC634})
"""The GPS block, makers' notes and private data: the last two cannot be read and may hold a place."""
_XMP, _IPTC, _RESOURCES = 0x02BC, 0x83BB, 0x8649
PLACE_WORDS = re.compile(rb"GPS|Location|City|State|Country|Sublocation|[Gg]eo|[Ll]atitude|[Ll]ongitude")
"""Words of the XMP properties that say a place; a packet with one of them goes as a whole."""
PLACE_RECORDS = re.compile(rb"\x1c\x02[\x1a\x1b\x5a\x5c\x5f\x64\x65]")
"""IPTC records of city, sublocation, province, country and content location."""
_GEO_TAGS = frozenset({0x830E, 0x8482, 0x85D8, 0x87AF, 0x87B0, 0x87B1})
"""Where a map's corner lies (GeoTIFF)."""
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_MOST_BLOCKS = 2000


def blank_tags(block: bytes) -> bytes:
    """The block, of the same length, without the tags that tell a place; their values are overwritten with zeros.

    Parameters
    ----------
    block : bytes
        From its "II*" or "MM*" on. Offsets within it stay valid, since nothing moves but entries within their list.

    Raises
    ------
    ValueError
        If it is no TIFF block, or a list of tags runs in a circle or beyond the end.
    """
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(block[:4])
    if order is None:
        raise ValueError("no TIFF block")
    return _Block(bytearray(block), order).cleaned()


class _Block:
    def __init__(self, data: bytearray, order: str) -> None:
        self.data = data
        self.order = order
        self.seen: set[int] = set()

    def cleaned(self) -> bytes:
        (first,) = self._read("I", 4)
        waiting = [(first, True)]
        while waiting:
            waiting += self._clean(*waiting.pop())
        return bytes(self.data)

    def _read(self, form: str, place: int) -> tuple[int, ...]:
        return struct.unpack_from(self.order + form, self.data, place)

    def _clean(self, place: int, chained: bool) -> list[tuple[int, bool]]:
        """Take the tags out of one list of entries; the lists it leads to, each with whether it leads on itself."""
        if place == 0:
            return []
        if place in self.seen or len(self.seen) > _MOST_BLOCKS:
            raise ValueError("a list of tags leads back to itself")
        self.seen.add(place)
        (count,) = self._read("H", place)
        end = place + 2 + 12 * count
        if end > len(self.data):
            raise ValueError("a list of tags runs beyond the end")
        kept, onward = bytearray(), []
        for start in range(place + 2, end, 12):
            tag, kind, many = self._read("HHI", start)
            spot, size = self._value(start, kind, many)
            if tag == _GPS:
                self._blank_list(self._read("I", start + 8)[0])
            if self._tells_a_place(tag, spot, size):
                self._zero(spot, size)
                continue
            if tag in (_EXIF_BLOCK, _INTEROP):
                onward += list(self._read("I", start + 8))
            elif tag == _SUB_BLOCKS:
                onward += list(self._read(f"{many}I", spot)) if many <= _MOST_BLOCKS else []
            kept += self.data[start : start + 12]
        tail = self.data[end : end + 4]
        leads = [(spot, False) for spot in onward]
        if chained and len(tail) == 4:  # within an EXIF list these bytes are often left as they happened to be
            leads.append((int.from_bytes(tail, "little" if self.order == "<" else "big"), True))
        gone = 12 * count - len(kept)
        if gone:
            # The list gets shorter where it stands: what leads on moves up behind it, and zeros fill the rest.
            self.data[place + 2 : end + len(tail)] = kept + tail + bytes(gone)
            struct.pack_into(self.order + "H", self.data, place, len(kept) // 12)
        return leads

    def _value(self, start: int, kind: int, many: int) -> tuple[int, int]:
        """Where a value lies and how long it is [bytes]."""
        size = _SIZES.get(kind, 1) * many
        return (start + 8, size) if size <= 4 else (self._read("I", start + 8)[0], size)

    def _tells_a_place(self, tag: int, spot: int, size: int) -> bool:
        if tag in _ALWAYS or tag in _GEO_TAGS:
            return True
        if tag == _XMP:
            return PLACE_WORDS.search(bytes(self.data[spot : spot + size]).replace(b"\0", b"")) is not None
        return tag in (_IPTC, _RESOURCES) and PLACE_RECORDS.search(self.data[spot : spot + size]) is not None

    def _blank_list(self, place: int) -> None:
        """Overwrite a whole list of entries with the values that lie elsewhere."""
        if not 8 <= place <= len(self.data) - 2:
            return
        (count,) = self._read("H", place)
        end = place + 2 + 12 * count
        if end > len(self.data):
            raise ValueError("the GPS block runs beyond the end")
        for start in range(place + 2, end, 12):
            _, kind, many = self._read("HHI", start)
            self._zero(*self._value(start, kind, many))
        self._zero(place, end - place)

    def _zero(self, spot: int, size: int) -> None:
        end = min(spot + size, len(self.data))
        if 8 <= spot < end:
            self.data[spot:end] = bytes(end - spot)
