"""Analyse, bridges: a successor's pairing beside its predecessor's at equal dwell."""

from __future__ import annotations

from typing import Annotated

import typer

from study.cli.analyse import app
from study.cli.options import StudyOption, say


@app.command("bridge")
def bridge(
    predecessor: Annotated[str, typer.Argument(help="Key of a pairing, such as P03.", show_default=False)],
    successor: Annotated[str, typer.Argument(help="The other formulation on the same surface.", show_default=False)],
    study: StudyOption,
    factor: Annotated[float, typer.Option(help="Ratio of forces up to which both count as alike.")] = 1.5,
    confidence: Annotated[float, typer.Option(help="Of each one-sided test and of the limits of shares.")] = 0.95,
) -> None:
    """Compare a successor with its predecessor at the pulls both were read; it carries no duration by itself."""
    from study.commands.bridges import bridge
    from study.commands.opening import open_study

    with open_study(study) as opened:
        found = bridge(opened, predecessor, successor, factor=factor, confidence=confidence)
    for sentence in found.sentences():
        say(sentence)
