"""Instrument files at scale: a trace of 100 000 samples and a logger of three years at ten minutes.

python tests/benchmarks/instrument_files.py
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from study.analysis.climate import Band, climate_summary
from study.analysis.trace import trace_result
from study.intake.climate_file import parse_climate
from study.intake.trace_file import parse_trace

SAMPLES, READINGS = 100_000, 158_000


def trace_text(decimal: str) -> bytes:
    """An invented peel at 1000 Hz with the scatter of a gauge."""
    at = np.arange(SAMPLES) / 1000
    pulled = (at > 2) & (at < 98)
    force = np.where(pulled, 4 + 0.5 * np.sin(at * 5), 0.0) + np.random.default_rng(1).normal(0, 0.005, SAMPLES)
    rows = "\n".join(f"{t:.3f}\t{f:.3f}\t{5 * t:.3f}" for t, f in zip(at.tolist(), force.tolist(), strict=True))
    return ("Time (s)\tForce (N)\tTravel (mm)\n" + rows.replace(".", decimal)).encode()


def logger_text(stamp: str) -> bytes:
    """An invented record in local time, with an error word in it."""
    start, zone = datetime(2022, 1, 1, tzinfo=UTC), ZoneInfo("Europe/Vienna")
    rows = []
    for index in range(READINGS):
        at = (start + timedelta(minutes=10 * index)).astimezone(zone)
        value = "---" if index == READINGS // 2 else f"{20 + index % 50 / 10:.1f}"
        rows.append(f"{at.strftime(stamp)};{value};{45 + index % 70 / 10:.1f};{index % 144}")
    return ("Date time;Temperature (°C);RH (%);Light (lx)\n" + "\n".join(rows)).encode()


def timed(words: str, work: Callable[[], object]) -> None:
    """Print the best of three times of one piece of work, by the clock and by the processor."""
    clock, processor = [], []
    for _ in range(3):
        began, used = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - began)
        processor.append(time.process_time() - used)
    print(f"{words}: {min(clock):.3f} s, of the processor {min(processor):.3f} s", flush=True)


def main() -> None:
    """Make the files, then time reading and reducing them."""
    for decimal in (".", ","):
        content = trace_text(decimal)
        trace = parse_trace(content)
        timed(f"trace of {SAMPLES} samples, decimal {decimal}, read", lambda content=content: parse_trace(content))  # type: ignore[misc]
    timed("trace reduced", lambda: trace_result(
        trace, speed_mm_per_min=300, geometry="180°", width_mm=25, capacity_n=50, window_rule="25–75 mm"
    ))  # fmt: skip
    for stamp in ("%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M"):
        content = logger_text(stamp)
        record = parse_climate(content, zone="Europe/Vienna")
        timed(
            f"logger of {READINGS} rows, {stamp}, read",
            lambda content=content: parse_climate(content, zone="Europe/Vienna"),  # type: ignore[misc]
        )
    bands = {"temperature_c": Band(16, 25), "humidity_percent": Band(40, 60)}
    timed("logger reduced", lambda: climate_summary(record, bands=bands))  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
