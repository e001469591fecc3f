"""Options that many subcommands share: the study file, the name under an act, the day."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from study.errors import DwellbookError, Unanswered
from study.model.person import Signature


def day_of(text: str) -> date:
    """A day as typed at the command line."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"“{text}” is not a date; write year-month-day, such as 2026-03-31.") from None


StudyOption = Annotated[
    Path,
    typer.Option("--study", envvar="DWELLBOOK_STUDY", help="The study file.", show_default=False),
]
ByOption = Annotated[
    str, typer.Option("--by", envvar="DWELLBOOK_BY", help="Name under this act; asked for if left out.")
]
WhyOption = Annotated[str, typer.Option("--why", help="The reason, in one sentence.")]
OnOption = Annotated[
    date | None,
    typer.Option("--on", parser=day_of, metavar="DATE", help="The day, such as 2026-03-31; today if left out."),
]
YesOption = Annotated[bool, typer.Option("--yes", help="Do not ask again after the effect was said.")]
FileArgument = Annotated[Path, typer.Argument(help="A CSV file.", show_default=False)]


def cells_of(entry: list[str]) -> dict[str, str]:
    """Cells of one entry typed as column=value."""
    pairs = [part.partition("=") for part in entry]
    if not entry or not all(equals for _, equals, _ in pairs):
        raise typer.BadParameter("Give a file, or one entry as column=value, such as lot=A-2 adhesive=gel-a.")
    return {name.strip(): value for name, _, value in pairs}


def sign(by: str, why: str = "") -> Signature:
    """The signature of whoever sits at the command line, now."""
    if not by.strip() and sys.stdin.isatty():
        by = typer.prompt("Your name, for the change log")
    return Signature(by=by, at=datetime.now().astimezone(), why=why)


def the_day(on: date | None) -> date:
    """The day asked for, or today."""
    return on or date.today()


def counted(number: int, word: str) -> str:
    """A number and its noun: 1 row, 2 rows."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def ask_first(sentences: Iterable[str], yes: bool, question: str = "Record it?") -> None:
    """Say what follows; whoever sits at a terminal is asked before anything is written."""
    for sentence in sentences:
        say(sentence)
    if sys.stdin.isatty() and not yes and not typer.confirm(question):
        raise typer.Exit(1)


def say(line: str = "") -> None:
    """One line to the person."""
    typer.echo(line)


def refuse(fault: DwellbookError) -> None:
    """A refusal on standard error: what happened, then what to do; a question with the options that answer it."""
    if isinstance(fault, Unanswered):
        for question in fault.questions:
            typer.echo(f"? {question.what}", err=True)
            for words in question.answers:
                typer.echo(f'    --answer "{question.key}={words}"', err=True)
    else:
        typer.echo(fault.what, err=True)
    if fault.do:
        typer.echo(fault.do, err=True)
