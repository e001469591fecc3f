"""From nothing to a coupon set, and from the shelf to a record: registering and pulling as a person does it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from study.commands.opening import begin_study, open_study
from study.commands.pull import due_pulls, record_pulls
from study.commands.register import register_one
from study.commands.shelf import register_book, shelf_list
from study.model.person import Signature
from study.store.pulls import fetch_pulls

pytestmark = pytest.mark.browser

TODAY = date(2026, 11, 24)
OTHER = Signature(by="M. Quill", at=datetime(2026, 11, 24, 8, tzinfo=UTC))


@pytest.fixture
def fresh(browser: Any, tmp_path: Path, serve_file: Callable[..., Any]) -> Iterator[Any]:
    """A study just begun, with nothing in it."""
    file = tmp_path / "fresh.sqlite"
    begin_study(file, institution="An invented museum", signature=OTHER)
    with serve_file(file, TODAY) as running:
        yield running


@pytest.fixture
def large(browser: Any, tmp_path: Path, serve_file: Callable[..., Any]) -> Iterator[Any]:
    """A study with one set of which two hundred coupons are due."""
    file = tmp_path / "large.sqlite"
    begin_study(file, institution="An invented museum", signature=OTHER)
    entries = [
        ("adhesives", "adhesive=gel|name=Gel|composition_class=acrylic gel|formulation_version=1"),
        ("lots", "lot=G-1|adhesive=gel"),
        ("substrates", "substrate=sheet|name=acrylic sheet|preparation=cleaned|stands_for=display surface"),
        ("environments", "environment=store|name=store"),
        ("sets", "set=BIG|lot=G-1|substrate=sheet|environment=store|protocol=display-dots|placed_on=2026-08-24"
                 "|dot_diameter_mm=8|dots=3|coupons_per_pull=100"),
    ]  # fmt: skip
    with open_study(file) as study:
        for kind, text in entries:
            register_one(study, kind, dict(part.split("=", 1) for part in text.split("|")), signature=OTHER)
        early = [code for pull in due_pulls(study, on=TODAY) if pull.pull_label != "3 months" for code in pull.codes]
        record_pulls(study, early, kind="lost", on=date(2026, 11, 1), signature=OTHER)
    with serve_file(file, TODAY) as running:
        yield running


def fill(page: Any, **cells: str) -> None:
    """Type into the fields of the form; choices are typed and taken."""
    for column, text in cells.items():
        field = page.locator(f'input[id*=\'"column":"{column}"\']').first
        if field.get_attribute("aria-haspopup") == "listbox":
            field.click()
            page.locator('[role="option"]:visible', has_text=text).first.click()
        else:
            field.fill(text)


def save_one(page: Any, *, said: str) -> None:
    """Sign the form and register."""
    page.locator("#one-by").fill("R. Vale")
    page.locator("#one-save").click()
    page.locator("#one-said", has_text=said).wait_for()


def test_from_nothing_to_a_coupon_set_by_form(fresh: Any, open_page: Callable[..., Any]) -> None:
    """Each page leads to the next; the set says what it is made of before, and its codes after."""
    page = open_page(fresh, "/register")
    assert "begin with an adhesive" in page.locator("#status").text_content()
    fill(page, adhesive="gel", name="Gel", formulation_version="1", composition_class="acrylic gel")
    page.locator("#one-kept", has_text="Typed, not saved yet.").wait_for()
    save_one(page, said="Adhesive gel is registered by R. Vale")
    page.locator("#one-kept", has_text="Saved.").wait_for()
    page.locator("#on-file", has_text="acrylic gel").wait_for()
    page.locator("#status", has_text="1 adhesive on file.").wait_for()
    page.goto("/register?what=sets")
    page.locator(".first", has_text="made of lots, substrates and environments").wait_for()
    page.goto("/register?what=lots")
    fill(page, lot="G-1", adhesive="gel", cure_hours="2,5")
    page.locator("#one-by").fill("R. Vale")
    page.locator("#one-save").click()
    page.locator(".mantine-InputWrapper-error", has_text="Write 2.5").wait_for()
    fill(page, cure_hours="2.5")
    page.locator("summary", has_text="What else is known").click()
    fill(page, storage="15 °C, dry")
    save_one(page, said="Lot G-1 is registered")
    page.locator("#on-file", has_text="storage 15 °C, dry").wait_for()
    page.goto("/register?what=substrates")
    fill(page, substrate="tile", name="glazed tile", preparation="cleaned", stands_for="object")
    save_one(page, said="Substrate tile")
    page.goto("/register?what=environments")
    fill(page, environment="store", name="store, dark")
    save_one(page, said="Environment store")
    page.goto("/register?what=sets")
    fill(page, set="S1", lot="G-1", substrate="tile", environment="store", protocol="display-dots",
         placed_on="2026-11-20", dots="3", dot_diameter_mm="8", coupons_per_pull="3")  # fmt: skip
    page.locator("#set-plan", has_text="It makes 48 coupons: 2 tests × 8 pulls × 3.").wait_for()
    save_one(page, said="48 coupons with their codes")
    with open_study(fresh.file) as study:
        codes = [line.code for line in shelf_list(study, set_key="S1")]
    assert len(codes) == 48
    shown = page.locator("#one-said").text_content()
    assert all(code in shown for code in codes)


def test_a_pasted_block_is_named_in_place_then_taken(fresh: Any, open_page: Callable[..., Any]) -> None:
    """A wrong cell is marked where it stands and said in text; nothing is saved until all are right."""
    page = open_page(fresh, "/register?what=adhesives&by=paste")
    head = "adhesive\tname\tcomposition_class\tformulation_version\tstatus_on\n"
    rows = "gel-a\tGel A\tacrylic gel\t1\t2026-01-05\ngel-b\tGel B\tglue\t1\t5.1.2026\n"
    page.locator("#block-text").fill(head + rows)
    page.locator("#block-check").click()
    page.locator("#block-said", has_text="2 cells need you").wait_for()
    assert page.locator("#block-said .wrong").all_text_contents() == ["glue", "5.1.2026"]
    assert "row 3, Status since: “5.1.2026” is not a date." in page.locator("#block-said li").all_text_contents()[1]
    page.locator("#block-by").fill("R. Vale")
    page.locator("#block-save").click()
    page.locator("#block-said", has_text="nothing is saved").wait_for()
    with open_study(fresh.file) as study:
        assert register_book(study).adhesives == ()
    page.locator("#block-text").fill(head + rows.replace("glue", "other").replace("5.1.2026", "2026-01-05"))
    page.locator("#block-check").click()
    page.locator("#block-said", has_text="2 adhesives can be registered. Nothing is saved yet.").wait_for()
    page.locator("#block-save").click()
    page.locator("#block-said", has_text="are registered by R. Vale").wait_for()
    with open_study(fresh.file) as study:
        assert [a.key for a in register_book(study).adhesives] == ["gel-a", "gel-b"]


def test_a_grid_takes_a_block_and_marks_what_is_wrong(own: Any, open_page: Callable[..., Any]) -> None:
    """A block pasted into the grid, one cell marked, corrected by typing, registered."""
    page = open_page(own, "/register?what=lots&by=grid")
    first = page.locator('.ag-row[row-index="0"] .ag-cell[col-id="lot"]')
    first.click()
    page.evaluate(
        """() => { const data = new DataTransfer();
        data.setData("text/plain", "C-1\\tgel-a\\t2026-01-05\\nC-2\\tgel-a\\t5.1.2026\\n");
        document.activeElement.dispatchEvent(new ClipboardEvent("paste",
          { clipboardData: data, bubbles: true, cancelable: true })); }"""
    )
    page.locator("#grid-pasted", has_text="6 cells pasted, not saved yet.").wait_for()
    page.locator("#grid-check").click()
    page.locator("#grid-said", has_text="row 2, Received on").wait_for()
    wrong = page.locator(".wrong-cell")
    assert wrong.all_text_contents() == ["5.1.2026"]
    wrong.dblclick()
    page.keyboard.press("Control+a")
    page.keyboard.type("2026-01-06")
    page.keyboard.press("Enter")
    page.locator("#grid-by").fill("R. Vale")
    page.locator("#grid-save").click()
    page.locator("#grid-said", has_text="Lots C-1, C-2 are registered").wait_for()
    with open_study(own.file) as study:
        lots = {lot.key: lot for lot in register_book(study).lots}
    assert (lots["C-1"].supplied_on, lots["C-2"].supplied_on) == (date(2026, 1, 5), date(2026, 1, 6))


def test_acts_on_the_register_ask_for_a_reason(own: Any, open_page: Callable[..., Any]) -> None:
    """A status without a reason is refused; with one it stands in the list."""
    page = open_page(own, "/register?what=adhesives")
    page.locator("summary", has_text="Change its status").click()
    for field, words in (("#status-key", "wax-w"), ("#status-to", "withdrawn")):
        page.locator(field).click()
        page.locator('[role="option"]:visible', has_text=words).first.click()
    page.locator("#status-by").fill("R. Vale")
    page.locator("#status-save").click()
    page.locator("#act-said", has_text="needs a reason").wait_for()
    page.locator("#status-why").fill("It sweats.")
    page.locator("#status-save").click()
    page.locator("#act-said", has_text="wax-w is now withdrawn").wait_for()
    page.locator("#on-file", has_text="withdrawn since").wait_for()


def scan(page: Any, code: str) -> None:
    """A scanner: the code without its dash and Enter, at once, to whatever has the focus."""
    page.keyboard.type(code.replace("-", "").lower())
    page.keyboard.press("Enter")


def waiting(file: Any, state: str = "due") -> list[str]:
    """Codes that wait on the demo's day."""
    with open_study(file) as study:
        return [code for pull in due_pulls(study, on=TODAY) if pull.state == state for code in pull.codes]


def test_a_pull_is_scanned_and_recorded(own: Any, open_page: Callable[..., Any]) -> None:
    """Scans tick at once, survive leaving the page, refuse what is not on the list, and are recorded under one name."""
    codes = waiting(own.file)
    with open_study(own.file) as study:
        later = due_pulls(study, on=TODAY, ahead_days=800)[-1]
    page = open_page(own, "/pull")
    page.locator("tr", has_text="18 months").locator("a", has_text="Scan").click()
    page.locator(".tile").first.wait_for()
    page.locator("#scan:focus").wait_for()
    for code in codes[:3]:
        scan(page, code)
    page.locator("#tally", has_text=f"3 of {len(codes)} scanned, not saved yet.").wait_for()
    scan(page, codes[0])
    page.locator("#scan-said", has_text="scanned already").wait_for()
    scan(page, codes[3][1] + codes[3][0] + codes[3][2:])
    page.locator("#scan-said .loud", has_text=codes[3]).wait_for()
    scan(page, later.codes[0])
    loud = page.locator("#scan-said .loud", has_text=f"is not on this list: destined to {later.pull_label}")
    loud.wait_for()
    assert loud.locator("a").get_attribute("href").endswith(f"{later.codes[0]}&as=pulled+in+error")
    page.locator("nav a", has_text="Recorded").click()
    page.locator("#unsaved", has_text="3 coupons are scanned and not saved yet").wait_for()
    page.locator("nav a", has_text="Scan").click()
    page.locator("#tally", has_text="3 of 17 scanned, not saved yet.").wait_for()
    assert page.locator('.tile[aria-pressed="true"]').all_text_contents() == codes[:3]
    page.locator(".tile", has_text=codes[2]).click()
    page.locator("#tally", has_text="2 of 17").wait_for()
    page.locator("#scan-save").click()
    page.locator("#scan-said", has_text="Nobody's name stands under this act").wait_for()
    page.locator("#pull-by").fill("R. Vale")
    page.locator("#scan-save").click()
    page.locator("#scan-said", has_text="2 coupons are recorded as pulled").wait_for()
    page.locator("#tally", has_text="0 of 15 scanned").wait_for()
    with open_study(own.file) as study:
        pulled = fetch_pulls(study)
    assert [(pulled[code].kind, pulled[code].on) for code in codes[:2]] == [("pulled", TODAY)] * 2
    assert codes[2] not in pulled


def test_a_piece_is_scanned_by_its_own_mark(own: Any, open_page: Callable[..., Any]) -> None:
    """Where the laboratory's own mark stands on the piece, the tile shows it and its scan ticks the coupon."""
    cells = {"set": "GB-ACR", "test": "hold-angle", "pull": "18 months", "own_mark": "AB-012"}
    with open_study(own.file) as study:
        (code,) = register_one(study, "coupons", cells, signature=OTHER).keys
    page = open_page(own, "/pull?view=scan")
    page.locator(".tile", has_text="AB-012").wait_for()
    page.locator("#scan:focus").wait_for()
    scan(page, "ab 012")
    page.locator("#scan-said", has_text=f"{code} scanned.").wait_for()
    assert page.locator('.tile[aria-pressed="true"]').get_attribute("data-code") == code


def test_an_overdue_pull_asks_for_a_note(own: Any, open_page: Callable[..., Any]) -> None:
    """Only outside its window is the deviation asked; the scans stay meanwhile."""
    code = waiting(own.file, "overdue")[0]
    page = open_page(own, "/pull?view=scan")
    page.locator(".tile").first.wait_for()
    assert not page.locator("#pull-deviation").is_visible()
    page.locator(".tile", has_text=code).click()
    page.locator("#pull-by").fill("R. Vale")
    page.locator("#scan-save").click()
    page.locator("#scan-said", has_text="14 d after the window").wait_for()
    page.locator("#pull-deviation").fill("The store was closed.")
    page.locator("#scan-save").click()
    page.locator("#scan-said", has_text="1 coupon is recorded").wait_for()
    with open_study(own.file) as study:
        assert fetch_pulls(study)[code].note == "Deviation: The store was closed."


def test_somebody_elses_pull_is_a_conflict(own: Any, open_page: Callable[..., Any]) -> None:
    """What was recorded meanwhile is named with who did it, nothing is overwritten, and the rest can be saved."""
    mine, theirs = waiting(own.file)[:2]
    page = open_page(own, "/pull?view=scan")
    page.locator(".tile").first.wait_for()
    for code in (mine, theirs):
        scan(page, code)
    page.locator("#tally", has_text="2 of 17").wait_for()
    with open_study(own.file) as study:
        record_pulls(study, [theirs], kind="lost", on=date(2026, 11, 23), signature=OTHER)
    page.locator("#pull-by").fill("R. Vale")
    page.locator("#scan-save").click()
    page.locator("#scan-said", has_text="M. Quill").wait_for()
    assert theirs in page.locator("#scan-said li").text_content()
    page.locator("#pull-drop").click()
    page.locator("#tally", has_text="1 of 16 scanned").wait_for()
    page.locator("#scan-save").click()
    page.locator("#scan-said", has_text="1 coupon is recorded").wait_for()
    with open_study(own.file) as study:
        pulled = fetch_pulls(study)
    assert (pulled[mine].kind, pulled[theirs].kind) == ("pulled", "lost")


def test_a_loss_says_its_effect_and_is_found_again(own: Any, open_page: Callable[..., Any]) -> None:
    """The effect stands above the button before anything is written; found again, it says what follows too."""
    code = waiting(own.file)[0]
    page = open_page(own, f"/pull?code={code}&as=lost")
    page.locator("#effect-said", has_text="The 18 months pull then has 4 of 5 pull-off-dot coupons.").wait_for()
    with open_study(own.file) as study:
        assert code not in fetch_pulls(study)
    page.locator('input[id*=\'"act":"by"\']').fill("R. Vale")
    page.locator("#act-save").click()
    page.locator("#act-said", has_text="is recorded as lost").wait_for()
    page.locator("nav a", has_text="Found again, in its placement").click()
    page.locator("#effect-said", has_text="then has 5 of 5").wait_for()
    page.locator("#act-save").click()
    page.locator("#act-said", has_text="needs a reason").wait_for()
    page.locator('input[id*=\'"act":"why"\']').fill("Behind the rack.")
    page.locator("#act-save").click()
    page.locator("#act-said", has_text="in its placement again").wait_for()
    assert code in waiting(own.file)


def test_a_day_typed_changes_the_effect(own: Any, open_page: Callable[..., Any]) -> None:
    """Pulled in error: the real age follows the day, and a release asks when it was last seen holding."""
    code = waiting(own.file)[0]
    page = open_page(own, f"/pull?code={code}&as=pulled in error")
    day = page.locator('input[id*=\'"act":"on"\']')
    day.fill("2026-09-01")
    day.press("Enter")
    page.locator("#effect-said", has_text="real age of 470 d").wait_for()
    page.goto(f"/pull?code={code}&as=released by itself")
    page.locator('input[id*=\'"act":"seen"\']').fill("2026-11-01")
    page.locator('input[id*=\'"act":"by"\']').fill("R. Vale")
    page.locator("#act-save").click()
    page.locator("#act-said", has_text="released by itself").wait_for()
    with open_study(own.file) as study:
        assert fetch_pulls(study)[code].last_seen_on == date(2026, 11, 1)


def test_two_hundred_coupons_come_and_are_ticked_at_once(large: Any, open_page: Callable[..., Any]) -> None:
    """The list of 200 comes in one answer, and a scan is ticked in the browser; how fast: benchmarks/bench_page.py."""
    page = open_page(large, "/pull")
    last = waiting(large.file)[-1]
    page.locator("a.primary", has_text="Scan the 200 coupons that wait").wait_for()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.post_data or "") if request.method == "POST" else None)
    page.locator("a.primary").click()
    page.locator(".tile", has_text=last).wait_for()
    page.locator("#scan:focus").wait_for()
    scan(page, last)
    page.locator("#tally", has_text="1 of 200 scanned").wait_for()
    assert page.locator(".tile").count() == 200
    assert sum("_pages_content" in one for one in asked) == 1
    assert not any(last in one for one in asked), "a scan waits for no answer"
