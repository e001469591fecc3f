"""Pull, accidents: replanned coupons, moved racks, and interruptions of a lamp or chamber."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from study.cli.options import (
    ByOption,
    OnOption,
    StudyOption,
    WhyOption,
    YesOption,
    ask_first,
    day_of,
    say,
    sign,
    the_day,
)
from study.cli.pull import app
from study.model.interruption import INTERRUPTION_KINDS

if TYPE_CHECKING:
    from study.commands.pull_accidents import ReplanOptions


@app.command("replan")
def replan(
    code: Annotated[str, typer.Argument(help="The coupon that is missing at its pull.", show_default=False)],
    study: StudyOption,
    with_code: Annotated[
        str, typer.Option("--with", help="The coupon that takes its place; left out, options are listed.")
    ] = "",
    yes: YesOption = False,
    undo: Annotated[bool, typer.Option("--undo", help="CODE is a replanned coupon: it goes back.")] = False,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """List what can take a missing coupon's place, give it one (--with, --why), or take that back (--undo)."""
    from study.commands.opening import open_study
    from study.commands.pull_accidents import REPLAN_ACT, foresee_replan, replan, replan_options, undo_replan

    with open_study(study) as opened:
        if undo:
            back = undo_replan(opened, code, signature=sign(by, why))
            say(f"{back.code} is destined again to what it was made for; {back.missing} is missing again.")
        elif with_code:
            signature = sign(by, why)
            signature.need_reason(REPLAN_ACT)  # before the effect is worked out and asked about
            ask_first(foresee_replan(opened, code, with_code, on=the_day(None)).sentences, yes)
            coupon, option = replan(opened, code, with_code, signature=signature)
            say(f"{coupon.code} is destined to {coupon.test}, {coupon.pull_label}, due on {option.due_on}.")
        else:
            _print_options(replan_options(opened, code, on=the_day(None)))


def _print_options(found: ReplanOptions) -> None:
    say(f"{found.missing} ({found.test}, {found.pull}): {found.why}.")
    if found.already:
        say(f"{found.already} has taken its place already; take that back with: pull replan {found.already} --undo")
        return
    if found.none:
        say(found.none)
    # Coupons of one pull are all alike here: told once, their codes together.
    alike: dict[tuple[str, str, str, tuple[str, ...]], list[str]] = {}
    for option in found.options:
        now = f"now {option.test}, {option.pull}" if option.pull else f"a spare, now {option.test}"
        alike.setdefault((option.kind, now, option.set_key, tuple(option.sentences)), []).append(option.code)
    for (kind, now, set_key, sentences), codes in alike.items():
        say(f"  {' '.join(codes)}  {kind}  ({now}; set {set_key})")
        for sentence in sentences:
            say(f"      {sentence}")


@app.command("move")
def move(
    study: StudyOption,
    what: Annotated[
        list[str], typer.Argument(metavar="FILE | SHELF SHELF", help="A CSV file, or from one shelf to another.")
    ],
    on: OnOption = None,
    note: Annotated[str, typer.Option(help="What is worth knowing about the move.")] = "",
    by: ByOption = "",
) -> None:
    """Record where coupons stand from a CSV file (coupon, shelf, place), or move a whole shelf: pull move A B."""
    from study.commands.opening import open_study
    from study.commands.pull_move import move_coupons, move_shelf

    if len(what) not in (1, 2):
        raise typer.BadParameter("Give a file, or two shelves.")
    with open_study(study) as opened:
        if len(what) == 1:
            moved = move_coupons(opened, Path(what[0]), on=the_day(on), note=note, signature=sign(by))
        else:
            moved = move_shelf(opened, what[0], what[1], on=the_day(on), note=note, signature=sign(by))
    shelves = ", ".join(sorted({shelf for shelf, _ in moved.values()}))
    say(f"{'1 coupon stands' if len(moved) == 1 else f'{len(moved)} coupons stand'} on shelf {shelves} now.")


@app.command("interrupt")
def interrupt(
    environment: Annotated[str, typer.Argument(show_default=False)],
    kind: Annotated[str, typer.Argument(help=" | ".join(INTERRUPTION_KINDS), show_default=False)],
    study: StudyOption,
    from_on: Annotated[
        date | None, typer.Option("--from", parser=day_of, metavar="DATE", help="First day; today if left out.")
    ] = None,
    to_on: Annotated[
        date | None, typer.Option("--to", parser=day_of, metavar="DATE", help="Last day; the first if left out.")
    ] = None,
    note: Annotated[str, typer.Option(help="What happened.")] = "",
    yes: YesOption = False,
    by: ByOption = "",
) -> None:
    """A lamp or chamber was out: each set's protocol says whether dwell stops for it; what follows is said first."""
    from study.commands.opening import open_study
    from study.commands.pull_interrupt import foresee_interruption, interrupt, interruption_moves

    first, signature = the_day(from_on), sign(by)
    last = to_on or first
    with open_study(study) as opened:
        seen = foresee_interruption(opened, environment, kind, from_on=first, to_on=last, signature=signature)
        told = seen.sentences()
        if seen.stopped:
            moved = interruption_moves(opened, environment, kind, from_on=first, to_on=last, signature=signature)
            told += [one.words() for one in moved]
        ask_first(told, yes)
        done = interrupt(opened, environment, kind, from_on=first, to_on=last, note=note, signature=signature)
    say(f"Recorded as interruption {done.interruption.number}: {done.interruption.words()}.")


@app.command("interruptions")
def interruptions(
    study: StudyOption,
    undo: Annotated[int, typer.Option(help="Number of one entered by mistake; it is taken back.")] = 0,
    why: WhyOption = "",
    yes: YesOption = False,
    by: ByOption = "",
) -> None:
    """List the interruptions on record, or take one back (--undo NUMBER, --why); what follows is said first."""
    from study.commands.opening import open_study
    from study.commands.pull_interrupt import END_ACT, end_interruption, end_moves, foresee_end, interruptions

    with open_study(study) as opened:
        if undo:
            signature = sign(by, why)
            signature.need_reason(END_ACT)
            seen = foresee_end(opened, undo, signature=signature)
            moved = end_moves(opened, undo, signature=signature) if seen.stopped else []
            ask_first([*seen.sentences(back=True), *(one.words() for one in moved)], yes)
            end_interruption(opened, undo, signature=signature)
            say(f"Interruption {undo} is taken back; it stays in the trail.")
            return
        found = interruptions(opened)
    for one in found:
        say(f"{one.number:>4}  {one.words()}{f'  {one.note}' if one.note else ''}")
    if not found:
        say("No interruption is on record.")
