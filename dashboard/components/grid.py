"""What every editable grid of the pages has in common: cells as text, faults marked in place, the look of the bench."""

from __future__ import annotations

from typing import Any

COLUMN: dict[str, Any] = {
    "sortable": False, "resizable": True, "wrapHeaderText": True, "autoHeaderHeight": True, "cellDataType": False,
    "suppressMovable": True,
}  # fmt: skip
"""Of every column, unless it says otherwise."""
WRONG_CELL = {"wrong-cell": "params.data.wrong && params.data.wrong[params.colDef.field]"}
"""Marks a cell whose row holds a fault under its column in ``wrong``."""
OPTIONS: dict[str, Any] = {
    "theme": {"function": "benchTheme(themeQuartz)"}, "stopEditingWhenCellsLoseFocus": True,
    "enterNavigatesVerticallyAfterEdit": True, "tooltipShowDelay": 200, "suppressContextMenu": True,
}  # fmt: skip
