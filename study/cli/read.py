"""Read: readings from files and by hand, corrections, and a coupon's trail."""

from __future__ import annotations

from typing import Annotated

import typer

from study.cli.options import ByOption, FileArgument, OnOption, StudyOption, WhyOption, cells_of, say, sign, the_day

app = typer.Typer(no_args_is_help=True)
CodeArgument = Annotated[str, typer.Argument(help="Coupon code.", show_default=False)]


@app.command("import")
def import_(file: FileArgument, study: StudyOption, by: ByOption = "") -> None:
    """Enter the readings in a CSV file, a row a coupon; any problem and nothing is written."""
    from study.commands.opening import open_study
    from study.commands.read import import_readings, verdict_counts

    with open_study(study) as opened:
        readings = import_readings(opened, file, signature=sign(by))
        codes = {reading.code for reading in readings}
        told = verdict_counts(opened, codes)
    say(f"Entered {len(readings)} readings of {len(codes)} coupons from {file.name}.")
    for line in told:
        say(f"  {line}")


@app.command("enter")
def enter(
    code: CodeArgument,
    cells: Annotated[list[str], typer.Argument(metavar="COLUMN=VALUE…", show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    by: ByOption = "",
) -> None:
    """Enter readings of one coupon, such as removal_force="5.1 N" residue_grade=1, and see the verdict."""
    from study.commands.opening import open_study
    from study.commands.read import record_reading

    with open_study(study) as opened:
        found = record_reading(opened, code, cells_of(cells), read_on=the_day(on), signature=sign(by))
    for verdict in found:
        say(f"{verdict.criterion}: {verdict.words}")


@app.command("correct")
def correct(
    code: CodeArgument,
    reading: Annotated[str, typer.Argument(help="removal_force, residue_grade, hold_angle, …", show_default=False)],
    value: Annotated[str, typer.Argument(help="As typed in a file: “5.10 N”, “CF object”, 3-4.", show_default=False)],
    study: StudyOption,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Supersede a mistyped reading, with a reason; the old one stays in the trail."""
    from study.commands.opening import open_study
    from study.commands.read_correct import correct_reading

    with open_study(study) as opened:
        old, new = correct_reading(opened, code, reading, value, signature=sign(by, why))
    say(f"{new.code} {new.kind}: “{old.typed}” is superseded by “{new.typed}”.")


@app.command("withdraw")
def withdraw(
    code: CodeArgument,
    reading: Annotated[str, typer.Argument(help="removal_force, residue_grade, hold_angle, …", show_default=False)],
    study: StudyOption,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Take back a reading that belongs to another coupon or was never made, with a reason."""
    from study.commands.opening import open_study
    from study.commands.read_correct import withdraw_reading

    with open_study(study) as opened:
        old = withdraw_reading(opened, code, reading, signature=sign(by, why))
    say(f"{old.code} {old.kind}: “{old.typed}” is taken back; it stays in the trail.")


@app.command("trail")
def trail(code: CodeArgument, study: StudyOption) -> None:
    """Show every reading of a coupon in order, superseded ones too."""
    from study.commands.opening import open_study
    from study.commands.read import coupon_trail

    with open_study(study) as opened:
        found = coupon_trail(opened, code)
    for reading, who in found:
        end = f", superseded by {who['superseded_by']} on {(who['superseded_at'] or '')[:10]}: {who['why']}"
        typed = reading.typed if reading.unit in reading.typed else f"{reading.typed} {reading.unit}"
        entered = f"entered by {who['entered_by']} on {who['entered_at'][:10]}"
        say(f"{reading.read_on}  {reading.kind:<15}  {typed:<18}  {entered}{end if who['superseded_by'] else ''}")
    if not found:
        say("Nothing has been read on this coupon.")


from study.cli import read_files  # noqa: E402, F401  its commands stand on this group too
