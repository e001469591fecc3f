"""Serve: the dashboard over one study file, on this machine alone."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import OnOption, say

PORT = 8050


def serve(
    file: Annotated[Path, typer.Argument(envvar="DWELLBOOK_STUDY", help="The study file.", show_default=False)],
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port on this machine.")] = PORT,
    host: Annotated[str, typer.Option(help="Address; only this machine's own until accounts exist.")] = "127.0.0.1",
    on: OnOption = None,
) -> None:
    """Serve the dashboard for a study file."""
    serve_study(file, port=port, host=host, on=on)


def serve_study(file: Path, *, port: int, host: str = "127.0.0.1", on: date | None = None) -> None:
    """Serve until stopped; ``on`` fixes the day the pages take for today."""
    from dashboard.app import create_app
    from dashboard.security import check_address
    from dashboard.security import serve as serve_app
    from study.commands.opening import open_study

    check_address(host, port)
    with open_study(file) as study:
        note = study.fact("note")
    app = create_app(file, today=lambda: on or date.today(), demo_note=note)
    say(f"Dashboard: http://{host}:{port}  (stop with Ctrl+C)")
    serve_app(app, port=port, host=host)
