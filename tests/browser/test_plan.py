"""From nothing to printed labels, and a wrong pull absorbed: planning and replanning as a person does it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import zxingcpp

from study.commands.opening import begin_study, open_study
from study.commands.pull import due_pulls
from study.commands.register import register_one
from study.commands.shelf import register_book, shelf_list
from study.model.person import Signature

pytestmark = pytest.mark.browser

TODAY = date(2026, 11, 24)
DUE = date(2025, 4, 15)
SIGNATURE = Signature(by="M. Quill", at=datetime(2025, 4, 15, 8, tzinfo=UTC), why="For the test.")
NOUNS = {
    "adhesives": "adhesive\tname\tcomposition_class\tformulation_version\ngel\tGel\tacrylic gel\t1\n",
    "lots": "lot\tadhesive\nG-1\tgel\n",
    "substrates": "substrate\tname\tpreparation\tstands_for\n"
    "sheet\tacrylic sheet\tcleaned\tdisplay surface\ntile\tglazed tile\tcleaned\tobject\n",
    "environments": "environment\tname\nstore\tstore, dark\n",
}


@pytest.fixture(autouse=True)
def in_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trials of a few studies take less time than starting the processes they would be spread over."""
    monkeypatch.setattr("dashboard.plan.support.processes", lambda: 1)


@pytest.fixture
def fresh(browser: Any, tmp_path: Path, serve_file: Callable[..., Any]) -> Iterator[Any]:
    """A study just begun, with nothing in it."""
    file = tmp_path / "fresh.sqlite"
    begin_study(file, institution="An invented museum", signature=SIGNATURE)
    with serve_file(file, TODAY) as running:
        yield running


def field(page: Any, kind: str, key: str) -> Any:
    """The input of one field of the plan."""
    return page.locator(f'input[id*=\'"{kind}":"{key}"\']').first


def name_all(page: Any, key: str, *names: str) -> None:
    """Type names into a list, each with Enter."""
    for name in names:
        field(page, "plan", key).fill(name)
        field(page, "plan", key).press("Enter")
    field(page, "plan", key).press("Tab")


def codes_of(pdf: bytes) -> list[str]:
    """Every code that a decoder reads from a PDF at 300 dots an inch."""
    from pypdfium2 import PdfDocument

    pages = [page.render(scale=300 / 72).to_pil() for page in PdfDocument(pdf)]
    return [found.text for page in pages for found in zxingcpp.read_barcodes(page)]


def test_from_nothing_to_printed_labels(fresh: Any, open_page: Callable[..., Any]) -> None:
    """An empty study is led to a plan, tried out, made after its nouns are pasted, and its labels decode."""
    page = open_page(fresh, "/plan")
    assert "No plan is on file yet" in page.locator("#status").text_content()
    page.locator(".first", has_text="Begin with any names").wait_for()
    name_all(page, "adhesives", "gel")
    name_all(page, "substrates", "sheet", "tile")
    name_all(page, "environments", "store")
    page.locator("#plan-size", has_text="Still to be registered").wait_for()
    field(page, "plan", "pulls").fill("1, 3 and soon")
    page.locator(".mantine-InputWrapper-error", has_text="no time after placing").wait_for()
    field(page, "plan", "pulls").fill("1, 3, 6, 12 months")
    field(page, "plan-test", "pull-off-dot").fill("3")
    field(page, "plan-test", "hold-angle").fill("0")
    page.locator("#plan-size", has_text="4 pulls × (3 pull-off-dot + 0 hold-angle) = 24 test coupons").wait_for()
    page.locator("#plan-size .headline", has_text="62 coupons").wait_for()

    page.locator("#trial-studies").fill("60")
    page.locator("#trial-wanted").fill("3 months")
    page.locator("#trial-show").click()
    page.locator("#trial-answer", has_text="From 60 invented studies, seed 1").wait_for()
    page.locator("#chances .main-svg").first.wait_for()
    page.locator("#trial-tables h3", has_text="Other designs, chance to show 3 months").wait_for()
    page.locator("#trial-tables button", has_text=" 8 at 1, 3").click()
    page.locator("#trial-line", has_text="The form holds 8 coupons a pull").wait_for()
    page.locator("#trial-stale", has_text="has changed since").wait_for()
    field(page, "plan-test", "pull-off-dot").fill("3")
    field(page, "plan-test", "hold-angle").fill("0")
    page.locator("#plan-size .headline", has_text="62 coupons").wait_for()

    page.locator("#plan-by").fill("R. Vale")
    page.locator("#plan-make").click()
    page.locator("#plan-said", has_text="The plan has no name.").wait_for()
    field(page, "plan", "name").fill("first-study")
    page.locator("#plan-keeping", has_text="Typed, not saved yet.").wait_for()
    page.wait_for_timeout(500)
    page.locator("#plan-save").click()
    page.locator("#status", has_text="Plan first-study, saved by R. Vale").wait_for()
    page.locator("#plan-keeping", has_text="Saved.").wait_for()

    # Labels and the map come before anything is registered or placed: the pieces are labelled as they are made.
    page.locator("a", has_text="Print the labels of this plan").click()
    page.locator("#label-count", has_text="62 labels on 3 sheets.").wait_for()
    before = codes_of(page.context.request.get(page.locator("#label-print").get_attribute("href")).body())

    for kind, rows in NOUNS.items():
        page.goto(f"/register?what={kind}&by=paste")
        page.locator("#block-text").fill(rows)
        page.locator("#block-by").fill("R. Vale")
        page.locator("#block-save").click()
        page.locator("#block-said", has_text="registered by R. Vale").wait_for()

    page.goto("/plan?name=first-study")
    page.locator("#plan-size .headline", has_text="62 coupons").wait_for()
    assert page.locator("#plan-size", has_text="Still to be registered").count() == 0
    page.locator("#plan-make").click()
    page.locator("#plan-confirm", has_text="registers 62 coupons in 8 sets, placed on 24").wait_for()
    with open_study(fresh.file) as study:
        assert register_book(study).coupons == 0
    page.locator("#plan-yes").click()
    page.locator("#status", has_text="made: 62 coupons in 8 sets").wait_for()
    for words in ("Shelf map", "Bench sheets of the first pull"):
        address = page.locator("a", has_text=words).get_attribute("href")
        assert page.context.request.get(address).body().startswith(b"%PDF")
    page.locator("a", has_text="Print the labels").click()
    page.locator("#label-count", has_text="62 labels on 3 sheets.").wait_for()
    page.locator("#label-start").fill("99")
    page.locator("#label-said", has_text="is no place of the sheet").wait_for()
    page.locator("#label-start").fill("5")
    page.locator("#label-count", has_text="62 labels on 3 sheets.").wait_for()
    answer = page.context.request.get(page.locator("#label-print").get_attribute("href"))
    with open_study(fresh.file) as study:
        made = [line.code for line in shelf_list(study)]
    assert sorted(codes_of(answer.body())) == sorted(made) == sorted(before)


def test_a_wrong_pull_is_absorbed(
    browser: Any, study_path: Path, serve_file: Callable[..., Any], open_page: Callable[..., Any]
) -> None:
    """Pulled in error, its place given to a spare, and the list of the later pull follows."""
    with open_study(study_path) as study:
        later = due_pulls(study, on=DUE, ahead_days=400)[-1]
        (spare,) = register_one(
            study, "coupons", {"set": later.set_key, "test": "hold-angle"}, signature=SIGNATURE
        ).keys  # fmt: skip
    wrong = later.codes[0]
    with serve_file(study_path, DUE) as running:
        page = open_page(running, f"/pull?code={wrong}&as=pulled in error")
        page.locator("#effect-said", has_text="What follows for the analysis").wait_for()
        page.locator('input[id*=\'"act":"by"\']').fill("R. Vale")
        page.locator("#act-save").click()
        page.locator("#act-said", has_text="is recorded as pulled in error").wait_for()
        page.locator("#place-now", has_text=spare).wait_for()
        page.locator('input[id*=\'"replan":"with"\']').first.click()
        page.locator('[role="option"]:visible', has_text=spare).first.click()
        page.locator('input[id*=\'"replan":"why"\']').fill("The wrong tile came off.")
        page.locator('input[id*=\'"replan":"by"\']').fill("R. Vale")
        page.locator("#replan-save").click()
        page.locator("#act-said", has_text=f"{spare} takes the place").wait_for()
        page.goto("/pull?ahead=366")
        line = page.locator("tr", has_text=later.set_key).filter(has_text=later.pull_label)
        line.locator("a", has_text=spare).wait_for()
        assert line.locator("a", has_text=wrong).count() == 0
        sheet = line.locator("a", has_text="Bench sheet").get_attribute("href")
        assert page.context.request.get(sheet).body().startswith(b"%PDF")


def test_a_draft_waits_and_a_trial_is_stopped(own: Any, open_page: Callable[..., Any]) -> None:
    """What was typed is there again after another page; a long trial ends when it is told to."""
    page = open_page(own, "/plan")
    name_all(page, "adhesives", "gel-b")
    name_all(page, "substrates", "acrylic-sheet")
    name_all(page, "environments", "gallery-dark")
    page.locator("#plan-size .headline").wait_for()
    page.locator("#trial-studies").fill("2000")
    page.locator("#trial-search").click()
    page.locator("#trial-stop").click()
    page.locator("#trial-line", has_text="Stopped.").wait_for()
    page.locator("nav a", has_text="Register").first.click()
    page.locator("h1", has_text="Adhesives").wait_for()
    page.locator("nav a", has_text="Plan").first.click()
    page.locator("#plan-size .headline").wait_for()
    assert page.locator(".names").first.text_content().startswith("Adhesivesgel-b")
