"""Force traces reduced: the worked case, sign and zero, overload, windows, peaks, pieces and questions."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis.removal_questions import plausibility_questions
from study.analysis.trace import LENGTH_PER_TRAVEL, TraceResult, Window, peel_energy, trace_result
from study.analysis.trace_pieces import join_traces, one_segment, split_trace
from study.errors import DwellbookError
from study.model.trace import Trace

ROOT = Path(__file__).parent.parent
KINDS = ("published", "hand-worked", "other-program", "common-practice", "from-memory")
SOURCES = tomllib.loads((ROOT.parent / "protocols" / "sources.toml").read_text(encoding="utf-8"))


def logged(time_s: np.ndarray, force_n: np.ndarray, *, travel: np.ndarray | None = None, step: float = 0.0) -> Trace:
    """An invented trace as if a file had held it."""
    return Trace(
        "invented", "0" * 64, time_s, force_n, np.zeros(time_s.size, dtype=bool), travel, ((0, int(time_s.size)),),
        (), "N", 1.0, step, (), (), (),
    )  # fmt: skip


def peel(x: np.ndarray) -> np.ndarray:
    """The worked trace: a start peak of 6 N, then waves of 4 mm about 4 N."""
    waves = 4 + 0.5 * np.sin(2 * np.pi * x / 4)
    force: np.ndarray = np.where(x <= 5, 6 * x / 5, np.where(x <= 10, 6 - 2 * (x - 5) / 5, waves))
    return force


def peel_trace(*, seconds_before: float = 0.0, sign: float = 1.0, zero: float = 0.0, end_mm: float = 120.0) -> Trace:
    """The worked trace at 50 Hz and 5 mm/s, after so long unloaded, and a second unloaded after it."""
    at = np.arange(0, seconds_before + end_mm / 5 + (1.0 if seconds_before else 0.0) + 1e-9, 0.02)
    x = (at - seconds_before) * 5
    force = np.where((x >= 0) & (x <= end_mm + 1e-9), peel(x), 0.0)
    return logged(at, sign * force + zero)


def reduced(trace: Trace, **asked: Any) -> TraceResult:
    usual: dict[str, Any] = {
        "speed_mm_per_min": 300.0, "geometry": "90°, sliding stage", "width_mm": 25.0, "window_rule": "25–75 mm",
    }  # fmt: skip
    return trace_result(trace, **{**usual, **asked})


@pytest.mark.published("trace.toml", "trace")
def test_worked_trace(row: dict[str, Any]) -> None:
    """A trace that can be worked out on paper gives the printed digits."""
    asked = row["inputs"]
    steps = round(asked["length_mm"] / (asked["speed_mm_per_min"] / 60) * asked["rate_hz"])
    at = np.arange(steps + 1) / asked["rate_hz"]
    result = trace_result(
        logged(at, peel(at * asked["speed_mm_per_min"] / 60)), speed_mm_per_min=asked["speed_mm_per_min"],
        geometry=asked["geometry"], width_mm=25.0, window_rule=asked["window"],
    )  # fmt: skip
    assert result.window is not None
    assert result.peaks is not None
    found = {
        "mean_n": result.window.mean_n, "lowest_n": result.window.lowest_n, "highest_n": result.window.highest_n,
        "samples": result.window.samples, "plain_mean_n": result.window.plain_mean_n, "peaks": result.peaks.found,
        "central_peaks": result.peaks.used, "peak_median_n": result.peaks.median_n,
        "peak_range_n": result.peaks.range_n,
    }  # fmt: skip
    expected = row["expected"]
    assert {name: found[name] for name in expected} == pytest.approx(expected, abs=row["tolerance"])
    assert {k: found[k] for k in expected if "peaks" in k or k == "samples"} == {
        k: v for k, v in expected.items() if "peaks" in k or k == "samples"
    }


@pytest.mark.published("trace.toml", "length per travel")
def test_length_per_travel(row: dict[str, Any]) -> None:
    """Travel of the crosshead becomes peeled length by the geometry, through the whole reduction."""
    asked = row["inputs"]
    at = np.linspace(0, 60, 3001)
    force = np.where(at > 0, 4.0, 0.0)
    result = reduced(logged(at, force), geometry=asked["geometry"], speed_mm_per_min=asked["travel_mm"])
    assert result.axis == "peeled length"
    assert result.length == pytest.approx(row["expected"]["length_mm"], abs=max(row["tolerance"], 0.01 * 60))
    factor, _ = LENGTH_PER_TRAVEL[asked["geometry"]]
    assert factor * asked["travel_mm"] == pytest.approx(row["expected"]["length_mm"], abs=row["tolerance"])


@pytest.mark.published("trace.toml", "peel energy")
def test_peel_energy(row: dict[str, Any]) -> None:
    """Energy per area from force, width and angle."""
    assert peel_energy(**row["inputs"]) == pytest.approx(row["expected"]["joule_per_m2"], abs=row["tolerance"])


@pytest.mark.parametrize("file", ["trace.toml"])
def test_rows_say_where_they_come_from(file: str) -> None:
    """A check value without a source is only a claim."""
    for row in tomllib.loads((ROOT / "published" / file).read_text(encoding="utf-8"))["case"]:
        assert row["source"] in SOURCES, row["name"]
        assert row["kind"] in KINDS, row["name"]
        assert row["where"], row["name"]
        assert row["because"], row["name"]
        assert row["tolerance"] >= 0, row["name"]


def test_zero_and_sign_are_found_and_told() -> None:
    """A zero of −0.02 N is taken off; a trace logged as minus gives the same, and says so."""
    upright = reduced(peel_trace(seconds_before=2, zero=-0.02))
    turned = reduced(peel_trace(seconds_before=2, sign=-1.0, zero=-0.02))
    assert upright.tare_n == pytest.approx(-0.02)
    assert turned.tare_n == pytest.approx(-0.02)
    assert (upright.flipped, turned.flipped) == (False, True)
    assert upright.mean_n == pytest.approx(turned.mean_n, abs=1e-9)
    assert upright.mean_n == pytest.approx(4.0, abs=0.005)
    assert any("multiplied by −1" in note for note in turned.notes)
    assert upright.flags == turned.flags == ()


def test_sign_can_be_decided_by_hand() -> None:
    """A long push before a short pull reaches further and lasts longer; a person says which is which."""
    at = np.arange(0, 10, 0.02)
    force = np.where((at > 2) & (at < 5), -20.0, np.where((at > 6) & (at < 7), 5.0, 0.0))
    found = reduced(logged(at, force), geometry="straight pull-off", window_rule=None)
    assert found.flipped
    assert "force in both directions" in found.flags
    held = reduced(logged(at, force), geometry="straight pull-off", window_rule=None, sign="as logged")
    assert held.peak_n == pytest.approx(5.0)


def test_no_baseline_is_flagged_and_nothing_taken_off() -> None:
    """A trace that starts under load has no zero."""
    result = reduced(peel_trace())
    assert result.tare_n == 0
    assert result.flags == ("no baseline",)
    _, later = split_trace(peel_trace(seconds_before=2), at_s=10.0)
    cut = reduced(later, window_rule="central 80 %")
    assert "no baseline" in cut.flags
    assert cut.mean_n == pytest.approx(4.0, abs=0.05)


def test_a_pull_off_that_ends_under_load_may_be_half_of_one() -> None:
    """Cut while the force still rose: its peak is not that of the removal; let go, or a peel that stops, is no such."""
    at = np.arange(0, 6, 0.02)
    force = np.where((at > 1) & (at < 4), 2 * (at - 1), 0.0)
    whole = reduced(logged(at, force), geometry="straight pull-off", window_rule=None)
    assert "ends under load" not in whole.flags
    half = reduced(logged(at[at < 3], force[at < 3]), geometry="straight pull-off", window_rule=None)
    assert "ends under load" in half.flags
    assert half.peak_n < whole.peak_n
    assert "ends under load" not in reduced(peel_trace()).flags


@pytest.mark.parametrize("capacity", [50.0, None])
def test_flat_top_is_a_lower_bound(capacity: float | None) -> None:
    """A gauge at its end makes the reading "at least"; without a known capacity the flat top itself tells."""
    at = np.arange(0, 6, 0.02)
    force = np.clip(np.where((at > 1) & (at < 4), (at - 1) * 40, 0.0), 0, 50.0)
    result = reduced(logged(at, force, step=0.01), geometry="straight pull-off", window_rule=None, capacity_n=capacity)
    assert result.lower_bound
    assert "saturated" in result.flags
    assert result.peak_n == pytest.approx(50.0)


def test_rounded_peak_is_not_a_flat_top() -> None:
    """Many samples within one digit of a rounded maximum are no overload."""
    at = np.arange(0, 6, 0.001)
    force = np.round(np.where((at > 1) & (at < 4), 5 * np.sin((at - 1) * np.pi / 3), 0.0), 2)
    result = reduced(logged(at, force, step=0.01), geometry="straight pull-off", window_rule=None, capacity_n=50.0)
    assert not result.lower_bound
    assert "saturated" not in result.flags


def test_level_trace_of_a_coarse_gauge_is_not_a_flat_top() -> None:
    """A force that jumps up to its maximum, stays for some samples and sinks by single digits was not cut off."""
    force = np.concatenate(
        [np.zeros(50), [1.0, 2.5], np.full(5, 4.0), np.full(60, 3.9), np.full(60, 3.8), np.zeros(30)]
    )
    trace = logged(np.arange(force.size) * 0.05, force, step=0.1)
    result = reduced(trace, geometry="straight pull-off", window_rule=None)
    assert not result.lower_bound


def test_repeated_time_counts_once_at_its_mean() -> None:
    """Three samples at one time are one place on the strip, with the mean of the three."""
    at = np.arange(0, 30, 0.2)
    force = np.where((at >= 2) & (at <= 28), 4.0, 0.0)
    place = int(np.argmin(np.abs(at - 12.0)))
    trace = logged(np.insert(at, place, [at[place]] * 2), np.insert(force, place, [4.0, 10.0]))
    assert reduced(trace).mean_n == pytest.approx(4 + 2 * 1.0 / 50, abs=1e-6)


def test_overloaded_word_stands_at_the_capacity() -> None:
    """A sample that says only "overloaded" is at least the end of scale."""
    trace = peel_trace(seconds_before=2)
    force, over = trace.force_n.copy(), trace.over.copy()
    force[600], over[600] = np.nan, True
    result = reduced(replace(trace, force_n=force, over=over), capacity_n=50.0)
    assert result.lower_bound
    assert result.peak_n == pytest.approx(50.0)


def test_short_trace_is_refused_not_shortened() -> None:
    """A window longer than the trace gives no mean, and says what it needs."""
    result = reduced(peel_trace(seconds_before=2, end_mm=60))
    assert result.mean_n is None
    assert result.mean_n_per_m is None
    assert "window too short" in result.flags
    assert "60 mm long" in result.refused
    longer = reduced(peel_trace(seconds_before=2), window_rule="25 mm to end−10 mm")
    assert longer.mean_n is None, "85 mm are fewer than the 100 mm of this rule"
    assert "at least 100 mm" in longer.refused


def test_half_of_the_travel_is_peeled_at_180_degrees() -> None:
    """The same 120 mm of travel reach only 60 mm of bond."""
    result = reduced(peel_trace(seconds_before=2), geometry="180°")
    assert result.length == pytest.approx(60.0)
    assert "window too short" in result.flags


def test_windows_by_name_and_by_hand() -> None:
    """Each named window lies where its name says."""
    trace = peel_trace(seconds_before=2, end_mm=160)
    spans = {}
    for rule in ("25–75 mm", "25 mm to end−10 mm", "central 80 %", Window(30.0, 50.0)):
        found = reduced(trace, window_rule=rule).window
        assert found is not None
        spans[found.rule] = (found.from_mm, found.to_mm)
    assert spans["25–75 mm"] == (25.0, 75.0)
    assert spans["25 mm to end−10 mm"] == pytest.approx((25.0, 150.0))
    assert spans["central 80 %"] == pytest.approx((16.0, 144.0))
    assert spans["user"] == (30.0, 50.0)


def test_logged_displacement_goes_before_the_speed() -> None:
    """Where the travel is logged it is used, and a speed that does not fit it is told."""
    plain = peel_trace(seconds_before=2)
    trace = replace(plain, displacement_mm=plain.time_s * 5.0)
    assert reduced(trace).axis_from == "logged displacement"
    assert "speed and displacement disagree" not in reduced(trace).flags
    assert "speed and displacement disagree" in reduced(trace, speed_mm_per_min=150.0).flags
    downward = replace(plain, displacement_mm=100 - plain.time_s * 5.0)
    assert reduced(downward).mean_n == pytest.approx(4.0, abs=0.005)


def test_speed_unknown() -> None:
    """Without speed and displacement there is a peak and no mean."""
    result = reduced(peel_trace(seconds_before=2), speed_mm_per_min=None)
    assert result.mean_n is None
    assert result.energy_j is None
    assert "speed unknown" in result.flags
    assert result.peak_n == pytest.approx(6.0)


def test_energy_and_width() -> None:
    """A constant 4 N over 120 mm of travel is 0.48 J; over 25 mm of width it is 160 N/m."""
    at = np.arange(0, 27, 0.01)
    force = np.where((at >= 2) & (at <= 26), 4.0, 0.0)
    result = reduced(logged(at, force), geometry="180°", window_rule=Window(5.0, 55.0))
    assert result.energy_j == pytest.approx(0.48, rel=2e-3)
    assert result.mean_n_per_m == pytest.approx(160.0)
    assert result.peaks is not None
    assert result.peaks.rule == "level"
    assert result.peaks.median_n == pytest.approx(4.0)
    assert "width unknown" in reduced(logged(at, force), width_mm=None).flags


def test_few_peaks_are_all_used() -> None:
    """Fewer than five: the median and the range of all of them."""
    x = np.arange(0, 40, 0.1)
    force = np.ones(x.size)
    for height, centre in ((2.0, 5), (3.0, 15), (5.0, 25), (2.5, 35)):
        force += height * np.exp(-(((x - centre) / 1.5) ** 2))
    force[:1] = 0.0
    peaks = reduced(logged(x / 5, force), window_rule=None, geometry="straight pull-off").peaks
    assert peaks is not None
    assert (peaks.rule, peaks.found, peaks.used) == ("few peaks", 4, 4)
    assert peaks.median_n == pytest.approx(3.75, abs=0.01)
    assert peaks.range_n == pytest.approx(3.0, abs=0.01)


def test_noise_makes_no_peaks() -> None:
    """Scatter of the gauge is not a peak of the trace."""
    trace = peel_trace(seconds_before=2)
    noise = np.random.default_rng(7).normal(0, 0.02, trace.samples)
    peaks = reduced(replace(trace, force_n=trace.force_n + noise)).peaks
    assert peaks is not None
    assert peaks.found == 28


def test_stick_slip_is_flagged() -> None:
    """Waves of ±1 N about 4 N swing by half the mean; those of ±0.5 N by a quarter."""
    calm = reduced(peel_trace(seconds_before=2))
    assert calm.stick_slip is not None
    assert calm.stick_slip.ratio == pytest.approx(0.25, abs=0.005)
    assert "stick-slip" not in calm.flags
    trace = peel_trace(seconds_before=2)
    x = (trace.time_s - 2) * 5
    loud = np.where(x > 10, trace.force_n + 0.5 * np.sin(2 * np.pi * x / 4) * (x <= 120), trace.force_n)
    result = reduced(replace(trace, force_n=loud))
    assert result.stick_slip is not None
    assert result.stick_slip.ratio == pytest.approx(0.5, abs=0.01)
    assert "stick-slip" in result.flags


def test_too_few_samples() -> None:
    """Fewer than one sample a millimetre is told; so is one hole in an otherwise dense trace."""
    at = np.arange(0, 27, 0.5)
    force = np.where((at >= 2) & (at <= 26), 4.0, 0.0)
    assert "too few samples" in reduced(logged(at, force)).flags
    trace = peel_trace(seconds_before=2)
    keep = (trace.time_s < 10) | (trace.time_s > 11)
    holed = logged(trace.time_s[keep], trace.force_n[keep])
    assert "too few samples" in reduced(holed).flags


def test_mean_is_weighted_by_length_not_by_count() -> None:
    """Ten times the samples where the force is high do not raise the mean."""
    at = np.concatenate([np.arange(0, 12, 0.05), np.arange(12, 17, 0.005), np.arange(17, 28, 0.05)])
    force = np.where((at > 2) & (at < 26), np.where((at >= 12) & (at < 17), 8.0, 4.0), 0.0)
    window = reduced(logged(at, force)).window
    assert window is not None
    assert window.mean_n == pytest.approx(6.0, abs=0.05)
    assert window.plain_mean_n > 7


def test_what_a_person_saw_is_a_flag() -> None:
    """Observations stand beside what the trace shows; other words are refused."""
    assert "backing broke" in reduced(peel_trace(seconds_before=2), observed=("backing broke",)).flags
    assert "angle drift" in reduced(peel_trace(seconds_before=2), geometry="90°, fixed stage").flags
    with pytest.raises(DwellbookError, match="not something to observe"):
        reduced(peel_trace(), observed=("it rained",))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"geometry": "45°"}, "no geometry"),
        ({"window_rule": "all"}, "no window rule"),
        ({"window_rule": "user"}, "no window rule"),
        ({"window_rule": Window(5.0, 5.0)}, "is none"),
        ({"speed_mm_per_min": 0.0}, "not possible"),
        ({"width_mm": float("nan")}, "not possible"),
        ({"sign": "minus"}, "no way to take the sign"),
    ],
)
def test_impossible_questions_are_refused(asked: dict[str, Any], said: str) -> None:
    """A slip in what is asked is said at once."""
    with pytest.raises(DwellbookError, match=said):
        reduced(peel_trace(), **asked)


def test_unloaded_gauge_gives_no_removal() -> None:
    """Noise alone is no removal."""
    at = np.arange(0, 10, 0.02)
    result = reduced(logged(at, np.random.default_rng(3).normal(0, 0.01, at.size)), capacity_n=50.0)
    assert result.flags == ("no removal",)
    assert "nothing was removed" in result.refused


def test_pieces_are_cut_and_joined_by_an_explicit_act() -> None:
    """A trace cut in two and joined again is the same trace, and its notes tell the way."""
    whole = peel_trace(seconds_before=2)
    before, after = split_trace(whole, at_s=10.0)
    joined = join_traces(before, after, pause_s=0.02)
    assert joined.time_s == pytest.approx(whole.time_s)
    assert reduced(joined).mean_n == pytest.approx(reduced(whole).mean_n, abs=1e-9)
    assert any(note.startswith("joined") for note in joined.notes)
    assert any("part before" in note for note in before.notes)
    with pytest.raises(DwellbookError, match="Nothing is cut off"):
        split_trace(whole, at_s=100.0)
    with pytest.raises(DwellbookError, match="pause"):
        join_traces(before, after, pause_s=-1.0)
    with pytest.raises(DwellbookError, match="no segment 2"):
        one_segment(whole, 2)


@given(
    scale=st.floats(0.1, 40), zero=st.floats(-0.3, 0.3), late=st.floats(0.6, 5), flip=st.booleans(),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_mean_follows_scale_and_not_zero(scale: float, zero: float, late: float, flip: bool) -> None:
    """Twice the force is twice the mean, whatever the zero of the gauge, the sign and the moment of the start."""
    trace = peel_trace(seconds_before=late)
    force = (trace.force_n * scale + zero) * (-1.0 if flip else 1.0)
    mean = reduced(replace(trace, force_n=force)).mean_n
    assert mean == pytest.approx(4.0 * scale, rel=5e-3)


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=60), st.lists(st.floats(0, 10), min_size=2, max_size=60))
@settings(max_examples=80, deadline=None)
def test_any_samples_give_a_result(force: list[float], gaps: list[float]) -> None:
    """Whatever a gauge logs, there is a result with its flags, and never another error."""
    count = min(len(force), len(gaps))
    trace = logged(np.cumsum(gaps[:count]), np.array(force[:count]))
    result = reduced(trace, window_rule="central 80 %")
    assert result.mean_n is None or np.isfinite(result.mean_n)
    assert (result.mean_n is None) == bool(result.refused)


def test_a_long_noisy_trace() -> None:
    """A hundred thousand samples with the scatter of a gauge: zero, start and mean are found."""
    at = np.arange(100_000) / 1000
    noise = np.random.default_rng(5).normal(0, 0.005, at.size)
    result = reduced(
        logged(at, np.where((at > 2) & (at < 98), peel((at - 2) * 5), 0.0) + noise), geometry="180°", capacity_n=50.0
    )
    assert result.mean_n == pytest.approx(4.0, abs=0.05)
    assert result.noise_n == pytest.approx(0.005, rel=0.1)
    assert result.start_s == pytest.approx(2.0, abs=0.1)
    assert result.flags == ()


def test_plausibility_questions() -> None:
    """A width in centimetre, a diameter in centimetre and a speed per second are asked about; usual numbers are not."""
    assert plausibility_questions(width_mm=25, dot_diameter_mm=8, speed_mm_per_min=300, force_n_per_dot=5) == ()
    (width,) = plausibility_questions(width_mm=2.5)
    assert "2.5 mm wide" in width
    assert "it would be 25" in width
    assert "common practice" in width
    (dot,) = plausibility_questions(dot_diameter_mm=0.8)
    assert "it would be 8" in dot
    (fast,) = plausibility_questions(speed_mm_per_min=300 * 60)
    assert "300 mm/min typed as mm/s" in fast
    (slow,) = plausibility_questions(speed_mm_per_min=5)
    assert "5 mm/s meant" in slow
    (stress,) = plausibility_questions(force_n_per_dot=100, dot_diameter_mm=8)
    assert "1.99e+03 kPa" in stress or "1990 kPa" in stress
    assert len(plausibility_questions(force_n_per_dot=510, capacity_n=50)) == 2
    assert plausibility_questions(width_mm=0) != ()
