"""Speed: the estimators beside general libraries on the same data, as ratios in one run.

python tests/benchmarks/speed.py
"""

from __future__ import annotations

import math
import time
import warnings
from collections.abc import Callable

import numpy as np

from study.analysis.calibration import calibrated_days, pass_fail_bound
from study.analysis.curve import share_curve
from study.analysis.design import LifeTruth, ReadingTruth, invented_counts, invented_readings
from study.analysis.duration import pairing_estimate
from study.analysis.likelihood import Intervals, fitted_lines
from study.analysis.outcomes import design
from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.protocol import Protocol
from study.model.reading import CouponHistory, Reading

PULLS = np.array([30.0, 91.0, 182.0, 365.0, 548.0, 730.0, 913.0, 1095.0])
SIZES = (100, 1000, 5000, 20_000)
LIFELINES_UP_TO = 1000


def seconds(work: Callable[[], object], *, repeats: int = 5) -> float:
    """Median time of a piece of work; the first call, which imports, does not count."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def once(work: Callable[[], object]) -> float:
    """Time of slow work, done once."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def one_look(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Every coupon looked at once, on a day of its own."""
    rng = np.random.default_rng(n)
    day = np.sort(rng.uniform(1, 1095, n))
    bad = rng.random(n) < 1 - np.exp(-((day / 900) ** 2))
    return np.where(bad, 0.0, day), np.where(bad, day, np.inf)


def mixed(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Looks at random days: intervals, some never unacceptable, some so from the first look."""
    rng = np.random.default_rng(n + 1)
    life = 900 * rng.weibull(2, n)
    looks = np.sort(rng.uniform(0, 1300, (n, 4)), axis=1)
    after = np.max(np.where(looks < life[:, None], looks, 0), axis=1)
    by = np.min(np.where(looks >= life[:, None], looks, np.inf), axis=1)
    told = (after > 0) | np.isfinite(by)
    return after[told], by[told]


def surpyval_curve(after: np.ndarray, by: np.ndarray) -> None:
    """The general library's maximum-likelihood Turnbull curve."""
    import surpyval

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        surpyval.Turnbull.fit(xl=after, xr=by, turnbull_estimator="Kaplan-Meier")


def lifelines_curve(after: np.ndarray, by: np.ndarray) -> None:
    """The other library's curve, on intervals opened on the left."""
    from lifelines import KaplanMeierFitter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        KaplanMeierFitter().fit_interval_censoring(after + 1e-6, by)


def lifelines_weibull(after: np.ndarray, by: np.ndarray, count: np.ndarray) -> None:
    """One Weibull fit of the same grouped counts."""
    from lifelines import WeibullFitter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        WeibullFitter().fit_interval_censoring(np.maximum(after, 1e-9), by, weights=count)


def curves() -> list[str]:
    """The curve at four sizes, one look a coupon and mixed."""
    lines = []
    for kind, make in (("one look", one_look), ("mixed", mixed)):
        for n in SIZES:
            after, by = make(n)
            ours = seconds(lambda after=after, by=by: share_curve(after_days=after, by_days=by))
            theirs = seconds(lambda after=after, by=by: surpyval_curve(after, by), repeats=3)
            line = f"curve, {kind}, n = {n:>6}: {ours * 1e3:9.3f} ms; surpyval takes {theirs / ours:8.1f} x as long"
            if n <= LIFELINES_UP_TO:
                slow = once(lambda after=after, by=by: lifelines_curve(after, by))
                line += f"; lifelines {slow / ours:10.0f} x"
            lines.append(line)
    return lines


def refits() -> list[str]:
    """A thousand Weibull refits of 200 coupons on 8 pull days."""
    truth = LifeTruth(365.0)
    bad = invented_counts(truth, pull_days=PULLS, coupons=25, studies=1000, seed=5).astype(float)
    after, by = np.concatenate([np.zeros(8), PULLS]), np.concatenate([PULLS, np.full(8, np.inf)])
    count = np.concatenate([bad, 25 - bad], axis=1)
    with np.errstate(divide="ignore"):
        rows = Intervals(np.log(after), np.log(by), np.ones(16))
    ours = seconds(lambda: fitted_lines(family="weibull", rows=rows, count=count))
    seen = [c > 0 for c in count[:10]]
    theirs = 100 * once(lambda: [lifelines_weibull(after[s], by[s], c[s]) for s, c in zip(seen, count, strict=False)])
    return [
        f"1 000 Weibull refits: {ours * 1e3:9.3f} ms; lifelines takes {theirs / ours:8.0f} x as long (10 fits x 100)"
    ]


def bounds() -> list[str]:
    """Calibrated bounds, the first of a design and the next."""
    lines = []
    for coupons, pulls in ((3, 5), (5, 5), (5, 8), (10, 8)):
        days = PULLS if pulls == 8 else np.array([91.0, 182.0, 365.0, 730.0, 1095.0])
        studies = invented_counts(LifeTruth(500.0), pull_days=days, coupons=coupons, studies=6, seed=9)
        design.cache_clear()
        calibrated_days.cache_clear()

        def bound(x: np.ndarray, days: np.ndarray = days, coupons: int = coupons) -> None:
            pass_fail_bound(
                pull_days=days, read=np.full(days.size, coupons), unacceptable=x, day_share=1 / 3, shape=(1, 12),
                permitted_share=0.1, confidence=0.95, seed=1,
            )  # fmt: skip

        first = once(lambda bound=bound, x=studies[0]: bound(x))
        rest = [once(lambda bound=bound, x=x: bound(x)) for x in studies[1:]]
        lines.append(
            f"calibrated bound with its two asides, {coupons} x {pulls}: first {first:6.3f} s, "
            f"next {np.median(rest):6.3f} s"
        )
    return lines


def four_criteria() -> Protocol:
    """The default protocol without hold: four criteria on one destructive test."""
    protocol = parse_protocol(known_protocols()["display-dots"])
    return protocol.model_copy(update={"criteria": protocol.criteria[:4]})


def invented_pairing(seed: int, *, days: np.ndarray) -> list[CouponHistory]:
    """One pairing: 5 coupons at each pull, each read for force, residue, colour and pattern."""
    from datetime import date

    rng = np.random.default_rng(seed)
    truth = ReadingTruth(float(rng.uniform(250, 1500)), day_sd=0.05, start=6.0, limit=20.0)
    forces = invented_readings(truth, pull_days=days, coupons=5, studies=1, seed=seed)[0]
    grades = rng.binomial(5, np.clip(days / rng.uniform(1500, 9000), 0, 1)[:, None], (len(days), 5))
    stain = np.abs(rng.normal(0.4, 0.2, (len(days), 5))) + days[:, None] / rng.uniform(900, 5000)
    histories = []
    for k, day in enumerate(days.tolist()):
        for j in range(5):
            code, on = f"{k}-{j}", date(2025, 1, 1)
            force, grade = float(forces[k, j]), float(grades[k, j])
            readings = {
                "removal_force": Reading(code, "removal_force", on, "", "N", force, force),
                "residue_grade": Reading(code, "residue_grade", on, "", "grade", grade, grade),
                "failure_pattern": Reading(code, "failure_pattern", on, "", pattern="AF", side="object"),
                "colour_before": Reading(code, "colour_before", on, "", lab=(60.0, 2.0, 10.0)),
                "colour_after": Reading(code, "colour_after", on, "", lab=(60.0, 2.0, 10.0 + float(stain[k, j]))),
            }
            histories.append(
                CouponHistory(code, "S", "test", "pull-off-dot", "L", "pulled", str(k), str(k), day, readings=readings)
            )
    return histories


def whole_study() -> list[str]:
    """Forty pairings, four criteria, eight pulls, five coupons: from readings to durations."""
    protocol = four_criteria()
    lines = []
    for words, shift in (
        ("when pairings share a design", 0.0),
        ("from nothing, each pairing with pull days of its own", 1.0),
    ):
        design.cache_clear()
        calibrated_days.cache_clear()
        studies = [invented_pairing(seed, days=PULLS + shift * seed) for seed in range(40)]
        start = time.perf_counter()
        for histories in studies:
            pairing_estimate(histories=histories, protocol=protocol, faces_object=False)
        lines.append(f"40 pairings x 4 criteria x 8 pulls x 5 coupons, {words}: {time.perf_counter() - start:6.1f} s")
    return lines


def growth() -> list[str]:
    """How the curve's time grows with n, against n log n."""
    lines = []
    for kind, make in (("one look", one_look), ("mixed", mixed)):
        sizes = (2_000, 20_000)
        times = [
            seconds(lambda a=after, b=by: share_curve(after_days=a, by_days=b), repeats=3)
            for after, by in map(make, sizes)
        ]
        fair = sizes[1] * math.log(sizes[1]) / (sizes[0] * math.log(sizes[0]))
        lines.append(
            f"curve, {kind}: ten times the coupons take {times[1] / times[0]:5.1f} x as long (n log n: {fair:.1f} x)"
        )
    return lines


def main() -> None:
    """Print every line as it is known."""
    for part in (curves, growth, refits, bounds, whole_study):
        print("\n".join(part()), flush=True)


if __name__ == "__main__":
    main()
