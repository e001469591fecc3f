"""Register instruments: gauges and loggers with their calibration dates, and where each stands on a day."""

from __future__ import annotations

from typing import Annotated

import typer

from study.cli.options import ByOption, OnOption, StudyOption, WhyOption, cells_of, say, sign, the_day
from study.cli.register import app

CellsArgument = Annotated[list[str], typer.Argument(metavar="COLUMN=VALUE…", show_default=False)]


@app.command("instrument")
def instrument(what: CellsArgument, study: StudyOption, by: ByOption = "") -> None:
    """Register an instrument as column=value. Columns: instrument, name, measures, capacity."""
    from study.commands.opening import open_study
    from study.commands.register_instruments import register_instrument

    with open_study(study) as opened:
        new = register_instrument(opened, cells_of(what), signature=sign(by))
    say(f"Registered {new.key}: {new.name}, measures {new.measures}{f', up to {new.capacity}' if new.capacity else ''}")
    say(f"Next: dwellbook register calibration instrument={new.key} calibrated_on=… valid_until=… certificate=…")


@app.command("calibration")
def calibration(
    study: StudyOption,
    what: Annotated[list[str] | None, typer.Argument(metavar="COLUMN=VALUE…", show_default=False)] = None,
    supersede: Annotated[
        int | None, typer.Option(help="Number of a wrong calibration; with no new values it is only taken back.")
    ] = None,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Record a calibration as column=value. Columns: instrument, calibrated_on, valid_until, certificate."""
    from study.commands.opening import open_study
    from study.commands.register_instruments import record_calibration, supersede_calibration

    if supersede is None:
        with open_study(study) as opened:
            new = record_calibration(opened, cells_of(what or []), signature=sign(by, why))
        say(f"Calibration {new.number}: {new.instrument} is covered from {new.calibrated_on} to {new.valid_until}.")
        return
    with open_study(study) as opened:
        done = supersede_calibration(opened, supersede, cells_of(what) if what else {}, signature=sign(by, why))
    if done.new is None:
        say(f"Calibration {done.old.number} of {done.old.instrument} is taken back; it stays in the trail.")
    else:
        covered = f"covered from {done.new.calibrated_on} to {done.new.valid_until}"
        say(f"Calibration {done.old.number} is superseded by {done.new.number}: {done.old.instrument} is {covered}.")
    if done.readings:
        say(
            f"Caution: {done.readings} readings with {done.old.instrument} fall between {done.old.calibrated_on} and "
            f"{done.old.valid_until}; their flags stay as they were entered. Look at them with: dwellbook read history"
        )


@app.command("instruments")
def instruments(
    study: StudyOption,
    on: OnOption = None,
    trail: Annotated[bool, typer.Option("--trail", help="Superseded calibrations too.")] = False,
) -> None:
    """List instruments and where each stands on a day: in calibration, due within 30 days, or past."""
    from study.commands.opening import open_study
    from study.commands.register_instruments import list_instruments

    day = the_day(on)
    with open_study(study) as opened:
        stands = list_instruments(opened, on=day)
    for stand in stands:
        one = stand.instrument
        up_to = f", up to {one.capacity}" if one.capacity else ""
        say(f"{one.key}  {one.name} ({one.measures}{up_to})  {stand.state.words()}")
        for made, who in stand.trail:
            if who["superseded_by"] and not trail:
                continue
            certificate = f", certificate {made.certificate}" if made.certificate else ""
            end = f"; superseded by {who['superseded_by']} on {(who['superseded_at'] or '')[:10]}: {who['why']}"
            days = f"{made.calibrated_on} to {made.valid_until}"
            say(f"    {made.number:>3}  {days}{certificate}{end if who['superseded_by'] else ''}")
    if not stands:
        say("No instrument is registered. Register one with: dwellbook register instrument instrument=gauge-1 …")
