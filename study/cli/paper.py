"""Paper: labels, bench sheets, the pull list and the shelf map as PDF, each under the job it belongs to."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import OnOption, StudyOption, say, the_day
from study.errors import NotPossible

FileOption = Annotated[Path, typer.Argument(help="The PDF to write.", show_default=False)]
SetOption = Annotated[str, typer.Option("--set", help="One set; all of them if left out.")]


def labels(
    file: FileOption,
    study: StudyOption,
    set_key: SetOption = "",
    codes: Annotated[list[str] | None, typer.Option("--code", help="One coupon; may be repeated.")] = None,
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
        found = coupon_labels(opened, set_key=set_key, codes=tuple(codes or ()), blind=blind)
    write(file, label_sheet(found, grid=measures, start=start))
    say(f"Wrote {len(found)} labels to {file}. Print at 100 %, without fitting to the page.")
    say("Stick them on the back, away from the dot: a label's glue and ink can spoil what is measured.")


def sheet(
    file: FileOption,
    study: StudyOption,
    pull: Annotated[str, typer.Option(help="The pull, such as “3 months”.", show_default=False)],
    set_key: SetOption = "",
) -> None:
    """Print bench sheets of a pull: coupons in a drawn order, boxes for every reading, methods and cautions."""
    from study.commands.opening import open_study
    from study.commands.pull_sheets import bench_sheets
    from study.outputs.bench_sheet import bench_sheet

    with open_study(study) as opened:
        sheets = bench_sheets(opened, set_key=set_key, pull=pull)
    write(file, bench_sheet(sheets))
    say(f"Wrote the bench sheets of {len(sheets)} sets to {file}.")


def listed(file: FileOption, study: StudyOption, on: OnOption = None) -> None:
    """Print the pull list: what waits, in shelf order, and what to bring."""
    from study.commands import pull_sheets
    from study.commands.opening import open_study
    from study.outputs.bench_sheet import pull_list

    with open_study(study) as opened:
        found = pull_sheets.pull_list(opened, on=the_day(on))
    write(file, pull_list(found))
    say(f"Wrote {len(found.pulls)} pulls to {file}.")


def shelf_map(
    file: FileOption,
    study: StudyOption,
    across: Annotated[int, typer.Option(min=1, max=16, help="Places in a row of the map.")] = 8,
) -> None:
    """Print a map of the shelves: every place with the coupon that stands there."""
    from study.commands import pull_sheets
    from study.commands.opening import open_study
    from study.outputs import bench_sheet

    with open_study(study) as opened:
        found = pull_sheets.shelf_map(opened)
    write(file, bench_sheet.shelf_map(found, across=across))
    say(f"Wrote {len(found.shelves)} shelves to {file}.")


def write(file: Path, content: bytes) -> None:
    """Write a file, or say why not."""
    try:
        file.write_bytes(content)
    except OSError as fault:
        raise NotPossible(f"{file} cannot be written: {fault.strerror}.", "Choose another place.") from None
