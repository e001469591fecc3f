"""Read: readings from files and by hand, corrections with their effect, and a coupon's history."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from study.cli.options import ByOption, OnOption, StudyOption, WhyOption, cells_of, say, sign, the_day

if TYPE_CHECKING:
    from study.commands.moved import Moved

app = typer.Typer(no_args_is_help=True)
CodeArgument = Annotated[str, typer.Argument(help="Coupon code.", show_default=False)]


YesOption = Annotated[bool, typer.Option("--yes", help="Go on without being asked.")]
AnswerOption = Annotated[
    list[str] | None,
    typer.Option(
        "--answer", metavar="QUESTION=ANSWER", help="What was asked and its answer, such as unusual=“as typed”."
    ),
]


def answers_of(given: list[str] | None) -> dict[str, str]:
    """Answers typed as question=answer."""
    pairs = [part.partition("=") for part in given or ()]
    if not all(equals for _, equals, _ in pairs):
        raise typer.BadParameter("Give each answer as question=answer, such as unusual=“as typed”.")
    return {name.strip(): value.strip() for name, _, value in pairs}


RestArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="VALUE COLUMN=VALUE…",
        help="As typed in a file: “5.10 N”, “CF object”, 3-4 (or reading=value); then what beside it was wrong: "
        "residue_flags=stain, instrument=gauge-2, read_on=2026-03-01, note=; blank takes it off.",
        show_default=False,
    ),
]


def named_value(reading: str, rest: list[str] | None) -> tuple[str, str, dict[str, str]]:
    """A reading, its value, also where they were typed as reading=value, and what stands beside it, by column."""
    name, equals, value = (part.strip() for part in reading.partition("="))
    more = list(rest or ())
    if not equals and more and "=" not in more[0]:
        value = more.pop(0)
    return name, value, cells_of(more) if more else {}


@app.command("enter")
def enter(
    code: CodeArgument,
    cells: Annotated[list[str], typer.Argument(metavar="COLUMN=VALUE…", show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    answer: AnswerOption = None,
    by: ByOption = "",
) -> None:
    """Enter readings of one coupon, such as removal_force="5.1 N" residue_grade=1, and see the verdict."""
    from study.commands.opening import open_study
    from study.commands.read import flags_in_force, record_reading

    with open_study(study) as opened:
        found = record_reading(
            opened, code, cells_of(cells), read_on=the_day(on), signature=sign(by), answers=answers_of(answer)
        )
        flags = flags_in_force(opened, code)
    for verdict in found:
        say(f"{verdict.criterion}: {verdict.words}{'. This stops the pairing.' if verdict.stop else ''}")
    for flag in flags:
        say(f"Stays with it: {flag}.")


@app.command("correct")
def correct(
    code: CodeArgument,
    reading: Annotated[str, typer.Argument(help="removal_force, residue_grade, hold_angle, …", show_default=False)],
    study: StudyOption,
    rest: RestArgument = None,
    why: WhyOption = "",
    answer: AnswerOption = None,
    yes: YesOption = False,
    by: ByOption = "",
) -> None:
    """Supersede a mistyped reading, with a reason; what it would move is shown first, and you are asked."""
    from study.commands.opening import open_study
    from study.commands.read_correct import correct_reading, correction_effect

    reading, value, beside = named_value(reading, rest)
    if not value and not beside:
        raise typer.BadParameter(
            f"Say what {reading} is corrected to, such as {reading}=…, or what beside it; read withdraw takes it back."
        )
    with open_study(study) as opened:
        signature, answers = sign(by, why), answers_of(answer)
        moved = correction_effect(opened, code, reading, value, beside=beside, signature=signature, answers=answers)
        go_on(moved, yes=yes)
        old, new = correct_reading(opened, code, reading, value, beside=beside, signature=signature, answers=answers)
    with_it = f" with {', '.join(f'{name}={text}' for name, text in beside.items())}" if beside else ""
    say(f"{new.code} {new.kind}: “{old.typed}” is superseded by “{new.typed}”{with_it}.")


@app.command("withdraw")
def withdraw(
    code: CodeArgument,
    reading: Annotated[str, typer.Argument(help="removal_force, residue_grade, hold_angle, …", show_default=False)],
    study: StudyOption,
    why: WhyOption = "",
    yes: YesOption = False,
    by: ByOption = "",
) -> None:
    """Take back a reading that belongs to another coupon or was never made; what it would move is shown first."""
    from study.commands.opening import open_study
    from study.commands.read_correct import EXCLUDED, correction_effect, withdraw_reading

    with open_study(study) as opened:
        signature = sign(by, why)
        go_on(correction_effect(opened, code, reading, EXCLUDED, signature=signature), yes=yes)
        old = withdraw_reading(opened, code, reading, signature=signature)
    say(f"{old.code} {old.kind}: “{old.typed}” is taken back; it stays in the trail.")


@app.command("effect")
def effect(
    code: CodeArgument,
    reading: Annotated[str, typer.Argument(help="removal_force, residue_grade, hold_angle, …", show_default=False)],
    study: StudyOption,
    rest: RestArgument = None,
    answer: AnswerOption = None,
) -> None:
    """Show which durations a correction would move, or taking back where no value follows; nothing is written."""
    from study.commands.opening import open_study
    from study.commands.read_correct import correction_effect

    reading, value, beside = named_value(reading, rest)
    with open_study(study) as opened:
        moved = correction_effect(
            opened, code, reading, value, beside=beside, signature=sign("nobody"), answers=answers_of(answer)
        )
    for line in moved_lines(moved):
        say(line)


@app.command("history")
def history(code: CodeArgument, study: StudyOption) -> None:
    """Show everything that happened to a coupon in order: made, pulled, read, corrected, attached, noted."""
    from study.commands.opening import open_study
    from study.commands.read_history import coupon_history

    with open_study(study) as opened:
        found = coupon_history(opened, code)
    for one in found:
        changed = f"“{one.old}” → “{one.new}”" if one.old and one.new else one.new or one.old
        what = f"{one.what} {one.about}".strip() + (f": {changed}" if changed else "")
        what += f" ({one.beside})" if one.beside else ""
        why = f" Why: {one.why}" if one.why else ""
        say(f"{one.day or one.at[:10]:<10}  {what}  by {one.by or 'nobody named'} on {one.at[:16]}.{why}")


def moved_lines(moved: Sequence[Moved]) -> list[str]:
    """What a correction moves, in sentences."""
    return [one.words() for one in moved] or ["No duration rests on this coupon."]


def go_on(moved: Sequence[Moved], *, yes: bool) -> None:
    """Say what moves, and ask whether to go on."""
    for line in moved_lines(moved):
        say(line)
    try:
        wanted = yes or typer.confirm("Go on?")
    except typer.Abort:
        wanted = False
        say()
    if not wanted:
        say("Nothing was written. With --yes it goes on without asking.")
        raise typer.Exit(1)


from study.cli import read_files, read_import  # noqa: E402, F401  their commands stand on this group too
