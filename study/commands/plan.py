"""Plan: a study counted, tried out, saved and made, before the first coupon is."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from study.commands.estimates import analysed, find_evidence
from study.commands.moved import turned_back
from study.commands.plan_dealt import NAME_LENGTH, codes_dealt, free_shelves, standing_codes, untrue_paper
from study.commands.plan_memo import kept_tables
from study.errors import NotPossible, Unknown
from study.intake.cells import CellFault
from study.intake.plan_file import CommonSchedule, common_schedules, parse_plan, parse_plan_file, template_text
from study.intake.schedule_words import parse_span
from study.model.allocation import allocate
from study.model.person import Signature
from study.model.plan import Picture, Plan, plan_name, planned_protocol, pull_days
from study.model.plan_size import PlanSize, plan_size
from study.model.protocol import Protocol
from study.model.support import Chance, Option, Suggestion, Support
from study.store.plans import SavedPlan, fetch_made, fetch_plans, save_plan_text
from study.store.protocols import fetch_protocol, freeze_protocol
from study.store.study_file import StudyFile

Progress = Callable[[str], None]
MOST_STUDIES = 20_000
SEEDS = 2**31


@dataclass(frozen=True)
class PlanInHand:
    """A plan read from a file or a form, with the protocol it names."""

    plan: Plan
    protocol: Protocol

    @property
    def size(self) -> PlanSize:
        """Coupons, hours and shelves at once."""
        return plan_size(self.plan)


@dataclass(frozen=True)
class Question:
    """What a plan is asked: which cell, how it declines, and with how many invented studies."""

    decline: str = "middling"
    """A picture of the plan by key, or a pairing of the study such as P03."""
    cell: tuple[str, str, str] | None = None
    """Adhesive, substrate, environment; the first cell with coupons if left out."""
    only: str = ""
    """One criterion by itself, by title."""
    studies: int = 1000
    seed: int = 1
    jobs: int = 2
    scheduler: str = ""
    """Address of a Dask scheduler."""


def read_plan(path: Path) -> PlanInHand:
    """The plan in a TOML file.

    Raises
    ------
    FileRefused
        With every fault and its place.
    """
    return PlanInHand(*parse_plan_file(path))


def read_plan_text(text: str) -> PlanInHand:
    """The plan in TOML text, such as a page holds it; its protocol is one that comes with Dwellbook."""
    return PlanInHand(*parse_plan(text))


def plan_template() -> str:
    """A plan file to copy and edit, every line explained."""
    return template_text()


def schedules() -> dict[str, CommonSchedule]:
    """Common pull schedules to start from."""
    return common_schedules()


def saved_plans(study: StudyFile) -> dict[str, SavedPlan]:
    """Plans in force by name."""
    return fetch_plans(study)


def saved_plan(study: StudyFile, name: str) -> tuple[PlanInHand, SavedPlan]:
    """One saved plan by name, with the protocol frozen with it.

    Raises
    ------
    Unknown
    """
    known = fetch_plans(study)
    saved = known.get(plan_name(name))
    if saved is None:
        raise Unknown(
            f"“{name}” is not a plan in this study.",
            f"Known: {', '.join(known) or 'none yet'}. Save one with: dwellbook plan save FILE",
        )
    return PlanInHand(Plan.model_validate_json(saved.text), fetch_protocol(study, saved.protocol_digest)), saved


def wanted_days(typed: str) -> int:
    """A wanted duration such as 24 months, in days.

    Raises
    ------
    NotPossible
    """
    try:
        return pull_days(parse_span(typed))
    except CellFault as fault:
        if any(sign.isdigit() for sign in typed):
            raise NotPossible(f"The duration “{typed}” {fault.what}", fault.do) from None
        raise NotPossible(f"“{typed}” is no duration.", "Write it such as 24 months, 6 weeks or 2 years.") from None


def picture_for(held: PlanInHand, decline: str, study: StudyFile | None = None) -> Picture:
    """The picture of decline of that name: the plan's own, or that of a finished pairing of a study.

    Raises
    ------
    Unknown
        If neither is known.
    """
    known = {picture.key: picture for picture in held.plan.pictures}
    if decline.lower() in known:
        return known[decline.lower()]
    if study is None:
        raise Unknown(
            f"“{decline}” is not a picture of decline in this plan.",
            f"Known: {', '.join(known)}; or name a study with --study to take a pairing's decline.",
        )
    from study.analysis.planning_parts import picture_of

    evidence = find_evidence(study, decline)
    share = held.protocol.rule.permitted_unacceptable_share
    return picture_of(analysed(evidence).estimate, key=evidence.key, permitted_share=share)


def support_of(
    held: PlanInHand, asked: Question, *, study: StudyFile | None = None, progress: Progress | None = None
) -> Support:
    """What the plan could support for one pairing that declines as asked.

    Raises
    ------
    Unknown, NotPossible
        For a cell, criterion or picture that is not there; a number of studies that is none.
    """
    from study.analysis.planning import design_support

    design, how = _asked(held, asked, study, progress)
    with kept_tables() as tables:
        return design_support(design, tables=tables, **how)


def comparison_of(
    held: PlanInHand,
    asked: Question,
    *,
    wanted: str,
    study: StudyFile | None = None,
    progress: Progress | None = None,
) -> tuple[Option, ...]:
    """How the chance of a wanted duration, and the median, change with coupons per pull and with other pulls."""
    from study.analysis.planning_search import compared

    design, how = _asked(held, asked, study, progress)
    with kept_tables() as tables:
        return compared(design, wanted_days=wanted_days(wanted), tables=tables, **how)


def suggestion_of(
    held: PlanInHand,
    asked: Question,
    *,
    wanted: str,
    chance: float = 0.8,
    study: StudyFile | None = None,
    progress: Progress | None = None,
) -> Suggestion:
    """The fewest coupons that reach a wanted duration with a wanted chance, over a stated search."""
    from study.analysis.planning_search import suggestion

    design, how = _asked(held, asked, study, progress)
    with kept_tables() as tables:
        return suggestion(design, wanted_days=wanted_days(wanted), wanted_chance=chance, tables=tables, **how)


def chance_at(support: Support, typed: str) -> Chance:
    """The chance of a duration typed in words, from studies already invented."""
    from study.analysis.planning import chance_of

    return chance_of(support, wanted_days(typed), typed)


def _asked(
    held: PlanInHand, asked: Question, study: StudyFile | None, progress: Progress | None
) -> tuple[Any, dict[str, Any]]:
    from study.analysis.planning_parts import planned_design
    from study.analysis.workers import Workers

    if not 1 <= asked.studies <= MOST_STUDIES or not 0 <= asked.seed < SEEDS or asked.jobs < 1:
        raise NotPossible(
            f"{asked.studies} studies with seed {asked.seed} over {asked.jobs} processes cannot be invented.",
            f"Ask for 1 to {MOST_STUDIES} studies, a seed from 0 on, and one process or more.",
        )
    design = planned_design(held.plan, held.protocol, cell=asked.cell)
    if asked.only:
        design = design.only(asked.only)
    how = {
        "picture": picture_for(held, asked.decline, study), "rule": held.protocol.rule, "studies": asked.studies,
        "seed": asked.seed, "workers": Workers(asked.jobs, asked.scheduler), "progress": progress,
    }  # fmt: skip
    return design, how


@dataclass(frozen=True)
class KeptPlan(SavedPlan):
    """A plan as it is kept."""

    warnings: tuple[str, ...] = ()
    """What may have been printed of the plan it supersedes and is not true any more."""


def foresee_plan(study: StudyFile, held: PlanInHand, *, signature: Signature, seed: int | None = None) -> KeptPlan:
    """A plan as it would be kept; nothing is written."""
    return turned_back(study, lambda: save_plan(study, held, signature=signature, seed=seed))


def save_plan(study: StudyFile, held: PlanInHand, *, signature: Signature, seed: int | None = None) -> KeptPlan:
    """Keep a plan and its seed in the study; the same plan again changes nothing, another needs a reason.

    Codes of the plan it supersedes go on where they name the same coupons; every other coupon gets a fresh one, since
    labels with the old codes may stick on pieces already.

    Parameters
    ----------
    seed : int, optional
        Of the allocation; drawn from name and moment if left out, and kept.

    Raises
    ------
    NotPossible
        If another plan of that name is in force and no reason is given, or coupons were made from it already; for a
        new plan with a name above `NAME_LENGTH`.
    """
    plan = held.plan
    protocol, coupons = planned_protocol(plan, held.protocol), plan_size(plan).coupons
    with study.writing():
        before = fetch_plans(study).get(plan.name)
        if before is None and len(plan.name) > NAME_LENGTH:
            raise NotPossible(
                f"The name {plan.name} has {len(plan.name)} characters; {NAME_LENGTH} are the most.",
                "Shorten it: keys of coupon sets and labels begin with it.",
            )
        if before is not None:
            same = Plan.model_validate_json(before.text) == plan and before.protocol_digest == protocol.digest()
            made = fetch_made(study, plan.name)
            if same and seed in (None, before.seed) and (made is not None or len(before.codes) == coupons):
                return KeptPlan(**vars(before))
            if made is not None:
                raise NotPossible(
                    f"Coupons were made from plan {plan.name} on {made.placed_on} (entered by {made.by}).",
                    "Give the new plan another name; what was made stays as it is.",
                )
            if not signature.why.strip() and not (same and seed in (None, before.seed)):
                raise NotPossible(
                    f"Another plan {plan.name} is in force, saved by {before.by}.",
                    'Give a reason to supersede it, such as --why "Fewer pulls, to save bench time."',
                )
        if seed is None:
            drawn = hashlib.sha256(f"{plan.name} {signature.at}".encode()).hexdigest()
            seed = before.seed if before is not None else int(drawn, 16) % SEEDS
        if not 0 <= seed < SEEDS:
            raise NotPossible(f"{seed} is not a seed.", f"Choose one from 0 to {SEEDS - 1}.")
        codes = codes_dealt(study, plan, standing_codes(before, plan, seed) if before is not None else {})
        shelves = before.first_shelf if before is not None else {}
        shelves = {**free_shelves(study, plan.environments), **shelves}
        told = {"coupons": coupons, "seed": seed}
        was = {"seed": before.seed} if before is not None else None
        with study.change(signature, act="save plan", subject=plan.name, before=was, after=told) as change:
            digest = freeze_protocol(study, protocol, change=change)
            text = json.dumps(json.loads(plan.text()), ensure_ascii=False)
            save_plan_text(
                study, plan.name, text=text, protocol_digest=digest, seed=seed, codes=codes, first_shelf=shelves,
                change=change,
            )  # fmt: skip
        warnings: tuple[str, ...] = ()
        if before is not None and before.codes:
            older = Plan.model_validate_json(before.text)
            warnings = untrue_paper(
                allocate(older, before.codes, before.seed, first_shelf=before.first_shelf),
                allocate(plan, codes, seed, first_shelf=shelves),
            )
        return KeptPlan(**vars(fetch_plans(study)[plan.name]), warnings=warnings)
