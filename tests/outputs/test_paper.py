"""Paper: measures that fit or are refused, codes printed and read back by a decoder, the same bytes each time."""

from __future__ import annotations

import io

import numpy as np
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from study.errors import DwellbookError
from study.model.coupon import coupon_code
from study.model.label_grid import A4_24, LabelGrid, label_grid
from study.model.paper import (
    BenchSheet,
    CouponLabel,
    ListedPull,
    MappedShelf,
    OnTheWay,
    PullList,
    SheetMethod,
    SheetTest,
    ShelfMap,
)
from study.outputs.bench_sheet import bench_sheet, pull_list, shelf_map
from study.outputs.label_sheet import label_pictures, label_sheet

LINES = ("gel-a · lot A-1 · glazed tile", "placed 2025-01-15", "3 months: 2025-04-15", "An invented museum")


def labels(count: int) -> list[CouponLabel]:
    return [CouponLabel(coupon_code(number), LINES) for number in range(count)]


def decoded(page: bytes) -> list[str]:
    """Codes that a decoder reads from a page as the printer's dots would show it."""
    return [found.text for found in zxingcpp.read_barcodes(Image.open(io.BytesIO(page)))]


@pytest.mark.parametrize(("dpi", "dots", "module_mm"), [(203, 3, 0.375), (300, 4, 0.339), (600, 8, 0.339)])
def test_a_square_is_a_whole_number_of_printer_dots(dpi: int, dots: int, module_mm: float) -> None:
    """Fewest dots of at least 0.33 mm: 0.375 mm at 203 dpi, 0.339 at 300 and 600 [computed; floor: common practice]."""
    grid = A4_24.model_copy(update={"printer_dpi": dpi})
    assert grid.module_dots == dots
    assert grid.module_dots * grid.dot_mm == pytest.approx(module_mm, abs=5e-4)


def test_a_first_version_symbol_has_its_published_size() -> None:
    """QR version 1: 21 modules and 4 quiet ones each side are 29; at 0.375 mm 10.9 mm [iso-18004]."""
    assert A4_24.model_copy(update={"printer_dpi": 203}).symbol_mm(21) == pytest.approx(29 * 3 * 25.4 / 203)


@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_every_printed_code_is_read_back(dpi: int) -> None:
    """Thirty labels from the fifth place on, at the printer's own dots: all codes come back, none besides."""
    grid, wanted = A4_24.model_copy(update={"printer_dpi": dpi}), labels(30)
    pages = label_pictures(wanted, grid=grid, start=5)
    assert len(pages) == 2
    assert sorted(code for page in pages for code in decoded(page)) == sorted(label.code for label in wanted)


def test_labels_lie_where_the_measures_say() -> None:
    """The second label's symbol begins one width and one gap right of the first's, to the printer's dot."""
    (page,) = label_pictures(labels(2), grid=A4_24)
    first, second = sorted(
        zxingcpp.read_barcodes(Image.open(io.BytesIO(page))), key=lambda found: found.position.top_left.x
    )
    apart_mm = (second.position.top_left.x - first.position.top_left.x) * A4_24.dot_mm
    assert apart_mm == pytest.approx(A4_24.width_mm + A4_24.across_mm, abs=2 * A4_24.dot_mm)
    assert Image.open(io.BytesIO(page)).size == (round(210 / 25.4 * 300), round(297 / 25.4 * 300))


def test_the_same_labels_are_the_same_bytes() -> None:
    """No moment and no system font in the file."""
    assert label_sheet(labels(3), grid=A4_24) == label_sheet(labels(3), grid=A4_24)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("3 by 8", "is not a label grid"),
        ("3 x 8 of 90 x 33.9 mm", "wide"),
        ("3 x 12 of 60 x 33.9 mm", "high"),
        ("0 x 8 of 60 x 30 mm", "cannot be printed: columns should be greater than or equal to 1."),
        ("4 x 8 of 60 x 30 mm", "cannot be printed: 4 labels reach to 240 mm, the sheet is 210 mm wide."),
        ("3 x 8 of 60 x 30 mm, 20 dpi", "cannot be printed"),
    ],
)
def test_measures_that_cannot_be_are_refused(text: str, said: str) -> None:
    """Each says what is wrong and how to write it."""
    with pytest.raises(DwellbookError, match=said) as refused:
        label_grid(text)
    assert "mm, margins" in refused.value.do


def test_measures_in_words_are_the_grid() -> None:
    """What may be left out is centred on A4 at 300 dpi."""
    assert label_grid("3 x 8 of 63.5 x 33.9 mm, margins 7.2 x 12.9, gaps 2.5 x 0, sheet 210 x 297, 300 dpi") == A4_24
    assert label_grid("3 x 8 of 63,5 x 33,9 mm, margins 7,2 x 12,9, gaps 2,5 x 0") == A4_24
    loose = label_grid("2 × 4: 90 × 60")
    assert (loose.left_mm, loose.top_mm, loose.printer_dpi) == (15.0, 28.5, 300)


def test_a_label_too_small_for_its_code_is_refused() -> None:
    """Nothing is shrunk below what a camera reads; an empty sheet and a place off the sheet are refused too."""
    tiny = LabelGrid(columns=5, rows=13, width_mm=32, height_mm=12, left_mm=5, top_mm=5)
    with pytest.raises(DwellbookError, match=r"too small for a code of 9\.8 mm"):
        label_sheet(labels(1), grid=tiny)
    with pytest.raises(DwellbookError, match="no coupon to label"):
        label_sheet([], grid=A4_24)
    with pytest.raises(DwellbookError, match="Place 25"):
        label_sheet(labels(1), grid=A4_24, start=25)


@settings(max_examples=20, deadline=None)
@given(text=st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=60))
def test_whatever_stands_in_the_words_is_printed_as_text(text: str) -> None:
    """Markup signs of the typesetter, quotes and other scripts never break a sheet or run as code."""
    assert label_sheet([CouponLabel("7DK3-K", (text, '#panic("no") $x$ \\ *b*'))], grid=A4_24).startswith(b"%PDF")


def test_sheets_list_and_map_are_printed() -> None:
    """Each is a PDF, the same twice; no coupon and no place are said instead of an empty page."""
    sheet = BenchSheet(
        "An invented museum", "Gel A on glazed tile", "tile", "3 months", "2025-04-15", "2025-04-08 to 2025-04-22",
        "18 to 25 °C, 40 to 60 % RH", (SheetMethod("Hold angle", "Tilt.", ("A comparison only.",)),),
        (SheetTest("Hold angle", ("Hold angle [°]",), (("7DK3-K", "A 3"), ("HXJG-4", ""))),), "Drawn.",
    )  # fmt: skip
    listed = PullList("An invented museum", "2025-04-15", ("timer",), (
        ListedPull("due", "Gel A", "tile", "3 months", "2025-04-15", "…", 2),),
        (("A", (OnTheWay("3", "7DK3-K", "3 months · tile"),)), ("", (OnTheWay("", "HXJG-4", "1 week", "2025-04-18"),))),
        (ListedPull("next", "Gel A", "tile", "6 months", "2025-07-15", "…", 2, "R. Vale"),))  # fmt: skip
    near, far = ((1, "7DK3-K", "tile · 3 months"), (9, "HXJG-4", "tile")), ((90_000, "7DK3-K", "tile"),)
    places = ShelfMap("An invented museum", (MappedShelf("A", 9, near), MappedShelf("B", 16, far)))
    for made in (bench_sheet([sheet]), pull_list(listed), shelf_map(places)):
        assert made.startswith(b"%PDF")
    assert bench_sheet([sheet]) == bench_sheet([sheet])
    assert pull_list(PullList("x", "2025-04-15", (), (), (), ())).startswith(b"%PDF")
    with pytest.raises(DwellbookError, match="No coupon waits"):
        bench_sheet([])
    with pytest.raises(DwellbookError, match="No coupon has a place"):
        shelf_map(ShelfMap("x", ()))


@pytest.mark.parametrize("measures", ["5 x 13 of 38.1 x 21.2 mm", "4 x 20 of 45 x 12 mm"])
def test_the_readable_code_is_whole_whatever_is_told_beside_it(measures: str) -> None:
    """Very long names give way: all that is drawn lies inside the label, the code and its days on top of it."""
    grid = label_grid(measures)
    long = (
        "own mark 2025/07-7",
        "a-gel-of-the-house-number-2 · lot 2025-03-0012 · oak with a barrier layer" * 2,
        *LINES[1:],
    )
    (page,) = label_pictures([CouponLabel("7DK3-K", long)], grid=grid)
    (bare,) = label_pictures([CouponLabel("7DK3-K", ())], grid=grid)
    dark = [np.array(Image.open(io.BytesIO(one)).convert("L")) < 128 for one in (page, bare)]
    rows, columns = np.flatnonzero(dark[0].any(axis=1)), np.flatnonzero(dark[0].any(axis=0))
    assert rows[0] * grid.dot_mm >= grid.top_mm + 0.5
    assert rows[-1] * grid.dot_mm <= grid.top_mm + grid.height_mm - 0.5
    assert columns[-1] * grid.dot_mm <= grid.left_mm + grid.width_mm
    text = slice(round((grid.left_mm + grid.symbol_mm(21) + 1) / grid.dot_mm), None)
    first = [_first_run(one[:, text].any(axis=1)) for one in dark]
    assert abs(first[0] - first[1]) <= 2, "the code's letters are as high as where nothing else is told"


def _first_run(rows: np.ndarray) -> int:
    """How many rows of dots the topmost line of letters takes."""
    begins = int(np.argmax(rows))
    return int(np.argmin(rows[begins:]))
