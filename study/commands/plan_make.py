"""Plan, made: sets, coupons and places of a saved plan enter the register, by its kept seed."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from study.commands.plan_dealt import (
    codes_dealt,
    first_shelves,
    free_shelves,
    met_shelves,
    set_keys,
    standing_codes,
    standing_rows,
)
from study.errors import FileRefused, NotPossible, Problem, Unknown
from study.model.allocation import Allocated, allocate, allocation_text, placed
from study.model.coupon import Coupon, CouponSet
from study.model.pairing import FRIABLE_WARNING
from study.model.person import Signature
from study.model.plan import Plan, plan_name, planned_groups
from study.store import register as on_file
from study.store.acts import fetch_withdrawn_lots
from study.store.coupons import fetch_codes, save_coupons
from study.store.plans import ARRANGED, MADE, SavedPlan, fetch_made, fetch_plans
from study.store.positions import save_positions
from study.store.pulls import fetch_pulls
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Made:
    """What stands in the register for a plan."""

    name: str
    seed: int
    placed_on: str
    sets: tuple[str, ...]
    rows: tuple[Allocated, ...]
    """Every coupon with what it is destined to and its place."""
    new: bool
    """False if it had been made before: nothing was written."""
    warnings: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The allocation as JSON, the same bytes for the same allocation."""
        return allocation_text(self.rows)


def make_study_from_plan(study: StudyFile, name: str, *, placed_on: date, signature: Signature) -> Made:
    """Sets, coupons and places of a saved plan, for adhesives, lots, substrates and environments registered already.

    The same again gives what was made and writes nothing.

    Raises
    ------
    Unknown
        If no plan of that name is saved.
    FileRefused
        With everything that is not registered, or not clear.
    NotPossible
        If it was made with another day of placing.
    """
    name = plan_name(name)
    with study.writing():
        saved = fetch_plans(study).get(name)
        if saved is None:
            raise Unknown(f"“{name}” is not a plan in this study.", "Save it first with: dwellbook plan save FILE")
        plan = Plan.model_validate_json(saved.text)
        before = fetch_made(study, name)
        if before is not None:
            if before.placed_on != placed_on.isoformat():
                raise NotPossible(
                    f"Plan {name} was made already, placed on {before.placed_on} (entered by {before.by}).",
                    "Save the plan under another name to make it once more.",
                )
            return Made(name, saved.seed, before.placed_on, before.sets, standing_rows(study, before.sets), new=False)
        lots = _checked(study, plan, placed_on, signature)
        groups = planned_groups(plan)
        rows, changed = _dealt(study, plan, saved)
        keys = set_keys(plan, groups)
        told = {
            "placed_on": placed_on.isoformat(), "seed": saved.seed, "coupons": len(rows), "sets": list(keys.values()),
            "allocation_sha256": hashlib.sha256(allocation_text(rows).encode()).hexdigest(),
        }  # fmt: skip
        with study.change(signature, act=MADE, subject=name, after=told) as change:
            on_file.save_sets(
                study,
                [
                    _set(study, plan, parts, key, lots, saved.protocol_digest, placed_on, change)
                    for parts, key in keys.items()
                ],
                change=change,
            )
            made = [
                Coupon(row.code, keys[row.role, row.adhesive, row.substrate, row.environment], row.test, row.pull)
                for row in rows
            ]
            save_coupons(study, made, change=change)
            save_positions(study, {row.code: (row.shelf, row.place) for row in rows if row.shelf}, change=change)
        friable = {s.key for s in on_file.fetch_substrates(study).values() if s.friable}
        used = dict.fromkeys(group.substrate for group in groups)
        warnings = (*changed, *(f"{key}: {FRIABLE_WARNING}" for key in used if key in friable))
        return Made(name, saved.seed, placed_on.isoformat(), tuple(keys.values()), rows, new=True, warnings=warnings)


def arrange_again(study: StudyFile, name: str, *, seed: int, signature: Signature) -> Made:
    """Coupons of a made plan that still stand are given new places by another seed: an explicit act with a reason.

    What each coupon is destined to stays as it is.

    Raises
    ------
    Unknown, NotPossible
        If the plan was never made, no reason is given, or nothing stands any more.
    """
    name = plan_name(name)
    with study.writing():
        saved, before = fetch_plans(study).get(name), fetch_made(study, name)
        if saved is None or before is None:
            raise Unknown(f"Nothing was made from a plan “{name}”.", "Make it first with: dwellbook plan make NAME")
        if not signature.why.strip():
            raise NotPossible("Dealing places anew needs a reason.", 'Add one, such as --why "The shelves were moved."')
        plan = Plan.model_validate_json(saved.text)
        gone = set(fetch_pulls(study))
        rows = [row for row in standing_rows(study, before.sets) if row.shelf and row.code not in gone]
        if not rows:
            raise NotPossible("No coupon of this plan stands on a shelf any more.", "Nothing is left to do.")
        dealt = placed(plan, rows, seed, first_shelf=first_shelves(rows))
        if met_shelves(study, dealt):
            dealt = placed(plan, rows, seed, first_shelf=free_shelves(study, plan.environments))
        told = {"seed": seed, "coupons": len(dealt)}
        with study.change(signature, act=ARRANGED, subject=name, after=told) as change:
            save_positions(study, {row.code: (row.shelf, row.place) for row in dealt}, change=change)
        return Made(name, seed, before.placed_on, before.sets, standing_rows(study, before.sets), new=True)


def _dealt(study: StudyFile, plan: Plan, saved: SavedPlan) -> tuple[tuple[Allocated, ...], tuple[str, ...]]:
    """Every coupon dealt to the codes and shelves kept for the plan, and what had to be changed on paper since."""
    taken, said = set(fetch_codes(study)), []
    free = {p: own for p, own in standing_codes(saved, plan, saved.seed).items() if taken.isdisjoint(own)}
    codes = codes_dealt(study, plan, free)
    others = len(set(saved.codes).difference(codes))
    if others:
        said.append(
            "Codes kept for this plan belong to other coupons now: labels printed before are not right for "
            f"{others} of {len(saved.codes)} coupons."
        )
    rows = allocate(plan, codes, saved.seed, first_shelf=saved.first_shelf)
    met = met_shelves(study, rows)
    if met:
        said.append(f"Others stand on {', '.join(met)} now: these coupons have other shelves; print their map again.")
        rows = allocate(plan, codes, saved.seed, first_shelf=free_shelves(study, plan.environments))
    return rows, tuple(said)


def _set(
    study: StudyFile,
    plan: Plan,
    parts: tuple[str, str, str, str],
    key: str,
    lots: dict[str, str],
    protocol_digest: str,
    placed_on: date,
    change: int,
) -> CouponSet:
    role, adhesive, substrate, environment = parts
    pairing = ""
    if role != "blank":
        pairing = on_file.pairing_key(
            study,
            {
                "adhesive": adhesive, "substrate": substrate, "environment": environment,
                "dot_diameter_mm": plan.dot_diameter_mm, "dots": plan.dots, "dwell_load_n": plan.dwell_load_n,
            },
            change=change,
        )  # fmt: skip
    lot = lots[adhesive] if adhesive else ""
    return CouponSet(key, pairing, lot, substrate, environment, protocol_digest, placed_on, role)


def _checked(study: StudyFile, plan: Plan, placed_on: date, signature: Signature) -> dict[str, str]:
    """Lot of each adhesive; everything that stands in the way is told at once."""
    problems = []
    if placed_on > signature.at.date():
        what = f"lies after {signature.at.date()}."
        problems.append(Problem(0, "placed_on", placed_on.isoformat(), what, "Make the study once it is placed."))
    known: dict[str, Collection[str]] = {
        "adhesive": on_file.fetch_adhesives(study), "substrate": on_file.fetch_substrates(study),
        "environment": on_file.fetch_environments(study),
    }  # fmt: skip
    glass = (plan.controls.glass,) if plan.controls.glass else ()
    named = {
        "adhesive": plan.adhesives, "substrate": (*plan.substrates, *glass), "environment": plan.environments,
    }  # fmt: skip
    for what, names in named.items():
        there = ", ".join(known[what]) or "none yet"
        for name in names:
            if name not in known[what]:
                problems.append(Problem(0, what, name, f"is not a registered {what}.", f"Known: {there}."))
    lots: dict[str, str] = {}
    all_lots, withdrawn = on_file.fetch_lots(study), fetch_withdrawn_lots(study)
    for adhesive in plan.adhesives:
        own = [lot.key for lot in all_lots.values() if lot.adhesive == adhesive and lot.key not in withdrawn]
        asked = plan.lots.get(adhesive, "")
        if asked and asked not in own:
            do = f"Use one of: {', '.join(own) or 'none yet'}."
            problems.append(Problem(0, f"lots.{adhesive}", asked, "is not a lot of it that may be used.", do))
        elif not asked and len(own) != 1 and adhesive in known["adhesive"]:
            say = f"has {len(own)} lots that may be used."
            do = f'Name one in the plan under [lots]: {adhesive} = "{own[0] if own else "LOT"}".'
            problems.append(Problem(0, f"lots.{adhesive}", adhesive, say, do if own else "Register a lot first."))
        elif asked or own:
            lots[adhesive] = asked or own[0]
    taken = set(on_file.fetch_sets(study))
    clash = [key for key in set_keys(plan, planned_groups(plan)).values() if key in taken]
    if clash:
        problems.append(Problem(0, "set", clash[0], "is registered already.", "Give the plan another name."))
    if problems:
        raise FileRefused(f"plan {plan.name}", problems)
    return lots
