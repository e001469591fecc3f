"""Headless Chromium on the demo study, with every fault and every stray request caught."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import werkzeug.serving

from dashboard.app import create_app

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]  # fmt: skip
NOTE = "A demonstration: every number here is invented."
LONGEST_MS = 60_000
"""Estimates of the whole demo are worked out once a session; two slow cores need a while."""


@dataclass(frozen=True)
class Served:
    """A study served at an address."""

    file: Path
    url: str


class Address:
    """What is served at one address of this machine; the newest comes first."""

    def __init__(self) -> None:
        self.url = ""
        self.behind: list[Any] = []

    def __call__(self, environ: Any, start_response: Any) -> Any:
        """Answer as the application does that is served now."""
        return self.behind[-1](environ, start_response)

    @contextmanager
    def showing(self, app: Any) -> Iterator[None]:
        """An application served for a while."""
        self.behind.append(app.server)
        try:
            yield
        finally:
            self.behind.remove(app.server)

    @contextmanager
    def serving(self, file: Path, today: date) -> Iterator[Served]:
        """A study served for a while."""
        with self.showing(create_app(file, today=lambda: today, demo_note=NOTE)):
            yield Served(file, self.url)


class Windows:
    """The windows that are open: the first is shared by all tests, others stand in a store of their own.

    Whatever any of them says in its console, and every request to elsewhere, is noted.
    """

    def __init__(self, browser: Any, url: str) -> None:
        self.browser, self.url = browser, url
        self.faults: list[str] = []
        self.strays: list[str] = []
        self.open: list[Any] = []
        self.crashed = False
        self.shared = self._new()

    def another(self, *, width: int, scheme: str) -> Any:
        """A window that remembers nothing."""
        page = self._new() if self.open else self.shared
        if page is self.shared:
            page.goto(f"{self.url}/assets/page.css")
            page.evaluate("localStorage.clear(); sessionStorage.clear()")
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(media="screen", color_scheme=scheme)
        self.open.append(page)
        return page

    def leave(self) -> None:
        """Leave every page: a request on its way when its study ends would be counted as a fault of the page."""
        for page in self.open:
            if page is not self.shared:
                page.context.close()
        if self.crashed:
            self.shared.context.close()
            self.shared, self.crashed = self._new(), False
        self.shared.unroute_all()
        self.shared.goto("about:blank")
        self.open.clear()

    def noted(self) -> tuple[list[str], list[str]]:
        """Faults and stray requests since this was last asked."""
        found = (self.faults[:], self.strays[:])
        self.faults.clear()
        self.strays.clear()
        return found

    def _new(self) -> Any:
        context = self.browser.new_context(
            base_url=self.url, locale="en-GB", timezone_id="UTC", reduced_motion="reduce"
        )
        context.set_default_timeout(LONGEST_MS)
        context.on("console", lambda said: self.faults.append(said.text) if said.type == "error" else None)
        context.on("weberror", lambda fault: self.faults.append(str(fault.error)))
        here = (self.url, "data:", "blob:", "about:")
        context.on("request", lambda asked: None if asked.url.startswith(here) else self.strays.append(asked.url))
        page = context.new_page()
        page.on("crash", self._fell)
        return page

    def _fell(self, page: Any) -> None:
        self.faults.append(f"{page.url} crashed")
        self.crashed = True


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium, or a skip that says how to get it (a failure where REQUIRE_BROWSER is set)."""
    program = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not program:
        missing = "no Chromium on this machine; install it with: apt-get install chromium"
        if os.environ.get("REQUIRE_BROWSER"):
            pytest.fail(missing)
        pytest.skip(missing)
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=program, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def address() -> Iterator[Address]:
    """The address of this worker."""
    here = Address()
    server = werkzeug.serving.make_server("127.0.0.1", 0, here, threaded=True)
    here.url = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield here
    server.shutdown()
    thread.join(5)
    server.server_close()


@pytest.fixture(scope="session")
def windows(browser: Any, address: Address) -> Windows:
    """The windows of this worker."""
    return Windows(browser, address.url)


@pytest.fixture
def serve_file(address: Address, windows: Windows) -> Callable[[Path, date], Any]:
    """Serves any study file for a while; for tests that begin with one of their own."""

    @contextmanager
    def served_for_a_while(file: Path, today: date) -> Iterator[Served]:
        with address.serving(file, today) as running:
            yield running
            windows.leave()

    return served_for_a_while


@pytest.fixture(scope="session")
def served(demo: Any, address: Address) -> Iterator[Served]:
    """The demo study as it is; tests that write take ``own``."""
    with address.serving(demo.file, demo.today) as running:
        yield running


@pytest.fixture
def own(demo: Any, address: Address, windows: Windows, tmp_path: Path) -> Iterator[Served]:
    """A copy of the demo study that a test may write to."""
    copy = tmp_path / "own.sqlite"
    shutil.copy(demo.file, copy)
    with address.serving(copy, demo.today) as running:
        yield running
        windows.leave()


@pytest.fixture
def whole() -> Callable[[Any], None]:
    """Looks at an open page on a desk and on a tablet, in the light and in the dark.

    Each width and each scheme once: a fault of a width hardly ever shows in one scheme alone.
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")

    def looked_at(page: Any) -> None:
        for width, scheme, ground in ((1280, "light", "rgb(251, 250, 247)"), (820, "dark", "rgb(20, 24, 28)")):
            where = f"{page.url} {width} {scheme}"
            page.set_viewport_size({"width": width, "height": 900})
            page.emulate_media(color_scheme=scheme)
            page.locator(f'html[data-mantine-color-scheme="{scheme}"]').wait_for()
            assert page.evaluate("getComputedStyle(document.body).backgroundColor") == ground, where
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), where
            found = axe.Axe().run(page).response["violations"]
            assert [(fault["id"], [node["target"] for node in fault["nodes"]][:3]) for fault in found] == [], where

    return looked_at


@pytest.fixture
def open_page(windows: Windows) -> Iterator[Callable[..., Any]]:
    """Opens a page of a served study; at the end no console error and no request elsewhere may have happened."""

    def opened(served: Served, path: str, *, width: int = 1280, scheme: str = "light") -> Any:
        page = windows.another(width=width, scheme=scheme)
        page.goto(f"{served.url}{path}")
        page.locator("#status").filter(has_not_text="Working out").wait_for()
        return page

    yield opened
    windows.leave()
    faults, strays = windows.noted()
    assert not strays, strays
    assert not faults, faults
