"""The bench at scale: the verdict while typing, the grid and the scanning of a pull of 200, among 25 000 coupons.

python tests/benchmarks/bench_page.py [--coupons 25000]

Server side: what the browser adds is measured by the browser tests.
"""

from __future__ import annotations

import argparse
import importlib.util
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from plotly.io.json import to_json_plotly

from dashboard.book import Book
from dashboard.pages import pull, read
from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read import record_reading
from study.commands.read_try import get_ready, try_reading
from study.commands.register import register_one
from study.commands.shelf import shelf_list
from study.model.person import Signature

VERDICT_S, GRID_S = 0.2, 1.0
SIGNATURE = Signature(by="R. Vale", at=datetime(2026, 6, 2, 9, tzinfo=UTC), why="Benchmark.")
PULLED, READ = date(2024, 4, 15), date(2024, 4, 16)


def _shelf(folder: Path, coupons: int) -> Path:
    """The shelf of the import benchmark: one way to make a large study serves both."""
    spec = importlib.util.spec_from_file_location("imports", Path(__file__).with_name("imports.py"))
    assert spec is not None
    assert spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return Path(module.shelf(folder, coupons))


def _told(name: str, budget_s: float, times: int, do: Callable[[], object]) -> None:
    took = []
    for _ in range(times):
        start = time.perf_counter()
        do()
        took.append(time.perf_counter() - start)
    middle = statistics.median(took)
    state = "within" if middle < budget_s else "BEYOND"
    print(f"{name:<44} {middle * 1000:6.0f} ms, worst {max(took) * 1000:6.0f} ({middle / budget_s:4.0%}): {state}")


def main() -> None:
    """Make the study, then time each of them in this process."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--coupons", type=int, default=25_000)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        path = _shelf(Path(name), given.coupons)
        with open_study(path) as study:
            cells = {
                "set": "grid", "lot": "L", "substrate": "s", "environment": "room", "protocol": "display-dots",
                "placed_on": "2024-01-15", "dot_diameter_mm": "8", "dots": "3",
            }  # fmt: skip
            register_one(study, "sets", cells, signature=SIGNATURE)
            for test in ("pull-off-dot", "hold-angle"):
                entry = {"set": "grid", "test": test, "pull": "3 months", "count": "100"}
                register_one(study, "coupons", entry, signature=SIGNATURE)
            codes = [line.code for line in shelf_list(study, set_key="grid")]
            record_pulls(study, codes, kind="pulled", on=PULLED, signature=SIGNATURE)
            for code in codes[1:6]:
                record_reading(study, code, {"removal_force": "5 N"}, read_on=READ, signature=SIGNATURE)
            get_ready()
            typed = {"removal_force": "5.1", "force_unit": "N", "residue_grade": "1"}
            _told(
                "verdict while typing", VERDICT_S, 30,
                lambda: try_reading(study, codes[0], typed, read_on=READ, signature=SIGNATURE),
            )  # fmt: skip
            cells |= {"set": "waits", "placed_on": "2024-02-01", "coupons_per_pull": "100"}
            register_one(study, "sets", cells, signature=SIGNATURE)
        book = Book(study_file=path, today=lambda: date(2024, 5, 1))
        _told("the 200 coupons of a pull, to be scanned", GRID_S, 7, lambda: _scanned(book))
        _told("grid of a pull of 200 coupons", GRID_S, 7, lambda: _sent(book, codes))


def _sent(book: Book, codes: list[str]) -> str:
    """The grid's page as it goes to the browser, with every coupon in it."""
    text = str(to_json_plotly(read.layout(book, view="pull", set="grid", pull="3 months")))
    assert all(f'"{code}"' in text for code in codes)
    return text


def _scanned(book: Book) -> str:
    """The page on which a pull is scanned, as it goes to the browser."""
    text = str(to_json_plotly(pull.layout(book, view="scan", set="waits", pull="3 months")))
    assert "200 coupons" in text, text[:400]
    return text


if __name__ == "__main__":
    main()
