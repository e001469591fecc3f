"""Probability plot: a Weibull life is a straight line on it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from study.model.estimate import Estimate, LifetimeFit, PullCount, ShareCurve
from study.outputs.figures import aic_words, draw_probability, has_probability_plot

DAYS = np.linspace(20, 1200, 60)


def estimate(*fits: LifetimeFit) -> Estimate:
    curve = ShareCurve((0.0, 182.0), (182.0, math.inf), (0.2, 0.8), (0.8, 0.0), "steps", 0.0)
    pulls = tuple(PullCount(f"{day}", day, 5, 1, 0.3, 0.0) for day in (91.0, 182.0, 365.0))
    return Estimate(
        "residue", "Residue", "grade", "above", 2.0, (), 15, 3, 0, "", pulls, curve, fits, None, None, None, None, "",
        None, None, "", (),
    )  # fmt: skip


def weibull() -> LifetimeFit:
    acceptable = tuple(np.exp(-((DAYS / 700) ** 2.5)).tolist())
    return LifetimeFit("weibull", 2.5, 700.0, aic=18.0, draw_days=tuple(DAYS.tolist()), draw_acceptable=acceptable)


def test_a_weibull_life_is_straight() -> None:
    """The drawn line rises by the fitted shape for each unit of log dwell, everywhere the same."""
    figure = draw_probability(estimate(weibull()), scheme="light")
    line = figure.data[0]
    slopes = np.diff(np.asarray(line.y, float)) / np.diff(np.log(np.asarray(line.x, float)))
    assert slopes == pytest.approx(2.5, rel=1e-6)
    points = figure.data[-1]
    assert list(points.x) == [182.0]
    assert points.y[0] == pytest.approx(math.log(-math.log(0.8)))


def test_without_a_fit_there_is_no_plot() -> None:
    """A hard case has no shape to lay beside its steps, and no AIC."""
    refused = LifetimeFit("weibull", refused="all unacceptable at the first pull")
    assert not has_probability_plot(estimate(refused))
    assert has_probability_plot(estimate(weibull()))
    assert aic_words(estimate(refused)) == ""
    assert aic_words(estimate(weibull())) == "AIC: Weibull 18.0"
