"""Planning speed: a thousand invented studies of one pairing, from nothing and once the design's table is there.

python tests/benchmarks/planning.py
python tests/benchmarks/planning.py --scheduler tcp://HOST:8786
"""

from __future__ import annotations

import argparse
import math
import time

import numpy as np

from study.analysis.design import ReadingTruth, decline_of_invented, invented_readings
from study.analysis.outcomes import design as outcome_design
from study.analysis.planning import Tables, design_support
from study.analysis.planning_decline import decline_bounds
from study.analysis.planning_parts import PlannedDesign, planned_design
from study.analysis.planning_search import suggestion
from study.analysis.workers import Workers
from study.intake.plan_file import common_pictures, parse_plan
from study.model.protocol import Rule

PLAN = """
name = "speed"
adhesives = ["a"]
substrates = ["b"]
environments = ["c"]
pulls = "{pulls}"
[coupons]
"pull-off-dot" = {coupons}
[controls]
time_zero = 5
"""
DESIGNS = (
    ("5 pulls", "3, 6, 12, 24, 36 months", 5),
    ("8 pulls", "1 week, 1, 3, 6, 12, 18, 24, 36 months", 5),
    ("8 pulls", "1 week, 1, 3, 6, 12, 18, 24, 36 months", 10),
)


def pairing(pulls: str, coupons: int) -> tuple[PlannedDesign, Rule]:
    """One pairing under the default protocol without hold."""
    plan, protocol = parse_plan(PLAN.format(pulls=pulls, coupons=coupons))
    return planned_design(plan, protocol), protocol.rule


def declines() -> str:
    """The decline bound of a thousand studies at once, beside one by one."""
    days = np.array([7.0, 30.0, 91.0, 183.0, 365.0, 548.0, 730.0, 1096.0])
    truth = ReadingTruth(913.0, day_sd=0.05)
    forces = invented_readings(truth, pull_days=days, coupons=5, studies=1000, seed=1)

    def many() -> None:
        decline_bounds(
            g=np.sqrt(days), counts=np.full(8, 5), y=np.log(forces), limit=math.log(truth.limit),
            cap=math.sqrt(1.5 * days[-1]), permitted_share=0.1, confidence=0.95,
        )  # fmt: skip

    many()
    start = time.perf_counter()
    many()
    together = time.perf_counter() - start
    start = time.perf_counter()
    for values in forces[:50]:
        decline_of_invented(values, truth=truth, pull_days=days)
    each = 20 * (time.perf_counter() - start)
    return f"decline bound of 1 000 studies: {together:6.3f} s together, {each / together:5.0f} x as long one by one"


def main() -> None:
    """Print every line as it is known."""
    parser = argparse.ArgumentParser(description="How fast a plan is tried out.")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--scheduler", default="")
    asked = parser.parse_args()
    workers = Workers(asked.jobs, asked.scheduler)
    print(declines(), flush=True)
    pictures = {picture.key: picture for picture in common_pictures()}
    for words, pulls, coupons in DESIGNS:
        plan, rule = pairing(pulls, coupons)
        for decline in ("middling", "fast"):
            tables: Tables = {}
            outcome_design.cache_clear()
            times = []
            for seed in (1, 1, 2):
                start = time.perf_counter()
                found = design_support(
                    plan, picture=pictures[decline], rule=rule, studies=1000, seed=seed, workers=workers, tables=tables
                )
                times.append(time.perf_counter() - start)
            print(
                f"1 000 studies, {words} x {coupons} coupons, {decline:8}: {times[0]:6.2f} s from nothing, "
                f"{times[1]:5.2f} s with the table, {times[2]:5.2f} s for another seed; "
                f"median {found.median_days} d, {sum(map(len, tables.values()))} entries",
                flush=True,
            )
    plan, rule = pairing(DESIGNS[1][1], 5)
    start = time.perf_counter()
    best = suggestion(plan, wanted_days=365, picture=pictures["middling"], rule=rule, workers=workers)
    print(f"suggestion for 12 months: {time.perf_counter() - start:6.1f} s, {len(best.options)} designs; {best.answer}")


if __name__ == "__main__":
    main()
