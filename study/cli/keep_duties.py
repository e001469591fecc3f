"""Keep, duties: who is in charge of what, and a hand-over when a colleague leaves."""

from __future__ import annotations

from typing import Annotated

import typer

from study.cli.keep import app
from study.cli.options import ByOption, OnOption, StudyOption, WhyOption, say, sign, the_day
from study.model.duty import DUTIES


@app.command("duty")
def duty(
    study: StudyOption,
    what: Annotated[str, typer.Argument(help=f"{' | '.join(DUTIES)} | “pulls of SET”; none: all are listed.")] = "",
    person: Annotated[str, typer.Argument(help="Who is in charge of it.")] = "",
    on: OnOption = None,
    note: Annotated[str, typer.Option(help="What is worth knowing.")] = "",
    by: ByOption = "",
) -> None:
    """Put a person in charge of a duty, or list who is in charge of what."""
    from study.commands.keep_duties import duties, put_in_charge
    from study.commands.opening import open_study

    with open_study(study) as opened:
        if what or person:
            one = put_in_charge(opened, what, person, from_on=the_day(on), note=note, signature=sign(by))
            say(f"{one.person} is in charge of {one.duty} from {one.from_on}.")
            return
        found = duties(opened)
    for one in found:
        say(f"{one.duty:<24}  {one.person}, since {one.from_on}{f'  ({one.note})' if one.note else ''}")
    if not found:
        say("Nobody is named for any duty. Name one with: dwellbook keep duty pulls NAME")


@app.command("handover")
def handover(
    from_person: Annotated[str, typer.Argument(help="Who leaves.", show_default=False)],
    to_person: Annotated[str, typer.Argument(help="Who takes over.", show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    note: Annotated[str, typer.Option(help="What the successor must know.")] = "",
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Hand every duty of one person over to another in one change, and list what is open."""
    from study.commands.keep_duties import hand_over
    from study.commands.opening import open_study

    with open_study(study) as opened:
        done = hand_over(opened, from_person, to_person, on=the_day(on), note=note, signature=sign(by, why))
    say(f"{done.duties[0].person} is in charge of {', '.join(one.duty for one in done.duties)}.")
    parts = done.matters.parts(done.duties[0].person)
    say("Open in the study, to be read by whoever takes over:" if parts else "Nothing is open.")
    for head, sentences in parts:
        say(f"  {head}:")
        for sentence in sentences:
            say(f"    {sentence}")
