"""A laboratory's sheet in the browser: chosen, understood, answered, imported; the layout there for the next one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from study.commands.opening import open_study
from study.commands.today import unread_coupons

pytestmark = pytest.mark.browser


def lab_sheet(file: Path, to: Path, force: str = "5,{}2") -> Path:
    """Readings of the demo's waiting coupons as a laboratory writes them."""
    with open_study(file) as study:
        codes = [c.code for c in unread_coupons(study) if "removal_force" in c.missing]
    rows = [f"{code};24/11/2026;{force.format(n)};AF;object;1" for n, code in enumerate(codes)]
    to.write_text("\n".join(["Specimen;Date tested;Peel force (N);Failure mode;Side;Residue", *rows]) + "\n", "utf-8")
    return to


def choose(page: Any, file: Path) -> None:
    page.locator('#sheet-file input[type="file"]').set_input_files(str(file))
    page.locator("#sheet-chosen", has_text="not read yet").wait_for()
    page.get_by_role("button", name="Look at the sheet").click()


def test_a_sheet_is_asked_about_imported_and_its_layout_remembered(
    own: Any, open_page: Callable[..., Any], tmp_path: Path
) -> None:
    """One question, one answer, one button; afterwards the readings are there and the layout can be chosen."""
    page = open_page(own, "/read?view=import")
    choose(page, lab_sheet(own.file, tmp_path / "lab.csv"))
    page.get_by_role("radio", name="0 to 5, 0 is clean").check()
    page.get_by_role("button", name="Go on with these answers").click()
    page.get_by_label("Imported by").fill("R. Vale")
    page.get_by_label("Remember the layout as").fill("bench")
    page.get_by_role("button", name="Import 9 readings").click()
    page.locator(".message.fine", has_text="9 readings of 3 coupons are saved").wait_for()
    page.goto("/read?view=import")
    page.locator("#sheet-layout").click()
    page.get_by_role("option", name="bench").wait_for()
    with open_study(own.file) as study:
        assert not [c for c in unread_coupons(study) if "removal_force" in c.missing]


def test_a_fault_stands_in_its_cell(own: Any, open_page: Callable[..., Any], tmp_path: Path) -> None:
    """A word where a number should be is named above and in the first rows; there is no import button."""
    page = open_page(own, "/read?view=import")
    choose(page, lab_sheet(own.file, tmp_path / "lab.csv", force="strong {}"))
    page.locator(".cell-fault").first.wait_for()
    page.locator(".message.harm", has_text="to put right in the file").wait_for()
    assert page.get_by_role("button", name="Import").count() == 0


def test_the_file_field_has_a_name_and_the_keyboard_reaches_it(own: Any, open_page: Callable[..., Any]) -> None:
    """Tab comes to a field called File; rows can be pasted without any file."""
    page = open_page(own, "/read?view=import")
    field = page.get_by_label("File", exact=True)
    field.focus()
    assert page.evaluate("document.activeElement.type") == "file"
    page.get_by_text("Or paste the rows").click()
    page.get_by_label("Rows").fill("coupon;read_on;residue_grade\nQQQQ-Q;2026-11-24;1")
    page.get_by_role("button", name="Look at the sheet").click()
    page.locator(".message.harm", has_text="QQQQ-Q").wait_for()
