"""Estimates: what the readings of a pairing say about one criterion, and the duration they support."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Observation:
    """One coupon judged by one criterion: its value where there is one, its verdict, and the interval it gives.

    ``after_days`` and ``by_days`` bound the time to unacceptable: open on the left, closed on the right;
    ``by_days`` is infinite when it was last seen acceptable. (0, inf) says nothing and is dropped and counted.
    """

    code: str
    set_key: str
    pull_group: str
    dwell_days: float
    lower: float
    """Value bounds in the criterion's unit; NaN where the criterion has no number."""
    upper: float
    unacceptable: bool | None
    """None: the reading does not decide it."""
    stop: bool
    after_days: float
    by_days: float
    why: str
    """The readings it came from, in words."""
    released: bool = False
    """It released by itself: its interval is its own, but it is counted at the pull it was meant for."""
    lot: str = ""


@dataclass(frozen=True)
class PullCount:
    """What one pull showed, with exact one-sided limits at the rule's confidence."""

    label: str
    dwell_days: float
    """Smallest dwell of the pull's coupons."""
    read: int
    unacceptable: int
    acceptable_lower: float
    unacceptable_lower: float

    @property
    def acceptable(self) -> float:
        """Share of the pull's coupons that were acceptable."""
        return 1 - self.unacceptable / self.read


@dataclass(frozen=True)
class ShareCurve:
    """Acceptable share against dwell with no shape assumed: the maximum-likelihood steps.

    The share is known to fall by ``mass`` somewhere in (after, by]; a last ``by`` of infinity carries the rest.
    """

    after_days: tuple[float, ...]
    by_days: tuple[float, ...]
    mass: tuple[float, ...]
    acceptable: tuple[float, ...]
    """Share just after each ``by``; 0 for the open end."""
    method: str
    certificate: float
    """Largest directional derivative at the solution; 0 is exact."""
    band_days: tuple[float, ...] = ()
    band_lower: tuple[float, ...] = ()
    band_upper: tuple[float, ...] = ()
    """At each of ``band_days``. A lower limit holds back to the day before it, an upper one up to the day after it."""
    band_method: str = ""


@dataclass(frozen=True)
class LifetimeFit:
    """An assumed shape fitted to the intervals: a picture, never a deciding number.

    Weibull: S = exp(-(t/scale)^shape). Lognormal and log-logistic: log time = mu + sigma Z.
    """

    family: str
    shape: float | None = None
    scale_days: float | None = None
    mu: float | None = None
    sigma: float | None = None
    log_likelihood: float | None = None
    aic: float | None = None
    t_permitted_days: float | None = None
    t_permitted_profile_lower_days: float | None = None
    refused: str | None = None
    draw_days: tuple[float, ...] = ()
    draw_acceptable: tuple[float, ...] = ()


@dataclass(frozen=True)
class PassFailBound:
    """The lower bound of the time by which the permitted share is unacceptable, from verdicts alone."""

    method: str
    lower_days: float | None
    day_share: float | None
    lower_alike_days: float | None = None
    """The same if all pulls were alike; never decides."""
    lower_shape_free_days: float | None = None
    """The same if no ageing were assumed; never decides."""
    exact: bool = True
    approximate: bool = False
    """True: the bound is an ordinary approximate one, so a duration resting on it is at most provisional."""
    why: str | None = None


@dataclass(frozen=True)
class DeclineFit:
    """The readings themselves against dwell, with the bound of section "decline" in DEVELOPERS.md."""

    time_scale: str
    value_scale: str
    limit: float
    n: int
    pulls: int
    intercept: float | None = None
    slope: float | None = None
    residual_sd: float | None = None
    day_share: float | None = None
    lower_days: float | None = None
    """0 if never within the limit; None with ``why`` where it is not reached by the last dwell or not computable."""
    lower_alike_days: float | None = None
    """The same if all pulls were alike; None where it is not reached; never decides."""
    mean_limit_days: float | None = None
    """Where the one-sided limit of the mean reaches the limit, None where it does not; says nothing about the worst
    coupons; never decides."""
    adequacy_p: float | None = None
    adequate: bool | None = None
    not_reached: bool = False
    why: str | None = None
    draw_days: tuple[float, ...] = ()
    draw_mean: tuple[float, ...] = ()
    draw_bound: tuple[float, ...] = ()
    lots: LotPooling | None = None
    """Where several lots stand together: whether their mean lines may be one; for ``mean_limit_days`` alone."""


@dataclass(frozen=True)
class Estimate:
    """Everything about one criterion of one pairing."""

    criterion: str
    title: str
    unit: str
    unacceptable: str
    """above, below or any of."""
    limit: float | None
    observations: tuple[Observation, ...]
    n: int
    """Informative coupons."""
    n_unacceptable: int
    dropped: int
    dropped_why: str
    pulls: tuple[PullCount, ...]
    curve: ShareCurve | None
    lifetimes: tuple[LifetimeFit, ...]
    pass_fail: PassFailBound | None
    decline: DeclineFit | None
    """On the declared time scale; None where the criterion has no readings on a scale."""
    decline_other: DeclineFit | None
    """On the other time scale: a picture."""
    bound_days: float | None
    """The bound that decides; None where there is none."""
    basis: str
    """Which section gave it, in words: "decline of the readings", "pass and fail at each pull", …"""
    provisional_why: str | None
    """The assumption it rests on alone, if so."""
    hard_case: str | None
    """Its name in words where an ordinary fit would mislead."""
    statement: str
    """One plain sentence for a person."""
    stopped_by: tuple[str, ...]
    """Coupons that stop the pairing."""
    picture: CensoredPicture | None = None
    """A line through readings of which some are only bounds; never decides."""
    grades: GradeShares | None = None
    """Share in each grade, for residue; never decides."""
    watched: ObservedCurve | None = None
    """Where every end was seen on its day; never decides."""
    lots_alike: GroupDifference | None = None
    """Log-rank between lots, where ends were seen on their days; never decides."""


@dataclass(frozen=True)
class AnyFailure:
    """Share of coupons failing any criterion among those pulled at or after a dwell, with its exact upper limit."""

    dwell_days: float
    read: int
    unacceptable: int
    share_upper: float


@dataclass(frozen=True)
class Duration:
    """The maximum display duration of one pairing under one rule."""

    outcome: str
    """supported, provisional, not shown or stopped."""
    days: int | None
    """Whole days, rounded down; None unless supported or provisional."""
    bound_days: float | None
    """Unrounded, after the caps."""
    limiting: str
    """Title of the limiting criterion, or empty."""
    why: str
    extend: str
    """What would extend it."""
    coupons: int
    pulls: int
    last_dwell_days: float
    confidence: float
    permitted_unacceptable_share: float
    steps: tuple[str, ...]
    """Every step from readings to the number, in plain words."""
    any_failure: AnyFailure | None = None


OUTCOMES = ("supported", "provisional", "not shown", "stopped")


@dataclass(frozen=True)
class PairingEstimate:
    """All criteria of one pairing and the duration they support together."""

    estimates: tuple[Estimate, ...]
    duration: Duration
    seed: int


@dataclass(frozen=True)
class ObservedCurve:
    """Acceptable share against dwell where each end was seen on its day: steps with approximate one-sided limits."""

    days: tuple[float, ...]
    """Days on which a coupon became unacceptable."""
    acceptable: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    n: int
    ended: int
    method: str


@dataclass(frozen=True)
class GroupDifference:
    """Whether groups of coupons end alike."""

    groups: tuple[str, ...]
    statistic: float
    freedom: int
    p: float
    method: str


@dataclass(frozen=True)
class CensoredPicture:
    """A line through readings of which some are known only as above or below a value: a picture, never deciding."""

    time_scale: str
    value_scale: str
    n: int
    censored: int
    intercept: float | None = None
    slope: float | None = None
    residual_sd: float | None = None
    log_likelihood: float | None = None
    """Of the readings on their scale."""
    refused: str | None = None
    draw_days: tuple[float, ...] = ()
    draw_mean: tuple[float, ...] = ()


@dataclass(frozen=True)
class LotPooling:
    """Whether the mean lines of several lots may be taken as one, at a level of 0.25; for the mean alone."""

    lots: tuple[str, ...]
    p_slopes: float
    p_intercepts: float | None
    """None where the slopes already differ."""
    pooled: str
    """one line, common slope, or separate lines."""
    mean_limit_days: float | None
    """The shortest over lots; None where no lot's limit is reached by the horizon."""


@dataclass(frozen=True)
class GradePull:
    """How many coupons of one pull were given each class of grades or a better one, for every class but the last."""

    dwell_days: float
    read: int
    surely: tuple[int, ...]
    perhaps: tuple[int, ...]
    """Readings typed as two grades counted in as well."""


@dataclass(frozen=True)
class GradeShares:
    """Share of coupons in each grade against dwell, by a cumulative probit: a picture, never deciding.

    The share at or below class j is Phi(cutpoint_j - slope g), g the dwell [d] or its square root.
    """

    time_scale: str
    n: int
    spans: int
    """Readings typed as two grades."""
    grades: tuple[tuple[int, int], ...] = ()
    """First and last grade of each class, lowest first; classes nobody could tell apart are one."""
    pulls: tuple[GradePull, ...] = ()
    cutpoints: tuple[float, ...] = ()
    slope: float | None = None
    log_likelihood: float | None = None
    refused: str | None = None
    draw_days: tuple[float, ...] = ()
    draw_shares: tuple[tuple[float, ...], ...] = ()
    """For each class, its share at each of ``draw_days``."""
