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
from study.cli.demo import write_demo

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
]  # fmt: skip
LONGEST_MS = 60_000
"""Estimates of the whole demo are worked out once a session; two slow cores need a while."""


@dataclass(frozen=True)
class Demo:
    """The demo study file and the day it takes for today."""

    file: Path
    today: date


@dataclass(frozen=True)
class Served:
    """A study served at an address."""

    file: Path
    url: str


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
def demo(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """The demo study, written once by the ordinary commands."""
    file = tmp_path_factory.mktemp("demo") / "dwellbook-demo.sqlite"
    return Demo(file, write_demo(file))


@contextmanager
def serving(file: Path, today: date) -> Iterator[Served]:
    """A study served on a free port of this machine."""
    app = create_app(file, today=lambda: today, demo_note="A demonstration: every number here is invented.")
    server = werkzeug.serving.make_server("127.0.0.1", 0, app.server, threaded=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield Served(file, f"http://127.0.0.1:{server.server_port}")
    finally:
        server.shutdown()
        thread.join(5)
        server.server_close()


@pytest.fixture
def contexts() -> list[tuple[str, Any]]:
    """The windows that a test opened, each with the address it was opened on."""
    return []


@pytest.fixture
def serve_file(contexts: list[tuple[str, Any]]) -> Callable[[Path, date], Any]:
    """Serves any study file for a while; for tests that begin with one of their own."""

    @contextmanager
    def served_for_a_while(file: Path, today: date) -> Iterator[Served]:
        with serving(file, today) as running:
            yield running
            # Windows end before their server: a request on its way would be counted as a fault of the page.
            for url, context in contexts:
                if url == running.url:
                    context.close()

    return served_for_a_while


@pytest.fixture(scope="session")
def served(demo: Demo) -> Iterator[Served]:
    """The demo study as it is; tests that write take ``own``."""
    with serving(demo.file, demo.today) as running:
        yield running


@pytest.fixture
def own(demo: Demo, tmp_path: Path) -> Iterator[Served]:
    """A copy of the demo study that a test may write to."""
    copy = tmp_path / "own.sqlite"
    shutil.copy(demo.file, copy)
    with serving(copy, demo.today) as running:
        yield running


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
def open_page(browser: Any, contexts: list[tuple[str, Any]]) -> Iterator[Callable[..., Any]]:
    """Opens a page of a served study; at the end no console error and no request elsewhere may have happened."""
    faults: list[str] = []
    strays: list[str] = []

    def opened(served: Served, path: str, *, width: int = 1280, scheme: str = "light") -> Any:
        context = browser.new_context(
            base_url=served.url, locale="en-GB", timezone_id="UTC", reduced_motion="reduce",
            viewport={"width": width, "height": 900}, color_scheme=scheme,
        )  # fmt: skip
        contexts.append((served.url, context))
        context.set_default_timeout(LONGEST_MS)
        context.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        context.on("weberror", lambda fault: faults.append(str(fault.error)))

        def gate(route: Any) -> None:
            if route.request.url.startswith((served.url, "data:", "blob:")):
                route.continue_()
            else:
                strays.append(route.request.url)
                route.abort()

        context.route("**/*", gate)
        page = context.new_page()
        page.goto(path)
        page.locator("#status").filter(has_not_text="Working out").wait_for()
        return page

    yield opened
    for _, context in contexts:
        context.close()
    assert not strays, strays
    assert not faults, faults
