"""Files are chosen, told, attached and refused in place, with the mouse and with the keyboard alone."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import dash_mantine_components as dmc
import pytest
from dash import Dash, html
from PIL import Image

from dashboard.book import Book
from dashboard.components.attachments import attachments_shown, register_attachments
from dashboard.files import serve_files
from dashboard.security import guard
from study.commands.opening import open_study
from study.commands.read_attachments import coupon_attachments
from study.store.coupons import fetch_codes

pytestmark = pytest.mark.browser


@dataclass(frozen=True)
class Bench:
    """One coupon's attachments served alone under the dashboard's guards."""

    url: str
    file: Path
    code: str


@pytest.fixture
def bench(address: Any, study_path: Path, tmp_path: Path) -> Iterator[Bench]:
    """The attachments of the first coupon of the small study."""
    file = Path(shutil.copy(study_path, tmp_path / "own.sqlite"))
    with open_study(file) as study:
        code = fetch_codes(study)[0]
    book = Book(file, today=lambda: date(2026, 3, 2))
    app = Dash("dashboard", assets_folder="assets", suppress_callback_exceptions=True)
    app.layout = lambda: dmc.MantineProvider(
        html.Main([html.H1("Coupon"), html.P("Ready.", id="status"), attachments_shown(book, code)])
    )
    register_attachments(app, book)
    serve_files(app.server, book)
    guard(app.server, script_hashes=app.csp_hashes)
    with address.showing(app):
        yield Bench(address.url, file, code)


def photo(shade: str) -> dict[str, Any]:
    """An invented picture as the chooser hands it over."""
    out = io.BytesIO()
    Image.new("RGB", (900, 700), shade).save(out, "JPEG")
    return {"name": f"{shade}.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def opened(page: Any) -> Any:
    """The form, unfolded."""
    page.locator(".attachments summary").click()
    return page.locator("#attach-files input[type=file]")


def test_files_are_attached_and_refused_in_place(bench: Bench, open_page: Callable[..., Any]) -> None:
    """A cut-off picture is refused beside the button and nothing is kept; then two are attached and shown."""
    page = open_page(bench, "/")
    chooser = opened(page)
    assert page.locator("#attach").is_disabled()
    cut = {**photo("grey"), "name": "cut.jpg", "buffer": photo("grey")["buffer"][:1500]}
    chooser.set_input_files([photo("green"), cut])
    page.locator("#attach-chosen", has_text="Chosen, not attached yet: green.jpg").wait_for()
    page.locator("#attach-by").fill("R. Vale")
    page.locator("#attach").click()
    page.locator("#attached", has_text="“cut.jpg” is damaged").wait_for()
    with open_study(bench.file) as study:
        assert coupon_attachments(study, bench.code) == []
    expect = pytest.importorskip("playwright.sync_api").expect
    chooser.set_input_files([photo("green"), photo("blue")])
    page.locator("#attach-chosen", has_text="blue.jpg").wait_for()
    page.locator("#attach").click()
    page.locator("#attached", has_text="2 files are attached").wait_for()
    assert page.locator(".strip li").count() == 2
    for place in range(2):
        expect(page.locator(".strip img").nth(place)).to_have_js_property("naturalWidth", 320)
    page.locator("#attach-chosen", has_text="No file is chosen").wait_for()
    assert page.locator("#attach").is_disabled()
    page.get_by_text("Take one off").click()
    page.get_by_role("textbox", name="Which").click()
    page.get_by_role("option", name="green.jpg").click()
    page.locator("#detach-by").fill("R. Vale")
    page.locator("#detach-why").fill("Another coupon's.")
    page.locator("#detach").click()
    page.locator("#detached", has_text="green.jpg is taken off").wait_for()
    assert page.locator(".strip li").count() == 1


@pytest.mark.parametrize("key", ["Enter", "Space"])
def test_a_file_is_chosen_with_the_keyboard_alone(bench: Bench, open_page: Callable[..., Any], key: str) -> None:
    """The field is found by its label, is reached by Tab, and both keys open the chooser."""
    page = open_page(bench, "/")
    opened(page)
    page.wait_for_load_state("networkidle")  # an answer that comes later would draw the field anew under the key
    page.locator("#attach-by").focus()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.type") == "file"
    assert page.get_by_label("Files", exact=True).count() == 1
    with page.expect_file_chooser() as chosen:
        page.keyboard.press(key)
    assert chosen.value.is_multiple()


def test_too_much_at_once_is_said_before_it_is_sent(
    bench: Bench, open_page: Callable[..., Any], tmp_path: Path
) -> None:
    """Beyond 25 MB together the button stays shut."""
    page = open_page(bench, "/")
    halves = [tmp_path / "a.txt", tmp_path / "b.txt"]
    for half in halves:
        half.write_bytes(b"a" * 14_000_000)
    opened(page).set_input_files(halves)
    page.locator("#attach-chosen", has_text="more than can be attached at once").wait_for()
    assert page.locator("#attach").is_disabled()
