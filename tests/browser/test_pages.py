"""Every page, at both widths and in both schemes: whole, quiet, reachable, and nothing leaves the machine."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.browser

PAGES = {
    "today": "/",
    "plan": "/plan",
    "labels": "/register?what=sets&labels=all",
    "register": "/register",
    "register in a grid": "/register?what=sets&by=grid",
    "register by paste": "/register?what=lots&by=paste",
    "pull": "/pull?ahead=366",
    "pull by scanning": "/pull?view=scan",
    "a loss": "/pull?code=EF9P-Y&as=lost",
    "lamps and racks": "/pull?view=happened",
    "maker and protocol": "/pull?view=changed",
    "pulls recorded": "/pull?view=recorded",
    "read": "/read",
    "one coupon": "/read?code=7DK3-K",
    "a correction": "/read?view=correct&code=7DK3-K&kind=residue_grade",
    "a pull in a grid": "/read?view=pull&set=GB-ACR&pull=18+months",
    "force traces": "/read?view=trace",
    "instruments": "/register?what=instruments",
    "pairings": "/analyse",
    "one pairing": "/analyse?pairing=P02",
    "durations": "/decide",
    "one duration": "/decide?pairing=P02",
}


@pytest.mark.parametrize("path", PAGES.values(), ids=PAGES.keys())
def test_page_is_whole(served: Any, open_page: Callable[..., Any], whole: Callable[[Any], None], path: str) -> None:
    """The page fits its width, takes the scheme of the machine, offers no sharing, and axe finds nothing."""
    page = open_page(served, path)
    if "/analyse?" in path:
        page.locator("#share .main-svg").first.wait_for()
        page.locator("#decline .main-svg").first.wait_for()
    if "by=grid" in path or "view=pull" in path:
        page.locator(".ag-row").first.wait_for()
    whole(page)
    assert page.locator("h1").count() == 1
    assert page.locator('.modebar-btn[data-title^="Share"]').count() == 0


def test_scheme_is_switched_and_kept(served: Any, open_page: Callable[..., Any]) -> None:
    """The switch turns page and figures dark, and the next page remembers it."""
    page = open_page(served, "/analyse?pairing=P02")
    paper = page.locator("#decline .main-svg").first
    paper.wait_for()
    assert paper.evaluate("part => part.style.background") == "rgb(255, 255, 255)"
    page.locator("#scheme").click()
    page.locator('#decline .main-svg[style*="rgb(27, 33, 39)"]').first.wait_for()
    page.goto("/decide")
    page.locator("h1").wait_for()
    assert page.evaluate("document.documentElement.dataset.mantineColorScheme") == "dark"
    shown = page.locator("table.ribbons img.only-dark").first
    shown.wait_for()
    assert not page.locator("table.ribbons img.only-light").first.is_visible()


def test_keyboard_reaches_the_work(served: Any, open_page: Callable[..., Any]) -> None:
    """The first tab stop jumps over the rail, the next ones are the job words in order."""
    page = open_page(served, "/")
    page.locator("nav a").first.wait_for()
    words = []
    for _ in range(9):
        page.keyboard.press("Tab")
        words.append(page.evaluate("document.activeElement.textContent"))
    assert words[0] == "Skip to the work"
    assert [word.split(" (")[0] for word in words[1:]] == [
        "Today",
        "Plan",
        "Register",
        "Pull",
        "Read",
        "Analyse",
        "Decide",
        "Display",
    ]


def test_every_pairing_opens_from_its_ribbon(served: Any, open_page: Callable[..., Any]) -> None:
    """A ribbon has words for those who cannot see it, and its pairing is one click away."""
    page = open_page(served, "/analyse")
    page.locator("table.ribbons tbody tr").first.wait_for()
    first = page.locator("table.ribbons tbody tr").first
    assert "Pulls: " in first.locator("img.only-light").get_attribute("alt")
    title = first.locator("a").text_content()
    first.locator("a").click()
    page.locator("h1", has_text=title).wait_for()
    page.locator("#share .main-svg").first.wait_for()
    assert page.locator(".choices a").count() >= 3
