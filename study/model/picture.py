"""Pictures: opened and read to their last byte before they are taken, and their thumbnails."""

from __future__ import annotations

import io
import warnings
from functools import lru_cache
from threading import Lock
from typing import TYPE_CHECKING, Any

from study.errors import DwellbookError

if TYPE_CHECKING:
    from PIL import Image

THUMBNAIL_PX = 320
"""The longer side of a thumbnail is at most this [px]."""
LARGEST_PIXELS = {"image/jpeg": 120_000_000, "image/png": 40_000_000, "image/tiff": 40_000_000,
                  "image/webp": 24_000_000}  # fmt: skip
"""Most pixels that are decoded. A JPEG is decoded at a fraction of its size; others take 4 bytes a pixel and more."""
FORMATS = {"image/jpeg": ("JPEG", "MPO"), "image/png": ("PNG",), "image/tiff": ("TIFF",), "image/webp": ("WEBP",)}
_TURNS = {2: "FLIP_LEFT_RIGHT", 3: "ROTATE_180", 4: "FLIP_TOP_BOTTOM", 5: "TRANSPOSE", 6: "ROTATE_270",
          7: "TRANSVERSE", 8: "ROTATE_90"}  # fmt: skip
"""What makes a picture upright, by its EXIF orientation."""
_ONE_AT_A_TIME = Lock()
"""Several uploads at once must not be decoded at once."""


def thumbnail(content: bytes, media_type: str, name: str) -> bytes:
    """A small JPEG of a picture: upright, in ordinary RGB, on white where it is transparent, without metadata.

    The whole picture is read on the way, so that one that is cut off or damaged is refused.

    Parameters
    ----------
    content : bytes
        The file; its first bytes were recognised already.
    media_type : str
        One of ``model.attachment.PICTURES``.
    name : str
        Its name, for the refusal.

    Returns
    -------
    bytes
        A JPEG whose longer side is at most 320 px, usually 5 to 25 kB.

    Raises
    ------
    DwellbookError
        If it cannot be opened and read to its end, or has more pixels than are decoded.
    """
    with _ONE_AT_A_TIME:
        small = _opened_small(content, media_type, name)
        out = io.BytesIO()
        small.save(out, "JPEG", quality=82, optimize=True)
    return out.getvalue()


@lru_cache(maxsize=1)
def _pillow() -> Any:
    from PIL import Image

    # A picture that unpacks into far more than it weighs is an error, not a line on the terminal.
    warnings.filterwarnings("error", category=Image.DecompressionBombWarning)
    Image.MAX_IMAGE_PIXELS = max(LARGEST_PIXELS.values())
    return Image


def _opened_small(content: bytes, media_type: str, name: str) -> Image.Image:
    pillow = _pillow()
    damaged = f"{name} is damaged: it cannot be read to its end as a picture."
    try:
        with pillow.open(io.BytesIO(content), formats=FORMATS[media_type]) as first:
            size, mode = first.size, first.mode
            if size[0] * size[1] <= LARGEST_PIXELS[media_type]:
                first.verify()
        if size[0] * size[1] <= LARGEST_PIXELS[media_type]:
            with pillow.open(io.BytesIO(content), formats=FORMATS[media_type]) as image:
                if mode in ("RGB", "L", "CMYK", "YCbCr"):
                    image.draft(None, (2 * THUMBNAIL_PX, 2 * THUMBNAIL_PX))
                image.load()
                return _small(image)
    except (pillow.DecompressionBombError, pillow.DecompressionBombWarning):
        raise _too_many_pixels(name, media_type) from None
    except DwellbookError:
        raise
    except Exception as fault:  # a hostile file may fail anywhere in a decoder; whatever it is, the file is refused
        raise DwellbookError(damaged, "Save it again where it was made, then attach that.") from fault
    raise _too_many_pixels(name, media_type)


def _too_many_pixels(name: str, media_type: str) -> DwellbookError:
    most = LARGEST_PIXELS[media_type] // 1_000_000
    return DwellbookError(
        f"{name} has more pixels than are opened here ({most} million for this kind).",
        "Save it smaller, or as JPEG, and attach that.",
    )


def _small(image: Image.Image) -> Image.Image:
    pillow = _pillow()
    turn = _TURNS.get(image.getexif().get(0x0112, 1))  # a TIFF is upright already once it is loaded
    profile = image.info.get("icc_profile")
    if image.mode.startswith("I;16"):
        image = image.point(lambda value: value / 256).convert("L")
    elif image.mode in ("I", "F"):
        low, high = (float(end) for end in image.getextrema())  # type: ignore[arg-type]  # one band, two numbers
        scale = 255 / (high - low) if high > low else 0
        image = image.point(lambda value: value * scale + (-low * scale)).convert("L")
    elif image.mode not in ("RGB", "L", "RGBA", "LA", "CMYK"):
        image = image.convert("RGBA" if "transparency" in image.info or image.mode == "PA" else "RGB")
    image.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX), reducing_gap=3.0)
    if profile and image.mode in ("RGB", "CMYK", "L"):
        image = _in_ordinary_rgb(image, profile)
    if image.mode in ("RGBA", "LA"):
        clear = image.convert("RGBA")
        image = pillow.new("RGB", clear.size, "white")
        image.paste(clear, mask=clear.getchannel("A"))
    image = image.convert("RGB")
    if turn:
        image = image.transpose(pillow.Transpose[turn])
    # A fresh picture carries pixels alone: neither comments nor profiles of the original can follow into it.
    return pillow.frombytes("RGB", image.size, image.tobytes())


def _in_ordinary_rgb(image: Image.Image, profile: bytes) -> Image.Image:
    from PIL import ImageCms

    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        turned = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return image  # a profile that does not fit its picture changes nothing but the tint of a thumbnail
    return turned or image
