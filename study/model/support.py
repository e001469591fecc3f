"""Support: what a plan could show, as worked out from invented studies; every share with its simulation error."""

from __future__ import annotations

from dataclasses import dataclass, field


def share_words(share: float) -> str:
    """A share of invented studies in whole percents: 82 %, and <1 % rather than 0 % where it happened at all."""
    return f"{_hundredths(share)}\u202f%"


def chance_words(share: float, low: float, high: float) -> str:
    """A chance with its simulation error: 82 % (79 to 84)."""
    return f"{share_words(share)} ({_hundredths(low)} to {_hundredths(high)})"


def _hundredths(share: float) -> str:
    """Whole percents, so that what can happen is never 0 and what can fail never 100."""
    if 0 < share < 0.01:
        return "<1"
    return ">99" if 0.99 < share < 1 else f"{100 * share:.0f}"


@dataclass(frozen=True)
class Chance:
    """The share of invented studies that show at least one duration, with its simulation error."""

    label: str
    days: int
    shown: float
    """Supported or provisional."""
    shown_from: float
    shown_to: float
    supported: float
    supported_from: float
    supported_to: float


@dataclass(frozen=True)
class PartSupport:
    """What one criterion by itself allows."""

    title: str
    median_days: int
    """0 where half of the studies or more show nothing by it."""
    limiting: float
    """Share of studies in which it allows the least."""


@dataclass(frozen=True)
class Support:
    """What a plan could support for one pairing, if it declined as assumed."""

    chances: tuple[Chance, ...]
    """At each pull."""
    median_days: int
    """Median duration over studies, one that shows nothing counted as 0."""
    not_shown: float
    """Share of studies that show nothing."""
    parts: tuple[PartSupport, ...]
    studies: int
    seed: int
    assumed: tuple[str, ...]
    days: tuple[int, ...] = field(repr=False)
    """Duration of each study; 0 where nothing is shown."""
    provisional: tuple[bool, ...] = field(repr=False)


@dataclass(frozen=True)
class Option:
    """One design and what it would do."""

    pulls: str
    """In words."""
    per_pull: int
    """Coupons of each destructive test at each pull; the most of any pull where they differ."""
    coupons: int
    """Of one pairing, time zero and spares left out."""
    median_days: int | None
    """None where it was not worked out, because a part of the criteria fell short already."""
    chance: Chance
    """Of the wanted duration; an upper limit where ``median_days`` is None."""


@dataclass(frozen=True)
class Suggestion:
    """The fewest coupons found that reach a wanted duration, and everything that was looked at."""

    wanted_days: int
    wanted_chance: float
    best: Option | None
    options: tuple[Option, ...]
    looked_at: str
    """The bounds of the search, in one sentence."""
    answer: str
    """In one sentence."""
