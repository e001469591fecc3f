"""The Climate page: nothing yet, records with their doubts, a file looked at and kept, taken back, sets and pulls."""

from __future__ import annotations

import base64
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dashboard.book import Book
from dashboard.read import climate, climate_keep
from study.commands.opening import open_study
from study.commands.read_climate import list_climates
from study.model.climate import Measure
from study.model.climate_days import Stretch, StretchMeasure
from study.outputs.climate_report import covered_words
from study.outputs.figure_climate import draw_climate

Said = Callable[[Any], str]


@pytest.fixture
def shelf(study_path: Path) -> Book:
    """A book on the small study."""
    return Book(study_file=study_path, today=lambda: date(2025, 3, 2))


def csv(*, days: int = 30, gap: int = 0) -> str:
    """An invented logger's file as the browser sends it."""
    rows = ["time,temperature °C,RH %,lux"]
    for step in range(days * 24):
        if not 200 <= step < 200 + gap:
            at = datetime(2025, 1, 15) + timedelta(hours=step)
            rows.append(f"{at:%Y-%m-%d %H:%M},{20 + step % 3},{50 + step % 4},{50 if 9 <= at.hour < 17 else 0}")
    return "data:text/csv;base64," + base64.b64encode("\n".join(rows).encode()).decode()


def keep(shelf: Book, content: str, **changed: str) -> tuple[Any, bool]:
    asked = {
        "content": content, "name": "logger.csv", "environment": "store", "zone": "UTC", "order": "", "instrument": "",
        "temperature": "", "humidity": "", "supersedes": "", "why": "", "by": "R. Vale",
    }  # fmt: skip
    return climate_keep.kept(shelf, **{**asked, **changed})


def test_nothing_yet(shelf: Book, said: Said) -> None:
    """An empty page says what will stand there and how to start."""
    text = said(climate.layout(shelf))
    assert "Climate and light of store will stand here" in text
    assert "dwellbook read climate FILE --environment store" in text
    assert "No record is on file yet." in text
    assert "Take a record back" not in text
    assert climate.figure_shown(shelf, "store", "light") is None


def test_a_file_is_looked_at_before_it_is_kept(shelf: Book, said: Said) -> None:
    """Its measures, dose, band and gap are said; nothing is written."""
    found = climate_keep.looked(shelf, csv(gap=48), "logger.csv", "store", "UTC", "", "", "20 to 21", "")
    text = said(found)
    assert "nothing is kept yet" in text
    assert "light dose at least 0.0112 Mlx h" in text
    assert "20 to 21 °C, as asked for" in text
    assert "gap of 2.04 d" in text
    with open_study(shelf.study_file) as study:
        assert list_climates(study) == []


def test_kept_shown_and_taken_back(shelf: Book, said: Said) -> None:
    """The record, its sets, one of them pull by pull, the figure; then taken back with a reason."""
    message, done = keep(shelf, csv(gap=48))
    assert done
    assert "logger.csv is climate record 1 of store" in said(message)
    page = said(climate.layout(shelf, environment="store", set="sheet"))
    assert "1 record is on file, of 1 of 1 environments" in page
    assert "gap of 2.04 d" in page
    assert "sheet, Gel A on acrylic sheet, pull by pull" in page
    assert "at least 0.0112" in page
    # of thirty days one is missing whole, and two in part
    assert "29 days logged" in said(climate.figure_shown(shelf, "store", "dark"))
    again, done = keep(shelf, csv(gap=48), name="again.csv")
    assert (done, "byte for byte" in said(again)) == (False, True)
    without, done = climate_keep.taken_back(shelf, "1", "", "R. Vale")
    assert (done, "needs a reason" in said(without)) == (False, True)
    gone, done = climate_keep.taken_back(shelf, "1", "Wrong shelf.", "R. Vale")
    assert (done, "is taken back" in said(gone)) == (True, True)
    assert "superseded by R. Vale" in said(climate.layout(shelf, environment="store"))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"content": ""}, "No file is chosen"),
        ({"content": "data:text/csv;base64,!"}, "did not come through whole"),
        ({"environment": ""}, "There is no environment"),
        ({"zone": ""}, "has no zone"),
        ({"humidity": "damp"}, "is not a band of humidity"),
        ({"supersedes": "two"}, "is not the number of a record"),
        ({"supersedes": "7", "why": "New export."}, "There is no climate record 7"),
        ({"instrument": "nobody's"}, "is not a registered instrument"),
    ],
)
def test_refusals_stand_on_the_page(shelf: Book, said: Said, changed: dict[str, str], words: str) -> None:
    """Each says what is wrong, and nothing is kept."""
    message, done = keep(shelf, **{"content": csv(), **changed})
    assert not done
    assert words in said(message)


def test_the_figure_leaves_gaps_open(shelf: Book) -> None:
    """A line for each run of days; none runs over the days without a reading."""
    keep(shelf, csv(gap=96))
    graph = climate.figure_shown(shelf, "store", "light").children[1].figure
    drawn = [trace for trace in graph.data if trace.yaxis == "y" and trace.line.width]
    assert [len(trace.x) for trace in drawn] == [9, 18]
    assert {shape.y0 for shape in graph.layout.shapes} == {18.0, 25.0, 40.0, 60.0}


def test_ticks_that_stand_close_say_their_day(shelf: Book) -> None:
    """Four ticks of one month do not all read “Oct”; over years the month is enough."""
    figure = draw_climate([], bands={}, scheme="light")
    close, far = figure.layout.xaxis.tickformatstops
    assert (close.dtickrange, far.dtickrange) == ((None, "M1"), ("M1", None))
    assert ("%-d" in close.value, "%-d" in far.value) == (True, False)


def test_a_share_that_all_measures_have_is_said_once() -> None:
    """One number where all are alike, else one for each measure."""

    def stretch(covered: dict[Measure, float]) -> Stretch:
        found = {
            measure: StretchMeasure(20.0, 18.0, 22.0, 24 * share, share, None, None)
            for measure, share in covered.items()
        }
        return Stretch(date(2025, 1, 1), date(2025, 1, 2), found, None, None, None, 0)

    assert covered_words(stretch({"temperature_c": 0.5, "humidity_percent": 0.5})) == "50"
    assert covered_words(stretch({"temperature_c": 0.5, "humidity_percent": 0.25})) == "T 50, RH 25"
    assert covered_words(stretch({})) == "nothing logged"


def test_a_single_reading_covers_no_time(shelf: Book, said: Said) -> None:
    """It is kept and said; it is no line, no mean of a set, and nothing fails."""
    one = "data:text/csv;base64," + base64.b64encode(b"time,temperature \xc2\xb0C\n2025-02-01 12:00,20.5\n").decode()
    message, done = keep(shelf, one)
    assert done, said(message)
    graph = climate.figure_shown(shelf, "store", "light").children[1].figure
    assert not [trace for trace in graph.data if trace.line.width]
    assert "nothing logged" in said(climate.layout(shelf, environment="store"))
