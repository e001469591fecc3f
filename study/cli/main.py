"""The command ``dwellbook``: one group of subcommands for each job word."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

import study
from study.cli import (
    analyse,
    begin,
    calendar,
    decide,
    demo,
    display,
    keep,
    paper,
    plan,
    pull,
    read,
    read_climate,
    read_trace,
    register,
    serve,
)
from study.cli.options import refuse
from study.errors import DwellbookError

app = typer.Typer(
    name="dwellbook",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="How long may a removable display adhesive stay under an object? Plan, pull, read, analyse, decide.",
)
app.command("demo")(demo.demo)
app.command("begin")(begin.begin)
app.command("serve")(serve.serve)
app.command("calendar")(calendar.calendar)
register.app.command("labels")(paper.labels)
register.app.command("map")(paper.shelf_map)
pull.app.command("sheet")(paper.sheet)
pull.app.command("list")(paper.listed)
read.app.command("trace")(read_trace.trace)
read.app.command("climate")(read_climate.climate)
read.app.command("climates")(read_climate.climates)
read.app.command("climate-of")(read_climate.climate_of)
read.app.command("climate-off")(read_climate.climate_off)
app.add_typer(register.app, name="register", help="Adhesives, lots, substrates, environments, sets and coupons.")
app.add_typer(plan.app, name="plan", help="How large a study would be, what it could support, and making it.")
app.add_typer(pull.app, name="pull", help="What is due, and what left its placement and how.")
app.add_typer(read.app, name="read", help="Readings and their corrections.")
app.add_typer(analyse.app, name="analyse", help="What the readings say, criterion by criterion.")
app.add_typer(decide.app, name="decide", help="Maximum display durations: shown, issued, checked.")
app.add_typer(display.app, name="display", help="Objects on show, and when each must come off.")
app.add_typer(keep.app, name="keep", help="Verified copies and the change log.")


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"dwellbook {study.__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Dwellbook."""


def run() -> None:
    """Run the command; a refusal ends with status 2, anything else is a bug and shows."""
    try:
        app()
    except DwellbookError as fault:
        refuse(fault)
        sys.exit(2)
