"""Calibration: the pass/fail bound, compared with studies of the same design in which pulls share a day effect."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from study.analysis.lifetime import falling_share
from study.model.estimate import PassFailBound

EXACT_OUTCOMES = 20_000
"""Up to this many possible outcomes all are weighed; beyond it studies are simulated."""
STUDIES = 10_000
LARGEST_DAY_SHARE = 0.6
FREE_SHAPE = (0.1, 12.0)
SHAPES, TIMES, STEPS, HALVINGS, NODES = 32, 70, 60, 30, 21
CHUNK = 2048
METHOD = "calibrated likelihood ratio"
SLACK = 1e-9
FALLING = (
    "the unacceptable share does not rise with dwell: look for a change of lot or operator, for swapped coupons, "
    "or for a grip that peaks and then lets go"
)


class Design:
    """Pulls of a study, and what every outcome of it would say: kept, because no reading changes it.

    Outcomes are rows of K counts. Each has its largest log-likelihood over the grid, the log time there, and its
    over-dispersion.
    """

    def __init__(
        self, days: tuple[float, ...], read: tuple[int, ...], shape: tuple[float, float], share: float
    ) -> None:
        self.days, self.read = np.array(days, float), np.array(read, np.int64)
        self.k = self.days.size
        self.level = math.log(-math.log1p(-share))
        self.shapes = np.geomspace(*shape, SHAPES)
        self.log_times = np.log(np.geomspace(self.days[0] / 30, 6 * self.days[-1], TIMES))
        self.grid_log_times = np.repeat(self.log_times, SHAPES)
        grid = self.unacceptable(self.grid_log_times, np.tile(self.shapes, TIMES))
        self.grid_ratio, self.grid_base = self._scores(grid)
        clipped = np.clip(grid, 0.001, 0.999)
        self.expected, self.variance = self.read * clipped, self.read * clipped * (1 - clipped)
        size = math.prod(int(m) + 1 for m in read)
        self.exact = size <= EXACT_OUTCOMES
        self.codes_fit = size < 2**62
        self.radix = np.concatenate([[1], np.cumprod(self.read[:-1] + 1)]) if self.codes_fit else np.empty(0, np.int64)
        self.known = np.empty(0, np.int64)
        self.known_marks = np.empty((3, 0))
        if self.exact:
            self.outcomes = np.indices(tuple(self.read + 1)).reshape(self.k, -1).T.astype(float)
            self.marks = self._marks(self.outcomes)

    def unacceptable(self, log_time: np.ndarray, shape: np.ndarray) -> np.ndarray:
        """(g, K) unacceptable share at each pull for Weibull lives with the permitted share at exp(log_time)."""
        power = self.level + shape[:, None] * (np.log(self.days) - log_time[:, None])
        return np.asarray(-np.expm1(-np.exp(np.minimum(power, 300))))

    def _scores(self, share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(K, g) log-likelihood for one more unacceptable coupon, and (g,) for none at all."""
        clipped = np.clip(share, 1e-13, 1 - 1e-13)
        good = np.log1p(-clipped)
        return (np.log(clipped) - good).T, good @ self.read

    def _marks(self, outcomes: np.ndarray) -> np.ndarray:
        """(3, U) largest log-likelihood, the log time there, and the over-dispersion, of (U, K) outcomes."""
        marks = np.empty((3, outcomes.shape[0]))
        for start in range(0, outcomes.shape[0], CHUNK):
            rows = outcomes[start : start + CHUNK]
            value = rows @ self.grid_ratio
            value += self.grid_base
            best = value.argmax(axis=1)
            marks[0, start : start + CHUNK] = value[np.arange(best.size), best]
            marks[1, start : start + CHUNK] = self.grid_log_times[best]
            pearson = np.sum((rows - self.expected[best]) ** 2 / self.variance[best], axis=1)
            marks[2, start : start + CHUNK] = np.maximum(1, pearson / (self.k - 2))
        return marks

    def marks_of(self, outcomes: np.ndarray, codes: np.ndarray) -> np.ndarray:
        """As ``_marks``, asked once for each outcome and then remembered by its code."""
        at = np.searchsorted(self.known, codes)
        at_known = np.minimum(at, max(self.known.size - 1, 0))
        new = self.known[at_known] != codes if self.known.size else np.ones(codes.size, bool)
        if new.any():
            fresh = self._marks(outcomes[new])
            order = np.argsort(np.concatenate([self.known, codes[new]]), kind="stable")
            self.known = np.concatenate([self.known, codes[new]])[order]
            self.known_marks = np.concatenate([self.known_marks, fresh], axis=1)[:, order]
            at_known = np.searchsorted(self.known, codes)
        return np.asarray(self.known_marks[:, at_known])

    def signed_root(self, outcomes: np.ndarray, marks: np.ndarray, log_time: float) -> tuple[np.ndarray, np.ndarray]:
        """(U,) signed root likelihood ratio of ``log_time``, over the root of the over-dispersion; and the shape.

        Large where the outcome speaks for a longer time than ``log_time``.
        """
        ratio, base = self._scores(self.unacceptable(np.full(SHAPES, log_time), self.shapes))
        value = outcomes @ ratio + base
        held = value.max(axis=1)
        root = np.sqrt(2 * np.maximum(0, np.maximum(marks[0], held) - held) / marks[2])
        return np.where(marks[1] >= log_time, root, -root), np.asarray(self.shapes[value.argmax(axis=1)])


@lru_cache(maxsize=64)
def design(days: tuple[float, ...], read: tuple[int, ...], shape: tuple[float, float], share: float) -> Design:
    """The design of these pulls, worked out once in a process."""
    return Design(days, read, shape, share)


@lru_cache(maxsize=4)
def study_draws(seed: int, studies: int, read: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Normals (n, K) first, then uniforms (n, m_k) pull by pull: the same for every time asked.

    The uniforms come as (largest m, n, K), with a 2 where a pull has no such coupon.
    """
    rng = np.random.default_rng(seed)
    normals = rng.standard_normal((studies, len(read)))
    uniforms = np.full((max(read), studies, len(read)), 2.0)
    for k, m in enumerate(read):
        uniforms[:m, :, k] = rng.random((studies, m)).T
    return normals, uniforms


def day_shares(share: np.ndarray, normals: np.ndarray, *, day_share: float) -> np.ndarray:
    """Unacceptable share on a day whose effect is ``normals``, on the latent probit scale; its mean stays ``share``."""
    from scipy.special import ndtr, ndtri

    if day_share == 0:
        return np.broadcast_to(share, np.broadcast_shapes(share.shape, normals.shape))
    return np.asarray(ndtr((ndtri(share) + math.sqrt(day_share) * normals) / math.sqrt(1 - day_share)))


def exact_probability(plan: Design, *, share: np.ndarray, chosen: np.ndarray, day_share: float) -> float:
    """Probability of the chosen outcomes, every outcome weighed.

    Source
    ------
    Binomial counts mixed over a day effect by 21-point Gauss-Hermite quadrature.
    """
    from scipy.stats import binom

    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    weights = weights / weights.sum()
    law = np.ones(1)
    for k in range(plan.k):
        m = int(plan.read[k])
        daily = day_shares(share[k : k + 1], nodes, day_share=day_share)
        pull = binom.pmf(np.arange(m + 1)[:, None], m, daily[None, :]) @ weights
        law = np.multiply.outer(law, pull).ravel()
    return float(law[chosen].sum())


def simulated_outcomes(
    plan: Design, *, share: np.ndarray, day_share: float, draws: tuple[np.ndarray, np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distinct outcomes (U, K), their codes, and how many of the simulated studies had each."""
    normals, uniforms = draws
    daily = day_shares(share[None, :], normals, day_share=day_share)
    counts = np.zeros(normals.shape, np.int64)
    for coupon in uniforms:
        counts += coupon < daily
    if not plan.codes_fit:
        return counts.astype(float), np.empty(0, np.int64), np.ones(len(counts), int)
    codes, first, times = np.unique(counts @ plan.radix, return_index=True, return_counts=True)
    return counts[first].astype(float), codes, times


@lru_cache(maxsize=4096)
def calibrated_days(
    *,
    pull_days: tuple[float, ...],
    read: tuple[int, ...],
    unacceptable: tuple[int, ...],
    day_share: float,
    shape: tuple[float, float],
    permitted_share: float,
    confidence: float,
    seed: int,
    studies: int = STUDIES,
) -> float:
    """The bound itself: the smallest time to the permitted share that the verdicts do not contradict.

    Parameters
    ----------
    pull_days : tuple of K floats [d]
        Rising, above 0.
    read, unacceptable : tuples of K ints
        Coupons at each pull.
    day_share : float
        Share of the variance that a pull's coupons have in common, 0 to 0.6.
    shape : tuple of two floats
        Declared range of the Weibull shape.
    permitted_share, confidence : float
        Permitted unacceptable share and one-sided confidence.
    seed, studies : int
        Of the simulation, where there are too many outcomes to weigh.

    Returns
    -------
    float [d]
        Up to 1.5 times the last pull; a simulated one is rounded down to 2 significant digits.

    Source
    ------
    Section "the pass/fail bound" of DEVELOPERS.md: signed root likelihood ratio over the root of the Pearson
    over-dispersion, calibrated under the constrained fit.
    """
    plan = design(pull_days, read, shape, permitted_share)
    seen = np.array([unacceptable], float)
    seen_marks = plan._marks(seen)
    draws = None if plan.exact else study_draws(seed, studies, read)

    def probability(days: float) -> float:
        log_time = math.log(days)
        observed, fitted = plan.signed_root(seen, seen_marks, log_time)
        share = plan.unacceptable(np.array([log_time]), fitted)[0]
        least = observed[0] - SLACK
        if draws is None:
            root, _ = plan.signed_root(plan.outcomes, plan.marks, log_time)
            return exact_probability(plan, share=share, chosen=root >= least, day_share=day_share)
        outcomes, codes, times = simulated_outcomes(plan, share=share, day_share=day_share, draws=draws)
        marks = plan.marks_of(outcomes, codes) if plan.codes_fit else plan._marks(outcomes)
        root, _ = plan.signed_root(outcomes, marks, log_time)
        return float(times[root >= least].sum() / studies)

    return bound_search(
        probability, first=pull_days[0], last=pull_days[-1], level=1 - confidence, rounded=not plan.exact
    )


def bound_search(
    probability: Callable[[float], float], *, first: float, last: float, level: float, rounded: bool
) -> float:
    """Upwards from an eighth of the first pull while the time is rejected; then halved to the last rejected one."""
    steps = np.geomspace(first / 8, 1.5 * last, STEPS)
    low = high = 0.0
    for time in steps:
        if probability(float(time)) >= level:
            high = float(time)
            break
        low = float(time)
    if high == 0:
        return 1.5 * last
    if low == 0:
        return 0.0
    for _ in range(HALVINGS):
        if rounded and two_digits_down(low) == two_digits_down(high):
            break
        middle = math.sqrt(low * high)
        low, high = (middle, high) if probability(middle) < level else (low, middle)
    return two_digits_down(low) if rounded else low


def two_digits_down(value: float) -> float:
    """A number rounded down to two significant digits."""
    if value <= 0:
        return 0.0
    place = 1 - math.floor(math.log10(value))
    return round(math.floor(value * 10.0**place + 1e-9) / 10.0**place, place)


def pass_fail_bound(
    *,
    pull_days: np.ndarray,
    read: np.ndarray,
    unacceptable: np.ndarray,
    day_share: float,
    shape: tuple[float, float],
    permitted_share: float,
    confidence: float,
    seed: int,
    aside: bool = True,
    progress: Callable[[str], None] | None = None,
) -> PassFailBound:
    """Lower bound of the time by which the permitted share is unacceptable, from counts at each pull.

    Parameters
    ----------
    pull_days : (K,) float array [d]
        Distinct and above 0.
    read, unacceptable : (K,) int arrays
        Coupons at each pull.
    day_share : float
        Share of the variance that a pull's coupons have in common; at most 0.6 is used.
    shape : tuple of two floats
        Declared range of the Weibull shape.
    permitted_share, confidence : float
        Permitted unacceptable share and one-sided confidence.
    seed : int
        Of the simulation.
    aside : bool
        Work out the two figures that stand beside it and never decide.
    progress : function of a sentence, optional
        Told before a simulation.

    Returns
    -------
    PassFailBound
        ``lower_days`` None with ``why`` for fewer than 3 pulls or a share that falls with dwell.
    """
    order = np.argsort(pull_days, kind="stable")
    days, m, bad = (np.asarray(v)[order] for v in (pull_days, read, unacceptable))
    day_share = min(float(day_share), LARGEST_DAY_SHARE)
    exact = math.prod(int(n) + 1 for n in m) <= EXACT_OUTCOMES
    if days.size and bad[0] == m[0]:
        return PassFailBound(
            METHOD,
            0.0,
            day_share,
            0.0,
            0.0,
            exact=True,
            why=f"all {m[0]} unacceptable at the first pull ({days[0]:g} d)",
        )
    if days.size < 3:
        pulls = "1 pull" if days.size == 1 else f"{days.size} pulls"
        return PassFailBound(METHOD, None, day_share, exact=exact, why=f"{pulls} with readings; three are needed")
    if falling_share(days=days.astype(float), read=m.astype(float), unacceptable=bad.astype(float)):
        return PassFailBound(METHOD, None, day_share, exact=exact, why=FALLING)
    if progress is not None and not exact:
        progress(f"comparing {int(bad.sum())} unacceptable of {int(m.sum())} with {STUDIES} studies of the same pulls")
    asked = (tuple(days.astype(float).tolist()), tuple(m.astype(int).tolist()), tuple(bad.astype(int).tolist()))

    def days_at(rho: float, shapes: tuple[float, float]) -> float:
        return calibrated_days(
            pull_days=asked[0], read=asked[1], unacceptable=asked[2], day_share=rho, shape=shapes,
            permitted_share=permitted_share, confidence=confidence, seed=seed,
        )  # fmt: skip

    return PassFailBound(
        method=METHOD,
        lower_days=days_at(day_share, shape),
        day_share=day_share,
        lower_alike_days=days_at(0.0, shape) if aside else None,
        lower_shape_free_days=days_at(0.0, FREE_SHAPE) if aside else None,
        exact=exact,
    )
