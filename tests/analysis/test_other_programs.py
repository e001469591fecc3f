"""The likeliest curve beside other programs' on whatever intervals, their ends moved so that they mean the same."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from study.analysis.curve import share_curve
from study.model.estimate import ShareCurve

INF = math.inf
SHIFT = 1e-6
"""Another program's intervals are closed on the left: moved on by this, a look at which all was well stays so."""


@st.composite
def looks(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """Coupons looked at once to three times on a few common days; passes and failures fall on the same days."""
    rows = draw(st.lists(st.tuples(st.integers(0, 9), st.sets(st.integers(1, 8), min_size=1, max_size=3)),
                         min_size=4, max_size=25))  # fmt: skip
    after = np.array([max((d for d in days if d < life), default=0) for life, days in rows], float)
    by = np.array([min((d for d in days if d >= life), default=INF) for life, days in rows], float)
    return after, by


def told(after: np.ndarray, by: np.ndarray) -> tuple[ShareCurve, np.ndarray]:
    """The curve, and which of its steps each coupon may have fallen in."""
    curve = share_curve(after_days=after, by_days=by)
    left, right = np.array(curve.after_days), np.array(curve.by_days)
    inside = (left >= after[:, None] - 1e-9) & ((right <= by[:, None]) | np.isinf(by[:, None]) & np.isinf(right))
    return curve, inside


def share_after(curve: ShareCurve, days: np.ndarray) -> np.ndarray:
    """Acceptable share at each day, all mass of a step counted at its end."""
    return np.asarray(1 - (np.array(curve.by_days)[None, :] <= days[:, None]) @ np.array(curve.mass))


def likelihood(share: np.ndarray, days: np.ndarray, after: np.ndarray, by: np.ndarray) -> float:
    """Log-likelihood of shares given at all ends of the intervals."""
    at = dict(zip(days.tolist(), share.tolist(), strict=True)) | {0.0: 1.0, INF: 0.0}
    return float(sum(math.log(max(at[a] - at[b], 1e-300)) for a, b in zip(after.tolist(), by.tolist(), strict=True)))


@given(looks())
@settings(max_examples=40, deadline=None)
def test_another_program_is_never_likelier(rows: tuple[np.ndarray, np.ndarray]) -> None:
    """Whatever looks there were, the other program's curve is no likelier, as likely to a few digits, and the same
    where only one curve is the likeliest."""
    after, by = rows
    assume(np.isfinite(by).any())  # without an end there is nothing to fall
    curve, inside = told(after, by)
    days = np.unique(np.concatenate([after[after > 0], by[np.isfinite(by)]]))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines import KaplanMeierFitter

        moved = np.where(after > 0, after + SHIFT, 0.0)
        fitted = KaplanMeierFitter().fit_interval_censoring(moved, by, tol=1e-9, show_progress=False)
        lower = fitted.survival_function_.iloc[:, -1]
    passed = [lower[lower.index <= day + SHIFT / 2].to_numpy() for day in days]
    other = np.array([shares[-1] if shares.size else 1.0 for shares in passed])
    own = share_after(curve, days)
    ours, theirs = likelihood(own, days, after, by), likelihood(other, days, after, by)
    assert theirs <= ours + 1e-6
    assert theirs >= ours - 0.02
    if np.linalg.matrix_rank(inside.astype(float)) == len(curve.mass):
        ends = np.isin(days, curve.by_days)
        assert other[ends] == pytest.approx(own[ends], abs=0.02)


@given(looks())
@settings(max_examples=25, deadline=None)
def test_a_third_program_is_never_likelier(rows: tuple[np.ndarray, np.ndarray]) -> None:
    """The same by a third program, told the ends so that none coincide."""
    after, by = rows
    assume(np.isfinite(by).any())
    curve, _ = told(after, by)
    days = np.unique(np.concatenate([after[after > 0], by[np.isfinite(by)]]))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import surpyval

        moved = np.where(after > 0, after + SHIFT, -INF)
        other = surpyval.Turnbull.fit(xl=moved, xr=by, turnbull_estimator="Kaplan-Meier")
        share = np.clip(np.asarray(other.sf(days + SHIFT / 2), float), 0, 1)
    ours = likelihood(share_after(curve, days), days, after, by)
    theirs = likelihood(share, days, after, by)
    assert theirs <= ours + 1e-6
    assert theirs >= ours - 0.02
