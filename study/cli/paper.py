"""Paper: labels, bench sheets, the pull list and the shelf map as PDF, each under the job it belongs to."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import OnOption, StudyOption, counted, say, the_day
from study.errors import NotPossible
from study.model.pull import LOOK_AHEAD_DAYS

FileOption = Annotated[Path, typer.Argument(help="The PDF to write.", show_default=False)]
PlanOption = Annotated[str, typer.Option("--plan", help="A saved plan's coupons alone, also before they are placed.")]
SetOption = Annotated[str, typer.Option("--set", help="One set; all of them if left out.")]


def labels(
    file: FileOption,
    study: StudyOption,
    set_key: SetOption = "",
    codes: Annotated[list[str] | None, typer.Option("--code", help="One coupon; may be repeated.")] = None,
    plan: PlanOption = "",
    grid: Annotated[str, typer.Option(help="Measures of the label sheet, as in the default.")] = (
        "3 x 8 of 63.5 x 33.9 mm, margins 7.2 x 12.9, gaps 2.5 x 0, sheet 210 x 297, 300 dpi"
    ),
    start: Annotated[int, typer.Option(min=1, help="First place on the sheet, for a sheet begun before.")] = 1,
    blind: Annotated[bool, typer.Option("--blind", help="Leave adhesive and lot out, for blind grading.")] = False,
) -> None:
    """Print labels at true size: readable code, QR symbol, placed day and next pull."""
    from study.commands.opening import open_study
    from study.commands.register_labels import coupon_labels
    from study.model.label_grid import label_grid
    from study.outputs.label_sheet import label_sheet

    measures = label_grid(grid)
    with open_study(study) as opened:
        found = coupon_labels(opened, set_key=set_key, codes=tuple(codes or ()), plan=plan, blind=blind)
    write(file, label_sheet(found, grid=measures, start=start))
    say(f"Wrote {counted(len(found), 'label')} to {file}. Print at 100\u202f%, without fitting to the page.")
    say("Stick them on the back, away from the dot: a label's glue and ink can spoil what is measured.")


def sheet(
    file: FileOption,
    study: StudyOption,
    pull: Annotated[str, typer.Option(help="The pull, such as “3 months”, or “time zero”.", show_default=False)],
    set_key: SetOption = "",
    plan: Annotated[str, typer.Option("--plan", help="Of a plan’s sets alone.")] = "",
) -> None:
    """Print bench sheets of a pull: coupons in a drawn order, boxes for every reading, methods and cautions."""
    from study.commands.opening import open_study
    from study.commands.pull_sheets import bench_sheets
    from study.outputs.bench_sheet import bench_sheet

    with open_study(study) as opened:
        sheets = bench_sheets(opened, set_key=set_key, pull=pull, plan=plan)
    write(file, bench_sheet(sheets))
    say(f"Wrote the bench sheets of {counted(len(sheets), 'set')} to {file}.")


def listed(
    file: FileOption,
    study: StudyOption,
    on: OnOption = None,
    ahead: Annotated[int, typer.Option(min=0, help="Days ahead within which later pulls are named.")] = LOOK_AHEAD_DAYS,
) -> None:
    """Print the pull list of the week: what is taken off along the shelves, what to bring, and what comes later."""
    from study.commands import pull_sheets
    from study.commands.opening import open_study
    from study.outputs.bench_sheet import pull_list

    with open_study(study) as opened:
        found = pull_sheets.pull_list(opened, on=the_day(on), ahead_days=ahead)
    write(file, pull_list(found))
    coupons = sum(pull.coupons for pull in found.pulls)
    say(
        f"Wrote {counted(len(found.pulls), 'pull')} of the week, {counted(coupons, 'coupon')}, to {file}; "
        f"{len(found.later)} later."
    )


def shelf_map(
    file: FileOption,
    study: StudyOption,
    plan: PlanOption = "",
    across: Annotated[
        int, typer.Option(min=0, max=16, help="Places in a row; 0: as the plan says of its shelf, else 8.")
    ] = 0,
) -> None:
    """Print a map of the shelves: every place with the coupon that stands there."""
    from study.commands import pull_sheets
    from study.commands.opening import open_study
    from study.outputs import bench_sheet

    with open_study(study) as opened:
        found = pull_sheets.shelf_map(opened, plan=plan, across=across)
    write(file, bench_sheet.shelf_map(found))
    say(f"Wrote {'1 shelf' if len(found.shelves) == 1 else f'{len(found.shelves)} shelves'} to {file}.")


def write(file: Path, content: bytes) -> None:
    """Write a file, or say why not."""
    try:
        file.write_bytes(content)
    except OSError as fault:
        raise NotPossible(f"{file} cannot be written: {fault.strerror}.", "Choose another place.") from None
