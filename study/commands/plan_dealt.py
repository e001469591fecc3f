"""Plans dealt: every coupon of a saved plan with its test, pull and place, made already or still to be made."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import islice

from study.errors import NotPossible, Unknown
from study.model.allocation import Allocated, allocate
from study.model.pairing import KEY_LENGTH
from study.model.place import Place, shelf_order
from study.model.plan import Group, Plan, plan_name, planned_groups, planned_pools
from study.store import register as on_file
from study.store.coupons import fetch_coupons, next_codes
from study.store.plans import MadePlan, SavedPlan, fetch_made, fetch_plans
from study.store.positions import fetch_positions
from study.store.pulls import fetch_pulls
from study.store.study_file import StudyFile

Pool = tuple[str, str, str, str]
"""Kind, adhesive, substrate and environment of coupons that are made alike."""
SUFFIX = {"test": "", "time-zero": "-zero", "spare": "-spare", "control": "-glass", "blank": "-bare"}
NAME_LENGTH = KEY_LENGTH - len("-9999") - max(map(len, SUFFIX.values()))
"""Longest name of a plan: with a number and a suffix it is still the key of a coupon set."""


@dataclass(frozen=True)
class DealtPlan:
    """A saved plan with what each of its coupons is destined to."""

    saved: SavedPlan
    plan: Plan
    made: MadePlan | None
    """None while its coupons are not placed: labels and the map of its shelves are printed beforehand."""
    rows: tuple[Allocated, ...]
    keys: dict[tuple[str, str, str, str], str]
    """Coupon sets by role, adhesive, substrate and environment, as registered or as they will be."""

    def set_of(self, row: Allocated) -> str:
        """Key of a coupon's set."""
        return self.keys[row.role, row.adhesive, row.substrate, row.environment]


def dealt_plan(study: StudyFile, name: str) -> DealtPlan:
    """A saved plan by name, dealt by its kept seed to the codes kept for it, or as it was made.

    Raises
    ------
    Unknown
        If no plan of that name is saved.
    NotPossible
        If it was saved before codes were kept with plans.
    """
    saved = fetch_plans(study).get(plan_name(name))
    if saved is None:
        raise Unknown(f"“{name}” is not a plan in this study.", "Save it first with: dwellbook plan save FILE")
    plan, made = Plan.model_validate_json(saved.text), fetch_made(study, saved.name)
    groups = planned_groups(plan)
    keys = set_keys(plan, groups)
    if made is not None:
        return DealtPlan(saved, plan, made, standing_rows(study, made.sets), keys)
    if len(saved.codes) != sum(group.count for group in groups):
        raise NotPossible(f"No codes are kept for plan {saved.name} yet.", "Save the plan once more, as it is.")
    return DealtPlan(saved, plan, None, allocate(plan, saved.codes, saved.seed, first_shelf=saved.first_shelf), keys)


def standing_codes(saved: SavedPlan, plan: Plan, seed: int) -> dict[Pool, tuple[str, ...]]:
    """Codes of each pool of a plan that name, by this seed, the coupons which a plan saved before printed them for.

    Parameters
    ----------
    saved : SavedPlan
        In force before; codes it was saved without, as older files may hold it, stand for nothing.
    plan : Plan
    seed : int
    """
    was, found = Plan.model_validate_json(saved.text), dict[Pool, tuple[str, ...]]()
    before, now, first = planned_pools(was), planned_pools(plan), 0
    for pool, members in before.items():
        size = sum(group.count for group in members)
        codes, first = saved.codes[first : first + size], first + size
        same_lot = plan.lots.get(pool[1], "") == was.lots.get(pool[1], plan.lots.get(pool[1], ""))
        # Inside a pool the seed deals, and another member moves all: a code keeps its coupon only if nothing changed.
        if len(codes) == size and now.get(pool) == members and same_lot and (seed == saved.seed or len(members) == 1):
            found[pool] = codes
    return found


def codes_dealt(study: StudyFile, plan: Plan, standing: Mapping[Pool, tuple[str, ...]]) -> list[str]:
    """Codes of a plan in order of making: those that still stand for a pool, and fresh ones for every other."""
    sizes = {pool: sum(group.count for group in members) for pool, members in planned_pools(plan).items()}
    fresh = iter(next_codes(study, sum(size for pool, size in sizes.items() if pool not in standing)))
    return [code for pool, size in sizes.items() for code in standing.get(pool) or islice(fresh, size)]


def untrue_paper(before: Collection[Allocated], now: Collection[Allocated]) -> tuple[str, ...]:
    """What was or may have been printed of a plan as it stood before and is not true of it as it stands now."""
    codes, places = {row.code for row in now}, {(row.code, row.shelf, row.place) for row in now}
    gone, said = sum(row.code not in codes for row in before), []
    if gone:
        said.append(
            f"Labels printed before are not right any more for {gone} of {len(before)} coupons, whose codes are never "
            "given again: take them off, and print the labels of this plan anew."
        )
    if any((row.code, row.shelf, row.place) not in places for row in before):
        said.append("A shelf map printed before is not right any more: print it again.")
    return tuple(said)


def made_plans(study: StudyFile) -> list[tuple[Plan, tuple[str, ...]]]:
    """Plans that coupons were made from, each with its sets."""
    found = []
    for saved in fetch_plans(study).values():
        made = fetch_made(study, saved.name)
        if made is not None:
            found.append((Plan.model_validate_json(saved.text), made.sets))
    return found


def printable_plans(study: StudyFile) -> list[str]:
    """Names of plans whose labels can be printed: made, or with codes kept for what is still to be made."""
    return [name for name, saved in fetch_plans(study).items() if saved.codes or fetch_made(study, name) is not None]


def set_keys(plan: Plan, groups: tuple[Group, ...]) -> dict[tuple[str, str, str, str], str]:
    """Key of each coupon set by role, adhesive, substrate and environment; sets of one cell share a number."""
    pools: dict[tuple[str, ...], int] = {}
    found = {}
    for group in groups:
        number = pools.setdefault(group.pool, len(pools) + 1)
        found[group.set_parts] = f"{plan.name}-{number:02d}{SUFFIX[group.role]}"
    return found


def standing_rows(study: StudyFile, sets: tuple[str, ...]) -> tuple[Allocated, ...]:
    """Coupons of these sets as they were destined, with the places they have now, in order of making."""
    known, pairings, places = on_file.fetch_sets(study), on_file.fetch_pairings(study), fetch_positions(study)
    wanted = set(sets)
    found = []
    for coupon in fetch_coupons(study).values():
        if coupon.set_key in wanted:
            its = known[coupon.set_key]
            adhesive = pairings[its.pairing].adhesive.key if its.pairing else ""
            shelf, place = places.get(coupon.code, ("", 0))
            found.append(
                Allocated(
                    coupon.code, its.role, adhesive, its.substrate, its.environment, coupon.test, coupon.pull_label,
                    shelf, place,
                )
            )  # fmt: skip
    return tuple(found)


def free_shelves(study: StudyFile, environments: Iterable[str]) -> dict[str, int]:
    """The number of the first shelf in each environment that no coupon stands on, nor on one after it."""
    shelves = {shelf for shelf, _ in _standing_places(study).values()}
    return {environment: max(_numbers(shelves, environment), default=0) + 1 for environment in environments}


def first_shelves(rows: Iterable[Allocated]) -> dict[str, int]:
    """The smallest number of a shelf in each environment on which these coupons stand."""
    found: dict[str, int] = {}
    for row in rows:
        for number in _numbers([row.shelf], row.environment):
            found[row.environment] = min(number, found.get(row.environment, number))
    return found


def met_shelves(study: StudyFile, rows: Collection[Allocated]) -> list[str]:
    """Shelves of these coupons on which others stand."""
    own = {row.code for row in rows}
    others = {shelf for code, (shelf, _) in _standing_places(study).items() if code not in own}
    return sorted({row.shelf for row in rows if row.shelf} & others, key=shelf_order)


def _standing_places(study: StudyFile) -> dict[str, Place]:
    gone = fetch_pulls(study)
    return {code: where for code, where in fetch_positions(study).items() if code not in gone}


def _numbers(shelves: Iterable[str], environment: str) -> list[int]:
    matches = (re.fullmatch(rf"{re.escape(environment)} (\d+)", shelf) for shelf in shelves)
    return [int(match[1]) for match in matches if match]
