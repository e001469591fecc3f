"""Keep: verified copies and the change log."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import StudyOption, say

app = typer.Typer(no_args_is_help=True)


@app.command("copy")
def copy(
    to: Annotated[Path, typer.Argument(help="Where the copy goes.", show_default=False)], study: StudyOption
) -> None:
    """Write a verified copy of the study file."""
    from study.commands.keep import keep_copy
    from study.commands.opening import open_study

    with open_study(study) as opened:
        counts = keep_copy(opened, to)
    kept = ", ".join(f"{counts[name]} {name}" for name in ("coupons", "pulls", "readings", "decisions", "changes"))
    say(f"Copied to {to} and verified: {kept}.")


@app.command("log")
def log(study: StudyOption, newest: Annotated[int, typer.Option(min=1, help="How many lines.")] = 20) -> None:
    """Show the newest lines of the change log."""
    from study.commands.keep import read_log
    from study.commands.opening import open_study

    with open_study(study) as opened:
        lines = read_log(opened, newest=newest)
    for line in lines:
        why = f"  because {line['why']}" if line["why"] else ""
        if line["act"] == "note":
            why = f": {json.loads(line['after'])['text']}"
        say(f"{line['number']:>5}  {line['at'][:16]}  {line['by']:<16}  {line['act']}: {line['subject']}{why}")
