"""Places: a shelf and a number on it, and the order in which a person walks along them."""

from __future__ import annotations

import re

Place = tuple[str, int]
"""Shelf and number on it, from 1."""
_DIGITS = re.compile(r"(\d+)")


def walking_order(place: Place | None) -> tuple[bool, list[int | str], int]:
    """A key to sort by: shelves by name with their numbers as numbers, then places; coupons without a place last."""
    if place is None:
        return (True, [], 0)
    return (False, shelf_order(place[0]), place[1])


def shelf_order(shelf: str) -> list[int | str]:
    """A key that puts shelf 2 before shelf 10."""
    parts = _DIGITS.split(shelf.casefold())
    return [int(part) if place % 2 else part for place, part in enumerate(parts)]


def place_words(place: Place | None) -> str:
    """A place as it is printed, such as “store 3 · 14”; empty where none is on record."""
    return f"{place[0]} · {place[1]}" if place is not None else ""
