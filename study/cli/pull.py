"""Pull: the due list, and coupons that left their placement."""

from __future__ import annotations

from typing import Annotated

import typer

from study.cli.options import (
    ByOption,
    FileArgument,
    OnOption,
    StudyOption,
    WhyOption,
    YesOption,
    ask_first,
    say,
    sign,
    the_day,
)
from study.model.pull import BACK, KEPT, LOOK_AHEAD_DAYS, PULL_KINDS, DuePull

EFFECTS = (*PULL_KINDS, BACK, KEPT)

app = typer.Typer(no_args_is_help=True)


@app.command("due")
def due(
    study: StudyOption,
    on: OnOption = None,
    ahead: Annotated[int, typer.Option(min=0, help="Days to look ahead.")] = LOOK_AHEAD_DAYS,
) -> None:
    """List the pulls that are overdue, due, or come next."""
    from study.commands.opening import open_study
    from study.commands.pull import due_pulls
    from study.commands.today import unread_coupons

    with open_study(study) as opened:
        pulls = due_pulls(opened, on=the_day(on), ahead_days=ahead)
        waiting = unread_coupons(opened)
    for state in ("overdue", "due", "next"):
        _print_state(state, [pull for pull in pulls if pull.state == state])
    if not pulls:
        say(f"Nothing to pull up to {ahead} days after {the_day(on)}.")
    for coupon in waiting:
        say(f"PULLED, TO BE READ  {coupon.code}  {coupon.set_key}  since {coupon.pulled_on}")


def _print_state(state: str, pulls: list[DuePull]) -> None:
    for place, pull in enumerate(pulls):
        if place == 0:
            say(f"{state.upper()}  (window has closed)" if state == "overdue" else state.upper())
        window = f"window {pull.window_from} to {pull.window_to}"
        say(f"  {pull.due_on}  {pull.pull_label:<9}  {pull.set_key:<8}  {pull.pairing:<4} {pull.title}  ({window})")
        charge = f"  ({pull.in_charge} pulls)" if pull.in_charge else ""
        say(f"      {len(pull.codes)} coupons: {' '.join(pull.codes)}{charge}")


@app.command("record")
def record(
    codes: Annotated[list[str], typer.Argument(help="Coupon codes.", show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    how: Annotated[str, typer.Option("--as", help=" | ".join(PULL_KINDS))] = "pulled",
    last_seen: Annotated[str, typer.Option(help="For released by itself: day it was last seen holding.")] = "",
    note: Annotated[str, typer.Option(help="What is worth knowing about it.")] = "",
    deviation: Annotated[str, typer.Option(help="For pulls outside their window: what happened and why.")] = "",
    yes: YesOption = False,
    by: ByOption = "",
) -> None:
    """Record coupons pulled, lost, damaged, released by itself or pulled in error; what it does is said first."""
    from study.commands.opening import open_study
    from study.commands.pull import pull_effect, record_pulls

    with open_study(study) as opened:
        if how in PULL_KINDS[1:]:
            told = [
                f"{code}: {sentence}"
                for code in codes
                for sentence in pull_effect(opened, code, how, on=the_day(on)).sentences
            ]
            if how == "released by itself" and not last_seen:
                told.append(
                    "Nobody saw it holding: it counts as let go at any time since placement. --last-seen says better."
                )
            ask_first(told, yes)
        events = record_pulls(
            opened, codes, kind=how, on=the_day(on), last_seen=last_seen, note=note, deviation=deviation,
            signature=sign(by),
        )  # fmt: skip
    say(f"Recorded {how} on {the_day(on)}: {' '.join(event.code for event in events)}")


@app.command("effect")
def effect(
    code: Annotated[str, typer.Argument(show_default=False)],
    study: StudyOption,
    how: Annotated[str, typer.Option("--as", help=" | ".join(EFFECTS))] = "lost",
    on: OnOption = None,
) -> None:
    """Say what becomes of the analysis if a coupon is lost, damaged, released, found again; nothing is written."""
    from study.commands.opening import open_study
    from study.commands.pull import pull_effect

    with open_study(study) as opened:
        said = pull_effect(opened, code, how, on=the_day(on))
    for sentence in said.sentences:
        say(sentence)


@app.command("found")
def found(
    code: Annotated[str, typer.Argument(show_default=False)],
    study: StudyOption,
    kept: Annotated[
        bool, typer.Option("--kept/--in-place", help="Out of its placement, kept at its real age; or still in it.")
    ] = False,
    on: OnOption = None,
    yes: YesOption = False,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """A lost coupon was found: still in its placement, or (--kept, --on the day it left it) kept at its real age."""
    from study.commands.opening import open_study
    from study.commands.pull import FIND_ACT, find_coupon, pull_effect

    signature = sign(by, why)
    signature.need_reason(FIND_ACT)  # before the effect is worked out and asked about
    with open_study(study) as opened:
        ask_first(pull_effect(opened, code, KEPT if kept else BACK, on=the_day(on)).sentences, yes)
        old, new = find_coupon(opened, code, in_place=not kept, on=the_day(on), signature=signature)
    now = f"is {new.kind} on {new.on}" if new else "waits in its placement again"
    say(f"{old.code} {now}; the loss of {old.on} stays in the trail.")


@app.command("import")
def import_(file: FileArgument, study: StudyOption, by: ByOption = "") -> None:
    """Record the pulls in a CSV file (coupon, on, as, last_seen_on, note); all or nothing."""
    from study.commands.opening import open_study
    from study.commands.pull import import_pulls

    with open_study(study) as opened:
        events = import_pulls(opened, file, signature=sign(by))
    say(f"Recorded {len(events)} pulls from {file.name}.")


@app.command("correct")
def correct(
    code: Annotated[str, typer.Argument(show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    how: Annotated[str, typer.Option("--as", help=" | ".join(PULL_KINDS))] = "",
    last_seen: Annotated[str, typer.Option(help="For released by itself: day it was last seen holding.")] = "",
    yes: YesOption = False,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Correct the day or kind of a recorded pull, with a reason; readings stay."""
    from study.commands.opening import open_study
    from study.commands.pull import CORRECT_ACT, correct_pull, pull_effect

    signature = sign(by, why)
    signature.need_reason(CORRECT_ACT)
    with open_study(study) as opened:
        if how:
            ask_first(pull_effect(opened, code, how, on=the_day(on)).sentences, yes)
        old, new = correct_pull(opened, code, on=the_day(on), kind=how, last_seen=last_seen, signature=signature)
    say(f"{new.code}: {old.kind} on {old.on} is superseded by {new.kind} on {new.on}.")


@app.command("undo")
def undo(
    code: Annotated[str, typer.Argument(show_default=False)],
    study: StudyOption,
    yes: YesOption = False,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Take back a pull that was recorded by mistake, with a reason."""
    from study.commands.opening import open_study
    from study.commands.pull import UNDO_ACT, pull_effect, undo_pull

    signature = sign(by, why)
    signature.need_reason(UNDO_ACT)
    with open_study(study) as opened:
        ask_first(pull_effect(opened, code, BACK, on=the_day(None)).sentences, yes)
        event = undo_pull(opened, code, signature=signature)
    say(f"{event.code} is in its placement again; the record of {event.on} stays in the trail.")


from study.cli import pull_accidents  # noqa: E402, F401  its commands stand on this group too
