"""Colour differences: the published pairs, a second implementation, the noise of readings, and the blank's drift."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from study.analysis.discoloration import (
    blank_drift,
    colour_difference,
    net_of_blank,
    noise_floor,
    noise_floor_at,
    repeat_sd,
)

Lab = tuple[float, float, float]
COLOUR = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))
TYPED = st.decimals(-100, 100, places=2).map(float)


@pytest.fixture(scope="module", autouse=True)
def library() -> None:
    """The colour library is loaded once, before anything is timed."""
    difference((50.0, 1.0, 2.0), (50.0, 1.0, 3.0))


def textbook(before: Lab, after: Lab) -> float:
    """ΔE*00 step by step, in degrees, of one pair; the hue difference is rounded before the 180° rule."""
    mean_c = (math.hypot(*before[1:]) + math.hypot(*after[1:])) / 2
    g = 0.5 * (1 - math.sqrt(mean_c**7 / (mean_c**7 + 25**7)))
    chroma, hue = [], []
    for _, a, b in (before, after):
        chroma.append(math.hypot((1 + g) * a, b))
        hue.append(math.degrees(math.atan2(b, (1 + g) * a)) % 360 if a or b else 0.0)
    apart = hue[1] - hue[0]
    near = round(abs(apart), 8) <= 180
    if 0.0 in chroma:
        turn, mean_h = 0.0, sum(hue)
    elif near:
        turn, mean_h = apart, sum(hue) / 2
    else:
        turn = apart - 360 if apart > 0 else apart + 360
        mean_h = (sum(hue) + (360 if sum(hue) < 360 else -360)) / 2
    delta_l, delta_c = after[0] - before[0], chroma[1] - chroma[0]
    delta_h = 2 * math.sqrt(chroma[0] * chroma[1]) * math.sin(math.radians(turn) / 2)
    mean_l, mean_c = (before[0] + after[0]) / 2, sum(chroma) / 2

    def cos(degrees: float) -> float:
        return math.cos(math.radians(degrees))

    t = 1 - 0.17 * cos(mean_h - 30) + 0.24 * cos(2 * mean_h) + 0.32 * cos(3 * mean_h + 6) - 0.2 * cos(4 * mean_h - 63)
    s_l = 1 + 0.015 * (mean_l - 50) ** 2 / math.sqrt(20 + (mean_l - 50) ** 2)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    blue = 30 * math.exp(-(((mean_h - 275) / 25) ** 2))
    r_t = -math.sin(math.radians(2 * blue)) * 2 * math.sqrt(mean_c**7 / (mean_c**7 + 25**7))
    l, c, h = delta_l / s_l, delta_c / s_c, delta_h / s_h  # noqa: E741
    return math.sqrt(max(0.0, l * l + c * c + h * h + r_t * c * h))


def difference(before: Lab, after: Lab) -> float:
    """The difference of one pair."""
    return float(colour_difference(before=np.array(before), after=np.array(after)))


@pytest.mark.published("colour.toml", "colour difference")
def test_pairs_of_the_table(row: dict[str, Any]) -> None:
    """A stain is as far from the clean spot as the clean spot is from the stain; a second implementation agrees."""
    before, after = tuple(row["inputs"]["before"]), tuple(row["inputs"]["after"])
    expected = pytest.approx(row["expected"]["difference"], abs=row["tolerance"])
    assert difference(before, after) == expected
    assert difference(after, before) == expected
    assert textbook(before, after) == expected
    assert textbook(after, before) == expected


@given(COLOUR, COLOUR)
def test_agrees_with_the_textbook(before: Lab, after: Lab) -> None:
    """Any two colours, worked step by step, are as far apart; opposite hues have a test of their own."""
    hues = [math.degrees(math.atan2(b, a)) % 360 for _, a, b in (before, after)]
    chroma = [math.hypot(a, b) for _, a, b in (before, after)]
    if min(chroma) < 1e-3 or abs(abs(hues[0] - hues[1]) - 180) < 1e-3 or min(*hues, *(360 - h for h in hues)) < 1e-3:
        return  # a hue that is nothing but rounding, or stands on one of the formula's jumps
    assert difference(before, after) == pytest.approx(textbook(before, after), abs=1e-5)


@given(st.floats(0, 100), st.floats(0, 100), TYPED, TYPED, st.integers(1, 5))
@example(50.0, 50.0, -0.03, 0.01, 3)  # a third does not end, and rounding turns a pale colour's hue
def test_opposite_hues_count_as_180_degrees(first: float, second: float, a: float, b: float, times: int) -> None:
    """Colours straight across the grey axis fall on the table's side of the jump, in both directions."""
    if math.hypot(a, b) < 0.01:
        return
    before, after = (first, a, b), (second, -a / times, -b / times)
    expected = pytest.approx(textbook(before, after), abs=1e-5)
    assert difference(before, after) == expected
    assert difference(after, before) == expected


def test_the_jump_is_where_the_table_has_it() -> None:
    """A hair before and at opposite hues 4.8045, a hair beyond 4.7461: the guard does not smear the formula."""
    before = (50.0, -0.001, 2.49)
    found = [difference(before, (50.0, a, -2.49)) for a in (0.00099999, 0.001, 0.00100001)]
    assert found == pytest.approx([4.8045, 4.8045, 4.7461], abs=5e-5)


def test_noise_of_subtraction_does_not_move_a_hue_round_the_circle() -> None:
    """A b* of 0.3 less 0.1 less 0.2 is 0, not a hair below it."""
    before, left = (50.0, 5.0, 0.0), 0.3 - 0.1 - 0.2
    assert left != 0
    assert difference(before, (50.0, -5.0, left)) == difference(before, (50.0, -5.0, 0.0))
    assert difference((50.0, 5.0, left), (50.0, -5.0, 0.0)) == difference(before, (50.0, -5.0, -0.0))


@given(COLOUR)
def test_no_change_is_zero(colour: Lab) -> None:
    """A spot that did not change has no colour difference."""
    assert difference(colour, colour) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("shape", [(3,), (4, 3), (2, 5, 3)])
def test_many_spots_are_compared_at_once(shape: tuple[int, ...]) -> None:
    """One colour against one, or each against one reference; a missing number stays missing."""
    rng = np.random.default_rng(3)
    spots = rng.uniform(20, 80, shape)
    reference = np.array([50.0, 1.0, 2.0])
    found = colour_difference(before=reference, after=spots)
    assert found.shape == shape[:-1]
    each = [textbook(tuple(reference), tuple(spot)) for spot in spots.reshape(-1, 3)]
    assert found.ravel() == pytest.approx(each, abs=1e-6)
    assert math.isnan(difference((50.0, 1.0, 2.0), (math.nan, 1.0, 2.0)))


@pytest.mark.published("colour.toml", "noise floor")
def test_noise_floor_by_formula(row: dict[str, Any]) -> None:
    """2.26 s on average, 3.95 s once in twenty."""
    found = noise_floor(row["inputs"]["sd"])
    assert found.mean == pytest.approx(row["expected"]["mean"], abs=row["tolerance"])
    assert found.upper95 == pytest.approx(row["expected"]["upper95"], abs=row["tolerance"])


@pytest.mark.parametrize("readings", [1, 3])
def test_noise_floor_by_simulation(readings: int) -> None:
    """Means of readings of a spot that did not change differ as the formula says, to half a percent of 200 000."""
    rng = np.random.default_rng(11)
    first, second = rng.normal(0, 0.3, (2, 200_000, readings, 3)).mean(axis=2)
    seen = np.linalg.norm(first - second, axis=1)
    found = noise_floor(0.3, readings=readings)
    assert found.mean == pytest.approx(seen.mean(), rel=0.005)
    assert found.upper95 == pytest.approx(np.quantile(seen, 0.95), rel=0.005)
    assert found.mean == pytest.approx(math.sqrt(16 / math.pi) * 0.3 / math.sqrt(readings), rel=1e-12)


def test_noise_floor_of_the_difference_that_is_judged() -> None:
    """ΔE*00 stretches a* of greys and shrinks strong colours; another seed gives the same floor within 2 %."""
    plain = noise_floor(0.2)
    assert noise_floor_at((50, 0, 0), sd_per_axis=0.2).mean > 1.15 * plain.mean
    assert noise_floor_at((50, 60, 40), sd_per_axis=0.2).mean < 0.7 * plain.mean
    rng = np.random.default_rng(5)
    before, after = np.array([85.0, -1.0, 8.0]) + rng.normal(0, 0.2, (2, 50_000, 3))
    seen = colour_difference(before=before, after=after)
    found = noise_floor_at((85, -1, 8), sd_per_axis=0.2)
    assert found.mean == pytest.approx(seen.mean(), rel=0.02)
    assert found.upper95 == pytest.approx(np.quantile(seen, 0.95), rel=0.02)


def test_no_scatter_no_floor() -> None:
    """An instrument without scatter has no noise floor; a negative scatter is a slip."""
    assert noise_floor(0.0) == (0.0, 0.0)
    for slip in (-0.1, math.nan, math.inf):
        with pytest.raises(ValueError, match="0 or more"):
            noise_floor(slip)
    with pytest.raises(ValueError, match="at least one reading"):
        noise_floor(0.1, readings=0)


def test_repeat_sd_pools_within_spots() -> None:
    """By hand: squares 2, 8, 0 on one degree and 2, 0, 8 on two; a spot read once adds nothing."""
    spots = [
        np.array([[50.0, 1.0, 2.0], [52.0, 5.0, 2.0]]),
        np.array([[80.0, 0.0, 9.0], [81.0, 0.0, 11.0], [82.0, 0.0, 13.0]]),
        np.array([[10.0, 40.0, 3.0]]),
    ]
    found = repeat_sd(spots)
    squares = [2.0 + 2.0, 8.0 + 0.0, 0.0 + 8.0]
    assert found.degrees == 3
    assert found[1:4] == pytest.approx([math.sqrt(square / 3) for square in squares])
    assert found.per_axis == pytest.approx(math.sqrt(sum(squares) / 9))


def test_repeat_sd_recovers_a_known_scatter() -> None:
    """Many spots of any colour, three readings each, scatter 0.25: found within 2 %."""
    rng = np.random.default_rng(8)
    centres = rng.uniform([20, -30, -30], [90, 30, 30], (2_000, 3))
    found = repeat_sd([centre + rng.normal(0, 0.25, (3, 3)) for centre in centres])
    assert found.per_axis == pytest.approx(0.25, rel=0.02)
    assert found[1:4] == pytest.approx([0.25] * 3, rel=0.03)


@pytest.mark.parametrize("spots", [[], [np.array([[50.0, 0.0, 0.0]])]])
def test_repeat_sd_needs_a_spot_read_twice(spots: list[np.ndarray]) -> None:
    """One reading has no scatter."""
    with pytest.raises(ValueError, match="read twice"):
        repeat_sd(spots)


def test_a_coupon_that_only_followed_its_blank_did_not_change() -> None:
    """The bare sheet yellowed by 2, and so did the coupon: nothing is left for the dot to answer for."""
    drift = blank_drift(before=np.array([[90.0, 0, 4], [91, 0, 5]]), after=np.array([[89.5, 0, 6], [90.5, 0, 7]]))
    assert drift == pytest.approx([-0.5, 0, 2])
    before = np.array([90.4, 0.1, 4.4])
    assert float(net_of_blank(before=before, after=before + drift, drift=drift)) == pytest.approx(0, abs=1e-6)
    assert float(colour_difference(before=before, after=before + drift)) > 1


def test_differences_of_differences_would_mislead() -> None:
    """The sheet yellowed under a dot that bleached: the coupon looks unchanged, and the dot did change it."""
    before, drift = np.array([90.0, 0.0, 5.0]), np.array([0.0, 0.0, 2.0])
    assert float(colour_difference(before=before, after=before)) == 0
    net = float(net_of_blank(before=before, after=before, drift=drift))
    assert net == pytest.approx(textbook((90.0, 0.0, 5.0), (90.0, 0.0, 3.0)), abs=1e-6)
    assert net > 1


@given(COLOUR, COLOUR)
def test_without_drift_the_net_difference_is_the_difference(before: Lab, after: Lab) -> None:
    """No blank drift, nothing taken off."""
    net = net_of_blank(before=np.array(before), after=np.array(after), drift=np.zeros(3))
    assert float(net) == difference(before, after)


@pytest.mark.parametrize(("before", "after"), [(np.empty((0, 3)), np.empty((0, 3))), (np.zeros((2, 3)), np.zeros(3))])
def test_drift_needs_blanks_in_pairs(before: np.ndarray, after: np.ndarray) -> None:
    """A blank without its colour at placing says nothing about drift."""
    with pytest.raises(ValueError, match="in pairs"):
        blank_drift(before=before, after=after)
