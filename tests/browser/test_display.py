"""Objects on show in a browser: entered, judged, taken down, walked, and what a decision does to them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from study.commands.decide import stand_of
from study.commands.display import add_display, find_display, paste_displays, standings
from study.commands.opening import open_study
from study.commands.read_correct import correct_reading
from study.model.display import STATES
from study.model.person import Signature
from study.store.coupons import fetch_coupons

pytestmark = pytest.mark.browser

COLUMNS = (
    "object", "location", "lot", "object_pairing", "support_pairing", "environment", "dots", "dot_diameter_mm",
    "load_n", "placed_on", "placed_by",
)  # fmt: skip
VIEWS = {
    "on show": "/display",
    "add": "/display?view=add",
    "paste": "/display?view=paste",
    "walks": "/display?view=walk",
    "walk": "/display?view=walk&location=Case 3",
    "object": "/display?object=2021.1",
    "today": "/",
    "decide": "/decide?pairing=P03",
}


def sign(why: str = "A test of the pages.") -> Signature:
    """A signature on the demo's day."""
    return Signature(by="R. Vale", at=datetime(2026, 11, 24, 9, tzinfo=timezone(timedelta())), why=why)


def entry(object_number: str, **changed: str) -> dict[str, str]:
    """An object standing within what P01 and P03 were tested in, a few days old."""
    cells = (
        object_number, "Case 3", "A-1", "P03", "P01", "gallery-lit", "3", "8", "2", "2026-11-10", "M. Quill",
    )  # fmt: skip
    return dict(zip(COLUMNS, cells, strict=True)) | changed


def put_on_show(file: Path, *entries: dict[str, str]) -> None:
    """Objects in the register before a page is opened."""
    with open_study(file) as study:
        paste_displays(study, list(entries), signature=sign())


def state_of(file: Path, object_number: str) -> str:
    """Where an object stands in the file on the demo's day."""
    with open_study(file) as study:
        found = standings(study, on=date(2026, 11, 24)).states
        number = find_display(study, object_number).number
    return next(state.state for state in found if state.display.number == number)


def counted(file: Path, *states: str) -> int:
    """Objects in any of these states; the demo has some of its own."""
    with open_study(file) as study:
        return sum(state.state in states for state in standings(study, on=date(2026, 11, 24)).states)


def choose(page: Any, column: str, words: str, *, kind: str = "entry") -> None:
    """One of the choices of a select, by its words."""
    page.locator(f'input[id*=\'"column":"{column}"\'][id*=\'"kind":"{kind}"\']').click()
    page.locator('[role="option"]:visible', has_text=words).first.click()


def fill(page: Any, column: str, value: str, *, kind: str = "entry") -> None:
    """A text field of a form."""
    page.locator(f'input[id*=\'"column":"{column}"\'][id*=\'"kind":"{kind}"\']').fill(value)


def test_views_are_whole(own: Any, open_page: Callable[..., Any], whole: Callable[[Any], None]) -> None:
    """Every view with objects on it fits its width and axe finds nothing."""
    put_on_show(own.file, *(entry(f"2021.{n}") for n in range(1, 4)), entry("2021.9", support_pairing="P10"))
    page = open_page(own, "/display")
    for name, path in VIEWS.items():
        page.goto(path)
        page.locator("#status").filter(has_not_text="Working out").wait_for()
        page.evaluate("document.querySelectorAll('details').forEach((folded) => { folded.open = true; })")
        whole(page)
        assert page.locator("h1").count() == 1, name
        assert page.locator(".cautions").count() >= 1, name


def test_an_object_is_put_on_show(own: Any, open_page: Callable[..., Any]) -> None:
    """What the pairing was tested with is filled in; only once confirmed and signed is the object on show."""
    page = open_page(own, "/display?view=add")
    fill(page, "object", "2021.7")
    fill(page, "location", "Case 3")
    choose(page, "lot", "A-1")
    choose(page, "object_pairing", "P03")
    choose(page, "support_pairing", "P01")
    page.locator('input[id*="load_n"][value="2"]').wait_for()
    fill(page, "placed_by", "M. Quill")
    page.locator("#entry-save").click()
    page.locator("#entry-said", has_text="Nobody's name").wait_for()
    page.locator("#entry-by").fill("R. Vale")
    page.locator("#entry-save").click()
    page.locator("#entry-said", has_text="not confirmed").wait_for()
    page.locator("#entry-confirmed").check()
    fill(page, "placed_on", "2027-01-01")
    page.locator("#entry-save").click()
    page.locator(".mantine-InputWrapper-error", has_text="lies after").wait_for()
    fill(page, "placed_on", "2026-11-20")
    page.locator("#entry-save").click()
    page.locator("#entry-said", has_text="2021.7 is on show: within.").wait_for()
    page.goto("/display")
    page.locator("#on-show", has_text="2021.7").wait_for()


def test_filters_and_leaves(own: Any, open_page: Callable[..., Any]) -> None:
    """Two hundred at once; the filters narrow the list at once and an address keeps one."""
    put_on_show(own.file, *(entry(f"2021.{n}", location=f"Hall {n % 7}") for n in range(1, 231)))
    number = counted(own.file, "stopped", "overdue", "due", "no evidence", "within")
    page = open_page(own, "/display")
    page.locator("#on-show", has_text=f"1 to 200 of {number}").wait_for()
    page.get_by_role("link", name="Further").click()
    page.locator("#on-show", has_text=f"201 to {number} of {number}").wait_for()
    page.locator("#find-text").fill("2021.23")
    page.locator("#find-text").press("Enter")
    page.locator("#on-show", has_text="2 objects").wait_for()
    page.goto("/display?location=Hall%205")
    page.locator("#on-show", has_text="33 objects").wait_for()


def test_may_it_stay(own: Any, open_page: Callable[..., Any]) -> None:
    """Yes until its day, no after it with the day it can, not shown without evidence, and help for a wrong number."""
    put_on_show(own.file, entry("2021.1"), entry("2021.2", load_n="9"))
    page = open_page(own, "/display")
    said = page.locator("#may-said")
    for number, until, words in (
        ("2021.1", "2026-12-01", "yes"),
        ("2021.1", "2029-03-01", "It may stay until"),
        ("2021.2", "2026-12-01", "a load of 9 N, tested to 2 N"),
        ("1900.1", "2026-12-01", "not in the display register"),
        ("2021.1", "March", "is not a day"),
    ):
        page.locator("#may-object").fill(number)
        page.locator("#may-until").fill(until)
        page.locator("#may").click()
        said.filter(has_text=words).wait_for()
    page.goto("/display?object=2021.1")
    page.locator("#may-until").fill("2026-12-01")
    page.locator("#may").click()
    said.filter(has_text="yes").wait_for()


def test_paste_is_all_or_nothing(own: Any, open_page: Callable[..., Any]) -> None:
    """Both problems are told with their rows and nothing is written; the clean rows then go on show."""
    rows = [entry("2021.1"), entry("2021.2", lot="Z-9"), entry("2021.3", dots="2.5")]
    text = "\n".join(["\t".join(COLUMNS), *("\t".join(row.values()) for row in rows)])
    before = counted(own.file, *STATES)
    page = open_page(own, "/display?view=paste")
    page.locator("#paste-text").fill(text)
    page.locator("#paste-by").fill("R. Vale")
    page.locator("#paste-save").click()
    said = page.locator("#paste-said")
    said.filter(has_text="row 2, lot").wait_for()
    assert "row 3, dots" in said.text_content()
    assert counted(own.file, *STATES) == before
    page.locator("#paste-text").fill(text.replace("Z-9", "A-1").replace("2.5", "3"))
    page.locator("#paste-save").click()
    said.filter(has_text="3 objects are on show.").wait_for()
    assert page.locator("#paste-text").input_value() == ""


def test_a_shorter_decision_reaches_today(own: Any, open_page: Callable[..., Any]) -> None:
    """Worse readings, a superseding decision: the objects touched are listed, Today shows one overdue until a name."""
    with open_study(own.file) as study:
        before = stand_of(study, "P01").decision
        assert before is not None
        assert before.days is not None
        placed = date(2026, 11, 24) - timedelta(days=before.days - 40)
        add_display(study, entry("2021.1", placed_on=str(placed)), signature=sign())
        for coupon in fetch_coupons(study).values():
            if (coupon.set_key, coupon.test, coupon.pull_label) == ("GA-ACR", "pull-off-dot", "6 months"):
                correct_reading(study, coupon.code, "residue_grade", "5", signature=sign())
    assert state_of(own.file, "2021.1") == "within"
    before_issue = counted(own.file, "overdue")
    page = open_page(own, "/decide?pairing=P01")
    page.locator("#issue-by").fill("R. Vale")
    page.locator("#issue-why").fill("Residue at six months")
    page.locator("#issue").click()
    page.locator("#issued", has_text="is issued").wait_for()
    assert "2021.1" in page.locator("#issued").text_content()
    assert "remove by" in page.locator("#issued").text_content()
    page.locator("#standing-now", has_text="Residue at six months").wait_for()
    page.locator("nav a", has_text="Today").click()
    overdue = counted(own.file, "overdue")
    assert overdue > before_issue
    page.locator("h3", has_text=f"Overdue: {overdue}").wait_for()
    page.locator("#needs-you", has_text="2021.1").wait_for()
    page.locator("#seen-all").click()
    page.locator("#seen-said", has_text="Nobody's name").wait_for()
    page.locator("#seen-by").fill("M. Quill")
    page.locator("#needs-you").get_by_role("button", name="Acknowledge 2021.1").click()
    page.locator("#seen-said", has_text="Acknowledged for 1 object by M. Quill.").wait_for()
    page.locator("#needs-you").filter(has_not_text="2021.1").wait_for()
    assert state_of(own.file, "2021.1") == "overdue"


def test_harm_stops_a_pairing_and_two_lift_it(own: Any, open_page: Callable[..., Any]) -> None:
    """Harm must be answered; it stops the pairing, the others are listed, and two people lift it with a reason."""
    put_on_show(own.file, *(entry(f"2021.{n}") for n in (1, 2, 3)))
    page = open_page(own, "/display?object=2021.1")
    page.locator("#removal-by").fill("R. Vale")
    page.locator("#removal-save").click()
    page.locator("#object-said", has_text="Harm is not answered").wait_for()
    choose(page, "harm", "yes", kind="removal")
    choose(page, "residue", "3", kind="removal")
    choose(page, "side", "object", kind="removal")
    fill(page, "tool", "thread", kind="removal")
    page.locator("#removal-save").click()
    said = page.locator("#object-said")
    said.filter(has_text="Harm stops P03.").wait_for()
    assert "2021.2" in said.text_content()
    assert "2021.3" in said.text_content()
    page.locator("#object-acts", has_text="Repeated placing on one spot was not studied.").wait_for()
    page.goto("/")
    page.locator("h3", has_text=f"Stopped: {counted(own.file, 'stopped')}").wait_for()
    page.goto("/decide?pairing=P03")
    page.locator("#standing-now", has_text="harm when 2021.1 was removed").wait_for()
    page.locator("summary", has_text="Lift the stop").click()
    page.locator("#lift-by").fill("R. Vale")
    page.locator("#lift-why").fill("The thread was jerked")
    page.locator("#lift-second").fill("r. vale")
    page.locator("#lift").click()
    page.locator("#issued", has_text="second person").wait_for()
    page.locator("#lift-second").fill("M. Quill")
    page.locator("#lift").click()
    page.locator("#issued", has_text="The stop is lifted by R. Vale and M. Quill").wait_for()
    assert state_of(own.file, "2021.2") == "within"


def test_a_decision_is_withdrawn_and_a_result_carried(own: Any, open_page: Callable[..., Any]) -> None:
    """Withdrawing takes the evidence from under an object; a carried result counts for the other formulation."""
    put_on_show(own.file, entry("2021.1"))
    page = open_page(own, "/decide?pairing=P03")
    page.locator("summary", has_text="Carry the result").click()
    page.locator("#carry-to").click()
    page.locator('[role="option"]:visible', has_text="gel B").click()
    page.locator("#carry-by").fill("R. Vale")
    page.locator("#carry-why").fill("The maker changed the label alone")
    page.locator("#carry").click()
    page.locator("#issued", has_text="count for gel-b too").wait_for()
    page.locator("summary", has_text="Withdraw decision").click()
    page.locator("#withdraw-by").fill("R. Vale")
    page.locator("#withdraw").click()
    page.locator("#issued", has_text="needs a reason").wait_for()
    page.locator("#withdraw-why").fill("The lot was mixed wrongly")
    page.locator("#withdraw").click()
    page.locator("#issued", has_text="is withdrawn").wait_for()
    assert "no\u00a0evidence" in page.locator("#issued").text_content()
    assert page.locator("summary", has_text="Withdraw decision").count() == 0


def test_a_walk_is_recorded_and_printed(own: Any, open_page: Callable[..., Any]) -> None:
    """What was found at each object is recorded; a fallen one is led to its removal; on paper only the list is left."""
    put_on_show(own.file, *(entry(f"2021.{n}") for n in (1, 2, 3)))
    page = open_page(own, "/display?view=walk")
    page.locator("main a", has_text="Case 3").click()
    page.locator("h1", has_text="Walking list: Case 3").wait_for()
    page.get_by_role("radiogroup", name="Found at 2021.1").get_by_label("holds").check()
    page.get_by_role("radiogroup", name="Found at 2021.2").get_by_label("fallen").check()
    page.locator("#walk-by").fill("M. Quill")
    page.locator("#walk-after").click()
    page.locator('[role="option"]:visible', has_text="tremor").click()
    page.locator("#walk-save").click()
    page.locator("#walk-said", has_text="1 holds, 1 fallen").wait_for()
    assert "Take down and record the removal" in page.locator("#walk-said").text_content()
    page.emulate_media(media="print")
    assert page.locator(".on-paper").is_visible()
    assert page.locator("table").first.is_visible()
    for gone in (".rail", ".form", "nav.choices"):
        assert not page.locator(gone).first.is_visible()
    page.goto("/display?object=2021.2")
    page.locator("main", has_text="fallen after tremor (M. Quill).").wait_for()


def test_an_object_is_stuck_again_and_an_entry_taken_back(own: Any, open_page: Callable[..., Any]) -> None:
    """After removal a new display of the same object, then the entry is taken back with a reason."""
    put_on_show(own.file, entry("2021.1"))
    page = open_page(own, "/display?object=2021.1")
    page.locator("#removal-by").fill("R. Vale")
    choose(page, "harm", "no", kind="removal")
    page.locator("#removal-save").click()
    page.locator("#object-said", has_text="is recorded as removed").wait_for()
    fill(page, "placed_by", "M. Quill", kind="again")
    page.locator("#again-by").fill("R. Vale")
    page.locator("#again-save").click()
    page.locator("#object-said", has_text="is on show again").wait_for()
    page.locator("#object-now", has_text="Before: placed").wait_for()
    page.locator("summary", has_text="The entry was a mistake").click()
    page.locator("#undo-by").fill("R. Vale")
    page.locator("#undo-why").fill("Another object was meant")
    page.locator("#undo-save").click()
    page.locator("#object-said", has_text="is taken back").wait_for()
