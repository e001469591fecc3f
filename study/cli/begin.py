"""Begin: a new study file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import ByOption, say, sign


def begin(
    file: Annotated[Path, typer.Argument(help="The file to make, such as glass-study.sqlite.", show_default=False)],
    institution: Annotated[str, typer.Option(help="Whose study it is.")] = "",
    by: ByOption = "",
) -> None:
    """Begin a new, empty study file."""
    from study.commands.opening import begin_study

    begin_study(file, institution=institution, signature=sign(by))
    say(f"Began {file}. Next: dwellbook register adhesives FILE --study {file}")
