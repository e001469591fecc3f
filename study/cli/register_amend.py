"""Register, amendments: a new version of a protocol for sets that are under way."""

from __future__ import annotations

from typing import Annotated

import typer

from study.cli.options import ByOption, OnOption, StudyOption, WhyOption, say, sign, the_day
from study.cli.register import app


@app.command("amend")
def amend(
    subject: Annotated[str, typer.Argument(help="Key of a pairing or a set.", show_default=False)],
    protocol: Annotated[str, typer.Argument(help="A TOML file, or the key of a known protocol.", show_default=False)],
    study: StudyOption,
    from_on: OnOption = None,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Judge sets by a new version of their protocol from now on, with a reason; what changed stays visible for good."""
    from study.commands.opening import open_study
    from study.commands.register_amend import amend_protocol

    with open_study(study) as opened:
        done = amend_protocol(opened, subject, protocol, from_on=the_day(from_on), signature=sign(by, why))
    say(f"{', '.join(done.sets)}: {done.before} → {done.after}, after {done.readings_seen} readings had been seen.")
    for line in done.changed:
        say(f"  judged differently: {line}")
    say("Decisions made before recompute by the version of their time. See: dwellbook decide show")
