"""Uploads: a file as the browser sends it, back to its bytes."""

from __future__ import annotations

import base64
import binascii

from study.errors import NotPossible


def sent_bytes(text: str, name: str) -> bytes:
    """The bytes of one chosen file.

    Raises
    ------
    NotPossible
        If it did not come through whole.
    """
    head, comma, coded = text.partition(",")
    try:
        if not (comma and head.startswith("data:") and head.endswith("base64")):
            raise ValueError
        return base64.b64decode(coded, validate=True)
    except (binascii.Error, ValueError):
        raise NotPossible(f"{name} did not come through whole.", "Choose it again.") from None
