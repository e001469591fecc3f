"""Accidents on the page as a person records them: a spare takes a place, a lamp was out, a colleague leaves."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from study.commands.opening import open_study
from study.commands.pull import due_pulls, record_pulls
from study.commands.register import register_one
from study.commands.register_placing import correct_placing
from study.intake.protocol_file import known_protocols
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.register import fetch_sets

pytestmark = pytest.mark.browser

DUE = date(2025, 4, 15)
SIGNATURE = Signature(by="M. Quill", at=datetime(2025, 4, 15, 8, tzinfo=UTC), why="For the test.")


def test_a_spare_takes_a_lost_coupons_place(
    browser: Any, study_path: Path, serve_file: Callable[..., Any], open_page: Callable[..., Any]
) -> None:
    """Offered with its counts, refused without a reason, given, and taken back; the due list follows each time."""
    with open_study(study_path) as study:
        register_one(study, "coupons", {"set": "sheet", "test": "hold-angle"}, signature=SIGNATURE)
        lost, spare = due_pulls(study, on=DUE)[0].codes[0], list(fetch_coupons(study))[-1]
        record_pulls(study, [lost], kind="lost", on=DUE, signature=SIGNATURE)
    with serve_file(study_path, DUE) as running:
        page = open_page(running, f"/pull?code={lost}")
        page.locator("#place-now", has_text=f"{lost} is missing there").wait_for()
        page.locator('input[id*=\'"replan":"by"\']').fill("R. Vale")
        page.locator("#replan-save").click()
        page.locator("#act-said", has_text="needs a reason").wait_for()
        page.locator('input[id*=\'"replan":"why"\']').fill("It fell behind the rack.")
        page.locator("#replan-save").click()
        page.locator("#act-said", has_text=f"{spare} takes the place").wait_for()
        with open_study(study_path) as study:
            assert fetch_coupons(study)[spare].pull_label == "3 months"
        page.locator("#place-now", has_text="has taken it").wait_for()
        page.locator('input[id*=\'"replan":"why"\']').fill("It was found.")
        page.locator("#replan-save").click()
        page.locator("#place-now", has_text=f"{lost} is missing there").wait_for()
        with open_study(study_path) as study:
            assert fetch_coupons(study)[spare].pull_label == ""


def test_a_lamp_and_a_hand_over(
    browser: Any, study_path: Path, serve_file: Callable[..., Any], open_page: Callable[..., Any], tmp_path: Path
) -> None:
    """Its durations foreseen, recorded, listed, taken back; named, handed over, with what is open."""
    stopping = tmp_path / "stopping.toml"
    text = known_protocols()["display-dots"].read_text("utf-8").replace('version = "2"', 'version = "2-light"')
    stopping.write_text(text.replace('t = "placement"', 't = "placement"\nclock_stops_for = ["light out"]'), "utf-8")
    cells = {"set": "lit", "substrate": "sheet", "lot": "A-1", "environment": "store", "protocol": str(stopping),
             "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2"}  # fmt: skip
    with open_study(study_path) as study:
        register_one(study, "sets", cells, signature=SIGNATURE)
    with serve_file(study_path, DUE) as running:
        page = open_page(running, "/pull?view=happened")
        box = lambda act, field: page.locator(  # noqa: E731
            f'input[id*=\'"field":"{field}"\'][id*=\'"happened":"{act}"\']'
        )
        box("interrupt", "from").fill("2025-03-01")
        box("interrupt", "to").fill("2025-03-09")
        page.locator("#interrupt-effect", has_text="The clock runs on in sheet, tile").wait_for()
        page.locator("#interrupt-moves", has_text="None rests on them yet.").wait_for()
        box("interrupt", "from").fill("soon")
        page.locator("#interrupt-effect", has_text="is not a day").wait_for()
        page.locator("#interrupt-moves > *").wait_for(state="detached")
        box("interrupt", "from").fill("2025-03-01")
        page.locator("#interrupt-moves", has_text="None rests on them yet.").wait_for()
        box("interrupt", "by").fill("R. Vale")
        page.locator("button", has_text="Record the interruption").click()
        page.locator("#happened-said", has_text="The clock runs on in sheet, tile").wait_for()
        page.locator("#happened-listed", has_text="light out").wait_for()
        page.locator("summary", has_text="Take one back").click()
        box("back", "why").fill("Another room.")
        box("back", "by").fill("R. Vale")
        page.locator("button", has_text="Take it back").click()
        page.locator("#happened-listed", has_text="No interruption is on record.").wait_for()
        page.goto("/pull?view=charge")
        person = lambda act, field: page.locator(  # noqa: E731
            f'input[id*=\'"charging":"{act}"\'][id*=\'"field":"{field}"\']'
        )
        person("name", "person").fill("M. Quill")
        person("name", "by").fill("R. Vale")
        page.locator("button", has_text="Put in charge").click()
        page.locator("#charge-listed", has_text="M. Quill").wait_for()
        page.goto("/pull?view=charge")
        person("over", "to").fill("A. Reed")
        person("over", "why").fill("She leaves.")
        person("over", "by").fill("R. Vale")
        page.locator("button.second", has_text="Hand over").click()
        page.locator("#charge-said", has_text="3 months of sheet, 6 coupons").wait_for()
        page.goto("/pull")
        page.locator("td", has_text="A. Reed").first.wait_for()


def test_a_day_of_placing_is_corrected(
    browser: Any, study_path: Path, serve_file: Callable[..., Any], open_page: Callable[..., Any], whole: Any
) -> None:
    """Sets chosen, the effect foreseen, refused without a reason, corrected; refused where another came first."""
    with serve_file(study_path, DUE) as running:
        page = open_page(running, "/register?what=sets")
        page.locator("summary", has_text="Correct a day of placing").click()
        page.locator("#placing-sets").click()
        page.get_by_role("option", name="sheet").click()
        page.get_by_role("option", name="tile").click()
        page.keyboard.press("Escape")
        page.locator("#placing-on").fill("2025-01-10")
        page.locator("#placing-effect", has_text="every dwell is 5 days longer").wait_for()
        page.locator(
            "#placing-effect", has_text="due 10\u202fApr\u202f2025 instead of 15\u202fApr\u202f2025"
        ).wait_for()
        whole(page)
        page.locator("#placing-by").fill("R. Vale")
        page.locator("#placing-save").click()
        page.locator("#act-said", has_text="needs a reason").wait_for()
        page.locator("#placing-why").fill("Read in the bench book.")
        page.locator("#placing-save").click()
        page.locator("#act-said", has_text="sheet, tile: placed on 10\u202fJan\u202f2025.").wait_for()
        assert page.locator("#on-file", has_text="15\u202fJan\u202f2025").count() == 0
        page.locator("#placing-effect > *").first.wait_for(state="detached")
        page.locator("#placing-sets").click()
        page.get_by_role("option", name="tile, 2025-01-10").click()
        page.keyboard.press("Escape")
        page.locator("#placing-on").fill("2025-01-12")
        page.locator("#placing-effect", has_text="every dwell is 2 days shorter").first.wait_for()
        with open_study(study_path) as study:
            assert {one.placed_on for one in fetch_sets(study).values()} == {date(2025, 1, 10)}
            correct_placing(study, ["tile"], date(2025, 1, 9), signature=SIGNATURE)
        page.locator("#placing-save").click()
        page.locator("#act-said", has_text="M. Quill corrected this day meanwhile").wait_for()
    with open_study(study_path) as study:
        assert {one.placed_on for one in fetch_sets(study).values()} == {date(2025, 1, 10), date(2025, 1, 9)}
