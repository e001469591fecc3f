"""Label sheets: a code, its QR symbol and what the shelf needs to know, at true size on a grid of measures."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from study.errors import DwellbookError
from study.model.label_grid import LabelGrid
from study.model.paper import CouponLabel
from study.outputs.typeset import typeset_pages, typeset_pdf

_READABLE_MM = 24.0
"""Room that the readable code and the lines beside the symbol need."""

_LARGEST_MM = 20.0
"""A code need not be larger than this; the readable code beside it should be."""


def label_sheet(labels: Sequence[CouponLabel], *, grid: LabelGrid, start: int = 1) -> bytes:
    """A PDF of label sheets.

    Parameters
    ----------
    labels : sequence of CouponLabel
        In the order they are stuck.
    grid : LabelGrid
        The sheet's measures.
    start : int
        The first place to print on, 1 for a fresh sheet; sheets begun before are used up.

    Raises
    ------
    DwellbookError
        If there is nothing to print, the symbol does not fit a label, or ``start`` is not on the sheet.
    """
    return typeset_pdf("labels", _data(labels, grid, start))


def label_pictures(labels: Sequence[CouponLabel], *, grid: LabelGrid, start: int = 1) -> list[bytes]:
    """The same sheets as the printer's dots would show them, a PNG each."""
    return typeset_pages("labels", _data(labels, grid, start), dpi=grid.printer_dpi)


def _data(labels: Sequence[CouponLabel], grid: LabelGrid, start: int) -> dict[str, Any]:
    if not labels:
        raise DwellbookError("There is no coupon to label.", "Register coupons first, or name another set.")
    if not 1 <= start <= grid.a_sheet:
        raise DwellbookError(f"Place {start} is not on the sheet.", f"Begin at 1 to {grid.a_sheet}.")
    symbols = [_symbol(label.code) for label in labels]
    widest = max(modules for _, modules in symbols)
    side = grid.symbol_mm(widest)
    if side > grid.height_mm or side + _READABLE_MM > grid.width_mm:
        raise DwellbookError(
            f"A label of {grid.width_mm:g} × {grid.height_mm:g} mm is too small "
            f"for a code of {side:.1f} mm and its text.",
            f"Use labels of at least {side + _READABLE_MM:.0f} × {side:.0f} mm, or a printer with finer dots.",
        )
    dots = _dots(grid, widest)
    return {
        "grid": grid.model_dump(),
        "start": start - 1,
        "labels": [
            {
                "code": label.code,
                "lines": list(label.lines),
                "symbol": svg,
                "side_mm": grid.symbol_mm(modules, dots=dots),
            }
            for label, (svg, modules) in zip(labels, symbols, strict=True)
        ],
    }


def _dots(grid: LabelGrid, modules: int) -> int:
    """Printer dots a square: as many as the label has room for, since a larger code reads through a visor too."""
    dots = grid.module_dots
    room = min(grid.height_mm, grid.width_mm - _READABLE_MM, _LARGEST_MM)
    while grid.symbol_mm(modules, dots=dots + 1) <= room:
        dots += 1
    return dots


def _symbol(code: str) -> tuple[str, int]:
    """The QR symbol as SVG with its quiet zone, and its squares a side; a code holds nothing that can change."""
    import segno

    symbol = segno.make_qr(code.upper(), error="m")
    modules = int(symbol.symbol_size(scale=1, border=0)[0])
    text = io.BytesIO()
    symbol.save(text, kind="svg", border=4, xmldecl=False, svgns=True, omitsize=True, dark="#000", light="#fff")
    return text.getvalue().decode(), modules
