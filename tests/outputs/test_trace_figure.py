"""The figure of a trace: its window, peaks and end of scale; thinning loses no peak."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from study.analysis.trace_shown import MOST_POINTS, thinned
from study.model.trace_asked import ShownTrace
from study.outputs.figure_trace import draw_trace


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 20_000), st.integers(0, 2**32 - 1))
def test_thinning_keeps_extremes_and_order(size: int, seed: int) -> None:
    """Whatever the length, the highest and lowest sample, the first and the last stay, in order."""
    force = np.random.default_rng(seed).normal(size=size)
    kept = thinned(np.arange(size, dtype=float), force)
    assert kept.size <= MOST_POINTS + 2
    assert np.all(np.diff(kept) > 0)
    assert {0, size - 1, int(np.argmax(force)), int(np.argmin(force))} <= set(kept.tolist())


@pytest.mark.parametrize("at_least", [True, False])
def test_what_is_drawn(at_least: bool) -> None:
    """Window shaded with its mean, peaks ringed, and the end of scale said in words."""
    shown = ShownTrace(
        title="a.csv", axis="peeled length [mm]", at=(0, 50, 100), force_n=(0, 4, 3), window=(25, 75), mean_n=3.6,
        peak_n=4, peaks=((50, 4),), at_least=at_least,
    )  # fmt: skip
    figure = draw_trace(shown, scheme="light")
    assert [trace.mode for trace in figure.data] == ["lines", "lines", "markers"]
    assert tuple(figure.data[1].y) == (3.6, 3.6)
    assert (figure.layout.shapes[0].x0, figure.layout.shapes[0].x1) == (25, 75)
    said = [note.text for note in figure.layout.annotations]
    assert said == (["the gauge was at its end"] if at_least else [])
