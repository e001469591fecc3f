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
    coupons: tuple[Stand, ...]
    in_charge: str = ""


@dataclass(frozen=True)
class PullList:
    """The pulls that wait, in shelf order, and what to bring."""

    study: str
    on: str
    bring: tuple[str, ...]
    pulls: tuple[ListedPull, ...]


@dataclass(frozen=True)
class ShelfMap:
    """Every shelf with its places."""

    study: str
    shelves: tuple[tuple[str, tuple[tuple[int, str, str], ...]], ...]
    """Shelf, and each place as its number, code and a few words."""
