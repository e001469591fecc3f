"""A whole pull in a grid: a block pasted, its wrong cell named in place and in words, saved once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read_form import coupon_form
from study.commands.read_grid import pull_grid, waiting_pulls
from study.commands.read_history import coupon_history
from study.commands.today import unread_coupons
from study.model.person import Signature

pytestmark = pytest.mark.browser
BLOCK = [["5.1", "N", "AF", "object"], ["5.3", "N", "AF", "object"], ["0.52", "kgf", "CF", "object"],
         ["4.9 stone", "", "AF", "mount"], ["5.0", "N", "AF", "object"]]  # fmt: skip
PASTE = """([selector, text]) => {
  const data = new DataTransfer();
  data.setData('text/plain', text);
  document.querySelector(selector).dispatchEvent(
    new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true }));
}"""


@pytest.fixture
def whole_pull(own: Any, demo: Any) -> tuple[str, list[str]]:
    """The pull that the demo left half done, all of it off now: its address, and its dot coupons that are unread."""
    moment = datetime.combine(demo.today, datetime.min.time()).astimezone()
    signature = Signature("R. Vale", moment, "For the test.")
    with open_study(own.file) as study:
        pull = waiting_pulls(study)[0]
        left = pull_grid(study, set_key=pull.set_key, pull=pull.pull)
        pulled = {row.coupon.code for row in left.rows}
        rows = study.rows("SELECT code FROM coupons WHERE set_key = :key AND pull_label = :pull ORDER BY rowid",
                          key=pull.set_key, pull=pull.pull)  # fmt: skip
        codes = [row["code"] for row in rows if row["code"] not in {*pulled, *left.gone}]
        record_pulls(study, codes, kind="pulled", on=demo.today, signature=signature)
        dots = [row.coupon.code for row in pull_grid(study, set_key=pull.set_key, pull=pull.pull).rows
                if row.coupon.test == "pull-off-dot"]  # fmt: skip
    return f"/read?view=pull&set={pull.set_key}&pull={pull.pull}", dots


def cell(page: Any, code: str, column: str) -> Any:
    """One cell of the grid."""
    return page.locator(f'.ag-row[row-id="{code}"] [col-id="{column}"]')


def paste(page: Any, code: str, column: str, block: list[list[str]]) -> None:
    """A block of a spreadsheet pasted at a cell."""
    cell(page, code, column).click()
    page.evaluate(PASTE, [".ag-cell-focus", "\n".join("\t".join(line) for line in block) + "\n"])


def test_a_block_is_pasted_mended_and_saved_once(
    own: Any, whole_pull: tuple[str, list[str]], open_page: Callable[..., Any]
) -> None:
    """5 coupons by 4 cells with one wrong unit: marked, told with coupon and column, mended, saved in one change."""
    address, codes = whole_pull
    assert len(codes) >= 5
    page = open_page(own, address)
    paste(page, codes[0], "removal_force", BLOCK)
    page.locator("#pull-keeping", has_text="20 cells pasted").wait_for()
    problem = page.locator("#pull-problems li", has_text=codes[3])
    problem.wait_for()
    assert "Removal force" in problem.text_content()
    page.locator(f'.ag-row[row-id="{codes[3]}"] [col-id="removal_force"].wrong-cell').wait_for()
    page.locator("#pull-read-by").fill("R. Vale")
    page.locator("#pull-save").click()
    page.locator("#pull-said", has_text="Nothing was saved").wait_for()
    with open_study(own.file) as study:
        assert all(coupon_form(study, code).in_force == {} for code in codes[:5])
    cell(page, codes[3], "removal_force").dblclick()
    page.keyboard.press("Control+A")
    page.keyboard.type("4.9 N")
    page.keyboard.press("Enter")
    page.locator("#pull-problems li").wait_for(state="detached")
    page.locator("#pull-save").click()
    page.locator("#pull-said", has_text="Readings of 5 coupons are saved.").wait_for()
    page.locator("#pull-keeping", has_text="Nothing typed yet.").wait_for()
    page.locator(f'.ag-row[row-id="{codes[0]}"] [col-id="removal_force"].read-already').wait_for()
    # The room said anew is for the coupons still to be read: what is saved is not tried again.
    with page.expect_response(lambda answer: "pull-problems" in (answer.request.post_data or "")):
        page.get_by_label("Humidity").first.fill("51")
        page.keyboard.press("Tab")
    page.wait_for_timeout(300)
    assert page.locator("#pull-problems").text_content() == ""
    with open_study(own.file) as study:
        changes = {one.change for code in codes[:5] for one in coupon_history(study, code) if one.what == "read"}
        assert len(changes) == 1
        assert coupon_form(study, codes[2]).in_force["removal_force"].unit == "kgf"


def test_a_block_that_names_its_coupons_finds_them(
    own: Any, whole_pull: tuple[str, list[str]], open_page: Callable[..., Any]
) -> None:
    """Lines and header in another order, one coupon of elsewhere, one named twice: each value where it belongs."""
    address, codes = whole_pull
    page = open_page(own, address)
    block = [["Residue", "Coupon", "Removal force", "Halo"], ["1", codes[2].lower(), "5.2 N", "3"],
             ["0", codes[0], "5.0 N", ""], ["2", "AAAA-3", "5.1 N", ""], ["3", codes[0], "4.0 N", ""]]  # fmt: skip
    paste(page, codes[0], "removal_force", block)
    page.locator(
        "#pull-keeping", has_text="6 cells pasted, each line to the coupon it names. 2 lines left out"
    ).wait_for()
    for code, cells in ((codes[2], ("5.2 N", "1")), (codes[0], ("5.0 N", "0")), (codes[1], ("", ""))):
        for column, text in zip(("removal_force", "residue_grade"), cells, strict=True):
            assert cell(page, code, column).text_content() == text
    halo = "code => dash_ag_grid.getApiAsync('pull-grid').then(api => api.getRowNode(code).data.halo_percent)"
    assert page.evaluate(halo, codes[2]) == "3", "a folded column is filled too"
    # Without a header, the codes before the readings: they take no place of their own.
    paste(page, codes[0], "removal_force", [[codes[1], "4.8 N"], [codes[0], "5.3 N"]])
    page.locator("#pull-keeping", has_text="2 cells pasted, each line to the coupon it names.").wait_for()
    assert [cell(page, code, "removal_force").text_content() for code in codes[:3]] == ["5.3 N", "4.8 N", "5.2 N"]


def test_the_room_above_a_grid_is_told_in_place(
    own: Any, whole_pull: tuple[str, list[str]], open_page: Callable[..., Any]
) -> None:
    """A wrong temperature and a missing name stand at their fields, once; 31,5 is read, and its flag said before."""
    address, codes = whole_pull
    page = open_page(own, address)
    paste(page, codes[0], "residue_grade", [["1"], ["2"], ["0"]])
    room = page.get_by_label("Temperature")
    room.fill("warm")
    page.locator(".mantine-InputWrapper-error", has_text="“warm” is not a number").wait_for()
    assert page.locator("#pull-problems li").count() == 0
    room.fill("31,5")
    page.locator("#pull-problems", has_text="Will be flagged: read at 31.5 °C, outside 18 to 25 °C.").wait_for()
    page.locator("#pull-save").click()
    page.locator(".mantine-InputWrapper-error", has_text="Nobody's name").wait_for()
    page.locator("#pull-read-by:focus").wait_for()
    page.locator("#pull-read-by").fill("R. Vale")
    page.locator(".mantine-InputWrapper-error").wait_for(state="detached")
    page.locator("#pull-save").click()
    page.locator("#pull-said", has_text="Readings of 3 coupons are saved.").wait_for()
    with open_study(own.file) as study:
        assert coupon_form(study, codes[2]).in_force["residue_grade"].details.temperature_c == 31.5


def test_a_cell_that_is_not_asked_takes_nothing(
    own: Any, whole_pull: tuple[str, list[str]], open_page: Callable[..., Any]
) -> None:
    """A block wider than what a coupon is asked leaves the rest out and says how many cells."""
    address, codes = whole_pull
    page = open_page(own, address)
    other = page.locator(".ag-row", has_text="hold-angle").first.get_attribute("row-id")
    paste(page, other, "removal_force", [["5.1"]])
    page.locator("#pull-keeping", has_text="0 cells pasted. 1 cell left out").wait_for()
    assert "not-asked" in cell(page, other, "removal_force").get_attribute("class")
    paste(page, codes[0], "residue_grade", [["1"], ["2"]])
    page.locator("#pull-keeping", has_text="2 cells are typed and not saved.").wait_for()
    page.goto("/read")
    page.locator("h1", has_text="Read a coupon").wait_for()
    page.goto(address)
    page.locator("#pull-keeping", has_text="is back. 2 cells are typed and not saved.").wait_for()
    assert cell(page, codes[1], "residue_grade").text_content() == "2"


def test_a_cell_filled_by_somebody_else_is_named(
    own: Any, whole_pull: tuple[str, list[str]], open_page: Callable[..., Any]
) -> None:
    """Two people at one grid: the second is told who filled the cell and with what, and nothing is overwritten."""
    address, codes = whole_pull
    first, second = (open_page(own, address) for _ in range(2))
    for page, name, grade in ((first, "R. Vale", "1"), (second, "M. Quill", "4")):
        cell(page, codes[0], "residue_grade").click()
        page.keyboard.type(grade)
        page.keyboard.press("Enter")
        page.locator("#pull-keeping", has_text="1 cell is typed").wait_for()
        page.locator("#pull-read-by").fill(name)
        page.keyboard.press("Control+Enter")
        page.locator("#pull-said .message").wait_for()
    conflict = second.locator("#pull-problems li", has_text=codes[0])
    conflict.wait_for()
    assert "“1”, entered by R. Vale on " in conflict.text_content()
    with open_study(own.file) as study:
        assert coupon_form(study, codes[0]).in_force["residue_grade"].typed == "1"
        assert codes[0] in [unread.code for unread in unread_coupons(study)]


def test_commas_of_a_block_are_one_question(
    own: Any, whole_pull: tuple[str, list[str]], open_page: Callable[..., Any]
) -> None:
    """One answer rewrites the decimal commas in their cells; 1,234 is asked apart; the count leads to the questions."""
    address, codes = whole_pull
    page = open_page(own, address)
    paste(page, codes[0], "removal_force", [[text, "N", "AF", "object"] for text in ("5,1", "4,9", "1,234", "5.0")])
    sure = page.get_by_role("button", name="Read them as decimal points")
    sure.wait_for()
    page.locator("#pull-problems", has_text="2 cells have a decimal comma").wait_for()
    page.locator("#pull-count", has_text="3 cells to mend").click()
    page.locator("button:focus", has_text="Read them as decimal points").wait_for()
    page.keyboard.press("Enter")
    sure.wait_for(state="detached")
    assert [cell(page, code, "removal_force").text_content() for code in codes[:4]] == ["5.1", "4.9", "1,234", "5.0"]
    page.locator("#pull-count", has_text="1 cell to mend").wait_for()
    page.get_by_role("button", name="Decimals: 1,234 is 1.234").click()
    page.locator("#pull-count").wait_for(state="hidden")
    page.locator("#pull-read-by").fill("R. Vale")
    page.locator("#pull-save").click()
    page.locator("#pull-said", has_text="Readings of 4 coupons are saved.").wait_for()
    with open_study(own.file) as study:
        typed = [coupon_form(study, code).in_force["removal_force"].typed for code in codes[:4]]
    assert typed == ["5.1", "4.9", "1.234", "5.0"]


def test_a_comma_in_a_form_is_asked_in_place(
    own: Any, whole_pull: tuple[str, list[str]], open_page: Callable[..., Any]
) -> None:
    """The form of one coupon rewrites its fields by the answer, and what is in them is saved."""
    _, codes = whole_pull
    page = open_page(own, f"/read?code={codes[0]}")
    force = page.get_by_label("Removal force", exact=True)
    force.fill("5,1 N")
    page.locator("#marks", has_text="1 field has a decimal comma").wait_for()
    page.get_by_role("button", name="Read it as a decimal point").click()
    page.locator("#marks .commas").wait_for(state="detached")
    assert force.input_value() == "5.1 N"
    page.locator("#read-by").fill("R. Vale")
    page.locator("#save").click()
    page.locator("#verdict", has_text="are saved.").wait_for()
    with open_study(own.file) as study:
        assert coupon_form(study, codes[0]).in_force["removal_force"].typed == "5.1 N"
