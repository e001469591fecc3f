"""Display: objects on show, may it stay, removal, rechecks and the walking list."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from study.cli.options import ByOption, FileArgument, OnOption, StudyOption, WhyOption, cells_of, say, sign, the_day
from study.cli.tables import print_table

if TYPE_CHECKING:
    from study.model.display import DisplayState

app = typer.Typer(no_args_is_help=True)
ObjectArgument = Annotated[str, typer.Argument(help="Object number.", show_default=False)]


@app.command("list")
def list_(
    study: StudyOption,
    on: OnOption = None,
    location: Annotated[str, typer.Option(help="One location alone.")] = "",
    pairing: Annotated[str, typer.Option(help="One pairing alone, such as P01.")] = "",
) -> None:
    """List the objects on show by location, with where each stands: a walking list."""
    from study.commands.display import recheck_list
    from study.commands.opening import open_study

    with open_study(study) as opened:
        states = recheck_list(opened, on=the_day(on), pairing=pairing, location=location)
    _print_states(states)
    _say_cautions()


@app.command("add")
def add(
    entry: Annotated[list[str], typer.Argument(metavar="COLUMN=VALUE…", show_default=False)],
    study: StudyOption,
    by: ByOption = "",
) -> None:
    """Put one object on show: object=, location=, lot=, object_pairing=, support_pairing=, environment=, dots=,
    dot_diameter_mm=, load_n=, placed_on=, placed_by=."""
    from study.commands.display import add_display
    from study.commands.opening import open_study

    with open_study(study) as opened:
        state = add_display(opened, cells_of(entry), signature=sign(by))
    _print_states([state])


@app.command("import")
def import_(file: FileArgument, study: StudyOption, by: ByOption = "") -> None:
    """Put the objects of a CSV file on show; any problem and nothing is written."""
    from study.commands.display import import_displays
    from study.commands.opening import open_study

    with open_study(study) as opened:
        states = import_displays(opened, file, signature=sign(by))
    _print_states(states)


@app.command("again")
def again(
    object_number: ObjectArgument,
    entry: Annotated[list[str], typer.Argument(metavar="COLUMN=VALUE…", show_default=False)],
    study: StudyOption,
    by: ByOption = "",
) -> None:
    """Stick an object again after its removal: placed_on= and placed_by=, and what differs from the last time."""
    from study.commands.display import stick_again
    from study.commands.opening import open_study
    from study.model.display import REPLACING_NOTE

    with open_study(study) as opened:
        state = stick_again(opened, object_number, cells_of(entry), signature=sign(by))
    _print_states([state])
    say(REPLACING_NOTE)


@app.command("undo")
def undo(object_number: ObjectArgument, study: StudyOption, why: WhyOption = "", by: ByOption = "") -> None:
    """Take back an entry that was a mistake, with a reason."""
    from study.commands.display import take_display_back
    from study.commands.opening import open_study

    with open_study(study) as opened:
        display = take_display_back(opened, object_number, signature=sign(by, why))
    say(f"The entry of {display.object_number} is taken back; it stays in the trail.")


@app.command("may")
def may(
    object_number: ObjectArgument,
    study: StudyOption,
    until: Annotated[str, typer.Option(help="The day, such as 2027-03-31.", show_default=False)],
    on: OnOption = None,
) -> None:
    """May it stay up until a day? Yes, no or not shown, with the reason and the date it can."""
    from study.commands.display import may as may_it
    from study.commands.opening import open_study

    try:
        day = date.fromisoformat(until)
    except ValueError:
        raise typer.BadParameter(f"“{until}” is not a date; write year-month-day, such as 2027-03-31.") from None
    with open_study(study) as opened:
        answer = may_it(opened, object_number, until=day, on=the_day(on))
    latest = f" It may stay until {answer.latest}." if answer.latest else ""
    say(f"{answer.words.capitalize()}: {answer.reason}.{latest}")
    _say_cautions()


@app.command("remove")
def remove(
    object_number: ObjectArgument,
    study: StudyOption,
    harm: Annotated[bool, typer.Option("--harm/--no-harm", help="Whether the object or its support came to harm.")],
    on: OnOption = None,
    residue: Annotated[str, typer.Option(help="Residue grade 0 to 5.")] = "",
    pattern: Annotated[str, typer.Option(help="Failure pattern, ISO 10365 letters.")] = "",
    side: Annotated[str, typer.Option(help="object, mount, both or unknown")] = "",
    force: Annotated[str, typer.Option(help="Felt or measured.")] = "",
    tool: Annotated[str, typer.Option(help="What was used.")] = "",
    note: Annotated[str, typer.Option(help="What else is worth knowing.")] = "",
    by: ByOption = "",
) -> None:
    """Record what was found when an object came off; one harm stops its pairing."""
    from study.commands.display import record_removal
    from study.commands.opening import open_study

    with open_study(study) as opened:
        done = record_removal(
            opened, object_number, on=the_day(on), harm=harm, residue=residue, pattern=pattern, side=side, force=force,
            tool=tool, note=note, signature=sign(by),
        )  # fmt: skip
    say(f"{object_number} is recorded as removed on {done.removal.removed_on}.")
    if done.stopped:
        say(f"Harm: {' and '.join(done.stopped)} stopped. Others standing there: {len(done.others)}.")
        _print_states(list(done.others))


@app.command("acknowledge")
def acknowledge(
    object_numbers: Annotated[list[str], typer.Argument(help="Object numbers.", show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    by: ByOption = "",
) -> None:
    """Say that you have seen what changed for these objects; until then Today shows them."""
    from study.commands.display import acknowledge as seen
    from study.commands.display import find_display
    from study.commands.opening import open_study

    with open_study(study) as opened:
        numbers = [find_display(opened, name).number for name in object_numbers]
        count = seen(opened, numbers, on=the_day(on), signature=sign(by))
    say(f"Acknowledged for {count} objects.")


@app.command("recheck")
def recheck(
    object_numbers: Annotated[list[str], typer.Argument(help="Object numbers.", show_default=False)],
    study: StudyOption,
    after: Annotated[str, typer.Option(help="tremor, move, cleaning or other")],
    found: Annotated[str, typer.Option(help="holds, moved, loose or fallen")],
    note: Annotated[str, typer.Option(help="What else is worth knowing.")] = "",
    on: OnOption = None,
    by: ByOption = "",
) -> None:
    """Record how objects were found after a tremor, a move or a cleaning; display list gives the walk."""
    from study.commands.display import record_recheck
    from study.commands.opening import open_study

    with open_study(study) as opened:
        record_recheck(opened, object_numbers, on=the_day(on), after=after, found=found, note=note, signature=sign(by))
    say(f"Recorded: {', '.join(object_numbers)} {found} after {after}.")


def _print_states(states: list[DisplayState]) -> None:
    from study.outputs.tables import DISPLAY_HEADS, tabulate_displays

    if not states:
        say("No object is on show there.")
        return
    print_table(tabulate_displays(states), DISPLAY_HEADS)


def _say_cautions() -> None:
    from study.outputs.cautions import CAUTIONS

    for line in CAUTIONS:
        say(line)
