"""Register, amendments: a new version of a protocol for sets that are under way."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from study.cli.options import ByOption, OnOption, StudyOption, WhyOption, say, sign, the_day
from study.cli.register import app


@app.command("amend")
def amend(
    subject: Annotated[
        str, typer.Argument(help="Key of a pairing, a set, or a protocol: all sets under it.", show_default=False)
    ],
    protocol: Annotated[str, typer.Argument(help="A TOML file, or the key of a known protocol.", show_default=False)],
    study: StudyOption,
    from_on: OnOption = None,
    preview: Annotated[bool, typer.Option("--preview", help="Only say what it would do; nothing is written.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask again after that was said.")] = False,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Judge sets by a new version of their protocol from now on, with a reason; what it does is said first."""
    from study.commands.opening import open_study
    from study.commands.register_amend import amend_protocol, amendment_moves, foresee_amendment

    on = the_day(from_on)
    with open_study(study) as opened:
        seen = foresee_amendment(opened, subject, protocol, from_on=on, today=the_day(None))
        for sentence in seen.sentences():
            say(sentence)
        if seen.changed and seen.readings_seen:
            for one in amendment_moves(opened, subject, protocol, from_on=on, signature=sign(by or "nobody yet", why)):
                say(one.words())
        if preview:
            say("Nothing was written; leave --preview out to amend it.")
            return
        if sys.stdin.isatty() and not yes and not typer.confirm("Amend it?"):
            raise typer.Exit(1)
        done = amend_protocol(opened, subject, protocol, from_on=on, signature=sign(by, why))
    say(f"Amended: {done.after} holds from {on}. Decisions made before recompute by the version of their time.")
    say("See: dwellbook decide show")
