"""Force trace files: encodings, decimal signs, odd cells, clocks that restart, and refusals that say what to do."""

from __future__ import annotations

import hashlib
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from study.analysis.trace import trace_result
from study.analysis.trace_pieces import join_traces, one_segment, split_trace
from study.errors import FileRefused
from study.intake.trace_file import parse_trace
from study.model.trace import Trace

NASTY = Path(__file__).parent / "nasty"


def dot(trace: Trace) -> float:
    """Peak of a pull-off with a gauge of 50 N."""
    result = trace_result(trace, speed_mm_per_min=15.0, geometry="straight pull-off", capacity_n=50.0)
    assert result.refused == ""
    return result.peak_n


def refusal(content: bytes | Path, **asked: object) -> str:
    with pytest.raises(FileRefused) as fault:
        parse_trace(content, **asked)  # type: ignore[arg-type]
    return str(fault.value)


def test_case_01_comma_that_may_be_either_is_asked_about() -> None:
    """1,234 alone is one or a thousand: a person says which."""
    said = refusal(NASTY / "01-comma-may-be-either.csv")
    assert "row 2" in said
    assert "Say which" in said
    assert parse_trace(NASTY / "01-comma-may-be-either.csv", decimal=",").force_n[0] == pytest.approx(1.1)
    assert parse_trace(NASTY / "01-comma-may-be-either.csv", decimal=".").force_n[0] == pytest.approx(1100)


def test_case_02_both_decimal_signs_are_refused_with_the_row() -> None:
    """Two signs in one file are not guessed at."""
    assert "point stands in row 19" in refusal(NASTY / "02-both-decimal-signs.csv")


def test_case_06_negative_trace_is_turned_and_a_real_negative_zero_survives() -> None:
    """Tension logged as minus gives the same removal; a zero of −0.02 N is found in both."""
    negative = parse_trace(NASTY / "06-negative-trace.csv")
    upright = parse_trace(NASTY / "06-real-negative-baseline.csv")
    assert negative.force_n.min() < -5, "the file itself is never turned"
    asked = {"speed_mm_per_min": 15.0, "geometry": "straight pull-off", "capacity_n": 50.0}
    turned, plain = (trace_result(trace, **asked) for trace in (negative, upright))  # type: ignore[arg-type]
    assert (turned.flipped, plain.flipped) == (True, False)
    assert turned.tare_n == pytest.approx(-0.02)
    assert plain.tare_n == pytest.approx(-0.02)
    assert turned.peak_n == pytest.approx(5.1, abs=0.005)
    assert plain.peak_n == pytest.approx(5.1, abs=0.005)


@pytest.mark.parametrize("file", ["07-flat-top.txt", "07-overload-words.txt"])
def test_case_07_gauge_at_its_end(file: str) -> None:
    """A flat top at 50.00 and the words for it are the same: at least 50 N."""
    trace = parse_trace(NASTY / file)
    result = trace_result(trace, speed_mm_per_min=15.0, geometry="straight pull-off", capacity_n=50.0)
    assert result.lower_bound
    assert result.peak_n == pytest.approx(50.0)
    assert trace.samples == 121, "an overloaded sample counts"


@pytest.mark.parametrize(
    ("file", "encoding", "unit"),
    [
        ("16-utf16-comma.csv", "UTF-16", "mN"),
        ("16-windows-1252.csv", "Windows-1252", "N"),
        ("16-greek-mu-bom.csv", "UTF-8", "N"),
    ],
)
def test_case_16_encodings(file: str, encoding: str, unit: str) -> None:
    """Encodings, both micro signs and decimal commas give one trace, and are stated."""
    trace = parse_trace(NASTY / file)
    assert any(encoding in note for note in trace.notes)
    assert "decimal comma" in trace.notes
    assert trace.force_unit == unit
    assert trace.displacement_mm is not None
    assert trace.displacement_mm[-1] == pytest.approx(1.5)
    assert dot(trace) == pytest.approx(5.1, abs=0.005)
    assert trace.digest == hashlib.sha256((NASTY / file).read_bytes()).hexdigest()


def test_case_17_preamble_two_header_rows_and_statistics() -> None:
    """The table is found; means and maxima below it are no samples but are kept as facts."""
    trace = parse_trace(NASTY / "17-preamble-and-footer.csv")
    assert trace.samples == 121
    facts = dict(trace.preamble)
    assert facts["Fact 7"] == "invented 7"
    assert facts["Mean"] == "1.262"
    assert [(c.heading, c.unit, c.taken_as) for c in trace.columns] == [
        ("Sample", "", ""), ("Time", "s", "time"), ("Force", "N", "force"),
    ]  # fmt: skip


def test_case_22_spreadsheet_errors_and_odd_numbers() -> None:
    """Errors are missing with their reason; 3.5E+00, +3.1 and '4.5 are numbers."""
    trace = parse_trace(NASTY / "22-spreadsheet-errors.csv")
    assert [(left.row, left.typed) for left in trace.left_out] == [(7, "#N/A"), (26, "#DIV/0!")]
    assert trace.samples == 119
    by_time = dict(zip(trace.time_s.round(2).tolist(), trace.force_n.tolist(), strict=True))
    assert (by_time[1.5], by_time[1.6], by_time[1.7], by_time[1.8], by_time[1.9]) == (2.5, 3.1, 3.5, 1.0, 4.5)


def test_case_23_clock_restart_makes_segments() -> None:
    """A clock that starts again is two segments; neither is taken without being asked for."""
    trace = parse_trace(NASTY / "23-clock-restart.csv")
    assert trace.segments == ((0, 121), (121, 222))
    asked = {"speed_mm_per_min": 15.0, "geometry": "straight pull-off"}
    assert "2 segments" in trace_result(trace, **asked).refused  # type: ignore[arg-type]
    assert dot(one_segment(trace, 1)) == pytest.approx(5.1)
    assert dot(one_segment(trace, 2)) == pytest.approx(4.2)


def test_case_23_irregular_and_repeated_stamps() -> None:
    """Uneven samples and repeated stamps leave the mean where it is."""
    trace = parse_trace(NASTY / "23-irregular-and-repeated.csv")
    assert np.any(np.diff(trace.time_s) == 0)
    result = trace_result(
        trace, speed_mm_per_min=300.0, geometry="90°, sliding stage", width_mm=25.0, window_rule="25–75 mm"
    )
    assert result.mean_n == pytest.approx(4.0, abs=0.01)


@pytest.mark.parametrize("file", ["23-clock-times.csv", "23-clock-times-comma.csv", "23-coarse-clock.csv"])
def test_case_23_times_as_a_clock_shows_them(file: str) -> None:
    """00:01:02.5 and 1:02,5 are seconds; a clock of whole seconds is spread over its samples, and that is stated."""
    trace = parse_trace(NASTY / file)
    assert trace.time_s[0] == 0
    assert np.all(np.diff(trace.time_s) > 0)
    assert trace.time_s[-1] == pytest.approx(6.0, abs=0.03)
    assert dot(trace) == pytest.approx(5.1)
    assert any("spread evenly" in note for note in trace.notes) == (file == "23-coarse-clock.csv")


def test_case_24_two_removals_in_one_file() -> None:
    """Two removals give no result until a person splits them."""
    trace = parse_trace(NASTY / "24-two-removals.csv")
    result = trace_result(trace, speed_mm_per_min=15.0, geometry="straight pull-off", capacity_n=50.0)
    assert "2 removals" in result.flags
    assert "Split" in result.refused
    first, second = split_trace(trace, at_s=4.0)
    assert (dot(first), dot(second)) == (pytest.approx(5.1), pytest.approx(4.2))


def test_case_24_one_removal_in_two_files() -> None:
    """Two halves joined by hand are one peel; both digests go along."""
    halves = [parse_trace(NASTY / f"24-{name}-half.csv") for name in ("first", "second")]
    joined = join_traces(*halves, pause_s=0.05)
    result = trace_result(
        joined, speed_mm_per_min=300.0, geometry="90°, sliding stage", width_mm=25.0, window_rule="25–75 mm"
    )
    assert result.mean_n == pytest.approx(4.0, abs=0.01)
    assert all(half.digest in joined.notes[-1] for half in halves)


def test_units_in_cells_and_units_left_out() -> None:
    """A unit may stand in the cell, in the preamble or be said; without any the file is refused."""
    assert parse_trace(b"t;F\n0;520 g\n1;5.1 N\n2;0.52 kgf\n").force_n == pytest.approx([5.099458, 5.1, 5.099458])
    assert parse_trace(b"Unit: gf\nt;F\n0;520\n1;521\n").force_n[0] == pytest.approx(5.099458)
    assert "has no unit" in refusal(b"t;F\n0;520\n1;521\n")
    assert parse_trace(b"t;F\n0;520\n1;521\n", force_unit="gf").force_n[0] == pytest.approx(5.099458)
    assert "force over a width" in refusal(b"t;Force (N/25 mm)\n0;5\n1;5\n")
    assert "not a unit of force" in refusal(b"t;Force (furlong)\n0;5\n1;5\n")


def test_grams_are_told_to_be_taken_as_force() -> None:
    """A gauge's g is the weight of a gram, and the trace says so."""
    trace = parse_trace(b"t;Force (g)\n0;520\n1;521\n")
    assert trace.force_unit == "gf"
    assert any("gram-force" in note for note in trace.notes)


def test_quoted_commas_and_columns_parted_by_spaces() -> None:
    """Decimal commas in quotes between commas, and columns lined up with spaces, are tables as well."""
    quoted = parse_trace(b'"Time (s)","Force (N)"\n"0,00","1,25"\n"0,02","2,5"\n"0,04","3"\n')
    assert quoted.force_n == pytest.approx([1.25, 2.5, 3])
    spaced = parse_trace(b"A gauge, invented\n Time (s)   Force (N)\n    0.00        1.25\n    0.02       -2.5\n")
    assert spaced.force_n == pytest.approx([1.25, -2.5])
    assert parse_trace(b"Time Force\n0.00 1.25\n0.02 2.5\n", force_unit="N").force_n == pytest.approx([1.25, 2.5])
    with pytest.raises(FileRefused):
        parse_trace(b"Time (s) Force (N)\n0.00 1.25 7\n0.02 2.5 8\n")


def test_no_times_need_a_rate() -> None:
    """Samples without times take the rate of the preamble, or the one that is said."""
    assert "sampling rate" in refusal(b"Force (N)\n1\n2\n3\n")
    assert parse_trace(b"Force (N)\n1\n2\n3\n", rate_hz=50).time_s == pytest.approx([0, 0.02, 0.04])
    assert parse_trace(b"Sampling rate: 10 Hz\nForce (N)\n1\n2\n3\n").time_s == pytest.approx([0, 0.1, 0.2])
    assert parse_trace(b"Kraft\nN\n0,01\n0,02\n1,2\n", rate_hz=50).force_n[2] == pytest.approx(1.2)


def test_times_in_other_units() -> None:
    """Milliseconds and minutes become seconds."""
    assert parse_trace(b"Time (ms);Force (N)\n0;1\n20;2\n").time_s == pytest.approx([0, 0.02])
    assert parse_trace(b"Time [min],Force [N]\n0,1\n0.5,2\n").time_s == pytest.approx([0, 30])
    assert "not a unit of time" in refusal(b"Time (fortnight);Force (N)\n0;1\n20;2\n")


def test_several_columns_of_force_are_asked_about() -> None:
    """Two forces are not chosen between; naming one settles it."""
    content = b"Time (s);Force 1 (N);Force 2 (N)\n0;1;7\n1;2;8\n"
    assert "may be any of these" in refusal(content)
    assert parse_trace(content, columns={"force": "Force 2"}).force_n == pytest.approx([7, 8])


def test_every_fault_is_told_at_once() -> None:
    """Each bad cell has its row; a file of rubbish tells the first and the count."""
    said = refusal(b"Time (s);Force (N)\n0;1\n1;2\n2;3\n3;x4\n4;5\n5;6,7,8\n")
    assert "row 5" in said
    assert "row 7" in said
    many = b"Time (s);Force (N)\n0;1\n1;1\n2;1\n" + b"".join(b"%d;abc\n" % i for i in range(3, 90))
    assert "more cells like these" in refusal(many)


def test_headerless_and_empty_files() -> None:
    """What lacks a header, a table or any text is refused with what to do."""
    assert "no header" in refusal(b"0;1\n1;2\n2;3\n")
    assert "no table" in refusal(b"only words\nand more words\n")
    assert "empty" in refusal(b"  \n")
    assert "not a text file" in refusal(bytes(range(256)) * 4)
    assert "cannot be read" in refusal(NASTY / "not-there.csv")


def test_times_out_of_order_are_refused() -> None:
    """A clock that goes back all the time is no restart."""
    rows = "".join(f"{(i * 7) % 50};{i % 5}\n" for i in range(200))
    assert "go back" in refusal(f"Time (s);Force (N)\n{rows}".encode())


def test_a_workbook_is_read(tmp_path: Path) -> None:
    """The first sheet of a workbook holds a trace as well."""
    from openpyxl import Workbook

    book = Workbook()
    for row in (["Invented trace"], ["Time (s)", "Force (N)"], *([i / 10, i % 7 / 2] for i in range(30))):
        book.active.append(row)
    path = tmp_path / "trace.xlsx"
    book.save(path)
    trace = parse_trace(path)
    assert trace.samples == 30
    assert trace.force_n[3] == pytest.approx(1.5)


@given(st.binary(max_size=400))
@example(b"Time (s);Force (N)\n\n")
@example(b'Time (s);"Force (N)\n0;1\n')
@example(b"PK\x03\x04rubbish")
@example(b"\xff\xfet\x00;\x00F\x00")
@example("Time (s);Force (N)\n٠;١\n١;٢\n".encode())
@example(b"Force (N),Time (s)\n1e999,0\n-1e999,1\n1,2\n")
@settings(max_examples=300, deadline=None)
def test_any_bytes_give_a_trace_or_a_refusal(content: bytes) -> None:
    """Nothing that a disk may hold makes any other error."""
    try:
        trace = parse_trace(content)
    except FileRefused:
        return
    assert trace.samples >= 2


CELL = st.sampled_from(
    ["0", "1", "2.5", "3,5", "-4", "+5.1", "'6", "#N/A", "OL", ">50", "<0.05", "", "-", "-----", "1:02.5", "1e3", "1_0",
     "nan", "inf", "5.1 N", "520 g", "abc", "1.234,5", "1,234.5", "1 234,5", "1e999", "٣", "²", "−2", "½"]
)  # fmt: skip


@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=8), st.sampled_from([";", "\t", ","]))
@settings(max_examples=400, deadline=None)
def test_any_cells_give_a_trace_or_a_refusal(rows: list[tuple[str, str, str]], separator: str) -> None:
    """Odd cells in any mixture are read, left out with their reason, or refused with their row."""
    text = separator.join(["Time (s)", "Force (N)", "Travel (mm)"]) + "\n"
    text += "\n".join(separator.join(row) for row in rows)
    try:
        trace = parse_trace(text.encode())
    except FileRefused:
        return
    assert np.all(np.isfinite(trace.time_s))
    assert np.all(np.isfinite(trace.force_n) | trace.over)
    assert trace.displacement_mm is not None


@pytest.mark.parametrize("decimal", [".", ","])
def test_a_long_trace(decimal: str) -> None:
    """A hundred thousand samples are read, at a small multiple of what splitting and float() alone take."""
    at = np.arange(100_000) / 1000
    force = 4 + np.sin(at)
    rows = "\n".join(f"{t:.3f}\t{f:.3f}\t{5 * t:.3f}" for t, f in zip(at.tolist(), force.tolist(), strict=True))
    content = ("Time (s)\tForce (N)\tTravel (mm)\n" + rows.replace(".", decimal)).encode()
    began = time.process_time()
    trace = parse_trace(content)
    took = time.process_time() - began
    assert trace.samples == 100_000
    assert trace.force_n == pytest.approx(force.round(3))
    began = time.process_time()
    plainly = [[float(cell) for cell in line.split("\t")] for line in rows.split("\n")]
    assert len(plainly) == trace.samples
    assert took < 20 * (time.process_time() - began)
