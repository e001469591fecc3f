"""Analyse: one pairing criterion by criterion, and a table somebody already has."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from study.cli.options import StudyOption, say
from study.cli.tables import print_table

if TYPE_CHECKING:
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


TableArgument = Annotated[Path, typer.Argument(help="A CSV or .xlsx file.", show_default=False)]


def _column(help_text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(help=help_text, metavar="COL", show_default=False)
    return option


@app.command("table")
def table(
    file: TableArgument,
    dwell: Annotated[str, _column("Time of each look; with --acceptable or --value.")] = "",
    acceptable: Annotated[str, _column("yes or no, 1 or 0, true or false.")] = "",
    value: Annotated[str, _column("A reading; >50 or <0.05 where only a bound is known; with --limit.")] = "",
    limit: Annotated[str, typer.Option(help="'> 4': unacceptable above 4; '< 4': below; 4 itself is acceptable.")] = "",
    value_scale: Annotated[str, typer.Option(help="Scale of the values: log or as-read.")] = "log",
    after: Annotated[str, _column("Last look at which all was well, empty for none; with --by.")] = "",
    by: Annotated[str, _column("First look at which it was unacceptable, empty for never.")] = "",
    group: Annotated[str, _column("Rows of each text are analysed by themselves.")] = "",
    count: Annotated[str, _column("Coupons a row stands for.")] = "",
    harm: Annotated[str, _column("yes: harm, which stops its group.")] = "",
    permitted: Annotated[str, typer.Option(help="Permitted unacceptable share.")] = "0.10",
    confidence: Annotated[str, typer.Option(help="One-sided confidence.")] = "0.95",
    shape: Annotated[str, typer.Option(help="Declared range of the Weibull shape.")] = "1:12",
    day_share: Annotated[
        str, typer.Option(help="auto, or 0 to 0.6: share of the scatter that a pull shares; for pass and fail alone.")
    ] = "auto",
    seed: Annotated[str, typer.Option(help="Seed of the simulation.")] = "1",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON alone.")] = False,
) -> None:
    """Analyse a table you already have (CSV or .xlsx): one look a row, or an interval a row; no study file."""
    from study.commands.analyse import LookColumns, LookOptions, analyse_table

    columns = LookColumns(dwell, acceptable, value, limit, after, by, group, count, harm)
    asked = LookOptions(permitted, confidence, shape, day_share, seed, value_scale)
    rule, estimates = analyse_table(file, columns=columns, rule=asked, progress=_tell)
    _print_looks(estimates, rule, time_column=dwell or by, as_json=as_json)


def _tell(words: str) -> None:
    typer.echo(words, err=True)


def _print_looks(estimates: list[LookEstimate], rule: LookRule, *, time_column: str, as_json: bool) -> None:
    from study.outputs.looks_report import LOOK_HEADS, look_notes, look_sentence, tabulate_looks, write_looks

    if as_json:
        say(write_looks(estimates, rule=rule))
        return
    print_table(tabulate_looks(estimates), LOOK_HEADS, right=tuple(LOOK_HEADS)[1:])
    say(look_notes(time_column))
    for estimate in estimates:
        say(look_sentence(estimate))


from study.cli import analyse_bridge  # noqa: E402, F401  its commands stand on this group too
