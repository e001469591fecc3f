"""Climate records: previewed, kept by hash, refused twice, overlapping, superseded, and summed up for each set."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read_climate import (
    LoggerFile,
    climate_of_sets,
    list_climates,
    preview_climate,
    record_climate,
    withdraw_climate,
)
from study.commands.register import register_one
from study.commands.register_instruments import register_instrument
from study.errors import FileRefused, NotPossible, Unknown
from study.model.person import Signature
from study.store.chain import broken_links
from study.store.coupons import fetch_coupons
from study.store.study_file import StudyFile

PLACED = datetime(2025, 1, 15)


def logger(
    days: int = 100, *, start: datetime = PLACED, lux: float = 50.0, minutes: int = 60, warm: float = 20.0,
    name: str = "logger.csv",
) -> LoggerFile:  # fmt: skip
    """An invented logger's file at +01:00: constant temperature, light for eight hours a day."""
    rows = ["date time,temperature °C,RH %,lux"]
    for step in range(days * 24 * 60 // minutes):
        at = start + timedelta(minutes=minutes * step)
        rows.append(f"{at:%Y-%m-%d %H:%M},{warm:.1f},{48 + step % 5},{lux if 9 <= at.hour < 17 else 0:.0f}")
    return LoggerFile(name, "\n".join(rows).encode(), zone="+01:00")


def test_a_preview_writes_nothing(study: StudyFile) -> None:
    """It shows measures, notes, and where the band comes from."""
    before = study.last_change()
    found = preview_climate(study, logger(), environment="store")
    assert study.last_change() == before
    assert list_climates(study) == []
    assert found.summary.light is not None
    assert found.summary.light.lux_hours == pytest.approx(100 * 8 * 50)
    assert "18 to 25 °C, of the protocol's reading room" in found.bands.words()
    assert (found.filed.from_at, found.filed.zone) == ("2025-01-14T23:00", "+01:00")


def test_kept_by_hash_and_refused_twice(study: StudyFile, signature: Signature) -> None:
    """The same bytes under another name are refused politely; the chain stays whole."""
    kept = record_climate(study, logger(), environment="store", signature=signature)
    assert kept.filed.number == 1
    with pytest.raises(NotPossible, match=r"other.csv is record 1 of store already, byte for byte, by R. Vale"):
        record_climate(study, replace(logger(), name="other.csv"), environment="store", signature=signature)
    [filed] = list_climates(study)
    assert (filed.name, filed.by, filed.superseded_by) == ("logger.csv", "R. Vale", None)
    assert list(broken_links(study.db.conn)) == []
    assert preview_climate(study, logger(), environment="store").same.startswith("is record 1")


def test_another_environment_may_take_the_same_bytes(study: StudyFile, signature: Signature) -> None:
    """One logger between two shelves."""
    register_one(study, "environments", {"environment": "gallery", "name": "gallery"}, signature=signature)
    for environment in ("store", "gallery"):
        record_climate(study, logger(3), environment=environment, signature=signature)
    assert study.rows("SELECT count(*) AS n FROM files")[0]["n"] == 1


def test_overlap_is_said(study: StudyFile, signature: Signature) -> None:
    """A second logger over the same days is said and does not count double; one that follows is not."""
    record_climate(study, logger(10), environment="store", signature=signature)
    again = record_climate(study, logger(10, warm=21.0), environment="store", signature=signature)
    assert "the same hours again as record 1 (logger.csv) on 10 days, 2025-01-15 to 2025-01-24" in again.overlaps[0]
    after = record_climate(
        study, logger(10, start=PLACED + timedelta(days=10)), environment="store", signature=signature
    )
    assert after.overlaps == ()
    [stretch, *_] = [one.stretch for one in climate_of_sets(study, today=date(2025, 2, 4), set_key="sheet")]
    assert stretch.lux_hours == pytest.approx(20 * 8 * 50)
    assert stretch.overlaps == 10


def test_superseding_needs_a_reason(study: StudyFile, signature: Signature) -> None:
    """The old record stays in the trail; a second time there is nothing to supersede."""
    record_climate(study, logger(), environment="store", signature=signature)
    with pytest.raises(NotPossible, match="needs a reason"):
        withdraw_climate(study, 1, signature=replace(signature, why=""))
    new = record_climate(study, logger(90), environment="store", signature=signature, supersedes=1)
    assert new.overlaps == ()
    old, kept = list_climates(study)
    assert (old.superseded_by, old.why, kept.superseded_by) == ("R. Vale", signature.why, None)
    with pytest.raises(NotPossible, match=r"record 1 was superseded by R. Vale"):
        withdraw_climate(study, 1, signature=signature)
    assert withdraw_climate(study, 2, signature=signature).number == 2
    assert list_climates(study, superseded=False) == []
    assert record_climate(study, logger(), environment="store", signature=signature).filed.number == 3
    assert list(broken_links(study.db.conn)) == []


def test_refusals(study: StudyFile, signature: Signature) -> None:
    """Unknown places, unknown records, other environments' records, files that are none."""
    with pytest.raises(Unknown, match=r"no environment “attic”. Known: store"):
        preview_climate(study, logger(), environment="attic")
    with pytest.raises(Unknown, match="no climate record 9"):
        withdraw_climate(study, 9, signature=signature)
    with pytest.raises(FileRefused, match="has no zone"):
        preview_climate(study, replace(logger(), zone=""), environment="store")
    register_one(study, "environments", {"environment": "gallery", "name": "gallery"}, signature=signature)
    record_climate(study, logger(), environment="store", signature=signature)
    with pytest.raises(NotPossible, match="belongs to store, not to gallery"):
        record_climate(study, logger(5), environment="gallery", signature=signature, supersedes=1)
    with pytest.raises(NotPossible, match="cannot be read"):
        LoggerFile.of(Path("not-there.csv"))


def test_a_logger_past_calibration_and_ultraviolet(study: StudyFile, signature: Signature) -> None:
    """The mark of the logger stands with the notes; ultraviolet is weighted by the light it fell with."""
    row = {"instrument": "logger-1", "name": "climate logger", "measures": "climate"}
    register_instrument(study, row, signature=signature)
    rows = "time,lux,UV (µW/lm)\n2025-01-15 08:00,0,10\n2025-01-15 09:00,100,30\n2025-01-15 10:00,300,50\n"
    found = preview_climate(
        study, LoggerFile("light.csv", rows.encode(), "UTC", instrument="logger-1"), environment="store"
    )
    assert found.summary.ultraviolet_uw_per_lm == pytest.approx((100 * 30 + 300 * 50) / 400)
    assert "logger-1 was never calibrated" in found.filed.notes


def test_each_pull_of_a_set(study: StudyFile, signature: Signature) -> None:
    """A pull after the records end has a dose of at least what was logged, and says how far it is covered."""
    codes = [code for code, coupon in fetch_coupons(study).items() if coupon.set_key == "sheet"]
    for place, on in enumerate([date(2025, 4, 15), date(2026, 1, 15)]):
        record_pulls(study, codes[6 * place : 6 * place + 3], on=on, kind="pulled", signature=signature)
    record_climate(study, logger(120), environment="store", signature=signature, bands={"humidity": "49 to 51"})
    found = {one.pull: one for one in climate_of_sets(study, today=date(2026, 3, 2), set_key="sheet")}
    assert list(found) == ["3 months", "12 months", "so far"]
    first, later = found["3 months"].stretch, found["12 months"].stretch
    assert (first.days, first.lux_hours, first.covered("lux")) == (90, pytest.approx(90 * 400), pytest.approx(1.0))
    assert (later.days, later.lux_hours) == (365, pytest.approx(120 * 400))
    assert later.covered("lux") == pytest.approx(120 / 365)
    assert first.measures["humidity_percent"].outside_hours == 0.0, "the reading room allows 40 to 60 %"
    asked = climate_of_sets(study, today=date(2026, 3, 2), set_key="sheet", bands={"humidity": "49 to 51"})[0]
    assert asked.stretch.measures["humidity_percent"].outside_hours == pytest.approx(90 * 24 * 2 / 5, rel=0.01)
    assert "as asked for" in asked.bands.words()
    with pytest.raises(Unknown, match="no set “nowhere”"):
        climate_of_sets(study, today=date(2026, 3, 2), set_key="nowhere")


def test_the_band_of_the_environment(study: StudyFile, signature: Signature) -> None:
    """Declared text that is a band is taken, and said to be."""
    row = {"environment": "gallery", "name": "gallery", "temperature_c": "18 to 22", "humidity_percent": "varies"}
    register_one(study, "environments", row, signature=signature)
    found = preview_climate(study, logger(2, warm=23.0), environment="gallery")
    assert "18 to 22 °C, declared for gallery" in found.bands.words()
    assert "RH" not in found.bands.words(), "no set stands there, so that no protocol says a band"
    assert found.summary.measures[0].outside_hours == pytest.approx(48)


def test_a_set_without_records_says_so_once(study: StudyFile) -> None:
    """One line, with nothing in it."""
    found = climate_of_sets(study, today=date(2026, 3, 2), set_key="tile")
    assert [(one.pull, one.stretch.measures, one.records) for one in found] == [("so far", {}, 0)]


def test_three_years_at_ten_minutes(study_path: Path, signature: Signature) -> None:
    """157 680 rows are entered and summed up for each set; how fast: benchmarks/instrument_files.py."""
    file = logger(3 * 365, minutes=10)
    with open_study(study_path) as study:
        record_climate(study, file, environment="store", signature=signature)
        found = climate_of_sets(study, today=date(2028, 1, 1))
    assert found[0].stretch.lux_hours == pytest.approx(3 * 365 * 400 - (3 * 365 - found[0].stretch.days) * 400)
