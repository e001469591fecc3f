"""Label grid: how labels lie on a printed sheet, as measures, and how large a code's squares are printed."""

from __future__ import annotations

import math
import re
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from study.errors import DwellbookError
from study.model.units import plain

SMALLEST_MODULE_MM = 0.33
"""Floor for the square of a printed code that a phone's camera still reads [common-practice]."""
QUIET_MODULES = 4
"""Empty squares around a QR code [iso-18004]."""
MM_PER_INCH = 25.4

Millimetre = Annotated[float, Field(ge=0, le=1000)]


class LabelGrid(BaseModel):
    """Labels on a sheet, all measures in millimetre at true size.

    Parameters
    ----------
    columns, rows : int
        Labels across and down, 1 to 40.
    width_mm, height_mm : float
        Of one label, 10 to 210.
    left_mm, top_mm : float
        From the sheet's edge to the first label.
    across_mm, down_mm : float
        Gaps between labels.
    page_width_mm, page_height_mm : float
        The sheet; A4 is 210 × 297.
    printer_dpi : int
        Dots per inch of the printer, so that a code's square is a whole number of dots.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    columns: Annotated[int, Field(ge=1, le=40)]
    rows: Annotated[int, Field(ge=1, le=40)]
    width_mm: Annotated[float, Field(ge=10, le=420)]
    height_mm: Annotated[float, Field(ge=8, le=420)]
    left_mm: Millimetre
    top_mm: Millimetre
    across_mm: Millimetre = 0.0
    down_mm: Millimetre = 0.0
    page_width_mm: Annotated[float, Field(gt=20, le=1000)] = 210.0
    page_height_mm: Annotated[float, Field(gt=20, le=1000)] = 297.0
    printer_dpi: Annotated[int, Field(ge=150, le=2400)] = 300

    @model_validator(mode="after")
    def _fits_the_sheet(self) -> Self:
        wide = self.left_mm + self.columns * self.width_mm + (self.columns - 1) * self.across_mm
        high = self.top_mm + self.rows * self.height_mm + (self.rows - 1) * self.down_mm
        if wide > self.page_width_mm + 0.05:
            raise ValueError(f"{self.columns} labels reach to {wide:g} mm, the sheet is {self.page_width_mm:g} mm wide")
        if high > self.page_height_mm + 0.05:
            raise ValueError(f"{self.rows} labels reach to {high:g} mm, the sheet is {self.page_height_mm:g} mm high")
        return self

    @property
    def a_sheet(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    @property
    def dot_mm(self) -> float:
        """Side of one printer dot."""
        return MM_PER_INCH / self.printer_dpi

    @property
    def module_dots(self) -> int:
        """The fewest whole printer dots that make a square of at least 0.33 mm."""
        return math.ceil(SMALLEST_MODULE_MM / self.dot_mm - 1e-9)

    def symbol_mm(self, modules: int, *, dots: int = 0) -> float:
        """Side of a square code with its quiet zone.

        Parameters
        ----------
        modules : int
            Squares of the code itself; 21 for QR version 1.
        dots : int
            Printer dots a square; the fewest that a camera reads if left out.
        """
        return (modules + 2 * QUIET_MODULES) * (dots or self.module_dots) * self.dot_mm


A4_24 = LabelGrid(columns=3, rows=8, width_mm=63.5, height_mm=33.9, left_mm=7.2, top_mm=12.9, across_mm=2.5)
"""Twenty-four labels on an A4 sheet, a common cut."""

_GRID = re.compile(
    r"(?P<columns>\d+)\s*[x×]\s*(?P<rows>\d+)\s*(?:of|:|,|;)?\s*(?P<width>\d+(?:\.\d+)?)\s*[x×]\s*(?P<height>\d+(?:\.\d+)?)"
    r"\s*(?:mm)?(?:\s*[,;]?\s*margins?\s*(?P<left>\d+(?:\.\d+)?)\s*[x×]\s*(?P<top>\d+(?:\.\d+)?)\s*(?:mm)?)?"
    r"(?:\s*[,;]?\s*gaps?\s*(?P<across>\d+(?:\.\d+)?)\s*[x×]\s*(?P<down>\d+(?:\.\d+)?)\s*(?:mm)?)?"
    r"(?:\s*[,;]?\s*(?:page|sheet)\s*(?P<page_width>\d+(?:\.\d+)?)\s*[x×]\s*(?P<page_height>\d+(?:\.\d+)?)\s*(?:mm)?)?"
    r"(?:\s*[,;]?\s*(?P<dpi>\d+)\s*dpi)?"
)


def label_grid(text: str) -> LabelGrid:
    """A grid from its measures in words.

    Parameters
    ----------
    text : str
        "3 x 8 of 63.5 x 33.9 mm, margins 7.2 x 12.9, gaps 2.5 x 0, sheet 210 x 297, 300 dpi"; what comes after the
        label's size may be left out (margins then centre the labels on the sheet).

    Raises
    ------
    DwellbookError
        If it is no such text, or the labels do not fit the sheet.
    """
    match = _GRID.fullmatch(re.sub(r"(?<=\d),(?=\d)", ".", plain(text)))
    example = "Write it as “3 x 8 of 63.5 x 33.9 mm, margins 7.2 x 12.9, gaps 2.5 x 0, sheet 210 x 297, 300 dpi”."
    if match is None:
        raise DwellbookError(f"“{text}” is not a label grid.", example)
    part = {name: float(value) for name, value in match.groupdict().items() if value is not None}
    columns, rows, width, height = (part[name] for name in ("columns", "rows", "width", "height"))
    page_width, page_height = part.get("page_width", 210.0), part.get("page_height", 297.0)
    across, down = part.get("across", 0.0), part.get("down", 0.0)
    try:
        return LabelGrid(
            columns=int(columns), rows=int(rows), width_mm=width, height_mm=height, across_mm=across, down_mm=down,
            left_mm=part.get("left", max(0.0, (page_width - columns * width - (columns - 1) * across) / 2)),
            top_mm=part.get("top", max(0.0, (page_height - rows * height - (rows - 1) * down) / 2)),
            page_width_mm=page_width, page_height_mm=page_height, printer_dpi=int(part.get("dpi", 300)),
        )  # fmt: skip
    except ValidationError as fault:
        said = "; ".join(_said(error) for error in fault.errors())
        raise DwellbookError(f"“{text}” cannot be printed: {said}.", example) from None


def _said(error: ErrorDetails) -> str:
    words = error["msg"].removeprefix("Value error, ").removeprefix("Input ")
    name = str(error["loc"][0]).replace("_mm", " in mm").replace("_", " ") if error["loc"] else ""
    return f"{name} {words}".strip()
