"""Read traces: a gauge's files reduced and looked at; --enter keeps the forces, each with its trace."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from study.cli.options import ByOption, OnOption, StudyOption, say, sign, the_day
from study.cli.read import AnswerOption, answers_of


def trace(
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="The gauge's files.", show_default=False)],
    study: StudyOption,
    geometry: Annotated[
        str,
        typer.Option(
            help="straight pull-off; 180°; T; 90°, sliding stage; 90°, fixed stage. 180 and 90 will do.",
            show_default=False,
        ),
    ],
    speed: Annotated[float | None, typer.Option(help="Crosshead speed, mm/min.", show_default=False)] = None,
    width: Annotated[float | None, typer.Option(help="Actual mean width of the strip, mm.", show_default=False)] = None,
    coupon: Annotated[str, typer.Option(help="Coupon code or mark; else found in each file's name.")] = "",
    window: Annotated[str, typer.Option(help="Of a peel: 25–75 mm (usual), central 80 %, or lengths as 20-60.")] = "",
    instrument: Annotated[str, typer.Option(help="Key of the registered gauge; gives its capacity.")] = "",
    capacity: Annotated[float | None, typer.Option(help="End of the gauge's scale, N.", show_default=False)] = None,
    resolution: Annotated[float | None, typer.Option(help="Its smallest step, N.", show_default=False)] = None,
    observed: Annotated[list[str] | None, typer.Option(help="backing broke, strip tore, slip in the grip.")] = None,
    turn: Annotated[
        Literal["found", "as logged", "flipped"], typer.Option("--sign", help="Sign of tension.")
    ] = "found",
    unit: Annotated[str, typer.Option(help="Unit of force, where the file does not say it.")] = "",
    rate: Annotated[float, typer.Option(help="Samples per second, where the file has no times.")] = 0.0,
    decimal: Annotated[Literal["", ".", ","], typer.Option(help="Decimal sign, where the file cannot tell.")] = "",
    segment: Annotated[int, typer.Option(help="Take this stretch between restarts of the clock: 1, 2, …")] = 0,
    split_at: Annotated[
        float | None, typer.Option(metavar="S", help="Split at this second…", show_default=False)
    ] = None,
    part: Annotated[Literal["", "before", "after"], typer.Option(help="…and take the part before or after it.")] = "",
    join_after: Annotated[
        float | None, typer.Option(metavar="S", help="Join the files, with this pause in s.", show_default=False)
    ] = None,
    enter: Annotated[bool, typer.Option("--enter", help="Enter the forces; without it nothing is written.")] = False,
    on: OnOption = None,
    answer: AnswerOption = None,
    by: ByOption = "",
) -> None:
    """Reduce force traces: peak of a pull-off, mean of a peel, every flag; --enter keeps them with the trace."""
    from study.commands.opening import open_study
    from study.commands.read_trace import enter_traces, look_at_traces
    from study.commands.traces import GaugeFile, trace_asked

    asked = trace_asked(
        geometry=_GEOMETRY.get(geometry.strip().rstrip("°"), geometry.strip()), speed_mm_per_min=speed, width_mm=width,
        capacity_n=capacity, resolution_n=resolution, window=window, observed=tuple(observed or ()), sign=turn,
        force_unit=unit, rate_hz=rate, decimal=decimal, instrument=instrument, segment=segment, split_at_s=split_at,
        part=part, pause_s=join_after,
    )  # fmt: skip
    given = [GaugeFile.of(path) for path in files]
    with open_study(study) as opened:
        looked = look_at_traces(opened, given, asked, coupon=coupon)
        for one in looked:
            say(f"{one.code}  {one.reduced.name}: {one.typed or 'no force'}")
            for line in (*one.lines, *(f"Asked: {question}" for question in one.questions)):
                say(f"  {line}")
        if not enter:
            say("Nothing was written; --enter keeps the forces with their traces.")
            return
        readings = enter_traces(
            opened, given, asked, coupon=coupon, read_on=the_day(on), signature=sign(by), answers=answers_of(answer)
        )
    for reading in readings:
        say(f"{reading.code} removal force: {reading.typed}, with its trace.")


_GEOMETRY = {"180": "180°", "90": "90°, sliding stage", "pull-off": "straight pull-off"}
