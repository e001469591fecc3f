"""Climate records and force traces by command, as a person runs them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from study.commands.opening import open_study
from study.store.coupons import fetch_coupons

NASTY = Path(__file__).parent.parent / "intake" / "nasty"


@pytest.fixture
def logger(tmp_path: Path) -> Path:
    """Forty invented days from placement on, two of them missing."""
    rows = ["time,temperature °C,RH %,lux"]
    for hour in range(40 * 24):
        at = datetime(2025, 1, 15) + timedelta(hours=hour)
        if not 480 <= hour < 528:
            rows.append(f"{at:%Y-%m-%d %H:%M},{20 + hour % 3},50,{50 if 9 <= at.hour < 17 else 0}")
    path = tmp_path / "logger.csv"
    path.write_text("\n".join(rows), "utf-8")
    return path


def test_climate_from_preview_to_taking_back(dwellbook: Callable[..., str], study_path: Path, logger: Path) -> None:
    """Shown, kept, listed, summed up for each set, replaced by nothing."""
    said = dwellbook(study_path, "read", "climate", str(logger), "--environment", "store", "--zone", "UTC", "--preview")
    assert "Nothing was written" in said
    assert "light dose at least 0.0152 Mlx h" in said
    assert "In doubt: gap of 2.04 d" in said
    assert "18 to 25 °C, of the protocol's reading room" in said
    assert "No climate record is on file" in dwellbook(study_path, "read", "climates")
    kept = dwellbook(study_path, "read", "climate", str(logger), "--environment", "store", "--zone", "+00:00")
    assert "Kept as climate record 1 of store." in kept
    listed = dwellbook(study_path, "read", "climates")
    assert "logger.csv" in listed
    assert "record 1: gap of 2.04 d" in listed
    of = dwellbook(
        study_path, "read", "climate-of", "--set", "sheet", "--on", "2025-02-24", "--temperature", "20 to 21"
    )
    assert "at least 0.0152" in of
    assert "20 to 21 °C, as asked for" in of
    assert "supporting evidence only" in of
    refused = dwellbook(study_path, "read", "climate", str(logger), "--environment", "store", "--zone", "UTC", status=2)
    assert "record 1 of store already, byte for byte" in refused
    assert "needs a reason" in dwellbook(study_path, "read", "climate-off", "1", status=2)
    assert "is taken back" in dwellbook(study_path, "read", "climate-off", "1", "--why", "Wrong shelf.")
    assert "superseded by R. Vale" in dwellbook(study_path, "read", "climates").replace("\n", " ")


def test_analyse_against_dose_never_decides(dwellbook: Callable[..., str], demo_path: Path, tmp_path: Path) -> None:
    """The readings at the dose of each pull, with the sentence that it is a picture; heat with its caution."""
    rows = ["time,temperature °C,lux"]
    for hour in range(1100 * 24):
        at = datetime(2023, 3, 6) + timedelta(hours=hour)
        rows.append(f"{at:%Y-%m-%d %H:%M},20,{50 if 9 <= at.hour < 17 else 0}")
    (tmp_path / "lit.csv").write_text("\n".join(rows), "utf-8")
    dwellbook(
        demo_path, "read", "climate", str(tmp_path / "lit.csv"), "--environment", "gallery-lit", "--zone", "+00:00"
    )
    said = dwellbook(demo_path, "analyse", "show", "P01", "--against", "dose")
    assert "A picture only: the duration is decided against days, never against light dose" in said
    assert "0.4396" in said, "1099 d of 400 lx h"
    assert "through 45 readings" in said
    heat = dwellbook(demo_path, "analyse", "show", "P01", "--against", "heat")
    assert "1099" in heat
    assert "at most provisional" in heat


def test_a_trace_is_looked_at_then_entered(dwellbook: Callable[..., str], study_path: Path, tmp_path: Path) -> None:
    """Found by its name; written only with --enter; two removals only when split."""
    with open_study(study_path) as study:
        code, other = [c for c, coupon in fetch_coupons(study).items() if coupon.test == "pull-off-dot"][:2]
    dwellbook(study_path, "pull", "record", code, other, "--on", "2025-04-15")
    file = tmp_path / f"{code}.csv"
    file.write_bytes((NASTY / "06-negative-trace.csv").read_bytes())
    test = ("--geometry", "pull-off", "--speed", "15", "--capacity", "50")
    looked = dwellbook(study_path, "read", "trace", str(file), *test)
    assert f"{code}  {code}.csv: 5.102 N" in looked
    assert "Nothing was written" in looked
    entered = dwellbook(study_path, "read", "trace", str(file), *test, "--enter", "--on", "2025-04-16")
    assert f"{code} removal force: 5.102 N, with its trace." in entered
    assert code in dwellbook(study_path, "read", "attachments", code)
    two = str(NASTY / "24-two-removals.csv")
    assert "2 removals" in dwellbook(study_path, "read", "trace", two, *test, "--coupon", other)
    assert "Split the trace" in dwellbook(
        study_path, "read", "trace", two, *test, "--coupon", other, "--enter", status=2
    )
    part = ("--split-at", "4", "--part", "after", "--enter", "--on", "2025-04-16")
    assert "Split at 4 s and took the part after." in dwellbook(
        study_path, "read", "trace", two, *test, "--coupon", other, *part
    )
    assert "is no geometry" in dwellbook(study_path, "read", "trace", two, "--geometry", "45", status=2)
    assert "which part is taken" in dwellbook(study_path, "read", "trace", two, *test, "--split-at", "4", status=2)
    assert date(2025, 4, 16).isoformat() in dwellbook(study_path, "read", "history", other)
