"""Demo: an invented study, loaded from the users' own file formats by the ordinary commands."""

from __future__ import annotations

import tomllib
from collections.abc import Collection
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from study.cli.options import say
from study.cli.serve import PORT, serve_study
from study.errors import NotPossible

DEMO_FILE = Path("dwellbook-demo.sqlite")


def demo(
    file: Annotated[Path, typer.Option(help="Where the demo study is written.")] = DEMO_FILE,
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port on this machine.")] = PORT,
    once: Annotated[bool, typer.Option("--once", help="Print the durations and end.")] = False,
) -> None:
    """Write an invented demo study, print its maximum display durations, and serve it."""
    from study.cli.decide import print_durations
    from study.commands.decide import standing
    from study.commands.opening import open_study

    on = write_demo(file)
    with open_study(file) as study:
        found = standing(study, progress=lambda words: say(f"  estimating {words}"))
    print_durations(found)
    say(f"Demo study: {file} (every number in it is invented; its “today” is {on}).")
    if not once:
        serve_study(file, port=port, on=on)


def write_demo(file: Path, *, leave_out: Collection[str] = ()) -> date:
    """Write the demo study to ``file`` and give the day it takes for today. A demo that lies there is replaced.

    Parameters
    ----------
    leave_out : collection of str
        Kinds of acts not to play, such as "display".
    """
    from study.commands.opening import begin_study, open_study
    from study.resources import folder

    data = folder("demo_data")
    story = tomllib.loads((data / "story.toml").read_text("utf-8"))
    _clear(file, note=story["note"])
    begin_study(file, institution=story["institution"], signature=_sign(story["begun"]), note=story["note"])
    with open_study(file) as study:
        for act in story["acts"]:
            if act["do"] not in leave_out:
                _play(study, act, data)
    return date.fromisoformat(str(story["today"]))


def _clear(file: Path, *, note: str) -> None:
    from study.commands.opening import open_study

    if not file.exists():
        return
    with open_study(file) as study:
        if study.fact("note") != note:
            raise NotPossible(f"{file} is a study, not a demo; it was left alone.", "Name another place with --file.")
    file.unlink()


def _sign(act: dict[str, Any]) -> Any:
    from study.model.person import Signature

    return Signature(by=act["by"], at=datetime.fromisoformat(act["at"]), why=act.get("why", ""))


def _play(study: Any, act: dict[str, Any], data: Path) -> None:
    """One act of the story, by the same use case that the command line and the pages call."""
    from study.commands import (
        decide,
        display,
        keep_duties,
        pull,
        pull_interrupt,
        read_correct,
        read_import,
        register,
        register_instruments,
    )

    signature = _sign(act)
    day, typed = signature.at.date(), {name: text for name, text in act.items() if name not in ("do", "at", "by")}
    match act["do"]:
        case "register":
            register.register_file(study, act["kind"], data / act["file"], signature=signature)
        case "instrument":
            register_instruments.register_instrument(study, typed, signature=signature)
        case "calibration":
            register_instruments.record_calibration(study, typed, signature=signature)
        case "pull":
            pull.import_pulls(study, data / act["file"], signature=signature)
        case "interrupt":
            days = {name: date.fromisoformat(act[name]) for name in ("from_on", "to_on")}
            where, kind, note = act["environment"], act["kind"], act["note"]
            pull_interrupt.interrupt(study, where, kind, **days, note=note, signature=signature)
        case "read":
            answers = {"unusual": "as typed"}
            read_import.import_readings(study, data / act["file"], signature=signature, answers=answers)
        case "correct":
            read_correct.correct_reading(study, act["code"], act["reading"], act["value"], signature=signature)
        case "status":
            register.change_status(study, act["adhesive"], status=act["status"], on=day, signature=signature)
        case "duty":
            keep_duties.put_in_charge(study, act["duty"], act["person"], from_on=day, signature=signature)
        case "display":
            display.import_displays(study, data / act["file"], signature=signature)
        case "remove":
            found = {name: act[name] for name in ("residue", "pattern", "side", "force", "tool", "note")}
            display.record_removal(study, act["object"], on=day, harm=False, **found, signature=signature)
        case "decide":
            decide.issue_decision(study, act["pairing"], signature=signature, on=day)
        case unknown:
            raise NotPossible(f"The demo story has an act “{unknown}” that is not known.", "Mend demo_data/story.toml.")
