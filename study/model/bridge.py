"""Bridges: a successor beside its predecessor at equal dwell; a comparison that never carries a duration by itself."""

from __future__ import annotations

from dataclasses import dataclass

from study.model.units import percent


@dataclass(frozen=True)
class ForceBridge:
    """Removal forces compared on the log scale, pull by pull."""

    ratio: float
    """Geometric mean of the successor over that of the predecessor at equal dwell."""
    lower: float
    upper: float
    """Two-sided limits at ``confidence``."""
    confidence: float
    """1 − 2α: the limits lie within the margins exactly where both one-sided tests succeed at α."""
    factor: float
    """The margin declared as “alike”: from 1/factor to factor."""
    p_not_alike: float
    """The larger of the two one-sided p-values; small shows the ratio within the margins."""
    coupons: tuple[int, int]
    """Predecessor, successor."""
    pulls: int
    bounds: int
    """Readings known only as bounds, left out."""
    method: str

    @property
    def alike(self) -> bool:
        """Whether the ratio is shown to lie within the margins."""
        return self.p_not_alike < (1 - self.confidence) / 2


@dataclass(frozen=True)
class ShareBridge:
    """Acceptable coupons of both under one criterion, over the pulls both were read at."""

    criterion: str
    title: str
    acceptable: tuple[int, int]
    read: tuple[int, int]
    limits: tuple[tuple[float, float], tuple[float, float]]
    """Exact two-sided limits of each share at ``confidence``, predecessor first."""
    confidence: float
    p_same: float
    """Exact test given the margins of each pull; large does not show that both are the same."""
    pulls: int


@dataclass(frozen=True)
class Bridge:
    """Everything compared between a predecessor's pairing and its successor's."""

    old: str
    new: str
    pulls: tuple[str, ...]
    """Labels of the pulls both were read at."""
    only_old: tuple[str, ...]
    only_new: tuple[str, ...]
    force: ForceBridge | None
    no_force: str
    """Why forces are not compared, or empty."""
    shares: tuple[ShareBridge, ...]
    remarks: tuple[str, ...] = ()
    """What else differs between the two, a sentence each."""

    def sentences(self) -> list[str]:
        """What was found, each with n and limits; and what it does not say."""
        if not self.pulls:
            return [f"{self.old} and {self.new} have no pull at which both were read: nothing can be compared yet."]
        told = [f"{self.new} beside {self.old} at equal dwell, at {_pulls(self.pulls)}."]
        told.append(force_words(self.force) if self.force else f"Removal force is not compared: {self.no_force}.")
        told += [share_words(one) for one in self.shares]
        told += self.remarks
        told.append(
            "A bridge carries no duration by itself. Whether the results of one count for the other is decided by a "
            "person, with a reason: dwellbook decide carry."
        )
        return told

    def short(self) -> str:
        """The bridge in one line, as it is cited."""
        if not self.pulls:
            return f"{self.new} against {self.old}: no pull in common."
        parts = []
        if self.force:
            f = self.force
            shown = "within" if f.alike else "not shown within"
            parts.append(
                f"force ratio {f.ratio:.2f} ({f.lower:.2f} to {f.upper:.2f}), {shown} a factor of {f.factor:g}"
            )
        parts += [
            f"{s.title.lower()} {s.acceptable[0]} of {s.read[0]} and {s.acceptable[1]} of {s.read[1]} acceptable"
            for s in self.shares
        ]
        return f"{self.new} against {self.old} at {_pulls(self.pulls)}: {'; '.join(parts) or 'nothing judged'}."


def force_words(one: ForceBridge) -> str:
    """The ratio with its limits, and what the two one-sided tests say."""
    old, new = one.coupons
    n = f"n = {old} and {new} coupons at {one.pulls} pulls"
    limits = f"{one.lower:.2f} to {one.upper:.2f} at {percent(one.confidence)} confidence"
    told = f"Removal force: {one.ratio:.2f} times the predecessor's at equal dwell ({limits}; {n}; {one.method})."
    margins = f"{1 / one.factor:.2f} to {one.factor:.2f}"
    if one.alike:
        told += (
            f" Shown to lie within a factor of {one.factor:g} ({margins}): {_p_words(one.p_not_alike)} by two "
            "one-sided tests."
        )
    else:
        told += f" Not shown to lie within a factor of {one.factor:g} ({margins}): {_p_words(one.p_not_alike)}."
        if one.lower <= 1 <= one.upper:
            told += f" No difference shown with n = {old} and {new} is not the same as the same."
    if one.lower > 1 or one.upper < 1:
        told += f" The successor pulls off {'harder' if one.lower > 1 else 'more easily'}."
    if one.bounds:
        readings = "1 reading" if one.bounds == 1 else f"{one.bounds} readings"
        told += f" {readings} known only as bounds left out, which may hide a difference."
    return told


def share_words(one: ShareBridge) -> str:
    """Both shares with exact limits, the exact test, and what a large p does not say."""
    shares = []
    for (low, high), good, read in zip(one.limits, one.acceptable, one.read, strict=True):
        shares.append(f"{good} of {read} acceptable ({percent(low)} to {percent(high)})")
    told = (
        f"{one.title}: predecessor {shares[0]}, successor {shares[1]}, exact limits at {percent(one.confidence)} "
        f"confidence; exact test within pulls {_p_words(one.p_same)}."
    )
    if one.p_same >= 1 - one.confidence:
        told += f" No difference shown with n = {one.read[0]} and {one.read[1]} is not the same as the same."
    return told


def _p_words(p: float) -> str:
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}"


def _pulls(labels: tuple[str, ...]) -> str:
    return ", ".join("time zero" if label == "0 d" else label for label in labels)
