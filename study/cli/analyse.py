"""Analyse: what the readings of one pairing say, criterion by criterion."""

from __future__ import annotations

from typing import Annotated

import typer

from study.cli.options import StudyOption, say
from study.cli.tables import print_table

app = typer.Typer(no_args_is_help=True)


@app.command("show")
def show(
    pairing: Annotated[str, typer.Argument(help="Key of the pairing, such as P01.", show_default=False)],
    study: StudyOption,
) -> None:
    """Show each criterion of a pairing: statement, bound, and every pull with its exact limits."""
    from study.commands.analyse import analyse_one
    from study.commands.opening import open_study
    from study.outputs.tables import PULL_HEADS, tabulate_pulls

    with open_study(study) as opened:
        found = analyse_one(opened, pairing)
    say(f"{found.evidence.key}  {found.evidence.pairing.title}\n{found.evidence.pairing.detail}")
    for estimate in found.estimate.estimates:
        say(f"\n{estimate.title}: {estimate.statement}")
        print_table(tabulate_pulls(estimate), PULL_HEADS, right=tuple(PULL_HEADS)[1:])
