"""A reading entered at the bench: its verdict at once, and what it does to the duration."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from study.commands.opening import open_study
from study.commands.read_form import coupon_form
from study.commands.read_history import coupon_history
from study.commands.today import unread_coupons

pytestmark = pytest.mark.browser


def waiting_coupons(file: Any) -> list[Any]:
    """Coupons of the demo that are pulled and lack a residue grade."""
    with open_study(file) as study:
        return [coupon for coupon in unread_coupons(study) if "residue_grade" in coupon.missing]


def field(page: Any, column: str) -> Any:
    """The input of one column of the form."""
    return page.locator(f'input[id*=\'"column":"{column}"\']')


def focused(page: Any, column: str) -> None:
    """Wait until the input of a column has the focus."""
    page.locator(f'input[id*=\'"column":"{column}"\']:focus').wait_for()


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
    page.locator("#verdict", has_text="are saved").wait_for()
    page.goto(f"/read?code={code}")
    row = page.locator("tr", has_text="residue grade")
    row.filter(has_text="R. Vale").wait_for()
    assert row.locator("td").nth(1).text_content() == "4"
    assert field(page, "residue_grade").count() == 0


def test_a_wrong_grade_is_refused_in_place(own: Any, open_page: Callable[..., Any]) -> None:
    """A grade off the scale is refused at its field, and nothing is written."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, "/read")
    enter_residue(page, code, "7")
    page.locator(".mantine-InputWrapper-error").first.wait_for()
    assert "Nothing was saved" in page.locator("#verdict").text_content()
    assert code in [coupon.code for coupon in waiting_coupons(own.file)]


def test_a_refusal_leads_to_its_field(own: Any, open_page: Callable[..., Any]) -> None:
    """Without a name, and with a wrong grade: both are marked, the first has the focus, and mending it unmarks it."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, f"/read?code={code}")
    field(page, "residue_grade").fill("7")
    page.locator(".tell", has_text="off the scale").wait_for()
    page.locator("#read-by").fill("")
    page.keyboard.press("Control+Enter")
    page.locator(".mantine-InputWrapper-error", has_text="Nobody's name").wait_for()
    focused(page, "residue_grade")
    assert page.locator(".mantine-InputWrapper-error", has_text="off the scale").count() == 1
    assert not page.locator(".tell", has_text="off the scale").is_visible(), "said once"
    field(page, "residue_grade").fill("2")
    page.locator(".mantine-InputWrapper-error", has_text="off the scale").wait_for(state="detached")


def test_a_click_before_the_page_listens_cannot_be_lost(own: Any, open_page: Callable[..., Any]) -> None:
    """The button waits: the page comes with it disabled, and enables it once its fields are heard."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, "/read")
    page.evaluate("""() => { window.first = null; new MutationObserver(() => {
      const save = document.getElementById('save');
      if (save && window.first === null) window.first = save.disabled;
    }).observe(document.documentElement, { childList: true, subtree: true }); }""")
    page.locator("#find-code").fill(code)
    page.locator("#find-code").press("Enter")
    page.locator("#save:enabled").wait_for()
    assert page.evaluate("window.first") is True


def test_a_press_is_a_click_also_when_the_page_moves(own: Any, open_page: Callable[..., Any]) -> None:
    """The verdict so far comes in above the button while it is held down: the button moves, the click counts."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, f"/read?code={code}")
    page.locator("#save:enabled").wait_for()
    page.locator("#read-by").fill("R. Vale")
    field(page, "residue_grade").fill("4")
    page.locator("#provisional", has_text="unacceptable").wait_for()
    field(page, "residue_grade").fill("")
    page.locator("#provisional", has_text="unacceptable").wait_for(state="hidden")
    held: list[Any] = []
    page.route("**/_dash-update-component*", lambda route: held.append(route), times=1)
    with page.expect_request("**/_dash-update-component*"):
        field(page, "residue_grade").fill("4")
    page.locator("#save").scroll_into_view_if_needed()
    before = page.locator("#save").bounding_box()
    page.mouse.move(before["x"] + before["width"] / 2, before["y"] + 4)
    page.mouse.down()
    held[0].continue_()
    page.locator("#provisional", has_text="unacceptable").wait_for()
    assert page.locator("#save").bounding_box()["y"] > before["y"] + 8, "the page did not move: this tests nothing"
    page.mouse.up()
    page.locator("#verdict", has_text="are saved").wait_for()


def test_a_press_is_that_button_and_no_other_once(own: Any, open_page: Callable[..., Any]) -> None:
    """By mouse and by finger, where another button slides under it; a disabled one is none, a key is one."""
    page = open_page(own, "/read")
    page.evaluate("""() => { window.clicks = []; for (const name of ["first", "second"]) {
      const button = document.createElement("button");
      button.id = name;
      button.style = `position: fixed; left: 0; top: ${name === "first" ? 300 : 360}px; width: 200px; height: 40px`;
      button.onclick = () => { clicks.push(name); button.textContent = name; };
      document.body.append(button);
    } }""")
    slide = "() => { first.style.top = '360px'; second.style.top = '420px'; first.style.zIndex = 1; }"
    back = "() => { first.style.top = '300px'; second.style.top = '360px'; return clicks.splice(0); }"
    fingers = page.context.new_cdp_session(page)
    touch = lambda kind, *points: fingers.send(  # noqa: E731
        "Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y} for x, y in points]}
    )
    page.mouse.move(50, 380)
    page.mouse.down()
    page.evaluate(slide)
    page.mouse.up()
    assert page.evaluate(back) == ["second"]
    page.evaluate("second.textContent = ''")
    touch("touchStart", (50, 380))
    page.evaluate(slide)
    touch("touchEnd")
    page.locator("#second", has_text="second").wait_for()
    assert page.evaluate(back) == ["second"]
    page.mouse.down()
    page.evaluate("second.disabled = true")
    page.evaluate(slide)
    page.mouse.up()
    assert page.evaluate(back) == []
    page.evaluate("second.disabled = false")
    page.locator("#second").press("Enter")
    page.mouse.click(50, 320)
    page.mouse.down()
    page.mouse.move(50, 380)
    page.mouse.up()
    assert page.evaluate(back) == ["second", "first"]


def test_a_fast_typist_loses_no_key(own: Any, open_page: Callable[..., Any]) -> None:
    """What follows a choice from a list at once lands whole in the next field."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, f"/read?code={code}")
    focused(page, "removal_force")
    for key in ("5.1", "Enter", "N", "Enter", "CF 60 object; AF 40 mount", "Enter", "Enter", "3", "Enter"):
        page.keyboard.press(key) if key == "Enter" else page.keyboard.type(key)
    typed = ("removal_force", "failure_pattern", "residue_grade")
    assert [field(page, column).input_value() for column in typed] == ["5.1", "CF 60 object; AF 40 mount", "3"]


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
        page.locator("#keeping", has_text="NOT saved: the connection was lost.").wait_for()
    finally:
        context.close()


def test_by_keyboard_alone_from_scan_to_verdict(own: Any, open_page: Callable[..., Any]) -> None:
    """A scan opens the coupon, Enter leads through its fields, Ctrl+Enter saves, Enter opens the next of the pull."""
    code, following = (coupon.code for coupon in waiting_coupons(own.file)[:2])
    page = open_page(own, "/read")
    keys = page.keyboard
    page.locator("#find-code:focus").wait_for()
    keys.type(code.lower())
    keys.press("Enter")
    page.locator("h1", has_text=code).wait_for()
    focused(page, "removal_force")
    keys.type("0.52")
    keys.press("Enter")
    keys.type("kgf")
    page.locator("[role=option][data-combobox-selected]", has_text="kgf").wait_for()
    keys.press("Enter")
    focused(page, "failure_pattern")
    page.locator(".tell", has_text="0.52 kgf × 9.80665 N/kgf = 5.0995 N per dot").wait_for()
    keys.type("CF 60 object; AF 30 mount")
    page.locator(".tell", has_text="adds up to 90").wait_for()
    keys.press("Enter")
    keys.press("Shift+Tab")
    keys.press("End")
    for _ in "30 mount":
        keys.press("Backspace")
    keys.type("40 mount")
    page.locator(".tell", has_text="Together 100").wait_for()
    keys.press("Enter")
    keys.press("Enter")
    focused(page, "residue_grade")
    keys.type("4")
    page.locator("#provisional", has_text="Residue: unacceptable").wait_for()
    with open_study(own.file) as study:
        assert coupon_form(study, code).in_force == {}, "a provisional verdict is not saved"
    for _ in ("L, a, b before", "L, a, b after", "and read on"):
        for _ in range(3):
            if page.evaluate("document.activeElement.id") != "read-by":
                keys.press("Enter")
    page.locator("#read-by:focus").wait_for()
    keys.type("R. Vale")
    keys.press("Control+Enter")
    page.locator("#verdict", has_text="Residue: unacceptable").wait_for()
    page.locator("#find-code:focus").wait_for()
    page.locator(".find", has_text="next of this pull").wait_for()
    assert page.locator("#find-code").input_value() == following
    keys.press("Enter")
    page.locator("h1", has_text=following).wait_for()
    assert page.locator("#read-by").input_value() == "R. Vale", "who reads is remembered"
    with open_study(own.file) as study:
        kept = coupon_form(study, code).in_force
        assert set(kept) == {"removal_force", "failure_pattern", "residue_grade"}
        assert kept["removal_force"].lower == pytest.approx(5.0995, abs=1e-4)


def test_the_next_scan_replaces_the_code(own: Any, open_page: Callable[..., Any]) -> None:
    """A scanner types over the code that stands in the field, and what was typed before stays as a draft."""
    first, second = (coupon.code for coupon in waiting_coupons(own.file)[:2])
    page = open_page(own, f"/read?code={first}")
    field(page, "residue_grade").fill("2")
    page.locator("#keeping", has_text="Kept in this browser").wait_for()
    page.locator("#find-code").focus()
    page.keyboard.type(second)
    page.keyboard.press("Enter")
    page.locator("h1", has_text=second).wait_for()
    assert field(page, "residue_grade").input_value() == ""
    page.goto(f"/read?code={first}")
    page.locator("#draft-said", has_text="not saved yet").wait_for()
    assert field(page, "residue_grade").input_value() == "2"


def test_a_lost_connection_loses_nothing_and_saves_once(own: Any, browser: Any) -> None:
    """The answer to a save is lost on its way: the page says so, the same attempt is sent again and enters once."""
    code = waiting_coupons(own.file)[0].code
    context = browser.new_context(base_url=own.url)
    try:
        page = context.new_page()
        page.goto(f"/read?code={code}")
        field(page, "residue_grade").fill("2")
        page.locator("#read-by").fill("R. Vale")
        page.locator("#provisional", has_text="Residue").wait_for()

        def lose_the_answer(route: Any) -> None:
            if '"send.data"' in (route.request.post_data or ""):
                route.fetch()
            route.abort()

        page.route("**/_dash-update-component*", lose_the_answer)
        page.locator("#save").click()
        page.locator("#keeping", has_text="NOT saved: the connection was lost.").wait_for()
        page.locator("#lost").wait_for()
        page.unroute("**/_dash-update-component*")
        page.locator("#save").click()
        page.locator("#verdict", has_text="saved").wait_for()
        page.locator("#lost").wait_for(state="detached")
        page.goto(f"/read?code={code}")
        page.locator("h1", has_text=code).wait_for()
        assert page.locator("#draft-said").text_content() == ""
    finally:
        context.close()
    with open_study(own.file) as study:
        told = [one for one in coupon_history(study, code) if one.what == "read"]
        assert [(one.about, one.new) for one in told] == [("residue grade", "2")]


def test_a_question_is_answered_in_place(own: Any, open_page: Callable[..., Any]) -> None:
    """510 N is asked about; nothing typed is lost, and one button saves it with the answer."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, f"/read?code={code}")
    field(page, "removal_force").fill("510")
    page.locator("#marks", has_text="Will be asked").wait_for()
    field(page, "residue_grade").fill("1")
    page.locator("#read-by").fill("R. Vale")
    page.keyboard.press("Control+Enter")
    page.locator("#verdict", has_text="Nothing was saved yet").wait_for()
    assert field(page, "residue_grade").input_value() == "1"
    page.locator("#verdict .message:focus").wait_for()
    page.keyboard.press("Tab")
    page.get_by_role("button", name="It is as typed: save it").press("Enter")
    page.locator("#verdict", has_text="are saved").wait_for()
    page.locator(".mark", has_text="unusual, kept as typed").wait_for()


def test_two_people_at_one_cell(own: Any, open_page: Callable[..., Any]) -> None:
    """The second is told what stands there and who entered it; nothing is overwritten, nothing typed is lost."""
    code = waiting_coupons(own.file)[0].code
    first, second = (open_page(own, f"/read?code={code}") for _ in range(2))
    for page, name, grade in ((first, "R. Vale", "1"), (second, "M. Quill", "4")):
        field(page, "residue_grade").fill(grade)
        page.locator("#read-by").fill(name)
        page.locator("#save").click()
        page.locator("#verdict .message").wait_for()
    said = second.locator(".mantine-InputWrapper-error", has_text="in the study already")
    said.wait_for()
    assert "“1”, entered by R. Vale on " in said.text_content()
    assert field(second, "residue_grade").input_value() == "4"
    with open_study(own.file) as study:
        assert coupon_form(study, code).in_force["residue_grade"].typed == "1"


def test_a_correction_shows_its_effect_first(own: Any, open_page: Callable[..., Any]) -> None:
    """What moves is shown before it can be confirmed; another value hides it again; then it stands in the history."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, f"/read?code={code}")
    field(page, "residue_grade").fill("1")
    page.locator("#read-by").fill("R. Vale")
    page.locator("#save").click()
    page.locator("#verdict", has_text="are saved").wait_for()
    page.get_by_role("link", name="Correct", exact=True).click()
    page.locator("h1", has_text="Correct residue grade").wait_for()
    assert not page.locator("#confirm").is_visible()
    page.locator("#new-value").fill("5")
    page.locator("#show-effect").click()
    page.locator("#effect", has_text="What it moves").wait_for()
    page.locator("#confirm").wait_for()
    page.locator("#new-value").fill("4")
    page.locator("#confirm").wait_for(state="hidden")
    page.locator("#show-effect").click()
    page.locator("#confirm").wait_for()
    page.locator("#correct-by").fill("R. Vale")
    page.locator("#correct-why").fill("Misread by one.")
    page.locator("#confirm").click()
    page.locator("#corrected", has_text="“1” is superseded by “4”").wait_for()
    page.goto(f"/read?view=history&code={code}")
    row = page.locator("tr", has_text="corrected")
    row.wait_for()
    assert "Misread by one." in row.text_content()


def test_a_wrong_flag_is_corrected_in_one_step(own: Any, open_page: Callable[..., Any]) -> None:
    """What stands beside a reading is there to be changed: its effect is shown, and the history keeps both versions."""
    code = waiting_coupons(own.file)[0].code
    page = open_page(own, f"/read?code={code}")
    field(page, "residue_grade").fill("1")
    page.get_by_text("More about residue").click()
    page.get_by_label("ghost").check()
    page.locator("#read-by").fill("R. Vale")
    page.locator("#save").click()
    page.locator("#verdict", has_text="are saved").wait_for()
    page.get_by_role("link", name="Correct", exact=True).click()
    page.locator("h1", has_text="Correct residue grade").wait_for()
    page.locator("#show-effect").click()
    page.locator("#effect", has_text="Nothing is corrected:").wait_for()
    page.get_by_text("What stands beside it, if that is wrong too").click()
    assert page.get_by_label("ghost").is_checked()
    page.get_by_label("ghost").uncheck()
    page.get_by_label("stain").check()
    field(page, "temperature_c").fill("31,5")
    page.locator("#show-effect").click()
    page.locator("#effect", has_text="What it moves").wait_for()
    page.locator("#correct-by").fill("R. Vale")
    page.locator("#correct-why").fill("It was a stain.")
    page.locator("#confirm").click()
    page.locator("#corrected", has_text="“1” is superseded by “1”, with stain; 31.5").wait_for()
    with open_study(own.file) as study:
        told = coupon_history(study, code)[-1]
        assert (told.old, told.new) == ("1 (ghost)", "1")
        assert told.beside.startswith("stain; 31.5 °C; read at 31.5 °C, outside")


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
