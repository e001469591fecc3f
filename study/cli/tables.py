"""Tables on the terminal, from rows that outputs tabulated."""

from __future__ import annotations

from collections.abc import Sequence


def print_table(rows: Sequence[dict[str, str]], heads: dict[str, str], *, right: Sequence[str] = ()) -> None:
    """Rows under their heads; names in ``right`` are aligned right. Long cells wrap to the terminal's width."""
    import sys

    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for name, head in heads.items():
        table.add_column(head, justify="right" if name in right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(row[name] for name in heads))
    # A pipe gets a fixed, wide page, so that what is read there does not depend on a terminal.
    Console(width=None if sys.stdout.isatty() else 140, highlight=False).print(table)
