"""The force trace on a coupon's page: nothing without one; with one its figure, words and who entered it."""

from __future__ import annotations

import base64
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from dashboard.book import Book
from dashboard.components.trace_figure import trace_figures, traces_shown
from dashboard.read import trace
from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read_trace import enter_traces
from study.commands.traces import GaugeFile
from study.model.person import Signature
from study.model.trace_asked import TraceAsked
from study.store.coupons import fetch_coupons

NASTY = Path(__file__).parent.parent / "intake" / "nasty"


def test_a_trace_is_shown_once_it_is_entered(study_path: Path, said: Callable[[Any], str]) -> None:
    """In both schemes, on the axis of travel."""
    book = Book(study_file=study_path, today=lambda: date(2025, 4, 20))
    signature = Signature("R. Vale", datetime(2025, 4, 16, tzinfo=UTC), "")
    with open_study(study_path) as study:
        code = next(c for c, coupon in fetch_coupons(study).items() if coupon.test == "pull-off-dot")
        record_pulls(study, [code], on=date(2025, 4, 15), kind="pulled", signature=signature)
    assert trace_figures(book, code, scheme="light") == []
    with open_study(study_path) as study:
        enter_traces(
            study, [GaugeFile(f"{code}.csv", (NASTY / "06-negative-trace.csv").read_bytes())],
            TraceAsked(geometry="straight pull-off", speed_mm_per_min=15, capacity_n=50), read_on=date(2025, 4, 16),
            signature=signature,
        )  # fmt: skip
    [light], [dark] = trace_figures(book, code, scheme="light"), trace_figures(book, code, scheme="dark")
    text = said(light)
    assert f"Force trace {code}.csv" in text
    assert "Peak 5.102 N." in text
    assert "Entered by R. Vale on 16\u202fApr\u202f2025" in text
    drawn = light.children[1].figure
    assert drawn.layout.xaxis.title.text == "crosshead travel [mm]"
    assert drawn.layout.paper_bgcolor != dark.children[1].figure.layout.paper_bgcolor
    assert traces_shown(code).children[2].data == code


def test_a_trace_is_looked_at_and_entered_by_page(study_path: Path, said: Callable[[Any], str]) -> None:
    """Each question is asked once, answers add up; a file of no coupon is refused by its name; all of it once."""
    book = Book(study_file=study_path, today=lambda: date(2025, 4, 20))
    signature = Signature("R. Vale", datetime(2025, 4, 16, tzinfo=UTC), "")
    with open_study(study_path) as study:
        code = next(c for c, coupon in fetch_coupons(study).items() if coupon.test == "pull-off-dot")
        record_pulls(study, [code], on=date(2025, 4, 15), kind="pulled", signature=signature)
    content = base64.b64encode((NASTY / "06-negative-trace.csv").read_bytes()).decode()
    files = ([f"data:text/csv;base64,{content}"], ["run 3.csv"])
    typed = {"geometry": "straight pull-off", "sign": "found", "speed_mm_per_min": "3000", "coupon": "", "observed": ""}
    by = {"on": "2025-04-16", "by": "R. Vale"}
    told, done = trace.entered(book, *files, typed, **by, answers={})
    assert "run 3.csv: names no coupon" in said(told)
    assert not done
    assert "No file is chosen" in said(trace.entered(book, None, None, typed, **by, answers={})[0])
    assert trace.figures(book, *files, typed, scheme="light") == []
    typed["coupon"] = code
    [looked] = trace.looked_at(book, *files, typed)
    assert f"{code}: 5.102 N" in said(trace.looked_shown([looked]))
    assert "Will be asked" in said(trace.looked_shown([looked]))
    assert len(trace.figures(book, *files, typed, scheme="dark")) == 1
    told, done = trace.entered(book, *files, typed, **by, answers={})
    assert "It is as typed: save it" in said(told)
    assert not done
    told, done = trace.entered(book, *files, typed, **by, answers={"test numbers": "as typed"})
    assert "1 force is entered" in said(told)
    assert done
    again, _ = trace.entered(book, *files, typed, **by, answers={"test numbers": "as typed"})
    assert "in the study already" in said(again)
