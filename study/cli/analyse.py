"""Analyse: one pairing criterion by criterion, and a table somebody already has."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from study.cli.options import FileArgument, StudyOption, say
from study.cli.tables import print_table

if TYPE_CHECKING:
    from pathlib import Path

    from study.model.dose import Against
    from study.model.looks import LookEstimate, LookRule

app = typer.Typer(no_args_is_help=True)


@app.command("show")
def show(
    pairing: Annotated[str, typer.Argument(help="Key of the pairing, such as P01.", show_default=False)],
    study: StudyOption,
    against: Annotated[
        Literal["days", "dose", "heat"], typer.Option(help="days; or logged light dose or heat, as a picture only.")
    ] = "days",
) -> None:
    """Show each criterion of a pairing: statement, bound, and every pull with its exact limits."""
    from study.commands.analyse import across_environments, analyse_one
    from study.commands.opening import open_study
    from study.commands.shelf import remarks
    from study.outputs.pictured import difference_words, pictured_words
    from study.outputs.tables import PULL_HEADS, tabulate_pulls

    if against != "days":
        show_against(study, pairing, against)
        return
    with open_study(study) as opened:
        found = analyse_one(opened, pairing)
        elsewhere = across_environments(opened, found)
        told = remarks(opened, found.evidence.pairing.key)
    say(f"{found.evidence.key}  {found.evidence.pairing.title}\n{found.evidence.pairing.detail}")
    for estimate in found.estimate.estimates:
        say(f"\n{estimate.title}: {estimate.statement}")
        print_table(tabulate_pulls(estimate), PULL_HEADS, right=tuple(PULL_HEADS)[1:])
        for words in pictured_words(estimate):
            say(words)
        if estimate.criterion in elsewhere:
            say(difference_words(elsewhere[estimate.criterion], of="environments"))
    for remark in told:
        say(f"On record: {remark}")


def show_against(study: Path, pairing: str, against: Against) -> None:
    """The readings of a pairing against logged light dose or heat; a picture that never decides."""
    from study.commands.analyse import analyse_one
    from study.commands.analyse_dose import dose_pictures
    from study.commands.opening import open_study
    from study.model.dose import AGAINST
    from study.outputs.figure_dose import DOSE_HEADS, dose_caption, tabulate_dose

    with open_study(study) as opened:
        found = analyse_one(opened, pairing)
        pictures = dose_pictures(opened, found, against=against)
    name, unit = AGAINST[against]
    say(f"{found.evidence.key}  {found.evidence.pairing.title}\n{found.evidence.pairing.detail}")
    if not pictures:
        say("No criterion of this pairing has readings on a scale.")
    for picture in pictures.values():
        say(f"\n{picture.title} [{picture.unit}] against {name}:")
        print_table(tabulate_dose(picture), {**DOSE_HEADS, "dose": f"{name} [{unit}]"}, right=tuple(DOSE_HEADS)[1:])
        say(dose_caption(picture))


Column = Annotated[str, typer.Option(metavar="COL", show_default=False)]


@app.command("table")
def table(
    file: FileArgument,
    dwell: Column = "",
    acceptable: Column = "",
    value: Column = "",
    limit: Annotated[str, typer.Option(help="'> 4': unacceptable above 4; '< 4': below.")] = "",
    value_scale: Annotated[str, typer.Option(help="log or as-read")] = "log",
    after: Column = "",
    by: Column = "",
    group: Column = "",
    count: Column = "",
    harm: Column = "",
    permitted: Annotated[float, typer.Option(help="Permitted unacceptable share.")] = 0.10,
    confidence: Annotated[float, typer.Option(help="One-sided confidence.")] = 0.95,
    shape: Annotated[str, typer.Option(help="Declared range of the Weibull shape.")] = "1:12",
    day_share: Annotated[
        str, typer.Option(help="auto, or 0 to 0.6: share of the scatter that a pull shares.")
    ] = "auto",
    seed: Annotated[int, typer.Option(help="Seed of the simulation.")] = 1,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON alone.")] = False,
) -> None:
    """Analyse a table you already have (CSV or .xlsx): one look a row, or an interval a row; no study file."""
    from study.commands.analyse import LookColumns, analyse_table

    columns = LookColumns(dwell, acceptable, value, limit, after, by, group, count, harm)
    rule = _rule(permitted, confidence, shape, day_share, seed, value_scale)
    filled, estimates = analyse_table(file, columns=columns, rule=rule, progress=_tell)
    _print_looks(estimates, filled, as_json=as_json)


def _tell(words: str) -> None:
    typer.echo(words, err=True)


def _rule(permitted: float, confidence: float, shape: str, day_share: str, seed: int, value_scale: str) -> LookRule:
    from study.model.looks import LookRule

    try:
        low, high = (float(part) for part in shape.split(":"))
        share = None if day_share == "auto" else float(day_share)
    except ValueError:
        raise typer.BadParameter(
            "Write --shape as two numbers, such as 1:12, and --day-share as auto or a number."
        ) from None
    if value_scale not in ("log", "as-read"):
        raise typer.BadParameter("Write --value-scale as log or as-read.")
    scale = value_scale.replace("-", " ")
    return LookRule(permitted, confidence, low, high, share, seed, value_scale=scale)


def _print_looks(estimates: list[LookEstimate], rule: LookRule, *, as_json: bool) -> None:
    from study.outputs.looks_report import LOOK_HEADS, look_sentence, tabulate_looks, write_looks

    if as_json:
        say(write_looks(estimates, rule=rule))
        return
    print_table(tabulate_looks(estimates), LOOK_HEADS, right=tuple(LOOK_HEADS)[1:])
    for estimate in estimates:
        say(look_sentence(estimate))


from study.cli import analyse_bridge  # noqa: E402, F401  its commands stand on this group too
