"""Tables: calm ones, hairlines only, numbers to the right, the unit on its own line in the head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from dashboard.components.aria import heard_as


@dataclass(frozen=True)
class Column:
    """One column: its key in the rows, its head, its unit, and whether it holds numbers."""

    key: str
    head: str
    unit: str = ""
    number: bool = False
    tight: bool = False
    """Never broken over two lines."""
    spare: bool = False
    """Left out where the page is narrow."""
    quiet: bool = False
    """In quiet ink: what explains, beside what is said."""

    @property
    def look(self) -> str:
        """Its class in the style sheet."""
        looks = (("number", self.number), ("tight", self.tight), ("spare", self.spare), ("quiet", self.quiet))
        return " ".join(word for word, wanted in looks if wanted)


def table(columns: Sequence[Column], rows: Sequence[dict[str, Any]], *, caption: str) -> html.Div:
    """A plain table; it scrolls by itself where the page is too narrow."""
    return html.Div(
        html.Table(
            [
                html.Caption(caption, className="unseen"),
                html.Thead(html.Tr([_head(column) for column in columns])),
                html.Tbody([html.Tr([html.Td(row[c.key], className=c.look) for c in columns]) for row in rows]),
            ]
        ),
        className="scroll",
        tabIndex="0",
        role="region",
        **heard_as(caption),
    )


def _head(column: Column) -> html.Th:
    unit = html.Span(column.unit, className="unit") if column.unit else None
    return html.Th([column.head, unit], scope="col", className=column.look)
