"""Plan: how large a study would be, what it could support, and making it."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from study.cli.options import ByOption, OnOption, StudyOption, WhyOption, say, sign, the_day
from study.cli.tables import print_table

if TYPE_CHECKING:
    from study.commands.plan import PlanInHand, Question

app = typer.Typer(no_args_is_help=True)

PlanFile = Annotated[Path, typer.Argument(help="A plan file; begin with: dwellbook plan template", show_default=False)]
Decline = Annotated[str, typer.Option(help="slow, middling, fast, one of the plan's own, or a pairing such as P03.")]
CellOption = Annotated[
    str, typer.Option("--cell", metavar="ADHESIVE,SUBSTRATE,ENVIRONMENT", help="The first cell if left out.")
]
Only = Annotated[str, typer.Option(help="One criterion by itself, such as “Removal force”.")]
Studies = Annotated[int, typer.Option(help="Invented studies.")]
Seed = Annotated[int, typer.Option(help="The same seed gives the same answer.")]
Jobs = Annotated[int, typer.Option(help="Processes on this machine.")]
Scheduler = Annotated[str, typer.Option(metavar="ADDRESS", help="A Dask scheduler, past one machine.")]
AnyStudy = Annotated[
    Path | None, typer.Option("--study", envvar="DWELLBOOK_STUDY", help="Only to take a pairing's decline from.")
]
Wanted = Annotated[str, typer.Option(help="A duration such as “24 months”.")]


@app.command("template")
def template() -> None:
    """Print a plan file to copy and edit."""
    from study.commands.plan import plan_template

    typer.echo(plan_template(), nl=False)


@app.command("size")
def size(file: PlanFile) -> None:
    """Count coupons, bench hours and shelves of a plan at once."""
    from study.commands.plan import read_plan
    from study.outputs import plan_tables as tables

    held = read_plan(file)
    found = held.size
    say(f"{held.plan.title or held.plan.name}\n{found.formula}")
    print_table(tables.tabulate_counts(found), tables.COUNT_HEADS, right=("coupons",))
    print_table(tables.tabulate_plan_pulls(found), tables.PULL_HEADS, right=("coupons", "hours"))
    print_table(tables.tabulate_rooms(found), tables.ROOM_HEADS, right=("coupons", "shelves", "metres"))
    say(
        f"{found.coupons} coupons, {found.hours:.0f} h of one person's work ({found.making_hours:.0f} h to make and "
        "place, "
        f"{found.reading_hours:.0f} h to pull and read), {found.metres:.1f} m of shelf. {tables.HOURS_CAUTION}"
    )
    for warning in found.warnings:
        say(f"Consider: {warning}")
    say("Next: dwellbook plan support FILE")


@app.command("support")
def support(
    file: PlanFile,
    decline: Decline = "middling",
    wanted: Annotated[str, typer.Option(help="A duration; the first decision pull if left out.")] = "",
    compare: Annotated[bool, typer.Option("--compare", help="Other coupons per pull and other pulls too.")] = False,
    cell: CellOption = "",
    only: Only = "",
    studies: Studies = 1000,
    seed: Seed = 1,
    jobs: Jobs = 2,
    scheduler: Scheduler = "",
    study: AnyStudy = None,
) -> None:
    """Try a plan out on invented studies: the chance that it shows each duration."""
    from study.commands import plan as commands
    from study.model.support import chance_words
    from study.outputs import plan_tables as tables

    held = commands.read_plan(file)
    asked = _question(decline, cell, only, studies, seed, jobs, scheduler)
    wanted = wanted or held.plan.schedule.decision_pulls[0]
    commands.wanted_days(wanted)  # refused before any work
    with _opened(study, held, decline) as opened:
        found = commands.support_of(held, asked, study=opened, progress=_tell)
        others = (
            commands.comparison_of(held, asked, wanted=wanted, study=opened, progress=_tell) if compare else ()
        )  # fmt: skip
    for sentence in found.assumed:
        say(sentence)
    print_table(tables.tabulate_chances(found.chances), tables.CHANCE_HEADS, right=("shown", "supported"))
    print_table(tables.tabulate_parts(found), tables.PART_HEADS, right=("limiting",))
    say(tables.SHOWN_CAUTION)
    one = commands.chance_at(found, wanted)
    say(f"Median duration: {tables.median_words(found.median_days)}.{tables.nothing_words(found)}")
    say(f"Chance to show {wanted}: {chance_words(one.shown, one.shown_from, one.shown_to)}.")
    if one.days > found.chances[-1].days:
        say(f"Nothing beyond the last pull, at {found.chances[-1].label}, can be shown.")
    if others:
        say(f"\nOther designs, chance to show {wanted}:")
        print_table(tables.tabulate_options(others), tables.OPTION_HEADS, right=("coupons",))
    say(f"From {found.studies} invented studies, seed {found.seed}; in brackets the error of the simulation, 95 %.")


@app.command("suggest")
def suggest(
    file: PlanFile,
    wanted: Wanted,
    decline: Decline = "middling",
    chance: Annotated[float, typer.Option(help="Wanted chance.")] = 0.8,
    cell: CellOption = "",
    only: Only = "",
    studies: Studies = 1000,
    seed: Seed = 1,
    jobs: Jobs = 2,
    scheduler: Scheduler = "",
    study: AnyStudy = None,
) -> None:
    """Search for the fewest coupons that show a wanted duration."""
    from study.commands import plan as commands
    from study.outputs import plan_tables as tables

    held = commands.read_plan(file)
    asked = _question(decline, cell, only, studies, seed, jobs, scheduler)
    with _opened(study, held, decline) as opened:
        found = commands.suggestion_of(held, asked, wanted=wanted, chance=chance, study=opened, progress=_tell)
    print_table(tables.tabulate_options(found.options, by_coupons=True), tables.OPTION_HEADS, right=("coupons",))
    say(found.looked_at)
    say(found.answer)


@app.command("save")
def save(
    file: PlanFile,
    study: StudyOption,
    seed: Annotated[int | None, typer.Option(help="Of the allocation; drawn and kept if left out.")] = None,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Keep a plan and its seed in the study; another plan of the same name needs a reason."""
    from study.commands.opening import open_study
    from study.commands.plan import read_plan, save_plan

    held = read_plan(file)
    with open_study(study) as opened:
        saved = save_plan(opened, held, signature=sign(by, why), seed=seed)
    say(f"Plan {saved.name} is kept with seed {saved.seed} ({held.size.coupons} coupons), saved by {saved.by}.")
    for warning in saved.warnings:
        typer.echo(f"Caution: {warning}", err=True)
    say(f"Label the pieces as they are made: dwellbook register labels labels.pdf --plan {saved.name}")
    say(f"Where each will stand: dwellbook register map map.pdf --plan {saved.name}")
    say(f"Next: dwellbook plan make {saved.name} --on DATE, the day the coupons were placed")


@app.command("make")
def make(
    name: Annotated[str, typer.Argument(help="A saved plan.", show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    again: Annotated[bool, typer.Option("--again", help="Deal the places anew, with a reason.")] = False,
    seed: Annotated[int, typer.Option(help="With --again.")] = 1,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Register the sets and coupons of a saved plan, placed on a day, each dealt to its pull and place; prints CSV."""
    from study.commands import plan_make as commands
    from study.commands.opening import open_study
    from study.outputs.plan_tables import PLACE_HEADS, tabulate_places
    from study.outputs.safe_csv import csv_text

    with open_study(study) as opened:
        if again:
            done = commands.arrange_again(opened, name, seed=seed, signature=sign(by, why))
        else:
            done = commands.make_study_from_plan(opened, name, placed_on=the_day(on), signature=sign(by, why))
    print(csv_text(list(PLACE_HEADS), tabulate_places(done.rows)).replace("\r\n", "\n"), end="")
    for warning in done.warnings:
        typer.echo(f"Caution: {warning}", err=True)
    what = "dealt anew" if again else "made" if done.new else "was made already; nothing was written"
    typer.echo(
        f"Plan {done.name} {what}: {len(done.rows)} coupons in {len(done.sets)} sets, seed {done.seed}.", err=True
    )


def _question(
    decline: str, cell: str, only: str, studies: int, seed: int, jobs: int, scheduler: str
) -> Question:  # fmt: skip
    from study.commands.plan import Question

    parts = [part.strip() for part in cell.split(",")] if cell else []
    if cell and len(parts) != 3:
        raise typer.BadParameter("Name a cell as adhesive,substrate,environment.")
    chosen = (parts[0], parts[1], parts[2]) if parts else None
    return Question(decline, chosen, only, studies, seed, jobs, scheduler)


def _opened(study: Path | None, held: PlanInHand, decline: str) -> Any:
    """The study, opened only where the decline is that of one of its pairings."""
    from study.commands.opening import open_study

    own = decline.lower() in {picture.key for picture in held.plan.pictures}
    return nullcontext() if study is None or own else open_study(study)


def _tell(line: str) -> None:
    import sys

    if sys.stderr.isatty():
        typer.echo(line, err=True)
