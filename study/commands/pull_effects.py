"""Effects of a pull: what becomes of the analysis if one coupon is lost, released or found again; said beforehand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from study.errors import NotPossible
from study.model.coupon import EVIDENCE_ROLES, Coupon, CouponSet
from study.model.interruption import NO_STOPS, Stops, dwell_on
from study.model.protocol import Criterion, Protocol, ScheduledPull
from study.model.pull import BACK, KEPT, READABLE_KINDS, TIME_ZERO, PullEvent, destined_pull, pull_group, pull_window

EFFECT_KINDS = ("pulled", "pulled in error", "released by itself", "lost", "damaged", BACK, KEPT)


@dataclass(frozen=True)
class Effect:
    """What an act on one coupon does to the analysis, before it is done."""

    code: str
    kind: str
    pull: str
    """Label of the pull it is destined to; "time zero"; empty for a spare."""
    planned: int
    """Coupons of its test destined to that pull of its set."""
    before: int
    after: int
    """Of these, and of any that joined, how many can be read at that pull."""
    minimum: int
    """Coupons a pull needs so that a duration may reach it."""
    falling: tuple[str, ...]
    """Titles of criteria that carry a decision at that pull no longer."""
    sentences: tuple[str, ...]


def effect_of(
    coupon: Coupon,
    kind: str,
    *,
    on: date,
    coupon_set: CouponSet,
    protocol: Protocol,
    shelf: Sequence[Coupon],
    pulled: Mapping[str, PullEvent],
    stops: Stops = NO_STOPS,
) -> Effect:
    """What follows if ``coupon`` is recorded as ``kind`` on a day.

    Parameters
    ----------
    shelf : sequence of Coupon
        Every coupon of its set.
    pulled : mapping
        Pull in force by code.
    stops : Stops
        Days that its protocol leaves out of dwell.
    """
    if kind not in EFFECT_KINDS:
        raise NotPossible(f"“{kind}” is not something that happens to a coupon.", f"Use {', '.join(EFFECT_KINDS)}.")
    label = destined_pull(coupon, coupon_set)
    scheduled = next((pull for pull in protocol.schedule.pulls if pull.label == label), None)
    stays = _kept_as(scheduled, coupon_set, on, stops) if kind == KEPT else kind
    then = {code: event for code, event in pulled.items() if code != coupon.code}
    if kind != BACK:
        then[coupon.code] = PullEvent(coupon.code, stays, on)
    same = [c for c in shelf if c.test == coupon.test]
    ways = [_Shelf(same, coupon_set, protocol, events, stops) for events in (pulled, then)]
    before, after = (way.readable(label) for way in ways)
    effect = Effect(
        coupon.code, kind, label, sum(destined_pull(c, coupon_set) == label for c in same), before, after,
        protocol.rule.minimum_coupons, (), (),
    )  # fmt: skip
    sentences = [_first(kind, stays, coupon, coupon_set, protocol, on, stops)]
    if coupon_set.role not in EVIDENCE_ROLES:
        kinds = {"blank": "A blank is what colours are compared with", "control": "A control is watched"}
        return replace(effect, sentences=(*sentences, f"{kinds[coupon_set.role]}: no duration rests on it."))
    if not label:
        return replace(effect, sentences=(*sentences, "A spare: no pull counts on it."))
    falling, reach = _falling(coupon, kind, label, protocol, shelf, coupon_set, pulled, then, stops)
    sentences.append(_counted(effect, coupon.test))
    least = effect.minimum
    if falling:
        names = _listed(falling)
        sentences.append(f"Below {least} it no longer carries a decision for {names}{reach}.")
    elif after < before and after < least:
        sentences.append(f"It had fewer than {least} already and carried no decision by these alone.")
    elif after < before:
        sentences.append(f"Below {least} it would no longer carry a decision.")
    return replace(effect, falling=falling, sentences=tuple(sentences))


@dataclass(frozen=True)
class _Shelf:
    """Coupons of one set with what became of them."""

    coupons: Sequence[Coupon]
    coupon_set: CouponSet
    protocol: Protocol
    pulled: Mapping[str, PullEvent]
    stops: Stops

    def readable(self, label: str) -> int:
        """Coupons that are, or still can be, read at a pull."""
        return sum(self._stands_at(coupon) == label for coupon in self.coupons)

    def _stands_at(self, coupon: Coupon) -> str:
        event = self.pulled.get(coupon.code)
        if event is None or (self.coupon_set.role == "time-zero" and event.kind in READABLE_KINDS):
            return destined_pull(coupon, self.coupon_set)
        if event.kind not in READABLE_KINDS:
            return "-"
        return pull_group(self.protocol.schedule, self.coupon_set.placed_on, event.on, self.stops)


def _kept_as(scheduled: ScheduledPull | None, coupon_set: CouponSet, on: date, stops: Stops) -> str:
    if scheduled is None:
        return "pulled"
    _, first, last = pull_window(coupon_set.placed_on, scheduled, stops)
    return "pulled" if first <= on <= last else "pulled in error"


def kept_as(coupon: Coupon, coupon_set: CouponSet, protocol: Protocol, stops: Stops = NO_STOPS, *, on: date) -> str:
    """How a lost coupon that was found stays on record: pulled inside its own window, else pulled in error."""
    scheduled = next((pull for pull in protocol.schedule.pulls if pull.label == coupon.pull_label), None)
    return _kept_as(scheduled, coupon_set, on, stops)


def _first(
    kind: str, stays: str, coupon: Coupon, coupon_set: CouponSet, protocol: Protocol, on: date, stops: Stops
) -> str:
    age = dwell_on(coupon_set.placed_on, on, stops)
    joined = pull_group(protocol.schedule, coupon_set.placed_on, on, stops)
    real = "stands by itself at that age" if joined == f"{age} d" else f"joins the {joined} pull"
    if kind in ("lost", "damaged"):
        return f"{kind.capitalize()}: it is counted, and tells nothing."
    if kind == "released by itself":
        counts = [c.title for c in protocol.criteria if c.release_counts]
        ends = f"counts as unacceptable for {_listed(counts)}" if counts else "counts for no criterion of this protocol"
        return (
            f"Released by itself: it {ends}, at a time between the last day it was seen holding and the day it was "
            "found; nothing is left to pull or tilt, residue and colour may still be read."
        )
    if kind == BACK:
        where = f"waits for its {coupon.pull_label} pull" if coupon.pull_label else "waits in its placement"
        return f"Back in its placement: it {where} again as if nothing had happened; the record stays in the trail."
    if stays == "pulled":
        own = joined == coupon.pull_label or coupon_set.role == "time-zero"
        return f"It counts at its real age of {age} d" + ("." if own else f" and {real}.")
    if joined == coupon.pull_label:
        return f"Its readings count at its real age of {age} d, inside the window of its own pull."
    meant = f", not at {coupon.pull_label}" if coupon.pull_label else ""
    return f"Pulled in error: its readings count at its real age of {age} d{meant}; it {real}."


def _counted(effect: Effect, test: str) -> str:
    pull = effect.pull if effect.pull == TIME_ZERO else f"the {effect.pull} pull"
    verb = "then has" if effect.after != effect.before else "keeps"
    of = f" of {effect.planned}" if effect.after <= effect.planned else ""
    coupons = "coupon" if effect.after == 1 and not of else "coupons"
    left = " left to read" if effect.kind == "released by itself" else ""
    return f"{pull[0].upper()}{pull[1:]} {verb} {effect.after}{of} {test} {coupons}{left}."


def _falling(
    coupon: Coupon, kind: str, label: str, protocol: Protocol, shelf: Sequence[Coupon], coupon_set: CouponSet,
    before: Mapping[str, PullEvent], after: Mapping[str, PullEvent], stops: Stops,
) -> tuple[tuple[str, ...], str]:  # fmt: skip
    least = protocol.rule.minimum_coupons
    falling: list[str] = []
    reaches: list[int] = []
    labels = [pull.label for pull in protocol.schedule.pulls]
    for criterion in protocol.criteria:
        feeding = _tests(criterion, protocol)
        if coupon.test not in feeding or (kind == "released by itself" and criterion.release_counts):
            continue
        part = [c for c in shelf if c.test in feeding]
        then = _Shelf(part, coupon_set, protocol, after, stops)
        if then.readable(label) < least <= _Shelf(part, coupon_set, protocol, before, stops).readable(label):
            falling.append(criterion.title)
            reaches.append(max((n for n, one in enumerate(labels) if then.readable(one) >= least), default=-1))
    if not falling or label not in labels or min(reaches) > labels.index(label):
        return tuple(falling), ""
    furthest = min(reaches)
    reach = f"the {labels[furthest]} pull" if furthest >= 0 else "no pull at all"
    return tuple(falling), f", and a duration resting on this set reaches {reach} at most"


def _tests(criterion: Criterion, protocol: Protocol) -> set[str]:
    return {
        test.method
        for test in protocol.tests
        if (not criterion.tests or test.method in criterion.tests)
        and criterion.quantity in protocol.quantities(test.method)
    }


def _listed(names: Sequence[str]) -> str:
    words = [name.lower() for name in names]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
