"""The two figures draw what an estimate carries, and nothing else."""

from __future__ import annotations

import math
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from study.model.units import DAYS_PER_MONTH
from study.outputs.figures import draw_acceptable_share, draw_decline
from study.outputs.labels_beside import spread
from study.outputs.palette import DARK, LIGHT


def words(figure: object) -> list[str]:
    """Every label written on a figure."""
    return [note.text for note in figure.layout.annotations]  # type: ignore[attr-defined]


def test_readings_known_only_as_at_least_point_upward(made_up: ModuleType) -> None:
    """A gauge that ran out is drawn hollow with its direction, the others as dots."""
    figure = draw_decline(made_up.force_estimate(), scheme="light", months=36)
    markers = {trace.marker.symbol: len(trace.x) for trace in figure.data if trace.mode == "markers"}
    assert markers == {"circle": 39, "triangle-up-open": 1}


def test_the_crossing_stands_at_the_bound(made_up: ModuleType) -> None:
    """The dotted line drops at the day where the bound meets the limit, and says that day."""
    estimate = made_up.force_estimate()
    figure = draw_decline(estimate, scheme="light", months=36)
    (drop,) = [trace for trace in figure.data if trace.line.dash == "dot"]
    assert drop.x[0] == drop.x[1] == pytest.approx(estimate.decline.lower_days / DAYS_PER_MONTH)
    assert drop.y[1] == estimate.limit
    assert "23 months (720\u202fd)" in words(figure)


def test_no_bound_no_crossing(made_up: ModuleType) -> None:
    """Where the bound was not computed, neither wash nor crossing is drawn."""
    estimate = made_up.force_estimate()
    bare = replace(
        estimate, decline=replace(estimate.decline, draw_days=(), draw_mean=(), draw_bound=(), lower_days=None)
    )
    figure = draw_decline(bare, scheme="light", months=36)
    assert [trace.mode for trace in figure.data] == ["markers", "markers"]
    assert words(figure) == ["limit<br>20\u202fN per dot"]


def test_grades_are_discs_by_count(made_up: ModuleType) -> None:
    """Residue grades of one pull are gathered: the discs together stand for all coupons with one grade."""
    estimate = made_up.residue_estimate(bad_from=548)
    figure = draw_decline(estimate, scheme="light", months=36)
    discs = figure.data[0]
    counted = sum(round((size / 6.5) ** 2) for size in discs.marker.size)
    assert counted == sum(o.lower == o.upper for o in estimate.observations) == 39


def test_share_begins_at_all_acceptable(made_up: ModuleType) -> None:
    """The curve starts at 100 % on day 0 and never rises."""
    figure = draw_acceptable_share(made_up.residue_estimate(bad_from=548), scheme="light", months=36, permitted=0.1)
    (curve,) = [trace for trace in figure.data if trace.mode == "lines" and trace.line.shape == "hv"]
    assert (curve.x[0], curve.y[0]) == (0, 100)
    assert np.all(np.diff(curve.y) <= 0)
    assert curve.y[-1] == pytest.approx(60)


def test_whiskers_end_at_the_exact_limits(made_up: ModuleType) -> None:
    """Each pull shows its share with the exact lower limit that the estimate carries, and says n of m."""
    estimate = made_up.residue_estimate(bad_from=548)
    figure = draw_acceptable_share(estimate, scheme="light", months=36, permitted=0.1)
    (dots,) = [trace for trace in figure.data if trace.mode == "markers"]
    ends = np.asarray(dots.y) - np.asarray(dots.error_y.arrayminus)
    assert ends == pytest.approx([100 * pull.acceptable_lower for pull in estimate.pulls])
    assert words(figure).count("5 of 5") == 5
    assert "4 of 5" in words(figure)


def test_assumed_shapes_are_named_and_refused_ones_left_out(made_up: ModuleType) -> None:
    """A fitted shape is a dashed line with its name; a refused fit is not drawn."""
    estimate = made_up.force_estimate()
    refused = replace(estimate.lifetimes[1], refused="clean separation")
    estimate = replace(estimate, lifetimes=(estimate.lifetimes[0], refused))
    figure = draw_acceptable_share(estimate, scheme="light", months=36, permitted=0.1)
    assert "if Weibull" in words(figure)
    assert "if lognormal" not in words(figure)
    assert [trace.line.dash for trace in figure.data if trace.line.dash] == ["dash"]


def test_dark_figures_use_dark_colours(made_up: ModuleType) -> None:
    """No colour of the light page remains in a dark figure."""
    for draw in (
        draw_decline(made_up.hold_estimate(), scheme="dark", months=36),
        draw_acceptable_share(made_up.hold_estimate(), scheme="dark", months=36, permitted=0.1),
    ):
        text = draw.to_json()
        assert DARK.card in text
        assert not any(colour in text for colour in (LIGHT.card, LIGHT.ink, LIGHT.quiet, LIGHT.accent, LIGHT.harm))


def test_nothing_infinite_is_drawn(made_up: ModuleType) -> None:
    """Open intervals and unbounded readings leave no infinite coordinate on the sheet."""
    for estimate in (made_up.force_estimate(), made_up.residue_estimate(), made_up.hold_estimate()):
        for figure in (
            draw_decline(estimate, scheme="light", months=36),
            draw_acceptable_share(estimate, scheme="light", months=36, permitted=0.1),
        ):
            for trace in figure.data:
                assert all(math.isfinite(value) for value in (*trace.x, *trace.y))


def test_labels_beside_are_spread() -> None:
    """Names of lines that end close together keep their order and do not overlap."""
    placed = spread([100.0, 102.0, 101.0], [18, 18, 18], top=0, bottom=200)
    assert placed[0] < placed[2] < placed[1]
    gaps = np.diff(sorted(placed))
    assert np.all(gaps >= 18)
    assert spread([195.0], [18], top=0, bottom=200) == [191.0]
