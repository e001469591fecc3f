"""Calendar: pulls and remove-by dates as a file that a calendar program takes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import StudyOption, say, the_day
from study.errors import NotPossible


def calendar(
    file: Annotated[Path, typer.Argument(help="The file to write, such as pulls.ics.", show_default=False)],
    study: StudyOption,
) -> None:
    """Write pulls and remove-by dates as an iCalendar file; no place of any object stands in it."""
    from study.commands.opening import open_study
    from study.commands.today_calendar import calendar_events, calendar_name
    from study.outputs.calendar_feed import calendar_text

    with open_study(study) as opened:
        events = calendar_events(opened, on=the_day(None))
        text = calendar_text(events, name=calendar_name(opened))
    try:
        file.write_bytes(text)
    except OSError as fault:
        raise NotPossible(f"{file} cannot be written: {fault.strerror}.", "Choose another place.") from None
    waiting = sum(event.state == "open" for event in events)
    say(f"Wrote {len(events)} events to {file}, {waiting} of them still ahead or waiting.")
    say("Write it again after changes, or follow http://127.0.0.1:8050/calendar.ics while the dashboard is served.")
