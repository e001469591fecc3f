"""Coverage study: how often the bounds keep their word in invented studies whose truth is known.

python tests/benchmarks/coverage.py               the table of the README, in minutes
python tests/benchmarks/coverage.py --studies 200 a quick look
python tests/benchmarks/coverage.py --scheduler tcp://HOST:8786   the same over a Dask cluster
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from study.analysis.design import (
    LifeTruth,
    ReadingTruth,
    bound_of_invented,
    decline_of_invented,
    invented_counts,
    invented_readings,
    ordinary_of_invented,
)
from study.analysis.workers import Workers, spread

PULLS = {5: (91.0, 182.0, 365.0, 730.0, 1095.0), 8: (30.0, 91.0, 182.0, 365.0, 548.0, 730.0, 913.0, 1095.0)}
DESIGNS = ((3, 5), (5, 5), (5, 8), (10, 5), (10, 8))
DAY_SDS = {0.0: 0.0, 0.05: 1 / 9, 0.10: 4 / 9}
"""Day-of-pull effect on the log force, of a total scatter of 0.15, and the share of the variance that this is."""
READING_TRUTHS = {
    "root, normal": ReadingTruth(365.0),
    "linear, normal": ReadingTruth(365.0, time_scale="linear"),
    "root, heavy tails": ReadingTruth(365.0, heavy=True),
    "linear, heavy tails": ReadingTruth(365.0, time_scale="linear", heavy=True),
}
LIFE_TRUTHS = {
    "Weibull 2.5": LifeTruth(365.0, spread=2.5),
    "Weibull 1.2": LifeTruth(365.0, spread=1.2),
    "Weibull 4": LifeTruth(365.0, spread=4.0),
    "lognormal 0.6": LifeTruth(365.0, family="lognormal", spread=0.6),
}
KINDS = ("readings", "pass and fail")
TWO = Workers(jobs=2)
DAY_SHARE = 1 / 3
"""What the pass/fail bound assumes where no reading tells it."""


@dataclass(frozen=True)
class Cell:
    """One truth, design and day effect."""

    kind: str
    truth: str
    coupons: int
    pulls: int
    day_sd: float


def cells(kinds: tuple[str, ...]) -> list[Cell]:
    """Every cell of the study, the slowest first so that two processes end together."""
    found = [
        Cell(kind, truth, coupons, pulls, day_sd)
        for kind, truths in (("pass and fail", LIFE_TRUTHS), ("readings", READING_TRUTHS))
        if kind in kinds
        for truth in truths
        for coupons, pulls in DESIGNS
        for day_sd in DAY_SDS
    ]
    return sorted(found, key=lambda cell: (cell.kind, -cell.coupons * cell.pulls))


def bounds_of(cell: Cell, studies: int, seed: int) -> dict[str, np.ndarray]:
    """Bounds over the true time, by method, one for each invented study; NaN where a method gives none."""
    days = np.array(PULLS[cell.pulls])
    if cell.kind == "readings":
        base = READING_TRUTHS[cell.truth]
        truth = ReadingTruth(base.t_permitted_days, base.time_scale, cell.day_sd, base.heavy)
        forces = invented_readings(truth, pull_days=days, coupons=cell.coupons, studies=studies, seed=seed)
        fits = [decline_of_invented(values, truth=truth, pull_days=days) for values in forces]
        beyond = 1.5 * days[-1]
        found = {
            name: [beyond if days is None else days for days in reached]
            for name, reached in (
                ("Dwellbook", [fit.lower_days for fit in fits]),
                ("tolerance bound, pulls alike", [fit.lower_alike_days for fit in fits]),
                ("limit of the mean", [fit.mean_limit_days for fit in fits]),
            )
        }
    else:
        base_life = LIFE_TRUTHS[cell.truth]
        life = LifeTruth(base_life.t_permitted_days, base_life.family, base_life.spread, DAY_SDS[cell.day_sd])
        counts = invented_counts(life, pull_days=days, coupons=cell.coupons, studies=studies, seed=seed)
        # As in a study: the same coupons give forces, and these say which day share cannot be ruled out.
        forces = ReadingTruth(365.0, day_sd=cell.day_sd)
        values = invented_readings(forces, pull_days=days, coupons=cell.coupons, studies=studies, seed=seed + 1000)
        shares = [decline_of_invented(v, truth=forces, pull_days=days).day_share for v in values]
        bounds = [
            bound_of_invented(x, coupons=cell.coupons, pull_days=days, day_share=DAY_SHARE if share is None else share)
            for x, share in zip(counts, shares, strict=True)
        ]
        found = {
            "Dwellbook": [bound.lower_days for bound in bounds],
            "ordinary limit of a Weibull fit": [
                ordinary_of_invented(x, coupons=cell.coupons, pull_days=days) for x in counts
            ],
        }
    return {name: np.array(values, float) / 365.0 for name, values in found.items()}


def coverage(ratios: np.ndarray) -> float:
    """Share of studies whose bound does not pass the truth; a study without a bound claims nothing."""
    return float(np.mean(~(ratios > 1)))


Key = tuple[str, str, int, int, float]


@dataclass(frozen=True)
class Kept:
    """How one method does in one design and day effect, over all truths."""

    worst: float
    """Smallest coverage."""
    length: float
    """Median bound over the true time where the truth is the method's own (the first listed)."""
    lengths: float
    """The mean of that over all truths."""


def summary(answers: dict[Cell, dict[str, np.ndarray]]) -> dict[Key, Kept]:
    """Worst coverage over truths and the length of the bounds, by kind, method, design and day effect."""
    gathered: dict[Key, list[tuple[float, float]]] = defaultdict(list)
    for cell, found in answers.items():
        for method, ratios in found.items():
            key = (cell.kind, method, cell.coupons, cell.pulls, cell.day_sd)
            gathered[key].append((coverage(ratios), float(np.median(np.nan_to_num(ratios, nan=0.0)))))
    return {
        key: Kept(min(c for c, _ in pairs), pairs[0][1], float(np.mean([m for _, m in pairs])))
        for key, pairs in gathered.items()
    }


def run(
    studies: int, *, kinds: tuple[str, ...], seed: int = 7, workers: Workers = TWO
) -> dict[Cell, dict[str, np.ndarray]]:
    """Every cell, over two processes or a cluster, with a progress bar; the answer does not depend on which."""
    from rich.console import Console
    from rich.progress import track

    work = cells(kinds)
    number = {"readings": studies, "pass and fail": studies // 2}  # a simulated bound takes ten times as long
    tasks = [(cell, number[cell.kind], seed + place) for place, cell in enumerate(work)]
    results = spread(bounds_of, tasks, workers=workers)
    console = Console(file=sys.stderr)
    return dict(zip(work, track(results, "studies", total=len(work), console=console), strict=True))


def table(found: dict[Key, Kept], kind: str) -> list[str]:
    """Lines of a markdown table: worst coverage over truths at each day effect, and how long the bound is."""
    lines = [
        "| method | coupons × pulls | day sd 0 | 0.05 | 0.10 "
        "| median bound / true: day sd 0 | 0.10 | all truths: 0 | 0.10 |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    methods = dict.fromkeys(method for k, method, *_ in found if k == kind)
    for method in methods:
        for coupons, pulls in DESIGNS:
            kept = [found[kind, method, coupons, pulls, sd] for sd in DAY_SDS]
            cells_of = [f"{one.worst:.3f}" for one in kept]
            cells_of += [f"{kept[end].length:.2f}" for end in (0, -1)] + [f"{kept[end].lengths:.2f}" for end in (0, -1)]
            lines.append(f"| {method} | {coupons} × {pulls} | {' | '.join(cells_of)} |")
    return lines


def main() -> None:
    """Print the two tables."""
    parser = argparse.ArgumentParser(description="How often the bounds keep their word.")
    parser.add_argument("--studies", type=int, default=1000, help="invented studies per cell; half of it for verdicts")
    parser.add_argument("--kind", choices=KINDS, help="one table alone")
    parser.add_argument("--jobs", type=int, default=TWO.jobs, help="processes on this machine")
    parser.add_argument("--scheduler", default="", help="address of a Dask scheduler, instead of this machine")
    asked = parser.parse_args()
    kinds = (asked.kind,) if asked.kind else KINDS
    found = summary(run(asked.studies, kinds=kinds, workers=Workers(asked.jobs, asked.scheduler)))
    for kind in kinds:
        studies = asked.studies if kind == "readings" else asked.studies // 2
        print(f"\n{kind}, {studies} studies a cell, 95 % asked for; worst of four truths\n")
        print("\n".join(table(found, kind)))


if __name__ == "__main__":
    main()
