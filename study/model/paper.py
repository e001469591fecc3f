"""Paper: what stands on labels, bench sheets, pull lists and shelf maps, before it is typeset."""

from __future__ import annotations

from dataclasses import dataclass

Stand = tuple[str, str]
"""A coupon's code and its place on the shelf in words, empty where none is recorded."""


@dataclass(frozen=True)
class CouponLabel:
    """What stands on one coupon's label."""

    code: str
    lines: tuple[str, ...]
    """Adhesive and surface, placed day, next pull, study; short, the most needed first."""


@dataclass(frozen=True)
class SheetMethod:
    """One test method as the sheet tells it."""

    title: str
    how: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class SheetTest:
    """The coupons of one destructive test, and the boxes to fill in for each."""

    title: str
    fields: tuple[str, ...]
    """Heads of the boxes with their units."""
    coupons: tuple[Stand, ...]
    """In the order they are read."""


@dataclass(frozen=True)
class BenchSheet:
    """One pull of one set on paper."""

    study: str
    title: str
    set_key: str
    pull: str
    due: str
    window: str
    climate: str
    """The band that the protocol wants the room in, or empty."""
    methods: tuple[SheetMethod, ...]
    tests: tuple[SheetTest, ...]
    order: str
    """How the order of reading was drawn."""


@dataclass(frozen=True)
class ListedPull:
    """One pull of the list."""

    state: str
    title: str
    set_key: str
    pull: str
    due: str
    window: str
    coupons: int
    in_charge: str = ""


@dataclass(frozen=True)
class OnTheWay:
    """One coupon on the way along a shelf."""

    place: str
    """Its number on the shelf; empty where none is recorded."""
    code: str
    words: str
    """Pull and set."""
    not_before: str = ""
    """The day its window opens, where that lies ahead."""


@dataclass(frozen=True)
class PullList:
    """What is to be taken off in the week, along the shelves, and what to bring."""

    study: str
    on: str
    bring: tuple[str, ...]
    pulls: tuple[ListedPull, ...]
    """Overdue, due, or with a window that opens within the week."""
    shelves: tuple[tuple[str, tuple[OnTheWay, ...]], ...]
    """Each shelf with its coupons in the order of a walk; the empty one, for coupons without a place, comes last."""
    later: tuple[ListedPull, ...]
    """Ahead; nothing of them is taken off yet."""


@dataclass(frozen=True)
class MappedShelf:
    """One shelf with its places."""

    name: str
    across: int
    """Places in a row along the shelf."""
    places: tuple[tuple[int, str, str], ...]
    """Each place as its number, code and a few words."""


@dataclass(frozen=True)
class ShelfMap:
    """Every shelf with its places."""

    study: str
    shelves: tuple[MappedShelf, ...]
