"""Names for people who hear the page instead of seeing it."""

from __future__ import annotations

from typing import Any


def heard_as(name: str) -> dict[str, Any]:
    """The accessible name of a part of the page, to be spread into its component."""
    return {"aria-label": name}
