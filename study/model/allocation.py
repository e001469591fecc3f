"""Allocation: which coupon goes to which test and pull, and where it stands, by a kept seed anybody can repeat."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace

from study.errors import NotPossible
from study.model.plan import Group, Plan, planned_pools


@dataclass(frozen=True)
class Allocated:
    """One coupon of a plan: what it is destined to, and its place."""

    code: str
    role: str
    adhesive: str
    substrate: str
    environment: str
    test: str
    pull: str
    shelf: str
    """Empty for a time-zero coupon, which is never placed."""
    place: int
    """From 1 along the shelf; 0 without a shelf."""


NO_SHELVES: Mapping[str, int] = {}


def allocate(
    plan: Plan, codes: Sequence[str], seed: int, *, first_shelf: Mapping[str, int] = NO_SHELVES
) -> tuple[Allocated, ...]:
    """Every coupon of a plan with its test, pull, shelf and place.

    Codes are dealt to the cells in order of making, so that a person labels one cell after the other; inside a cell
    chance alone says which coupon is a test coupon of which pull, a time-zero coupon or a spare. Shelves of an
    environment are blocks: at every level (cell, test, pull) they hold the same number of coupons within one.

    Parameters
    ----------
    plan : Plan
    codes : sequence of str
        As many different ones as the plan has coupons, in order of making.
    seed : int
    first_shelf : mapping of environment to int
        Number of its first shelf there; 1 where others stand on none.

    Returns
    -------
    tuple of Allocated
        In the order of ``codes``; the same for the same plan, codes and seed.

    Raises
    ------
    NotPossible
        If the codes are too few, too many or stand twice.

    Source
    ------
    Random orders are those of SHA-256 of seed, purpose and name: the same on every machine and in every language.
    """
    pools = planned_pools(plan)
    needed = sum(group.count for members in pools.values() for group in members)
    if len(codes) != needed or len(set(codes)) != needed:
        raise NotPossible(
            f"{len(codes)} codes ({len(set(codes))} different) were given for {needed} coupons.",
            "Give each coupon a code of its own.",
        )
    dealt, rows = 0, []
    for members in pools.values():
        size = sum(group.count for group in members)
        mine = _shuffled(codes[dealt : dealt + size], seed, "pull")
        dealt += size
        destinies = [group for group in members for _ in range(group.count)]
        rows += [_row(code, group) for code, group in zip(mine, destinies, strict=True)]
    order = {code: place for place, code in enumerate(codes)}
    return tuple(sorted(placed(plan, rows, seed, first_shelf=first_shelf), key=lambda row: order[row.code]))


def placed(
    plan: Plan, rows: Iterable[Allocated], seed: int, *, first_shelf: Mapping[str, int] = NO_SHELVES
) -> list[Allocated]:
    """The same coupons with shelf and place dealt anew by a seed; what they are destined to stays.

    Parameters
    ----------
    plan : Plan
        Its shelf says how many coupons stand on one.
    rows : iterable of Allocated
    seed : int
    first_shelf : mapping of environment to int
    """
    found = []
    rooms: dict[str, list[Allocated]] = {}
    for row in rows:
        if row.role == "time-zero":
            found.append(replace(row, shelf="", place=0))
        else:
            rooms.setdefault(row.environment, []).append(row)
    for environment, members in rooms.items():
        shelves = math.ceil(len(members) / plan.shelf.places)
        first = first_shelf.get(environment, 1)
        names = _shuffled([f"{environment} {n}" for n in range(first, first + shelves)], seed, "shelf")
        # Dealing like cards keeps every consecutive run within one a shelf; runs are nested, each in a random order.
        dealt = sorted(members, key=lambda row: _run(row, seed))
        standing: dict[str, list[Allocated]] = {name: [] for name in names}
        for number, row in enumerate(dealt):
            standing[names[number % shelves]].append(row)
        for name, on_shelf in standing.items():
            order = sorted(on_shelf, key=lambda row: _chance(seed, "place", row.code))
            found += [replace(row, shelf=name, place=place) for place, row in enumerate(order, start=1)]
    return found


def allocation_text(rows: Iterable[Allocated]) -> str:
    """An allocation as JSON, one coupon a line: the same bytes for the same allocation."""
    lines = [json.dumps(asdict(row), ensure_ascii=False, sort_keys=True) for row in rows]
    return "[\n" + ",\n".join(lines) + "\n]\n"


def _row(code: str, group: Group) -> Allocated:
    return Allocated(
        code, group.role, group.adhesive, group.substrate, group.environment, group.test, group.pull, "", 0
    )


def _run(row: Allocated, seed: int) -> tuple[str, ...]:
    kind = "cell" if row.role in ("test", "spare") else row.role
    cell = "|".join((kind, row.adhesive, row.substrate, row.environment))
    test, group = f"{cell}|{row.test}", f"{cell}|{row.test}|{row.role}|{row.pull}"
    return (
        *(_chance(seed, "cell", cell), _chance(seed, "test", test)),
        *(_chance(seed, "group", group), _chance(seed, "coupon", row.code)),
    )


def _shuffled(names: Sequence[str], seed: int, purpose: str) -> list[str]:
    return sorted(names, key=lambda name: _chance(seed, purpose, name))


def _chance(seed: int, purpose: str, name: str) -> str:
    return hashlib.sha256(f"{seed}/{purpose}/{name}".encode()).hexdigest()
