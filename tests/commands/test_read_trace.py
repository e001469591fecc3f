"""Gauge files entered: by file name, dots and peels, saturated, split and joined on record, questions, refusals."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from study.commands.pull import record_pulls
from study.commands.read_attachments import coupon_attachments, served_file
from study.commands.read_trace import TEST_NUMBERS, coupon_traces, enter_traces, look_at_traces
from study.commands.register import register_one
from study.commands.register_instruments import register_instrument
from study.commands.traces import GaugeFile, trace_asked
from study.errors import FileRefused, NotPossible, Unanswered, Unknown
from study.model.person import Signature
from study.model.reading import Reading
from study.model.trace_asked import TraceAsked
from study.resources import folder
from study.store.attachments import fetch_content
from study.store.chain import broken_links
from study.store.coupons import fetch_coupons
from study.store.readings import fetch_in_force
from study.store.study_file import StudyFile

NASTY = Path(__file__).parent.parent / "intake" / "nasty"
PULLED = date(2025, 4, 15)
DOT = TraceAsked(geometry="straight pull-off", speed_mm_per_min=15.0, capacity_n=50.0)
PEEL = TraceAsked(geometry="90°, sliding stage", speed_mm_per_min=300.0, width_mm=25.0)
AS_TYPED = {TEST_NUMBERS: "as typed", "unusual": "as typed"}
Enter = Callable[..., list[Reading]]


def gauge(name: str, *, called: str = "") -> GaugeFile:
    """One of the invented files of the nasty collection."""
    return GaugeFile(called or name, (NASTY / name).read_bytes())


@pytest.fixture
def codes(study: StudyFile, signature: Signature) -> list[str]:
    """Three dots pulled at three months."""
    found = [
        code
        for code, coupon in fetch_coupons(study).items()
        if (coupon.set_key, coupon.test, coupon.pull_label) == ("sheet", "pull-off-dot", "3 months")
    ]
    record_pulls(study, found, on=PULLED, kind="pulled", signature=signature)
    return found


@pytest.fixture
def strip(study: StudyFile, signature: Signature, tmp_path: Path) -> str:
    """A strip peeled at 180° under a protocol of its own, pulled at three months."""
    text = (folder("protocols") / "display-dots.toml").read_text("utf-8")
    for old, new in (
        ("pull-off-dot", "strip-peel-180"), ("N per dot", "N/m"), ('"display-dots"', '"display-strips"'),
        ("limit = 20.0", "limit = 800.0"),
    ):  # fmt: skip
        text = text.replace(old, new)
    path = tmp_path / "strips.toml"
    path.write_text(text, "utf-8")
    row = {
        "set": "strips", "lot": "A-1", "substrate": "sheet", "environment": "store", "protocol": str(path),
        "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "1", "dwell_load_n": "0",
    }  # fmt: skip
    register_one(study, "sets", row, signature=signature)
    row = {"set": "strips", "test": "strip-peel-180", "pull": "3 months", "count": "1"}
    register_one(study, "coupons", row, signature=signature)
    [code] = [code for code, coupon in fetch_coupons(study).items() if coupon.set_key == "strips"]
    record_pulls(study, [code], on=PULLED, kind="pulled", signature=signature)
    return code


@pytest.fixture
def enter(study: StudyFile, signature: Signature) -> Enter:
    """Enter the day after the pull."""

    def entered(*files: GaugeFile, asked: TraceAsked = DOT, **more: Any) -> list[Reading]:
        return enter_traces(study, files, asked, read_on=PULLED + timedelta(days=1), signature=signature, **more)

    return entered


def last_change(study: StudyFile) -> dict[str, Any]:
    """What the newest change wrote."""
    row = study.rows("SELECT act, after FROM changes ORDER BY number DESC LIMIT 1")[0]
    return {"act": row["act"], **json.loads(row["after"])}


def test_looking_writes_nothing(study: StudyFile, codes: list[str]) -> None:
    """The result, the cell it would be, and its flags."""
    before = study.last_change()
    [looked] = look_at_traces(study, [gauge("06-negative-trace.csv")], DOT, coupon=codes[0])
    assert study.last_change() == before
    assert looked.typed == "5.102 N"
    assert looked.lines[0] == "Peak 5.102 N."
    assert "The gauge logged tension as negative: every force was multiplied by −1." in looked.lines


def test_entered_by_file_name_with_the_trace_attached(study: StudyFile, codes: list[str], enter: Enter) -> None:
    """The code stands in the name; the file hangs on the reading by its hash, and the chain stays whole."""
    name = f"gauge 7_{codes[1].lower()}_run 2.csv"
    [reading] = enter(gauge("06-negative-trace.csv", called=name))
    assert (reading.code, reading.typed, reading.lower) == (codes[1], "5.102 N", pytest.approx(5.102))
    assert fetch_in_force(study, codes[1])["removal_force"].typed == "5.102 N"
    assert any("multiplied by −1" in mark for mark in reading.details.marks), "a sign that was turned is on record"
    [hung] = coupon_attachments(study, codes[1], kind="removal_force")
    found = fetch_content(study, hung.attachment.sha256)
    assert found is not None
    assert found[0] == (NASTY / "06-negative-trace.csv").read_bytes()
    assert hung.attachment.note == "straight pull-off: 5.102 N"
    wrote = last_change(study)
    assert wrote["act"] == "enter traces"
    assert wrote["traces"][codes[1]]["asked"]["speed_mm_per_min"] == 15.0
    assert list(broken_links(study.db.conn)) == []


def test_a_gauge_at_its_end_is_at_least(study: StudyFile, codes: list[str], enter: Enter) -> None:
    """A flat top at 50 N is typed >50 and carries its flag."""
    [reading] = enter(gauge("07-flat-top.txt"), coupon=codes[0])
    assert reading.typed.startswith(">")
    assert (reading.lower, reading.upper) == (pytest.approx(50.0, abs=0.05), float("inf"))
    assert "trace: saturated" in reading.details.marks


def test_two_removals_are_split_only_on_demand(study: StudyFile, codes: list[str], enter: Enter) -> None:
    """Unsplit, nothing is entered; each part goes to its own coupon, and the act stands in the log."""
    both = gauge("24-two-removals.csv")
    with pytest.raises(FileRefused, match="2 removals, beginning at"):
        enter(both, coupon=codes[0])
    first = DOT.model_copy(update={"split_at_s": 4.0, "part": "before"})
    later = DOT.model_copy(update={"split_at_s": 4.0, "part": "after"})
    assert enter(both, coupon=codes[0], asked=first)[0].lower == pytest.approx(5.1)
    [second] = enter(both, coupon=codes[1], asked=later)
    assert second.lower == pytest.approx(4.2)
    assert "trace split at 4 s and took the part after" in second.details.marks
    assert last_change(study)["traces"][codes[1]]["acts"] == ["split at 4 s and took the part after"]
    assert study.rows("SELECT count(*) AS n FROM files")[0]["n"] == 1


def test_a_peel_over_two_files_is_joined_only_on_demand(study: StudyFile, strip: str, enter: Enter) -> None:
    """The mean over the window, per width; both files hang on the coupon."""
    halves = [gauge("24-first-half.csv"), gauge("24-second-half.csv")]
    with pytest.raises(NotPossible, match="2 files for one coupon"):
        enter(*halves, asked=PEEL, coupon=strip)
    [reading] = enter(*halves, asked=PEEL.model_copy(update={"pause_s": 0.05}), coupon=strip)
    assert reading.typed.endswith("N/25 mm")
    assert reading.lower == pytest.approx(160.0, abs=0.5)
    assert [hung.attachment.name for hung in coupon_attachments(study, strip)] == [half.name for half in halves]
    assert "joined 24-first-half.csv and 24-second-half.csv" in reading.details.marks[-1]
    [kept] = coupon_traces(study, strip)
    assert kept.reduced.result.mean_n == pytest.approx(4.0, abs=0.01)
    assert kept.shown is not None
    assert kept.shown.window == (25.0, 75.0)


def test_the_same_file_is_not_taken_for_another_coupon(codes: list[str], enter: Enter) -> None:
    """Byte for byte, under any name; a second time for the same coupon is refused as read already."""
    enter(gauge("06-negative-trace.csv"), coupon=codes[0])
    with pytest.raises(NotPossible, match=rf"was taken for {codes[0]} already by R. Vale"):
        enter(gauge("06-negative-trace.csv", called="copy.csv"), coupon=codes[1])
    with pytest.raises(FileRefused, match="is in the study already"):
        enter(gauge("06-negative-trace.csv"), coupon=codes[0])


def test_slips_are_asked_about_and_stay_marked(study: StudyFile, strip: str, codes: list[str], enter: Enter) -> None:
    """A width typed in cm, a speed per second: nothing is written until somebody says so."""
    before = study.last_change()
    slip = PEEL.model_copy(update={"width_mm": 2.5, "pause_s": 0.05})
    halves = [gauge("24-first-half.csv"), gauge("24-second-half.csv")]
    with pytest.raises(Unanswered, match=r"2\.5 mm wide .* it would be 25\. Is it right\?"):
        enter(*halves, asked=slip, coupon=strip)
    assert study.last_change() == before
    [reading] = enter(*halves, asked=slip, coupon=strip, answers=AS_TYPED)
    assert any(mark.startswith("asked about, kept as typed: A strip 2.5 mm") for mark in reading.details.marks)
    fast = DOT.model_copy(update={"speed_mm_per_min": 0.25})
    with pytest.raises(Unanswered, match=r"Was 15 mm/min typed as mm/s meant|Was 0\.25 mm/s meant"):
        enter(gauge("06-negative-trace.csv"), asked=fast, coupon=codes[0])


def test_several_files_are_all_or_nothing(study: StudyFile, codes: list[str], enter: Enter) -> None:
    """One that names no coupon or is no trace stops all, and every problem is told."""
    before = study.last_change()
    good = gauge("06-negative-trace.csv", called=f"{codes[0]}.csv")
    with pytest.raises(FileRefused) as fault:
        enter(good, gauge("06-negative-trace.csv", called="run 3.csv"), GaugeFile(f"{codes[1]}.csv", b"nothing here"))
    assert len(fault.value.problems) == 2
    assert "names no coupon of this study" in str(fault.value)
    assert study.last_change() == before
    readings = enter(good, gauge("06-real-negative-baseline.csv", called=f"x_{codes[1].replace('-', '')}.csv"))
    assert [reading.code for reading in readings] == codes[:2]


def test_a_registered_gauge_gives_capacity_and_calibration(
    study: StudyFile, codes: list[str], enter: Enter, signature: Signature
) -> None:
    """Its end of scale comes from the register, and a reading past calibration says so."""
    row = {"instrument": "gauge-1", "name": "force gauge", "measures": "force", "capacity": "50 N"}
    register_instrument(study, row, signature=signature)
    asked = TraceAsked(geometry="straight pull-off", speed_mm_per_min=15.0, instrument="gauge-1")
    [reading] = enter(gauge("07-flat-top.txt"), coupon=codes[0], asked=asked)
    assert reading.details.instrument == "gauge-1"
    assert "gauge-1 was never calibrated" in reading.details.marks
    assert last_change(study)["traces"][codes[0]]["asked"]["capacity_n"] == 50.0
    with pytest.raises(Unknown, match="not a registered instrument"):
        enter(gauge("07-flat-top.txt"), coupon=codes[1], asked=asked.model_copy(update={"instrument": "gauge-9"}))


def test_the_wrong_test_is_refused(study: StudyFile, codes: list[str], strip: str, enter: Enter) -> None:
    """A dot is not peeled, a strip not pulled off, a hold coupon has no force, a peel needs its width."""
    hold = next(code for code, coupon in fetch_coupons(study).items() if coupon.test == "hold-angle")
    trace = gauge("06-negative-trace.csv")
    for asked, code, words in (
        (PEEL, codes[0], "reads a force per dot, and “90°, sliding stage” gives one per width"),
        (DOT, strip, "reads a force per width"),
        (DOT, hold, "No removal force is read on"),
        (PEEL.model_copy(update={"width_mm": None}), strip, "needs the width of the strip"),
        (PEEL.model_copy(update={"window": "the middle"}), strip, "“the middle” is no window"),
    ):
        with pytest.raises(FileRefused, match=words):
            enter(trace, asked=asked, coupon=code)


def test_a_trace_taken_off_is_no_longer_shown(
    study: StudyFile, codes: list[str], enter: Enter, signature: Signature
) -> None:
    """The reading stays; its file was the wrong one."""
    from study.commands.read_attachments import detach_file

    enter(gauge("06-negative-trace.csv"), coupon=codes[0])
    [kept] = coupon_traces(study, codes[0])
    assert kept.shown is not None
    assert kept.shown.peak_n == pytest.approx(5.1, abs=0.005)
    [hung] = coupon_attachments(study, codes[0])
    detach_file(study, hung.attachment.number, signature=replace(signature, why="Another coupon's."))
    assert coupon_traces(study, codes[0]) == []


def test_entered_again_after_the_value_was_taken_back(
    study: StudyFile, codes: list[str], enter: Enter, signature: Signature
) -> None:
    """Read with another gauge's end of scale; the file hangs there once, and its trail stays."""
    from study.commands.read_correct import withdraw_reading

    enter(gauge("06-negative-trace.csv"), coupon=codes[0])
    withdraw_reading(study, codes[0], "removal_force", signature=signature)
    enter(gauge("06-negative-trace.csv"), coupon=codes[0], asked=DOT.model_copy(update={"capacity_n": 20.0}))
    assert len(coupon_attachments(study, codes[0])) == 1
    assert len(coupon_attachments(study, codes[0], superseded=True)) == 2
    [kept] = coupon_traces(study, codes[0])
    assert kept.reduced.asked.capacity_n == 20.0
    assert list(broken_links(study.db.conn)) == []


def test_one_stretch_between_restarts_of_the_clock(study: StudyFile, codes: list[str], enter: Enter) -> None:
    """A clock that starts again gives no force until the stretch is named."""
    restarted = gauge("23-clock-restart.csv")
    with pytest.raises(FileRefused, match="The clock starts again"):
        enter(restarted, coupon=codes[0])
    [reading] = enter(restarted, coupon=codes[0], asked=DOT.model_copy(update={"segment": 1}), answers=AS_TYPED)
    assert "trace took segment 1" in reading.details.marks
    with pytest.raises(FileRefused, match="There is no segment 9"):
        enter(restarted, coupon=codes[1], asked=DOT.model_copy(update={"segment": 9}))


def test_older_encodings_are_kept_as_they_are(study: StudyFile, strip: str, enter: Enter) -> None:
    """Text that is not UTF-8 is stored byte for byte and handed over as a file."""
    raw = gauge("16-windows-1252.csv")
    [looked] = look_at_traces(study, [raw], PEEL.model_copy(update={"window": "central 80 %"}), coupon=strip)
    enter(raw, asked=looked.reduced.asked, coupon=strip, answers=AS_TYPED)
    [hung] = coupon_attachments(study, strip)
    served = served_file(study, hung.attachment.sha256)
    assert served is not None
    assert (served.content, served.media_type) == (raw.content, "application/octet-stream")


def test_what_is_asked_may_be_typed() -> None:
    """Numbers as text are read as everywhere; what is none, or out of range, is named as people call it."""
    asked = trace_asked(geometry="180°", speed_mm_per_min="300", width_mm="25.0", segment="2", window="20-60")
    assert (asked.speed_mm_per_min, asked.width_mm, asked.segment, asked.window) == (300.0, 25.0, 2, "20-60")
    for wrong, said in (
        ({"speed_mm_per_min": "fast"}, "speed: “fast” is not a number"),
        ({"width_mm": "2,5"}, "width: “2,5” has a decimal comma"),
        ({"capacity_n": "-1"}, "end of the scale: must be above 0"),
        ({"pause_s": "-2"}, "pause: must be at least 0"),
        ({"segment": "1.5"}, "stretch: must be a whole number"),
        ({"part": "middle"}, "must be '', 'before' or 'after'"),
        ({"geometry": "sideways"}, "is no geometry"),
        ({"split_at_s": "2.5"}, "which part is taken"),
    ):
        with pytest.raises(NotPossible, match=said):
            trace_asked(**{"geometry": "180°", **wrong})


def test_asked_is_checked() -> None:
    """A geometry that is none, a split without its part, a negative width."""
    for typed in (
        {"geometry": "45°"},
        {"geometry": "180°", "split_at_s": 3.0},
        {"geometry": "180°", "part": "after"},
        {"geometry": "180°", "width_mm": -1.0},
    ):
        with pytest.raises(ValueError, match=r"geometry|split|greater than 0"):
            TraceAsked.model_validate(typed)
    assert DOT.kept() == {"geometry": "straight pull-off", "speed_mm_per_min": 15.0, "capacity_n": 50.0}
