"""Pictures beside a bound: what is drawn is what the estimate carries, and each says that it never decides."""

from __future__ import annotations

import math
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from study.model.estimate import (
    CensoredPicture,
    Estimate,
    GradePull,
    GradeShares,
    GroupDifference,
    LotPooling,
    ObservedCurve,
)
from study.model.units import DAYS_PER_MONTH
from study.outputs.figures import (
    band_words,
    draw_acceptable_share,
    draw_decline,
    draw_grades,
    draw_watched,
    grade_caption,
    has_grades,
    watched_caption,
)
from study.outputs.pictured import difference_words, pictured_words, pooling_words

GRADES = GradeShares(
    time_scale="sqrt", n=15, spans=1, grades=((0, 0), (1, 1), (3, 4)),
    pulls=(GradePull(91, 5, (3, 5), (4, 5)), GradePull(365, 5, (2, 4), (2, 4)), GradePull(730, 5, (0, 3), (0, 3))),
    cutpoints=(0.1, 1.2), slope=0.05, draw_days=(0.0, 365.0, 730.0),
    draw_shares=((0.6, 0.3, 0.002), (0.3, 0.4, 0.398), (0.1, 0.3, 0.6)),
)  # fmt: skip
TOBIT = CensoredPicture("sqrt", "log", 40, 6, 1.6, 0.04, 0.2, -3.0, None, (0.0, 365.0, 730.0), (5.0, 11.0, 17.04))
CURVE = ObservedCurve((100.0, 240.0), (0.9, 0.75), (0.6, 0.45), (0.99, 0.9), 12, 3, "Kaplan-Meier, log-log limits")


@pytest.fixture
def residue(made_up: ModuleType) -> Estimate:
    """Residue with the share in each grade."""
    return replace(made_up.residue_estimate(bad_from=548), grades=GRADES)


@pytest.fixture
def hold(made_up: ModuleType) -> Estimate:
    """Hold with ends seen on their days."""
    return replace(made_up.hold_estimate(), watched=CURVE)


def test_areas_stack_to_all_coupons(residue: Estimate) -> None:
    """Each area begins where the one below ends; the last ends at 100 % at every dwell."""
    figure = draw_grades(residue, scheme="light", months=36)
    areas = [trace for trace in figure.data if trace.fill == "tonexty"]
    by_hand = [[60, 30, 0.2], [90, 70, 40], [100, 100, 100]]
    assert np.array([trace.y for trace in areas]) == pytest.approx(np.array(by_hand))
    assert areas[0].fillcolor[:18] == areas[1].fillcolor[:18] != areas[2].fillcolor[:18]
    names = [note.text for note in figure.layout.annotations]
    assert names == ["● grade 0", "■ grade 1", "grade 3–4"]


def test_marks_stand_at_what_was_seen(residue: Estimate) -> None:
    """A mark is the share of a pull's coupons with that grade or a better one; open readings lengthen it upwards."""
    figure = draw_grades(residue, scheme="light", months=36)
    marks = {trace.marker.symbol: trace for trace in figure.data if trace.mode == "markers"}
    assert list(marks["circle"].y) == [60, 40, 0]
    assert list(marks["circle"].error_y.array) == [20, 0, 0]
    assert list(marks["square"].y) == [100, 80, 60]
    assert list(marks["square"].x) == pytest.approx([91 / DAYS_PER_MONTH, 365 / DAYS_PER_MONTH, 730 / DAYS_PER_MONTH])


def test_a_hard_case_keeps_its_marks_and_says_why(residue: Estimate) -> None:
    """Where no areas can be drawn the marks remain, with the reason beneath them."""
    refused = replace(GRADES, draw_days=(), draw_shares=(), cutpoints=(), slope=None, refused="grades from 2 dwells")
    hard = replace(residue, grades=refused)
    figure = draw_grades(hard, scheme="dark", months=36)
    assert not [trace for trace in figure.data if trace.fill]
    assert len([trace for trace in figure.data if trace.mode == "markers"]) == 2
    assert "grades from 2 dwells" in grade_caption(hard)
    assert "grades from 2 dwells" in " ".join(pictured_words(hard))
    assert not has_grades(replace(residue, grades=None))


def test_small_numbers_are_said(residue: Estimate) -> None:
    """The caption says how few coupons a mark stands on, and that the picture never decides."""
    caption = grade_caption(residue)
    assert "n = 5 is few, one coupon is 20\u202f%" in caption
    assert "never decides" in caption
    words = " ".join(pictured_words(residue))
    assert "under 1\u202f% grade 0, 40\u202f% grade 1 and 60\u202f% grade 3–4" in words


def test_the_tobit_line_is_dashed_and_named(made_up: ModuleType) -> None:
    """Where readings are only bounds, the line through them is dashed and carries its name; no bound is drawn."""
    estimate = replace(made_up.force_estimate(), decline=None, picture=TOBIT)
    figure = draw_decline(estimate, scheme="light", months=36)
    (line,) = [trace for trace in figure.data if trace.line.dash == "dash"]
    assert list(line.y) == [5.0, 11.0, 17.04]
    assert "mean, bounds<br>used (Tobit)" in [note.text for note in figure.layout.annotations]
    assert figure.layout.yaxis.type == "log"
    words = " ".join(pictured_words(estimate))
    assert "40 readings, 6 of them only a bound" in words
    assert "median 17\u202fN per dot at 730\u202fd" in words
    bare = replace(estimate, picture=replace(TOBIT, draw_days=(), draw_mean=(), refused="too few exact readings"))
    assert "too few exact readings" in " ".join(pictured_words(bare))
    assert not [trace for trace in draw_decline(bare, scheme="light", months=36).data if trace.line.dash == "dash"]


def test_watched_steps_hold_from_end_to_end(hold: Estimate) -> None:
    """The share is 100 % until the first end, falls on its day, and stays until the last look."""
    figure = draw_watched(hold, scheme="light", months=36, permitted=0.1)
    (steps,) = [trace for trace in figure.data if trace.mode == "lines" and trace.line.width == 2]
    last = max(o.after_days for o in hold.observations if o.unacceptable is False)
    assert list(steps.y) == [100, 90, 75, 75]
    assert list(steps.x) == pytest.approx(np.array([0, 100, 240, last]) / DAYS_PER_MONTH)
    (ticks,) = [trace for trace in figure.data if trace.mode == "markers"]
    assert len(ticks.x) == sum(o.unacceptable is False for o in hold.observations)
    for day, share in zip(ticks.customdata, ticks.y, strict=True):
        assert share == (100 if day < 100 else 90 if day < 240 else 75)
    assert "3 became unacceptable" in watched_caption(hold, confidence=0.95)
    assert "75\u202f% are acceptable" in " ".join(pictured_words(hold))


@pytest.mark.parametrize(
    ("lots", "told"),
    [
        (LotPooling(("A-1", "A-2"), 0.12, None, "separate lines", 300.0), "not pooled at 0.25, p = 0.12: each lot"),
        (LotPooling(("A-1", "A-2"), 0.61, 0.03, "common slope", 300.0), "pooled at 0.25, p = 0.61; intercepts not"),
        (LotPooling(("A", "B", "C"), 0.61, 0.4, "one line", None), "lots A, B and C pooled at 0.25, p = 0.61"),
    ],
)
def test_lots_are_told_with_their_test(lots: LotPooling, told: str) -> None:
    """Whether lots share a mean line is said with the level and p."""
    assert told in pooling_words(lots)


@pytest.mark.parametrize(("p", "told"), [(0.019, "differ: log-rank 5.46"), (0.3, "not shown to differ")])
def test_a_difference_is_not_its_absence(p: float, told: str) -> None:
    """A large p does not say that groups are alike."""
    found = GroupDifference(("gallery, lit", "store, dark"), 5.46, 1, p, "log-rank")
    words = difference_words(found, of="environments")
    assert told in words
    assert "“gallery, lit” and “store, dark”" in words


def test_a_lower_limit_holds_backwards_and_an_upper_one_forwards(made_up: ModuleType) -> None:
    """Between two looks the share may have fallen already: below, the wash stands at the later day's limit."""
    estimate = made_up.residue_estimate(bad_from=548)
    curve = replace(
        estimate.curve, band_days=(100.0, 200.0), band_lower=(0.7, 0.5), band_upper=(0.95, 0.9),
        band_method="all limits together",
    )  # fmt: skip
    figure = draw_acceptable_share(replace(estimate, curve=curve), scheme="light", months=36, permitted=0.1)
    lower, upper = [trace for trace in figure.data if trace.mode == "lines" and trace.line.width == 0]
    assert (lower.line.shape, upper.line.shape) == ("vh", "hv")
    assert list(lower.y) == [70, 70, 50]
    assert list(upper.y) == [100, 95, 90]
    assert "all dwells together" in band_words(replace(estimate, curve=curve), confidence=0.95)
    assert band_words(estimate, confidence=0.95) == ""


def test_nothing_pictured_nothing_said(made_up: ModuleType) -> None:
    """An estimate without pictures has no sentence on them."""
    assert pictured_words(made_up.hold_estimate()) == []


def test_pictures_draw_nothing_infinite(residue: Estimate, hold: Estimate) -> None:
    """Every coordinate of the pictures is a number."""
    for figure in (
        draw_grades(residue, scheme="light", months=36),
        draw_watched(hold, scheme="dark", months=36, permitted=0.1),
    ):
        for trace in figure.data:
            assert all(math.isfinite(value) for value in (*trace.x, *trace.y))
