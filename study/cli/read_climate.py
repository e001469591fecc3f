"""Read climate: logger files of temperature, humidity and light, previewed, kept, superseded; and what sets lived."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from study.cli.options import ByOption, OnOption, StudyOption, WhyOption, say, sign, the_day
from study.cli.tables import print_table

if TYPE_CHECKING:
    from study.commands.read_climate import ClimatePreview

BandOption = Annotated[str, typer.Option(metavar="BAND", show_default=False, help="Band to count hours outside of.")]


def climate(
    file: Annotated[Path, typer.Argument(help="The logger's CSV, text or .xlsx file.", show_default=False)],
    study: StudyOption,
    environment: Annotated[str, typer.Option(help="Key of the environment it stood in.", show_default=False)],
    zone: Annotated[str, typer.Option(help="Zone of its clock: Europe/Vienna, +01:00 or UTC.")] = "",
    order: Annotated[
        Literal["", "day-first", "month-first"], typer.Option(help="Order in dates such as 03/04/2025.")
    ] = "",
    decimal: Annotated[Literal["", ".", ","], typer.Option(help="Decimal sign, where the file cannot tell.")] = "",
    instrument: Annotated[str, typer.Option(help="Key of the registered logger.")] = "",
    temperature: BandOption = "",
    humidity: BandOption = "",
    light: BandOption = "",
    preview: Annotated[bool, typer.Option("--preview", help="Only show what it says; nothing is written.")] = False,
    supersedes: Annotated[int, typer.Option(metavar="NUMBER", help="Record that this one replaces.")] = 0,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Keep a climate or light logger's file with its gaps and doubts; --preview shows it first."""
    from study.commands.opening import open_study
    from study.commands.read_climate import LoggerFile, preview_climate, record_climate

    day_first = {"": None, "day-first": True, "month-first": False}[order]
    given = LoggerFile.of(file, zone=zone, day_first=day_first, decimal=decimal, instrument=instrument)
    bands = {"temperature": temperature, "humidity": humidity, "light": light}
    with open_study(study) as opened:
        if preview:
            found = preview_climate(opened, given, environment=environment, bands=bands)
        else:
            found = record_climate(
                opened, given, environment=environment, signature=sign(by, why), supersedes=supersedes, bands=bands
            )
    _print_preview(found)
    if preview:
        say(f"{file.name} {found.same}." if found.same else "Nothing was written; leave --preview out to keep it.")
    else:
        say(f"Kept as climate record {found.filed.number} of {found.filed.environment}.")


def climates(study: StudyOption) -> None:
    """List climate records, superseded ones too, each with its number."""
    from study.commands.opening import open_study
    from study.commands.read_climate import list_climates
    from study.outputs.climate_report import RECORD_HEADS, tabulate_records

    with open_study(study) as opened:
        found = list_climates(opened)
    if not found:
        say("No climate record is on file. Keep one with: dwellbook read climate FILE --environment KEY")
        return
    print_table(tabulate_records(found), RECORD_HEADS, right=("number",))
    for one in found:
        for doubt in one.doubts if one.superseded_by is None else ():
            say(f"record {one.number}: {doubt}")


def climate_of(
    study: StudyOption,
    set_key: Annotated[str, typer.Option("--set", help="One set; all of them if left out.")] = "",
    on: OnOption = None,
    temperature: BandOption = "",
    humidity: BandOption = "",
    light: BandOption = "",
) -> None:
    """Show what each coupon set lived through to each pull: climate, light dose, hours outside the band, coverage."""
    from study.commands.opening import open_study
    from study.commands.read_climate import climate_of_sets
    from study.outputs.climate_report import HEAT_CAUTION, SET_HEADS, not_covered, tabulate_stretches

    bands = {"temperature": temperature, "humidity": humidity, "light": light}
    with open_study(study) as opened:
        found = climate_of_sets(opened, today=the_day(on), set_key=set_key, bands=bands)
    if not found:
        say("No coupon set has dwelt a day yet.")
        return
    print_table(tabulate_stretches(found), SET_HEADS, right=("days", "kinetic"))
    for line in dict.fromkeys(f"{one.environment}: {one.bands.words()}" for one in found):
        say(line)
    for line in not_covered(found):
        say(line)
    say(HEAT_CAUTION)


def climate_off(
    number: Annotated[int, typer.Argument(help="Its number, as listed by read climates.", show_default=False)],
    study: StudyOption,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Take a climate record back, with a reason; its file stays in the study and in the trail."""
    from study.commands.opening import open_study
    from study.commands.read_climate import withdraw_climate

    with open_study(study) as opened:
        old = withdraw_climate(opened, number, signature=sign(by, why))
    say(f"Climate record {number} ({old.name}) of {old.environment} is taken back; it stays in the trail.")


def _print_preview(found: ClimatePreview) -> None:
    from study.outputs.climate_report import measure_lines, preview_lines

    filed, summary = found.filed, found.summary
    say(f"{filed.name}: {filed.from_at.replace('T', ' ')} to {filed.to_at.replace('T', ' ')} UTC, clock {filed.zone}")
    for line in (
        *measure_lines(summary.measures),
        *preview_lines(summary.kinetic, summary.light, summary.ultraviolet_uw_per_lm),
    ):
        say(f"  {line}")
    say(f"  {found.bands.words()}")
    say(f"  Understood: {'; '.join(filed.notes)}")
    for doubt in filed.doubts:
        say(f"  In doubt: {doubt}")
    for line in found.overlaps:
        say(f"  {line}")
