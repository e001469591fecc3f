"""A logger's file looked at and kept on its page, and the trace of a coupon, in Chromium on a study of their own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read_climate import list_climates
from study.commands.read_form import coupon_form
from study.commands.read_trace import enter_traces
from study.commands.traces import GaugeFile
from study.model.person import Signature
from study.model.trace_asked import TraceAsked
from study.store.coupons import fetch_coupons

pytestmark = pytest.mark.browser
NASTY = Path(__file__).parent.parent / "intake" / "nasty"


@pytest.fixture
def shelf(browser: Any, study_path: Path, serve_file: Callable[..., Any]) -> Iterator[Any]:
    """The small study, served."""
    with serve_file(study_path, date(2025, 4, 20)) as served:
        yield served


def test_a_logger_file_is_looked_at_and_kept(shelf: Any, open_page: Callable[..., Any], tmp_path: Path) -> None:
    """By its named field; first only shown, then kept, and the figure and table follow."""
    rows = ["time,temperature °C,RH %,lux"]
    for hour in range(30 * 24):
        at = datetime(2025, 1, 15) + timedelta(hours=hour)
        rows.append(f"{at:%Y-%m-%d %H:%M},{20 + hour % 3},50,{50 if 9 <= at.hour < 17 else 0}")
    file = tmp_path / "logger.csv"
    file.write_text("\n".join(rows), "utf-8")
    page = open_page(shelf, "/read?view=climate")
    page.get_by_text("Keep a logger's file", exact=True).click()
    page.get_by_label("Logger's file").set_input_files(str(file))
    page.get_by_text("Chosen, not kept yet: logger.csv.").wait_for()
    page.get_by_role("button", name="Look at it first").click()
    page.get_by_text("has no zone").wait_for()
    page.get_by_label("Zone of its clock").fill("UTC")
    page.get_by_role("button", name="Look at it first").click()
    page.get_by_text("light dose 0.012 Mlx h").wait_for()
    with open_study(shelf.file) as study:
        assert list_climates(study) == []
    page.get_by_label("Kept by").fill("R. Vale")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("logger.csv is climate record 1 of store").wait_for()
    page.get_by_role("heading", name="Climate and light of store").wait_for()
    page.locator("#climate-graph .main-svg").first.wait_for()
    ground = "document.querySelector('#climate-graph .main-svg').style.background"
    light = page.evaluate(ground)
    page.get_by_text("Dark view").click()
    for _ in range(100):  # the page's policy lets nothing be evaluated while waiting
        if page.evaluate(ground) != light:
            break
        page.wait_for_timeout(100)
    assert page.evaluate(ground) != light
    page.get_by_role("link", name="sheet", exact=True).click()
    page.get_by_role("heading", name="pull by pull").wait_for()


def test_a_force_trace_is_looked_at_and_entered(shelf: Any, open_page: Callable[..., Any]) -> None:
    """From the coupon's page: drawn and told first, a slip asked about, then entered and attached."""
    signature = Signature("R. Vale", datetime(2025, 4, 16, 9, tzinfo=UTC))
    with open_study(shelf.file) as study:
        code = next(c.code for c in fetch_coupons(study).values() if c.test == "pull-off-dot")
        record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    page = open_page(shelf, f"/read?code={code}")
    page.get_by_role("link", name="Its force trace").click()
    page.locator("h1", has_text="Force traces").wait_for()
    page.get_by_label("Gauge’s files").set_input_files(str(NASTY / "06-negative-trace.csv"))
    page.get_by_text("Chosen, not entered yet: 06-negative-trace.csv.").wait_for()
    page.get_by_label("Crosshead speed").fill("3000")
    page.get_by_role("button", name="Look at it first").click()
    page.locator("#trace-said", has_text="every force was multiplied by −1").wait_for()
    page.locator("#gauge-figures .main-svg").first.wait_for()
    with open_study(shelf.file) as study:
        assert coupon_form(study, code).in_force == {}
    page.get_by_role("button", name="Enter the forces").click()
    page.locator("#trace-said", has_text="Nobody's name").wait_for()
    page.get_by_label("Read by").fill("R. Vale")
    page.get_by_role("button", name="Enter the forces").click()
    page.get_by_role("button", name="It is as typed: save it").click()
    page.locator("#trace-said", has_text="1 force is entered, each with its trace.").wait_for()
    page.locator("#trace-said").get_by_role("link", name=code).click()
    page.locator("tr", has_text="removal force").locator("td", has_text="5.102 N").wait_for()
    page.locator(".strip", has_text="06-negative-trace.csv").wait_for()


def test_the_trace_stands_on_the_coupons_page(shelf: Any, open_page: Callable[..., Any]) -> None:
    """With what it says, under the readings in force."""
    signature = Signature("R. Vale", datetime(2025, 4, 16, tzinfo=UTC), "")
    with open_study(shelf.file) as study:
        code = next(c for c, coupon in fetch_coupons(study).items() if coupon.test == "pull-off-dot")
        record_pulls(study, [code], on=date(2025, 4, 15), kind="pulled", signature=signature)
        enter_traces(
            study, [GaugeFile(f"{code}.txt", (NASTY / "07-flat-top.txt").read_bytes())],
            TraceAsked(geometry="straight pull-off", speed_mm_per_min=15, capacity_n=50), read_on=date(2025, 4, 15),
            signature=signature,
        )  # fmt: skip
    page = open_page(shelf, f"/read?code={code}")
    page.get_by_role("heading", name=f"Force trace {code}.txt").wait_for()
    page.get_by_text("the gauge was at its end").wait_for()
    page.get_by_text("Peak at least 50 N.").wait_for()
