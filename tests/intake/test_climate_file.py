"""Logger files: the clock over summer time, gaps, stuck sensors, impossible values, and refusals."""

from __future__ import annotations

import hashlib
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from study.errors import FileRefused
from study.intake.climate_file import parse_climate
from study.intake.logger_times import utc_from_local
from study.model.climate import ClimateRecord

NASTY = Path(__file__).parent / "nasty"
VIENNA = ZoneInfo("Europe/Vienna")


def refusal(content: bytes | Path, **asked: object) -> str:
    with pytest.raises(FileRefused) as fault:
        parse_climate(content, **asked)  # type: ignore[arg-type]
    return str(fault.value)


def test_case_15_the_hour_struck_twice() -> None:
    """Local times over the end of summer time rise every ten minutes, for a zone that is named."""
    path = NASTY / "15-end-of-summer-time.csv"
    record = parse_climate(path, zone="Europe/Vienna")
    assert set(np.diff(record.utc_s).tolist()) == {600}
    assert record.moment(0) == datetime(2024, 10, 26, 18, tzinfo=UTC)
    assert record.moment(-1) == datetime(2024, 10, 27, 6, tzinfo=UTC)
    assert record.gaps == ()
    assert record.digest == hashlib.sha256(path.read_bytes()).hexdigest()


def test_case_15_times_without_a_zone_are_not_guessed() -> None:
    """No zone, no record; an offset that does not fit shows as a clock that goes back."""
    path = NASTY / "15-end-of-summer-time.csv"
    assert "has no zone" in refusal(path)
    said = refusal(path, zone="+01:00")
    assert "row 45" in said
    assert "goes back by 50 min" in said
    assert "no zone that is known" in refusal(path, zone="Atlantis/Capital")


def test_case_15_start_of_summer_time() -> None:
    """The hour that the clocks skip is no gap."""
    record = parse_climate(NASTY / "15-start-of-summer-time.csv", zone="Europe/Vienna")
    assert set(np.diff(record.utc_s).tolist()) == {600}
    assert record.gaps == ()


def test_case_15_logger_that_keeps_winter_time() -> None:
    """A time that never was in that zone tells that the logger stood on an offset of its own."""
    path = NASTY / "15-logger-keeps-winter-time.csv"
    said = refusal(path, zone="Europe/Vienna")
    assert "skipped" in said
    assert "row 32" in said
    assert set(np.diff(parse_climate(path, zone="+01:00").utc_s).tolist()) == {600}


@pytest.mark.parametrize("file", ["15-logger-in-utc.csv", "15-written-offsets.csv"])
def test_case_15_files_that_say_their_offset(file: str) -> None:
    """A heading in GMT and an offset in each row need no more; both are the record of the local file."""
    record = parse_climate(NASTY / file)
    local = parse_climate(NASTY / "15-end-of-summer-time.csv", zone="Europe/Vienna")
    assert record.utc_s.tolist() == local.utc_s.tolist()
    assert record.temperature_c is not None
    assert local.temperature_c is not None
    assert record.temperature_c.tolist() == local.temperature_c.tolist()


def test_case_29_gap_stuck_sensor_and_sentinels() -> None:
    """Eleven days without a row are a gap; what is no reading is missing and listed; a stuck sensor is asked about."""
    record = parse_climate(NASTY / "29-gap-stuck-sentinels.csv")
    (gap,) = record.gaps
    assert gap.hours == pytest.approx(11 * 24 + 1)
    listed = {(one.measure, one.typed): (one.count, one.why) for one in record.removed}
    assert listed == {
        ("temperature_c", "-40"): (2, "stands for no reading"),
        ("temperature_c", "850"): (1, "stands for no reading"),
        ("temperature_c", "#N/A"): (1, "no number"),
        ("humidity_percent", "104"): (3, "outside 0 to 100"),
    }
    assert record.temperature_c is not None
    assert record.humidity_percent is not None
    assert int(np.isnan(record.temperature_c).sum()) == 4
    assert int(np.isnan(record.humidity_percent).sum()) == 3
    assert np.nanmin(record.temperature_c) == pytest.approx(18.0)
    (stuck,) = record.stuck
    assert (stuck.measure, stuck.value, stuck.hours) == ("humidity_percent", 50.0, 71.0)
    assert record.humidity_percent[record.humidity_percent == 50.0].size >= 72, "a doubt removes nothing"
    assert record.lux is not None
    assert record.uv_uw_per_lm is not None


def test_order_of_day_and_month() -> None:
    """The column tells, full stops tell, and a column that cannot tell is asked about."""
    rows = "{} 10:00;20\n{} 10:10;21\n"
    head = "Date time (UTC);Temperature (°C)\n"
    either = (head + rows.format("03/04/2025", "04/04/2025")).encode()
    assert "day or month first" in refusal(either)
    assert parse_climate(either, day_first=True).moment(0) == datetime(2025, 4, 3, 10, tzinfo=UTC)
    assert parse_climate(either, day_first=False).moment(0) == datetime(2025, 3, 4, 10, tzinfo=UTC)
    day = parse_climate((head + rows.format("03/04/2025", "13/04/2025")).encode())
    assert day.moment(0) == datetime(2025, 4, 3, 10, tzinfo=UTC)
    assert any("day first, told from row 3" in note for note in day.notes)
    month = parse_climate((head + rows.format("03/04/2025", "03/14/2025")).encode())
    assert month.moment(0) == datetime(2025, 3, 4, 10, tzinfo=UTC)
    stops = parse_climate((head + rows.format("03.04.25", "04.04.25")).encode())
    assert stops.moment(0) == datetime(2025, 4, 3, 10, tzinfo=UTC)
    assert any("two digits" in note for note in stops.notes)
    assert "in others" in refusal((head + rows.format("13/04/2025", "04/14/2025")).encode())


def test_units_are_read_or_refused() -> None:
    """Fahrenheit, footcandles and klx are turned and told; a heading without a unit is only taken where it can be."""
    record = parse_climate(b"Date time (UTC);Temp (\xb0F);Light (fc)\n2025-01-01 10:00;68;1\n2025-01-01 10:10;50;2\n")
    assert record.temperature_c is not None
    assert record.temperature_c == pytest.approx([20, 10])
    assert record.lux is not None
    assert record.lux == pytest.approx([10.76391, 21.52782], abs=1e-5)
    assert any("°F" in note for note in record.notes)
    assert "°C or °F" in refusal(b"Date time (UTC);Temp\n2025-01-01 10:00;68\n2025-01-01 10:10;67\n")
    assert "not a unit" in refusal(b"Date time (UTC);UV (mW/m2)\n2025-01-01 10:00;68\n2025-01-01 10:10;67\n")


def test_a_unit_that_ends_a_heading_is_taken() -> None:
    """Without brackets too; a bare F over a room in °C and a humidity as a share are asked about, not turned."""
    rows = "2025-01-01 10:00,{},{}\n2025-01-01 10:10,{},{}\n"
    warm = parse_climate(("Date time (UTC),Temp F,Light footcandles\n" + rows.format(68, 1, 50, 2)).encode())
    assert warm.temperature_c == pytest.approx([20, 10])
    assert warm.lux == pytest.approx([10.76391, 21.52782], abs=1e-5)
    bright = parse_climate(("Date time (UTC),Temperature Fahrenheit,klux\n" + rows.format(68, 0.05, 68, 0.1)).encode())
    assert bright.lux == pytest.approx([50, 100])
    assert bright.temperature_c == pytest.approx([20, 20])
    assert "cold in °F" in refusal(("Date time (UTC),Temp F,RH\n" + rows.format(20, 50, 21, 50)).encode())
    share = ("Date time (UTC),Temp C,RH\n" + rows.format(20, 0.48, 21, 0.52)).encode()
    assert "that is a share" in refusal(share)
    for odd in (255, -999, 300):
        hidden = ("Date time (UTC),Temp C,RH\n" + rows.format(20, 0.5, 21, odd)).encode()
        assert "about 0.5: that is a share" in refusal(hidden)
    dry = ("Date time (UTC),Temp C,RH\n" + rows.format(20, 0.5, 21, 3)).encode()
    assert parse_climate(dry).humidity_percent is not None
    assert "cold in °F" in refusal(("Date time (UTC),Temp F,RH\n" + rows.format(20, 50, 999, 50)).encode())
    for heading in ("RH (F)", "lux (F)"):
        told = refusal((f"Date time (UTC),Temp C,{heading}\n" + rows.format(20, 40, 21, 41)).encode())
        assert "is not a unit of" in told
        assert "°F" not in told
    plain = parse_climate(("Date time (UTC),Temp C,RH\n" + rows.format(20, 48, 21, 52)).encode())
    assert any("RH has no unit: taken as %" in note for note in plain.notes)


def test_many_impossible_values_are_all_counted() -> None:
    """Every value that is no reading is counted, whether it is listed by itself or among the others."""
    rows = "".join(f"2025-01-01 {i // 60:02d}:{i % 60:02d};{50 if i < 10 else 101 + i}\n" for i in range(60))
    record = parse_climate(f"Date time (UTC);RH (%)\n{rows}".encode())
    assert sum(one.count for one in record.removed) == 50
    assert record.removed[-1].typed == "others"


def test_headings_that_may_mean_two_things_are_asked_about() -> None:
    """Two temperatures are not chosen between; a dew point is none; what is left alone is told."""
    content = b"Date time (UTC);Temp 1;Temp 2;Dew point;RH\n2025-01-01 10:00;20;5;9;50\n2025-01-01 10:10;21;6;9;50\n"
    assert "may be any of these" in refusal(content)
    record = parse_climate(content, columns={"temperature_c": "Temp 1"})
    assert record.temperature_c is not None
    assert record.temperature_c.tolist() == [20, 21]
    assert "left alone: Temp 2, Dew point" in record.notes
    assert "no column of climate" in refusal(b"Date time (UTC);Pressure\n2025-01-01 10:00;20\n2025-01-01 10:10;5\n")


def test_date_and_clock_in_two_columns_and_newest_first() -> None:
    """Two columns make one time; a file that begins with the newest reading is turned round, and that is told."""
    rows = [f"2025-01-0{day};{hour:02d}:00;{20 + day}" for day in (2, 1) for hour in (18, 12, 6, 0)]
    record = parse_climate(("Time zone: UTC\nDate;Time;Temp (°C)\n" + "\n".join(rows)).encode())
    assert set(np.diff(record.utc_s).tolist()) == {6 * 3600}
    assert record.temperature_c is not None
    assert record.temperature_c.tolist() == [21] * 4 + [22] * 4
    assert any("turned round" in note for note in record.notes)


def test_repeated_times_and_bad_cells() -> None:
    """A repeated time is kept once; cells that are no numbers and no times are refused with their rows."""
    head = b"Date time (UTC);Temp (\xb0C)\n"
    twice = parse_climate(head + b"2025-01-01 10:00;20\n2025-01-01 10:00;20\n2025-01-01 10:10;21\n")
    assert twice.utc_s.size == 2
    assert any("left out" in note for note in twice.notes)
    said = refusal(head + b"2025-01-01 10:00;20\n2025-01-01 10:10;2x\n2025-01-01 10:20;y3\n2025-01-01 10:30;20\n")
    assert "row 3" in said
    assert "row 4" in said
    assert "is not a date" in refusal(head + b"2025-01-01 10:00;20\n2025-01-01 10;21\n45352;21\n")
    assert "mixes ways" in refusal(head + b"2025-01-01 10:00;20\n2025-01-01T10:10+01:00;21\n2025-01-01 10:20;21\n")
    assert "outside 1970" in refusal(head + b"1904-01-01 10:00;20\n1904-01-01 10:10;21\n")


@given(
    start=st.datetimes(datetime(2019, 1, 1), datetime(2030, 1, 1)), minutes=st.sampled_from([1, 5, 10, 15, 30, 60]),
    zone=st.sampled_from(
        ["Europe/Vienna", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "America/Santiago"]
    ),
    count=st.integers(2, 300),
)  # fmt: skip
@settings(max_examples=150, deadline=None)
@example(start=datetime(2024, 10, 27, 0, 30), minutes=60, zone="Europe/Vienna", count=5)
@example(start=datetime(2024, 4, 6, 14, 0), minutes=30, zone="Australia/Lord_Howe", count=8)
@example(start=datetime(2019, 4, 1), minutes=60, zone="Australia/Lord_Howe", count=137)
def test_local_times_come_back_in_utc(start: datetime, minutes: int, zone: str, count: int) -> None:
    """A logger that follows its clocks gives its moments back, unless it begins or ends in the hour struck twice."""
    place = ZoneInfo(zone)
    true = [start.replace(tzinfo=UTC, microsecond=0) + timedelta(minutes=minutes * i) for i in range(count)]
    local = [moment.astimezone(place).replace(tzinfo=None) for moment in true]
    local_s = np.array([int((moment - datetime(1970, 1, 1)).total_seconds()) for moment in local])
    found = utc_from_local(local_s, range(2, count + 2), zone=place, file="invented", notes=[])
    wanted = np.array([int(moment.timestamp()) for moment in true])
    folds = [[moment.replace(tzinfo=place, fold=fold).utcoffset() for fold in (0, 1)] for moment in local]
    twice = np.array([early != late for early, late in folds])
    assert np.array_equal(found[~twice], wanted[~twice])
    if not (twice[0] or twice[-1]):
        assert np.array_equal(found, wanted)
    assert np.all(np.diff(found) > 0)


@given(st.binary(max_size=300))
@example(b"Date time (UTC);Temp\n\n")
@example("Date time (UTC);Temp\n٢٠٢٥-01-01 10:00;٢\n2025-01-01 10:10;3\n".encode())
@settings(max_examples=200, deadline=None)
def test_any_bytes_give_a_record_or_a_refusal(content: bytes) -> None:
    """Nothing that a disk may hold makes any other error."""
    try:
        record = parse_climate(content, zone="UTC")
    except FileRefused:
        return
    assert record.utc_s.size >= 1


STAMP = st.sampled_from(
    ["2025-03-30 01:30", "2025-03-30 02:30", "30.03.2025 03:30", "03/30/2025 04:30 PM", "30/03/25 1.15", "45352", "",
     "#N/A", "2025-10-26T02:30:00+02:00", "9999-12-31 23:59", "0001-01-01 00:00", "31.02.2025 10:00", "10:00",
     "2025-10-26 02:30", "13/13/2025 10:00", "0/0/0 0:0"]
)  # fmt: skip
VALUE = st.sampled_from(
    ["20.1", "20,1", "-40", "850", "104", "", "---", "OL", "#N/A", "x", "1e999", "21 °C", ">50", "1_0"]
)


@given(
    st.lists(st.tuples(STAMP, VALUE, VALUE), min_size=1, max_size=6),
    st.sampled_from(["Europe/Vienna", "UTC", "+01:00", "", "../etc", "Europe", "\0"]),
)
@settings(max_examples=300, deadline=None)
def test_any_rows_give_a_record_or_a_refusal(rows: list[tuple[str, str, str]], zone: str) -> None:
    """Odd times and values in any mixture are read, missing and listed, or refused."""
    text = "Date time;Temperature (°C);RH (%)\n" + "\n".join(";".join(row) for row in rows)
    try:
        record = parse_climate(text.encode(), zone=zone)
    except FileRefused:
        return
    assert np.all(np.diff(record.utc_s) > 0)
    for values in (record.temperature_c, record.humidity_percent):
        assert values is not None
        assert values.size == record.utc_s.size
        assert not np.any(np.abs(values) > 150)


def three_years(stamp: str) -> bytes:
    """158 000 invented rows at ten minutes, local time of Vienna, one error word among them."""
    start = datetime(2022, 1, 1, tzinfo=UTC)
    rows = []
    for index in range(158_000):
        at = (start + timedelta(minutes=10 * index)).astimezone(VIENNA)
        value = "---" if index == 90_000 else f"{20 + index % 50 / 10:.1f}"
        rows.append(f"{at.strftime(stamp)};{value};{45 + index % 70 / 10:.1f};{index % 144}")
    return ("Date time;Temperature (°C);RH (%);Light (lx)\n" + "\n".join(rows)).encode()


@pytest.mark.parametrize("stamp", ["%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M"])
def test_three_years(stamp: str) -> None:
    """A long record rises through six changes of the clock, at a small multiple of what splitting and float() take."""
    content = three_years(stamp)
    began = time.process_time()
    record: ClimateRecord = parse_climate(content, zone="Europe/Vienna")
    took = time.process_time() - began
    assert record.utc_s.size == 158_000
    assert set(np.diff(record.utc_s).tolist()) == {600}
    assert [(one.typed, one.count) for one in record.removed] == [("---", 1)]
    began = time.process_time()
    plainly = [[float(cell) for cell in line.split(";")[2:]] for line in content.decode().split("\n")[1:]]
    assert len(plainly) == record.utc_s.size
    assert took < 20 * (time.process_time() - began)
