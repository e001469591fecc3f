"""Outcomes: what every possible study of the same pulls would say, kept because no reading changes it."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise

import numpy as np

EXACT_OUTCOMES = 20_000
"""Up to this many possible outcomes all are weighed; beyond it studies are simulated."""
SLACK = 1e-9
SHAPES, TIMES, STEPS, NODES = 32, 70, 60, 21
CHUNK = 256
"""Outcomes looked at together: so few that their grid stays in the processor's own memory."""
KEPT = 200_000
"""Simulated outcomes a design remembers before it starts afresh."""


class Design:
    """Pulls of a study, and what its outcomes would say.

    Outcomes are rows of K counts. Each has three marks: its largest log-likelihood over the grid, the log time there,
    and its over-dispersion.
    """

    def __init__(
        self, days: tuple[float, ...], read: tuple[int, ...], shape: tuple[float, float], share: float
    ) -> None:
        self.days, self.read = np.array(days, float), np.array(read, np.int64)
        self.log_days, self.k = np.log(self.days), self.days.size
        self.level = math.log(-math.log1p(-share))
        self.shapes = np.geomspace(*shape, SHAPES)
        log_times = np.log(np.geomspace(self.days[0] / 30, 6 * self.days[-1], TIMES))
        self.grid_log_times = np.repeat(log_times, SHAPES)
        grid = self.unacceptable(self.grid_log_times, np.tile(self.shapes, TIMES))
        self.grid = self._scores(grid)
        self.sweep = np.geomspace(self.days[0] / 8, 1.5 * self.days[-1], STEPS)
        steps = np.repeat(np.log(self.sweep), SHAPES)
        self.sweep_scores = self._scores(self.unacceptable(steps, np.tile(self.shapes, STEPS)))
        self.own_gain = np.concatenate([_own_gain(int(m)) for m in read])
        clipped = np.clip(grid, 0.001, 0.999)
        self.expected, self.variance = self.read * clipped, self.read * clipped * (1 - clipped)
        self.size = math.prod(int(m) + 1 for m in read)
        self.exact = self.size <= EXACT_OUTCOMES
        self.radix = np.cumprod([1, *(int(m) + 1 for m in read[:-1])]) if self.size < 2**62 else None
        self.counted_as = np.uint8 if max(read) < 256 else np.int32
        self._forget()
        if self.exact:
            self.outcomes = np.indices(tuple(self.read + 1)).reshape(self.k, -1).T.astype(float)
            self.marks = self.marks_of(self.outcomes)

    def _forget(self) -> None:
        self.known, self.known_marks, self.met = np.empty((0, self.k)), np.empty((3, 0)), 0
        self.codes, self.places = np.empty(0, np.int64), np.empty(0, np.int64)

    def unacceptable(self, log_time: np.ndarray, shape: np.ndarray) -> np.ndarray:
        """(g, K) unacceptable share at each pull for Weibull lives with the permitted share at exp(log_time)."""
        power = self.level + shape[:, None] * (self.log_days - log_time[:, None])
        return np.asarray(-np.expm1(-np.exp(np.minimum(power, 300))))

    def _scores(self, share: np.ndarray) -> np.ndarray:
        """(K + 1, g) log-likelihood for one more unacceptable coupon of each pull, and in the last row for none."""
        clipped = np.clip(share, 1e-13, 1 - 1e-13)
        good = np.log1p(-clipped)
        return np.vstack([(np.log(clipped) - good).T, good @ self.read])

    def marks_of(self, outcomes: np.ndarray) -> np.ndarray:
        """(3, U) marks of (U, K) outcomes."""
        marks = np.empty((3, outcomes.shape[0]))
        value = np.empty((min(CHUNK, outcomes.shape[0]), self.grid.shape[1]))
        for start in range(0, outcomes.shape[0], CHUNK):
            rows = outcomes[start : start + CHUNK]
            here = value[: rows.shape[0]]
            np.matmul(_with_one(rows), self.grid, out=here)
            best = here.argmax(axis=1)
            marks[0, start : start + CHUNK] = here[np.arange(best.size), best]
            marks[1, start : start + CHUNK] = self.grid_log_times[best]
            pearson = np.sum((rows - self.expected[best]) ** 2 / self.variance[best], axis=1)
            marks[2, start : start + CHUNK] = np.maximum(1, pearson / (self.k - 2))
        return marks

    def signed_root(self, outcomes: np.ndarray, marks: np.ndarray, log_time: float) -> tuple[np.ndarray, np.ndarray]:
        """(U,) signed root likelihood ratio of ``log_time``, over the root of the over-dispersion; and the shape.

        Large where the outcome speaks for a longer time than ``log_time``.
        """
        value = self._at(outcomes, log_time)
        return _signed(value.max(axis=0), marks, log_time), np.asarray(self.shapes[value.argmax(axis=0)])

    def _at(self, outcomes: np.ndarray, log_time: float) -> np.ndarray:
        """(32, U) log-likelihood at one time, shape by shape."""
        scores = self._scores(self.unacceptable(np.full(SHAPES, log_time), self.shapes))
        value = scores[:-1].T @ outcomes.T
        value += scores[-1][:, None]
        return np.asarray(value)

    def roots(self, outcomes: np.ndarray, marks: np.ndarray, log_time: float) -> np.ndarray:
        """``signed_root`` alone."""
        return _signed(self._at(outcomes, log_time).max(axis=0), marks, log_time)

    def swept_roots(self, outcome: np.ndarray, marks: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """``signed_root`` of one outcome at every time of the sweep."""
        value = (_with_one(outcome) @ self.sweep_scores).reshape(STEPS, SHAPES)
        times = np.log(self.sweep)
        return _signed(value.max(axis=1), marks, times), np.asarray(self.shapes[value.argmax(axis=1)])

    def tally(self, coupons: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Distinct outcomes (U, K) among simulated studies, their marks, and how many studies had each.

        Parameters
        ----------
        coupons : (coupons, n) array
            1 for an unacceptable coupon, those of each pull together.
        """
        if self.radix is None:
            # So many pulls hardly ever repeat an outcome: nothing is worth remembering.
            starts = np.concatenate([[0], np.cumsum(self.read)[:-1]])
            outcomes = np.add.reduceat(coupons, starts, axis=0, dtype=np.int64).T.astype(float)
            return outcomes, self.marks_of(outcomes), np.ones(outcomes.shape[0], np.int64)
        codes = np.zeros(coupons.shape[1], np.int64)
        ends = np.cumsum(self.read)
        for start, end, radix in zip(ends - self.read, ends, self.radix, strict=True):
            codes += np.add.reduce(coupons[start:end], axis=0, dtype=self.counted_as) * radix
        codes.sort()
        starts = np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1]]))
        times, codes = np.diff(starts, append=codes.size), codes[starts]
        places = self._places(codes)
        return self.known[places], self.known_marks[:, places], times

    def _places(self, codes: np.ndarray) -> np.ndarray:
        """Where the outcomes of rising ``codes`` are remembered; those not met before are marked first."""
        if self.met > KEPT:
            self._forget()
        at = np.minimum(np.searchsorted(self.codes, codes), max(self.met - 1, 0))
        fresh = codes[self.codes[at] != codes] if self.met else codes
        if not fresh.size:
            return np.asarray(self.places[at])
        upto = self.met + fresh.size
        if upto > self.known.shape[0]:
            room = max(2 * self.known.shape[0], upto, 4096) - self.met
            self.known = np.concatenate([self.known[: self.met], np.empty((room, self.k))])
            self.known_marks = np.concatenate([self.known_marks[:, : self.met], np.empty((3, room))], axis=1)
        outcomes = fresh[:, None] // self.radix % (self.read + 1)
        self.known[self.met : upto] = outcomes
        self.known_marks[:, self.met : upto] = self.marks_of(self.known[self.met : upto])
        self.codes = np.concatenate([self.codes, fresh])
        order = np.argsort(self.codes, kind="stable")
        self.codes = self.codes[order]
        self.places = np.concatenate([self.places, np.arange(self.met, upto)])[order]
        self.met = upto
        return np.asarray(self.places[np.searchsorted(self.codes, codes)])


def _signed(held: np.ndarray, marks: np.ndarray, log_time: float | np.ndarray) -> np.ndarray:
    root = np.sqrt(2 * np.maximum(0, np.maximum(marks[0], held) - held) / marks[2])
    return np.where(marks[1] >= log_time, root, -root)


def _with_one(outcomes: np.ndarray) -> np.ndarray:
    """Outcomes with a one behind each, so that one product gives the whole log-likelihood."""
    return np.concatenate([outcomes, np.ones((outcomes.shape[0], 1))], axis=1)


@lru_cache(maxsize=24)
def design(days: tuple[float, ...], read: tuple[int, ...], shape: tuple[float, float], share: float) -> Design:
    """The design of these pulls, worked out once in a process."""
    return Design(days, read, shape, share)


@lru_cache(maxsize=6)
def study_draws(seed: int, studies: int, read: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Normals (n, K) first, then uniforms (n, m_k) pull by pull: the same for every time asked.

    The uniforms come back as normal scores (coupons, n), rising within each pull of each study.
    """
    from scipy.special import ndtri

    rng = np.random.default_rng(seed)
    normals = rng.standard_normal((studies, len(read)))
    scores = np.empty((sum(read), studies))
    for end, m in zip(np.cumsum(read).tolist(), read, strict=True):
        scores[end - m : end] = ndtri(np.sort(rng.random((studies, m)), axis=1)).T
    return normals, scores


@lru_cache(maxsize=8)
def latent_coupons(seed: int, studies: int, read: tuple[int, ...], day_share: float) -> np.ndarray:
    """(coupons, n): a coupon is unacceptable where this lies below the normal score of its pull's share.

    On a day with effect z the share is Phi((score + sqrt(rho) z)/sqrt(1 - rho)), so that its mean over days stays what
    it is; a coupon is unacceptable where its uniform lies below that.
    """
    normals, scores = study_draws(seed, studies, read)
    if day_share == 0:
        return scores
    return math.sqrt(1 - day_share) * scores - math.sqrt(day_share) * np.repeat(normals.T, read, axis=0)


def simulated_coupons(plan: Design, *, share: np.ndarray, day_share: float, seed: int, studies: int) -> np.ndarray:
    """(coupons, n) 1 for an unacceptable coupon, those of each pull first."""
    from scipy.special import ndtri

    coupons = latent_coupons(seed, studies, tuple(plan.read.tolist()), day_share)
    return (coupons < np.repeat(ndtri(share), plan.read)[:, None]).view(np.uint8)


@lru_cache(maxsize=65_536)
def plain_rejection(
    plan: Design, *, log_time: float, shape: float, day_share: float, level: float, seed: int, studies: int
) -> float:
    """Signed root above which fewer than ``level`` of the studies can lie when ``log_time`` and ``shape`` are true.

    Twice the log-likelihood ratio against one chosen shape, with the pulls' own shares for the best fit and no division
    by the over-dispersion, is never below the squared root; and it is a plain sum over pulls, quickly found. No reading
    enters, so that pairings of one design share it.
    """
    share = plan.unacceptable(np.array([log_time]), np.array([shape]))[0]
    coupons = simulated_coupons(plan, share=share, day_share=day_share, seed=seed, studies=studies)
    clipped = np.clip(share, 1e-13, 1 - 1e-13)
    good = np.log1p(-clipped)
    gain = 2 * (plan.own_gain - np.repeat(np.log(clipped) - good, plan.read))
    # Single precision carries this screening; what it may lose is added back as slack.
    distance = gain.astype(np.float32) @ coupons.astype(np.float32)
    spared = math.ceil(level * studies) - 1
    if spared < 0:
        return math.inf
    distance.partition(studies - 1 - spared)
    largest = float(distance[studies - 1 - spared]) - 2 * float(good @ plan.read)
    return math.sqrt(max(0.0, largest + 1e-3 + 1e-5 * float(np.abs(gain).sum())))


def _own_gain(read: int) -> list[float]:
    """Rise of a count's log-likelihood at its own share, from each count to the next."""
    own = [sum(n * math.log(n / read) for n in (bad, read - bad) if n) for bad in range(read + 1)]
    return [after - before for before, after in pairwise(own)]


@lru_cache(maxsize=1024)
def simulated_roots(
    plan: Design, *, log_time: float, shape: float, day_share: float, seed: int, studies: int
) -> tuple[np.ndarray, np.ndarray]:
    """Signed root of each distinct simulated outcome when ``log_time`` and ``shape`` are true, and how often it came.

    No reading enters, so that pairings of one design share it.
    """
    share = plan.unacceptable(np.array([log_time]), np.array([shape]))[0]
    coupons = simulated_coupons(plan, share=share, day_share=day_share, seed=seed, studies=studies)
    outcomes, marks, times = plan.tally(coupons)
    return plan.roots(outcomes, marks, log_time), times


@lru_cache(maxsize=256)
def exact_roots(plan: Design, log_time: float) -> np.ndarray:
    """Signed root of every possible outcome."""
    return plan.roots(plan.outcomes, plan.marks, log_time)


@lru_cache(maxsize=1)
def _day_nodes() -> tuple[np.ndarray, np.ndarray]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    return nodes, weights / weights.sum()


def exact_law(plan: Design, *, log_time: float, shape: float, day_share: float) -> np.ndarray:
    """Probability of every possible outcome when ``log_time`` and ``shape`` are true.

    Source
    ------
    Binomial counts mixed over a day effect by 21-point Gauss-Hermite quadrature.
    """
    from scipy.special import ndtr, ndtri

    share = plan.unacceptable(np.array([log_time]), np.array([shape]))[0]
    law = np.ones(1)
    for m, score in zip(plan.read.tolist(), ndtri(share).tolist(), strict=True):
        if day_share == 0:
            bad, good, weights = np.array([ndtr(score)]), np.array([ndtr(-score)]), np.ones(1)
        else:
            nodes, weights = _day_nodes()
            daily = (score + math.sqrt(day_share) * nodes) / math.sqrt(1 - day_share)
            bad, good = ndtr(daily), ndtr(-daily)
        j = np.arange(m + 1)[:, None]
        ways = np.array([math.comb(m, i) for i in range(m + 1)], float)
        law = np.multiply.outer(law, ways * ((bad**j * good ** (m - j)) @ weights)).ravel()
    return law


def worse_probability(
    plan: Design, *, least: float, log_time: float, shape: float, day_share: float, seed: int, studies: int
) -> float:
    """Probability of an outcome whose signed root is at least ``least``, weighed exactly or as a share of studies."""
    if plan.exact:
        law = exact_law(plan, log_time=log_time, shape=shape, day_share=day_share)
        return float(law[exact_roots(plan, log_time) >= least].sum())
    roots, times = simulated_roots(
        plan, log_time=log_time, shape=shape, day_share=day_share, seed=seed, studies=studies
    )
    return float(times[roots >= least].sum() / studies)
