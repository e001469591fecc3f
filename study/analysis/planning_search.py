"""Planning, search: how the chance changes with coupons and pulls, and the fewest coupons that reach a duration."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from study.analysis.planning import Progress, Tables, chance_of, design_support
from study.analysis.planning_parts import READINGS, VERDICTS, PlannedDesign
from study.analysis.workers import Workers
from study.errors import NotPossible
from study.model.plan import MONTH_DAYS, Picture
from study.model.protocol import Rule
from study.model.support import Chance, Option, Suggestion, chance_words
from study.model.units import duration_words, percent

WANTED_CHANCE = 0.80
"""Chance that is usually asked of a study [common-practice]."""
FEWEST, MOST = 3, 12
"""Coupons per pull looked at."""
COMPARED = (3, 5, 8, 10)
EVEN_PULLS = (5, 6, 7, 8, 9, 10, 11, 12)
"""Numbers of pulls looked at when they are spread evenly on the root of dwell."""

Pulls = tuple[tuple[str, int], ...]
"""Label and days of each pull."""


def compared(
    plan: PlannedDesign,
    *,
    wanted_days: int,
    picture: Picture,
    rule: Rule,
    per_pull: Iterable[int] = COMPARED,
    studies: int = 1000,
    seed: int = 1,
    workers: Workers | None = None,
    tables: Tables | None = None,
    progress: Progress | None = None,
) -> tuple[Option, ...]:
    """Median duration and chance with other numbers of coupons, and at pulls spread evenly on the root of dwell.

    Parameters
    ----------
    plan : PlannedDesign
    wanted_days : int
        The duration whose chance is compared.
    per_pull : iterable of int
        Coupons of each destructive test at each pull.

    Returns
    -------
    tuple of Option
        First the plan itself.
    """
    most = plan.most
    even = root_even(plan.days[-1], len(plan.days))
    designs = [plan, *(plan.with_coupons(n) for n in per_pull if plan.with_coupons(n) != plan)]
    designs += [plan.with_pulls(even).with_coupons(most)] if plan.days != tuple(d for _, d in even) else []
    found = []
    for design in designs:
        words = pulls_words(zip(design.labels, design.days, strict=True))
        if progress:
            progress(f"{design.most} coupons per pull at {words}")
        support = design_support(
            design, picture=picture, rule=rule, studies=studies, seed=seed, workers=workers, tables=tables,
            progress=progress,
        )  # fmt: skip
        found.append(Option(words, design.most, design.coupons, support.median_days, chance_of(support, wanted_days)))
    return tuple(found)


def suggestion(
    plan: PlannedDesign,
    *,
    wanted_days: int,
    picture: Picture,
    rule: Rule,
    wanted_chance: float = WANTED_CHANCE,
    studies: int = 1000,
    seed: int = 1,
    workers: Workers | None = None,
    tables: Tables | None = None,
    progress: Progress | None = None,
) -> Suggestion:
    """The fewest coupons, over replicates and pull sets, with which a duration is shown with a wanted chance.

    Parameters
    ----------
    plan : PlannedDesign
        Its criteria are judged; its pulls are one of the sets looked at.
    wanted_days : int
    wanted_chance : float
        0.8 is usual; the chance found must reach it.

    Returns
    -------
    Suggestion
        ``best`` None where no design looked at reaches it.

    Source
    ------
    Halving over coupons per pull in each pull set, taking it that more coupons never lower the chance; criteria that
    are quick to judge first, since a design that falls short by them alone falls short.
    """
    if wanted_days <= 0 or not 0 < wanted_chance < 1:
        raise NotPossible("A duration above 0 and a chance between 0 and 1 are needed.", "Such as 24 months and 0.8.")
    tables = {} if tables is None else tables
    sets = pull_sets(plan, wanted_days)
    options: list[Option] = []
    best: Option | None = None

    def look(pulls: Pulls, per_pull: int) -> Option:
        design = plan.with_pulls(pulls).with_coupons(per_pull)
        words = pulls_words(pulls)
        if progress:
            progress(f"{per_pull} coupons per pull at {words}")
        ready = [part for part in design.parts if part.kind != VERDICTS]
        stages = [
            replace(design, parts=tuple(p for p in ready if p.kind == READINGS)),
            replace(design, parts=tuple(ready)),
        ]
        whole = [stage for stage in stages if stage.parts and stage.parts != design.parts]
        for stage in [*whole, design]:
            support = design_support(
                stage, picture=picture, rule=rule, studies=studies, seed=seed, workers=workers, tables=tables
            )
            chance = chance_of(support, wanted_days)
            if chance.shown < wanted_chance:
                break
        median = support.median_days if stage is design else None
        option = Option(words, per_pull, design.coupons, median, chance)
        options.append(option)
        return option

    for pulls in sets:
        tests = len(plan.per_test)
        room = MOST if best is None else min(MOST, (best.coupons - 1) // (len(pulls) * tests))
        if room < FEWEST:
            continue
        low, high = FEWEST - 1, room
        reached = look(pulls, high)
        if reached.chance.shown < wanted_chance:
            continue
        while high - low > 1:
            middle = (low + high) // 2
            tried = look(pulls, middle)
            if tried.chance.shown >= wanted_chance:
                high, reached = middle, tried
            else:
                low = middle
        best = reached
    even = [len(pulls) for pulls in sets if pulls not in (sets[0], sets[0][1:])]
    looked_at = (
        f"Looked at {FEWEST} to {MOST} coupons per pull at {len(sets)} sets of pulls: the plan's own"
        f"{', the same without its first' if len(plan.days) > 4 else ''}, and "
        f"{min(even)} to {max(even)} pulls spread evenly on the root of dwell."
    )
    return Suggestion(
        wanted_days, wanted_chance, best, tuple(options), looked_at, _answer(best, options, wanted_days, wanted_chance)
    )


def pull_sets(plan: PlannedDesign, wanted_days: int) -> tuple[Pulls, ...]:
    """The pull sets that are searched; none ends before the wanted duration, which no later bound could reach."""
    own = tuple(zip(plan.labels, plan.days, strict=True))
    last = max(plan.days[-1], _month(math.ceil(wanted_days / MONTH_DAYS - 1e-9))[1])
    if last > plan.days[-1]:
        own = (*own, _month(round(last / MONTH_DAYS)))
    sets = [own, own[1:]] if len(own) > 4 else [own]
    sets += [root_even(last, number) for number in EVEN_PULLS]
    return tuple(dict.fromkeys(pulls for pulls in sets if len(pulls) >= 3))


def root_even(last_days: int, number: int) -> Pulls:
    """Pulls in whole months, spread evenly on the root of dwell up to the last; fewer where months coincide."""
    months = last_days / MONTH_DAYS
    found = {max(1, round(months * (step / number) ** 2)) for step in range(1, number)}
    label = _month(round(months))[0] if abs(months - round(months)) < 0.05 else f"{last_days} d"
    return (*(_month(n) for n in sorted(found) if _month(n)[1] < last_days), (label, last_days))


def pulls_words(pulls: Iterable[tuple[str, int]]) -> str:
    """Pulls as a person writes them, the unit once for numbers that share it."""
    labels = [label.split(" ") for label, _ in pulls]
    words = []
    for place, (number, unit) in enumerate(labels):
        after = labels[place + 1][1] if place + 1 < len(labels) else ""
        shared = after.rstrip("s") == unit.rstrip("s")
        words.append(number if shared else f"{number} {unit}")
    return ", ".join(words)


def _month(months: int) -> tuple[str, int]:
    return f"{months} month{'' if months == 1 else 's'}", round(months * MONTH_DAYS)


def _answer(best: Option | None, options: Sequence[Option], wanted_days: int, wanted_chance: float) -> str:
    wanted = duration_words(wanted_days)
    if best is not None:
        return (
            f"Fewest found: {best.coupons} coupons a pairing ({best.per_pull} of each destructive test at "
            f"{best.pulls}) show {wanted} with a chance of {_range(best.chance)}."
        )
    nearest = max(options, key=lambda option: option.chance.shown)
    return (
        f"None of these reaches {wanted} with a chance of {percent(wanted_chance)}. The nearest, {nearest.per_pull} "
        f"coupons at {nearest.pulls}, has at most {_range(nearest.chance)}: ask for less, or judge what limits it on "
        "more coupons."
    )


def _range(chance: Chance) -> str:
    return chance_words(chance.shown, chance.shown_from, chance.shown_to)
