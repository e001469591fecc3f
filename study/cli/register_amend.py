"""Register, amendments: a new version of a protocol for sets that are under way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from study.cli.options import ByOption, OnOption, StudyOption, WhyOption, YesOption, ask_first, say, sign, the_day
from study.cli.register import app

if TYPE_CHECKING:
    from study.commands.moved import Moved


@app.command("amend")
def amend(
    subject: Annotated[
        str, typer.Argument(help="Key of a pairing, a set, or a protocol: all sets under it.", show_default=False)
    ],
    protocol: Annotated[str, typer.Argument(help="A TOML file, or the key of a known protocol.", show_default=False)],
    study: StudyOption,
    from_on: OnOption = None,
    preview: Annotated[bool, typer.Option("--preview", help="Only say what it would do; nothing is written.")] = False,
    yes: YesOption = False,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Judge sets by a new version of their protocol from now on, with a reason; what it does is said first."""
    from study.commands.opening import open_study
    from study.commands.register_amend import AMEND_ACT, amend_protocol, amendment_moves, foresee_amendment

    on, signature = the_day(from_on), sign("nobody yet" if preview else by, why)
    if not preview:
        signature.need_reason(AMEND_ACT)  # before the effect is worked out and asked about
    with open_study(study) as opened:
        seen = foresee_amendment(opened, subject, protocol, from_on=on, today=the_day(None))
        for sentence in seen.sentences():  # at once: durations take some seconds
            say(sentence)
        moved: list[Moved] = []
        if seen.changed and seen.readings_seen:
            moved = amendment_moves(opened, subject, protocol, from_on=on, signature=signature)
        ask_first((one.words() for one in moved), yes or preview, "Amend it?")
        if preview:
            say("Nothing was written; leave --preview out to amend it.")
            return
        done = amend_protocol(opened, subject, protocol, from_on=on, signature=signature)
    say(f"Amended: {done.after} holds from {on}. Decisions made before recompute by the version of their time.")
    say("See: dwellbook decide show")
