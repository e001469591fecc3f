"""A reading entered at the bench: its verdict at once, and what it does to the duration."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from study.commands.opening import open_study
from study.commands.today import unread_coupons

pytestmark = pytest.mark.browser


def waiting_coupons(file: Any) -> list[Any]:
    """Coupons of the demo that are pulled and lack a residue grade."""
    with open_study(file) as study:
        return [coupon for coupon in unread_coupons(study) if "residue_grade" in coupon.missing]


def field(page: Any, column: str) -> Any:
    """The input of one column of the form."""
    return page.locator(f'input[id*=\'"column":"{column}"\']')


def enter_residue(page: Any, code: str, grade: str) -> None:
    """Open a coupon by typing its code, type a residue grade and save it under a name."""
    page.locator("#find-code").fill(code.lower())
    page.locator("#find-code").press("Enter")
    page.locator("h1", has_text=code).wait_for()
    field(page, "residue_grade").fill(grade)
    page.locator("#keeping", has_text="Typed, not saved yet.").wait_for()
    page.locator("#read-by").fill("R. Vale")
    page.locator("#save").click()


def test_a_reading_is_entered_and_judged(own: Any, open_page: Callable[..., Any]) -> None:
    """A typed grade is said to be unsaved, then saved, then judged; a second look shows it as read."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, "/read")
    enter_residue(page, code, "4")
    page.locator("#verdict", has_text="Residue: unacceptable").wait_for()
    page.locator("#keeping", has_text="Saved").wait_for()
    page.goto(f"/read?code={code}")
    page.locator("main", has_text="residue grade 4").wait_for()
    assert field(page, "residue_grade").count() == 0


def test_a_wrong_grade_is_refused_in_place(own: Any, open_page: Callable[..., Any]) -> None:
    """A grade off the scale is refused at its field, and nothing is written."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, "/read")
    enter_residue(page, code, "7")
    page.locator(".mantine-InputWrapper-error").first.wait_for()
    assert "Nothing was saved" in page.locator("#verdict").text_content()
    assert code in [coupon.code for coupon in waiting_coupons(own.file)]


def test_a_mistyped_code_is_answered_with_help(own: Any, open_page: Callable[..., Any]) -> None:
    """A code that fails its check character opens no form and says what is wrong."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, f"/read?code={code[1]}{code[0]}{code[2:]}")
    page.locator(".message.harm").wait_for()
    assert "check character" in page.locator(".message.harm").text_content()
    assert page.locator("#save").count() == 0


def test_worse_readings_change_the_duration(own: Any, open_page: Callable[..., Any]) -> None:
    """Bad grades on coupons that were still waiting move the duration of their pairing."""
    waiting = waiting_coupons(own.file)
    pairing = waiting[0].pairing
    page = open_page(own, f"/decide?pairing={pairing}")
    before = page.locator(".hero .outcome").text_content()
    for coupon in waiting:
        page.goto("/read")
        page.locator("#find-code").wait_for()
        enter_residue(page, coupon.code, "5")
        page.locator("#verdict", has_text="Residue: unacceptable").wait_for()
    page.goto(f"/decide?pairing={pairing}")
    page.locator(".hero .outcome").wait_for()
    assert page.locator(".hero .outcome").text_content() != before


def test_the_server_gone_is_said(own: Any, browser: Any) -> None:
    """When the server cannot be reached, a line that stays says that nothing was saved."""
    code = waiting_coupons(own.file)[0].code
    context = browser.new_context(base_url=own.url)
    try:
        page = context.new_page()
        page.goto(f"/read?code={code}")
        field(page, "residue_grade").fill("2")
        page.route("**/_dash-update-component*", lambda route: route.abort())
        page.locator("#save").click()
        page.locator("#lost", has_text="NOT saved").wait_for()
    finally:
        context.close()


def test_a_decision_is_issued(own: Any, open_page: Callable[..., Any]) -> None:
    """A decision needs a reason; with one it is issued under a name and stands at the top of the page."""
    page = open_page(own, "/decide?pairing=P04")
    assert "No decision" in page.locator("#status").text_content()
    page.locator("#issue-by").fill("R. Vale")
    page.locator("#issue").click()
    page.locator("#issued", has_text="needs a reason").wait_for()
    page.locator("#issue-why").fill("36 months read")
    page.locator("#issue").click()
    page.locator("#issued", has_text="is issued").wait_for()
    page.goto("/decide?pairing=P04")
    page.locator("#status", has_text="stands: ").wait_for()
