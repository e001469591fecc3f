"""Attachments: a photograph or file that belongs to a coupon or one of its readings, told by its content."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from study.errors import DwellbookError
from study.model.reading import kind_words

LARGEST_FILE_BYTES = 25 * 1024 * 1024
"""The largest file that is taken; a photograph of a coupon has 1 to 12 MB."""
LONGEST_NAME_BYTES = 200
PICTURES = ("image/jpeg", "image/png", "image/tiff", "image/webp")
ENDINGS: dict[str, tuple[str, ...]] = {
    "image/jpeg": ("jpg", "jpeg", "jpe", "jfif"),
    "image/png": ("png",),
    "image/tiff": ("tif", "tiff"),
    "image/webp": ("webp",),
    "application/pdf": ("pdf",),
    "text/csv": ("csv",),
    "text/plain": ("txt", "text", "log"),
}
"""Endings a name may have, by media type; the first is the usual one."""
TAKEN = "Attach a JPEG, PNG, TIFF or WebP picture, a PDF, or a CSV or plain text file in UTF-8."

_SEEMS = (
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"PK\x03\x04", "a ZIP archive, workbook or text document"),
    (b"\xd0\xcf\x11\xe0", "an office document of the older kind"),
    (b"SQLite format 3\0", "an SQLite file"),
    (b"{\\rtf", "an RTF document"),
    (b"MZ", "a program"),
    (b"\x7fELF", "a program"),
    (b"#!", "a script"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"II+\0", "a BigTIFF picture"),
    (b"MM\0+", "a BigTIFF picture"),
    (b"RIFF", "a sound or video file"),
    (b"OggS", "a sound or video file"),
    (b"ID3", "a sound file"),
)
"""First bytes that name a format; from the formats' own specifications."""
_MARKUP = re.compile(rb"^\s*(<\?xml|<!doctype|<!--|<html|<svg|<script|<head|<body)", re.IGNORECASE)
_NOT_TEXT = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f\ufffe\uffff]")


@dataclass(frozen=True)
class Attachment:
    """One file as it hangs on a coupon, or on one kind of its readings."""

    code: str
    kind: str
    """Kind of reading it shows, such as residue_grade; empty for the coupon as a whole."""
    name: str
    """The file's own name when it was attached."""
    sha256: str
    media_type: str
    bytes: int
    thumbnail: bool
    note: str = ""
    number: int = 0
    """Its number in the study file; 0 before it is saved."""

    @property
    def about(self) -> str:
        """What it shows, in words."""
        return kind_words(self.kind) or "coupon"


def content_digest(content: bytes) -> str:
    """SHA-256 of a file's bytes, in hexadecimal; its name within the study."""
    return hashlib.sha256(content).hexdigest()


def tidy_name(typed: str) -> str:
    """A file's own name without folders, control characters and needless length; its ending is kept."""
    name = "".join(mark for mark in re.split(r"[\\/]", typed)[-1] if mark.isprintable()).strip().strip(".")
    if len(name.encode()) > LONGEST_NAME_BYTES:
        stem, dot, ending = name.rpartition(".")
        kept = f"{dot}{_begin(ending, 36)}" if dot else ""
        name = _begin(stem if dot else name, LONGEST_NAME_BYTES - len(kept.encode())) + kept
    return name or "unnamed"


def _begin(text: str, most_bytes: int) -> str:
    """As many whole characters as fit: file systems count bytes."""
    return text.encode()[:most_bytes].decode(errors="ignore")


def ending_of(name: str) -> str:
    """The ending of a name, lower case, without its dot; empty where it has none."""
    stem, dot, ending = name.rpartition(".")
    return ending.lower() if dot and stem else ""


def checked_type(content: bytes, name: str) -> str:
    """Media type of a file by its content; a picture is only recognised here, ``model.picture`` looks into it.

    Raises
    ------
    DwellbookError
        If it is empty, too large, of a kind that is not taken, or its name's ending says something else.
    """
    if not content:
        raise DwellbookError(f"{name} is empty.", "Save it again where it was made, then attach it.")
    if len(content) > LARGEST_FILE_BYTES:
        raise too_large(name, len(content))
    ending = ending_of(name)
    media_type = _recognised(content, ending)
    if not media_type:
        raise DwellbookError(f"{name} seems to be {_seeming(content)}, which is not taken.", TAKEN)
    if ending and ending not in ENDINGS[media_type]:
        usual = ENDINGS[media_type][0]
        what = f"{name} is called .{ending}, but its content is {words_of(media_type)}."
        raise DwellbookError(what, f"If that is right, give it the ending .{usual}; else save it again.")
    return media_type


def words_of(media_type: str) -> str:
    """A media type in words."""
    return {
        "image/jpeg": "a JPEG picture",
        "image/png": "a PNG picture",
        "image/tiff": "a TIFF picture",
        "image/webp": "a WebP picture",
        "application/pdf": "a PDF",
        "text/csv": "a CSV table",
        "text/plain": "plain text",
    }[media_type]


def too_large(name: str, size: int) -> DwellbookError:
    """The refusal of a file beyond the limit; ``size`` in bytes."""
    limit = LARGEST_FILE_BYTES // 1024**2
    return DwellbookError(
        f"{name} has {size / 1024**2:.1f} MB; at most {limit} MB are taken.", "Save it smaller, or as JPEG."
    )


def size_words(size: int) -> str:
    """A size in bytes as people say it: 820 B, 45 kB, 3.1 MB."""
    if size < 1000:
        return f"{size} B"
    return f"{size / 1000:.0f} kB" if size < 999_500 else f"{size / 1_000_000:.1f} MB"


def kept_names(attachments: Iterable[Attachment]) -> dict[int, str]:
    """A file name for each attachment, by number: CODE_kind_name.ext, no two alike, not even but for their ending.

    Given in the order of attaching with those that were taken off among them, a file keeps its name for good. Letters
    of any script stay; other marks become a dash. Capitals do not tell two names apart, as on many disks.
    """
    names, taken = {}, set()
    for one in attachments:
        ending, usual = ending_of(one.name), _endings(one.media_type)
        stem = one.name.rpartition(".")[0] if ending else one.name
        stem = re.sub(r"[^\w]+", "-", unicodedata.normalize("NFC", stem)).strip("-_")[:60] or "file"
        whole = first = f"{one.code}_{one.kind or 'coupon'}_{stem}"
        again = 1
        while whole.casefold() in taken:
            again += 1
            whole = f"{first}-{again}"
        taken.add(whole.casefold())
        names[one.number] = f"{whole}.{ending if ending in usual else usual[0]}"
    return names


def _endings(media_type: str) -> tuple[str, ...]:
    """Endings that a file of this type may keep; the same text may be attached as a table and as a note."""
    if media_type.startswith("text/"):
        return (*ENDINGS.get(media_type, ()), *ENDINGS["text/plain"], *ENDINGS["text/csv"])
    return ENDINGS.get(media_type, ("bin",))


def _recognised(content: bytes, ending: str) -> str:
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if content[:4] in (b"II*\0", b"MM\0*"):
        return "image/tiff"
    if content.startswith(b"RIFF") and content[8:12] == b"WEBP":
        return "image/webp"
    if content.startswith(b"%PDF-"):
        return "application/pdf" if b"%%EOF" in content[-1024:] and b"startxref" in content[-2048:] else ""
    if any(content.startswith(mark) for mark, _ in _SEEMS if len(mark) > 2) or _MARKUP.match(content[:512]):
        return ""
    if not _is_text(content):
        return ""
    return "text/csv" if ending == "csv" else "text/plain"


def _is_text(content: bytes) -> bool:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    return _NOT_TEXT.search(text) is None


def _seeming(content: bytes) -> str:
    if content.startswith(b"%PDF-"):
        return "a PDF that was cut off"
    if content[4:8] == b"ftyp":
        heif = content[8:12] in (b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"avif")
        return "a HEIC or AVIF picture" if heif else "a video"
    if _MARKUP.match(content[:512]):
        return "a web page, drawing or other markup"
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "text in UTF-16"
    for mark, words in _SEEMS:
        if content.startswith(mark):
            return words
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return "text in another encoding than UTF-8" if _nearly_text(content) else "of a kind that is not known"
    return "text with control characters in it"


def _nearly_text(content: bytes) -> bool:
    return _NOT_TEXT.search(content[:4096].decode("latin-1")) is None
