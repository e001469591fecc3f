"""Tables on the terminal, from rows that outputs tabulated."""

from __future__ import annotations

from collections.abc import Sequence

BETWEEN = 3
"""Room between two columns."""


def print_table(rows: Sequence[dict[str, str]], heads: dict[str, str], *, right: Sequence[str] = ()) -> None:
    """Rows under their heads; names in ``right`` are aligned right.

    Long cells wrap to the terminal's width, between words where there is room for the longest of each column.
    """
    import sys

    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    # A pipe gets a fixed, wide page, so that what is read there does not depend on a terminal.
    console = Console(width=None if sys.stdout.isatty() else 140, highlight=False)
    widths = fitting_widths(rows, heads, room=console.width - BETWEEN * len(heads))
    for name, head in heads.items():
        table.add_column(head, justify="right" if name in right else "left", overflow="fold", width=widths.get(name))
    for row in rows:
        table.add_row(*(Text(row[name]) for name in heads))  # as it is: [red] may be somebody's name for a lot
    console.print(table)


def fitting_widths(rows: Sequence[dict[str, str]], heads: dict[str, str], *, room: int) -> dict[str, int]:
    """Widths at which cells wrap between words only; empty where all fit on one line, or the words do not."""
    texts = {name: [head, *(row[name] for row in rows)] for name, head in heads.items()}
    whole = {name: max(len(text) for text in found) for name, found in texts.items()}
    widths = {name: max(len(word) for text in found for word in text.split() or [""]) for name, found in texts.items()}
    if sum(whole.values()) <= room or sum(widths.values()) > room:
        return {}
    for _ in range(room - sum(widths.values())):
        tightest = max(heads, key=lambda name: whole[name] / max(widths[name], 1))
        widths[tightest] += 1
    return widths
