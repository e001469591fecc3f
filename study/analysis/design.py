"""Design: invented studies of a known truth, to see what a plan of pulls and coupons can support and how honestly."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from study.analysis.calibration import pass_fail_bound
from study.analysis.decline import decline_fit
from study.analysis.likelihood import Intervals, fitted_lines, score, standard_quantile
from study.model.estimate import DeclineFit, PassFailBound

TOTAL_SD = 0.15
"""Scatter of the log force of one coupon on one day, day effect included; 10 to 25 % is usual [common-practice]."""


@dataclass(frozen=True)
class ReadingTruth:
    """How removal force really grows, on the log scale, and how coupons and days scatter around it."""

    t_permitted_days: float
    """Where the permitted share of coupons passes the limit."""
    time_scale: str = "sqrt"
    day_sd: float = 0.0
    """Part of the scatter that the coupons of one pull share; at most ``total_sd``."""
    heavy: bool = False
    """Student's t with 4 degrees of freedom for the coupons, at the same variance."""
    start: float = 3.0
    limit: float = 6.0
    permitted_share: float = 0.10
    total_sd: float = TOTAL_SD

    def rate(self) -> float:
        """Growth of the log force per unit of the time scale, so that the truth passes where it should."""
        quantile = _upper_quantile(self)
        return float((math.log(self.limit / self.start) - quantile) / _scaled(self.t_permitted_days, self.time_scale))


@dataclass(frozen=True)
class LifeTruth:
    """How lives are really spread: Weibull with a shape, or lognormal with a sigma."""

    t_permitted_days: float
    family: str = "weibull"
    spread: float = 2.5
    """Weibull shape, or sigma of the log life."""
    day_share: float = 0.0
    """Share of the variance, on the latent probit scale, that the coupons of one pull have in common."""
    permitted_share: float = 0.10

    def unacceptable(self, days: np.ndarray) -> np.ndarray:
        """(K,) share of coupons unacceptable at each dwell."""
        from scipy.special import ndtr, ndtri

        ratio = np.log(np.asarray(days, float) / self.t_permitted_days)
        if self.family == "lognormal":
            return np.asarray(ndtr(ndtri(self.permitted_share) + ratio / self.spread))
        return np.asarray(-np.expm1(math.log1p(-self.permitted_share) * np.exp(self.spread * ratio)))


def invented_readings(
    truth: ReadingTruth, *, pull_days: np.ndarray, coupons: int, studies: int, seed: int
) -> np.ndarray:
    """(studies, K, coupons) forces of invented studies.

    Parameters
    ----------
    truth : ReadingTruth
    pull_days : (K,) float array [d]
    coupons : int
        At each pull; 3 to 10 is usual.
    studies, seed : int
    """
    rng = np.random.default_rng(seed)
    mean = math.log(truth.start) + truth.rate() * _scaled(np.asarray(pull_days, float), truth.time_scale)
    shape = (studies, len(pull_days), coupons)
    single = rng.standard_t(4, shape) / math.sqrt(2) if truth.heavy else rng.standard_normal(shape)
    days = rng.standard_normal((studies, len(pull_days), 1))
    return np.asarray(np.exp(mean[None, :, None] + truth.day_sd * days + _coupon_sd(truth) * single))


def invented_counts(
    truth: LifeTruth, *, pull_days: np.ndarray, coupons: int | np.ndarray, studies: int, seed: int
) -> np.ndarray:
    """(studies, K) unacceptable coupons of invented studies; ``coupons`` at each pull, or (K,) of them."""
    from scipy.special import ndtr, ndtri

    rng = np.random.default_rng(seed)
    share = truth.unacceptable(pull_days)
    normals = rng.standard_normal((studies, len(pull_days)))
    daily = ndtr((ndtri(share) + math.sqrt(truth.day_share) * normals) / math.sqrt(1 - truth.day_share))
    return np.asarray(rng.binomial(coupons, daily))


def decline_of_invented(values: np.ndarray, *, truth: ReadingTruth, pull_days: np.ndarray) -> DeclineFit:
    """The product's decline of one invented study, (K, coupons) forces; judged on the root of dwell."""
    k, m = values.shape
    return decline_fit(
        pull_days=np.asarray(pull_days, float),
        pull=np.repeat(np.arange(k), m),
        values=values.ravel(),
        limit=truth.limit,
        unacceptable="above",
        value_scale="log",
        time_scale="sqrt",
        permitted_share=truth.permitted_share,
        confidence=0.95,
        horizon_days=1.5 * float(pull_days[-1]),
    )


def bound_of_invented(counts: np.ndarray, *, coupons: int, pull_days: np.ndarray, day_share: float) -> PassFailBound:
    """The product's pass/fail bound of one invented study, (K,) counts."""
    return pass_fail_bound(
        pull_days=np.asarray(pull_days, float),
        read=np.full(len(pull_days), coupons),
        unacceptable=counts,
        day_share=day_share,
        shape=(1.0, 12.0),
        permitted_share=0.10,
        confidence=0.95,
        seed=1,
        aside=False,
    )


def ordinary_of_invented(counts: np.ndarray, *, coupons: int, pull_days: np.ndarray) -> float | None:
    """The ordinary (delta-method) lower limit of a Weibull fit of the same study, as general libraries give it.

    Returns
    -------
    float or None [d]
        None where no coupon or every coupon is unacceptable, or the fit runs away.

    Source
    ------
    Large-sample normal limit of the log time, from the curvature of the log-likelihood; textbook.
    """
    if counts.sum() == 0 or counts.sum() == coupons * len(counts):
        return None
    days = np.asarray(pull_days, float)
    count = np.concatenate([counts, coupons - counts]).astype(float)[None, :]
    with np.errstate(divide="ignore"):
        log_after = np.log(np.concatenate([np.zeros(days.size), days]))
    rows = Intervals(log_after, np.log(np.concatenate([days, np.full(days.size, np.inf)])), count[0])
    at, _, _ = fitted_lines(family="weibull", rows=rows, count=count)
    intercept, slope = at[0]
    log_time = (standard_quantile("weibull", 0.10) - intercept) / slope
    toward = np.array([-1 / slope, -log_time / slope])
    curvature = score("weibull", rows, count, at)[2][0]
    if not 0.01 < slope < 50 or np.linalg.det(curvature) <= 0:
        return None
    variance = float(toward @ np.linalg.solve(-curvature, toward))
    return math.exp(log_time - 1.6448536269514722 * math.sqrt(variance)) if 0 <= variance < 400 else None


def _coupon_sd(truth: ReadingTruth) -> float:
    return math.sqrt(truth.total_sd**2 - truth.day_sd**2)


def _scaled(days: np.ndarray | float, time_scale: str) -> np.ndarray:
    return np.asarray(np.sqrt(days) if time_scale == "sqrt" else days)


def _upper_quantile(truth: ReadingTruth) -> float:
    """Quantile of a coupon's scatter that the permitted share exceeds, day effect included."""
    from scipy import integrate, optimize, stats

    if not truth.heavy:
        return float(stats.norm.ppf(1 - truth.permitted_share) * truth.total_sd)
    sd = _coupon_sd(truth) / math.sqrt(2)
    if truth.day_sd == 0:
        return float(stats.t.ppf(1 - truth.permitted_share, 4) * sd)

    def excess(q: float) -> float:
        def part(z: float) -> float:
            return float(stats.t.sf((q - truth.day_sd * z) / sd, 4) * stats.norm.pdf(z))

        return float(integrate.quad(part, -8, 8)[0] - truth.permitted_share)

    return float(optimize.brentq(excess, 0, 1))
