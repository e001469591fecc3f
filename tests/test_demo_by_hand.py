"""Durations of the demo worked out again from its raw CSV files, with numpy and scipy alone: one of each outcome.

Nothing of the product's estimators is used here: files are read with pandas, formulas are written out anew from the
statement of the methods in DEVELOPERS.md.
"""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats
from skimage.color import deltaE_ciede2000

from study.commands.decide import stand_of
from study.commands.opening import open_study
from study.model.estimate import Duration
from study.resources import folder

DATA = folder("demo_data")
LIMIT_N, LIMIT_DE, PERMITTED, CONFIDENCE = 20.0, 2.0, 0.10, 0.95


@lru_cache
def sheet() -> pd.DataFrame:
    """Every coupon of the first study with its set, pull, dwell and readings, straight from the files."""
    coupons = pd.read_csv(DATA / "coupons-2023.csv")
    sets = pd.read_csv(DATA / "sets-2023.csv")
    pulls = pd.concat(pd.read_csv(path) for path in sorted(DATA.glob("pulls-2023-*.csv")))
    readings = pd.concat(pd.read_csv(path) for path in sorted(DATA.glob("readings-2023-*.csv")))
    whole = coupons.merge(sets, on="set").merge(pulls, left_on="code", right_on="coupon")
    whole = whole.merge(readings, left_on="code", right_on="coupon", how="left")
    whole["dwell"] = (pd.to_datetime(whole["on"]) - pd.to_datetime(whole["placed_on"])).dt.days
    whole["base"] = whole["set"].str.removesuffix("-T0")
    return whole


def dots(set_key: str) -> pd.DataFrame:
    """Pulled dot coupons of one pairing, its time-zero set among them."""
    whole = sheet()
    return whole[(whole["base"] == set_key) & (whole["test"] == "pull-off-dot") & whole["as"].isna()]


def line_parts(x: np.ndarray, y: np.ndarray, share: float) -> dict[str, float]:
    """Weighted line through pull means at one day share, with everything the bound needs."""
    days = np.unique(x)
    m = np.array([np.sum(x == day) for day in days])
    mean = np.array([y[x == day].mean() for day in days])
    within = sum(np.sum((y[x == day] - y[x == day].mean()) ** 2) for day in days)
    w = 1 / (share + (1 - share) / m)
    centre = np.sum(w * days) / w.sum()
    spread = np.sum(w * (days - centre) ** 2)
    slope = np.sum(w * (days - centre) * mean) / spread
    start = np.sum(w * mean) / w.sum() - slope * centre
    between = np.sum(w * (mean - start - slope * days) ** 2)
    return {"k": len(days), "n": m.sum(), "within": within, "between": between, "w": w.sum(), "centre": centre,
            "spread": spread, "slope": slope, "start": start}  # fmt: skip


def day_share(x: np.ndarray, y: np.ndarray) -> float:
    """The share that the readings cannot rule out, at 70 %."""

    def excess(share: float) -> float:
        p = line_parts(x, y, share)
        ratio = (p["between"] / (p["k"] - 2)) / (p["within"] / ((1 - share) * (p["n"] - p["k"])))
        return float(ratio - stats.f.ppf(0.30, p["k"] - 2, p["n"] - p["k"]))

    return 0.0 if excess(0.0) <= 0 else float(optimize.brentq(excess, 0, 0.97, xtol=1e-12))


def upper_edge(g: float, x: np.ndarray, y: np.ndarray, share: float) -> float:
    """Upper tolerance bound of a reading at one point of the time scale."""
    p = line_parts(x, y, share)
    sd = math.sqrt((p["between"] + p["within"] / (1 - share)) / (p["n"] - 2))
    h = 1 / p["w"] + (g - p["centre"]) ** 2 / p["spread"]
    factor = stats.nct.ppf(CONFIDENCE, p["n"] - 2, stats.norm.ppf(1 - PERMITTED) / math.sqrt(h)) * math.sqrt(h)
    return float(p["start"] + p["slope"] * g + factor * sd)


def forces(set_key: str) -> tuple[np.ndarray, np.ndarray]:
    """Root of dwell and log of force of one pairing."""
    table = dots(set_key)
    return np.sqrt(table["dwell"].to_numpy(float)), np.log(table["removal_force"].astype(float).to_numpy())


def colours(set_key: str) -> tuple[np.ndarray, np.ndarray]:
    """Root of dwell and log of colour difference of one pairing."""
    table = dots(set_key)
    before = table[["L_before", "a_before", "b_before"]].to_numpy(float)
    after = table[["L_after", "a_after", "b_after"]].to_numpy(float)
    return np.sqrt(table["dwell"].to_numpy(float)), np.log(deltaE_ciede2000(before, after))


@pytest.fixture(scope="module")
def durations(demo_master: Path) -> dict[str, Duration]:
    """What the product says about four pairings."""
    with open_study(demo_master) as study:
        keys = {"GA-MDF": "P02", "GS-GLZ": "P07", "WX-LIN": "P09", "PU-OAK": "P10"}
        return {name: stand_of(study, key).analysed.estimate.duration for name, key in keys.items()}


def test_a_supported_duration_comes_from_the_forces(durations: dict[str, Duration]) -> None:
    """Gel A on painted MDF: the edge that holds 90 % of forces reaches 20 N on the day the product names."""
    x, y = forces("GA-MDF")
    share = day_share(x, y)
    crossing = optimize.brentq(lambda g: upper_edge(g, x, y, share) - math.log(LIMIT_N), 5, 30)
    duration = durations["GA-MDF"]
    assert (duration.outcome, duration.limiting) == ("supported", "Removal force")
    assert duration.bound_days == pytest.approx(crossing**2, rel=1e-7)
    assert duration.days == math.floor(crossing**2)


def test_a_duration_that_nothing_limits_is_provisional(durations: dict[str, Duration]) -> None:
    """Silicone gel on glazed earthenware, every tilt held: simulated studies reject 440 d and do not reject 450 d."""
    table = sheet()
    tilted = table[(table["set"] == "GS-GLZ") & (table["test"] == "hold-angle")]
    assert len(tilted) == 40
    assert (tilted["hold_angle_deg"] == ">90").all()
    t, m = (np.array(part, float) for part in np.unique(tilted["dwell"], return_counts=True))
    shared = max(day_share(*forces("GS-GLZ")), day_share(*colours("GS-GLZ")))
    duration = durations["GS-GLZ"]
    assert (duration.outcome, duration.limiting, duration.days) == ("provisional", "Hold", 440)
    assert chance_of_none(440.0, t, m, shared) < 1 - CONFIDENCE <= chance_of_none(450.0, t, m, shared)


def chance_of_none(t0: float, t: np.ndarray, m: np.ndarray, shared: float, studies: int = 10_000) -> float:
    """Share of simulated studies, true to ``t0``, that speak for it as strongly as one with none unacceptable."""
    shapes = np.geomspace(1, 12, 32)
    times = np.log(np.geomspace(t[0] / 30, 6 * t[-1], 70))
    level = math.log(-math.log(1 - PERMITTED))

    def share_at(tau: float) -> np.ndarray:
        return 1 - np.exp(-np.exp(level + shapes[:, None] * (np.log(t) - tau)))

    def likelihood(x: np.ndarray, f: np.ndarray) -> np.ndarray:
        f = np.clip(f, 1e-13, 1 - 1e-13)
        return x @ np.log(f).T + (m - x) @ np.log(1 - f).T

    def signed(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        best, at, shape = np.full(len(x), -np.inf), np.zeros(len(x)), np.zeros((len(x), len(t)))
        for tau in times:
            f = share_at(tau)
            found = likelihood(x, f)
            better = found.max(axis=1) > best
            best = np.where(better, found.max(axis=1), best)
            at = np.where(better, tau, at)
            shape[better] = f[found.argmax(axis=1)[better]]
        f = np.clip(shape, 0.001, 0.999)
        phi = np.maximum(1, np.sum((x - m * f) ** 2 / (m * f * (1 - f)), axis=1) / (len(t) - 2))
        given = likelihood(x, share_at(math.log(t0)))
        held = given.max(axis=1)
        root = np.sqrt(np.maximum(0, 2 * (np.maximum(best, held) - held)) / phi)
        return np.where(at >= math.log(t0), root, -root), given.argmax(axis=1)

    none = np.zeros((1, len(t)))
    seen, shape = signed(none)
    truth = share_at(math.log(t0))[shape[0]]
    random = np.random.default_rng(20230301)
    z = random.standard_normal((studies, len(t)))
    on_the_day = stats.norm.cdf((stats.norm.ppf(truth) + math.sqrt(shared) * z) / math.sqrt(1 - shared))
    x = np.column_stack(
        [(random.random((studies, int(m[k]))) < on_the_day[:, k : k + 1]).sum(axis=1) for k in range(len(t))]
    )
    distinct, count = np.unique(x, axis=0, return_counts=True)
    return float(count[signed(distinct.astype(float))[0] >= seen[0] - 1e-9].sum() / studies)


def test_bad_at_the_first_pull_shows_nothing(durations: dict[str, Duration]) -> None:
    """Wax on linen: every coupon of the first pull is graded 3 or worse, so no duration is shown."""
    table = dots("WX-LIN")
    first = table[table["dwell"] == table.loc[table["dwell"] > 0, "dwell"].min()]
    lowest = first["residue_grade"].astype(str).str[0].astype(int)
    assert (lowest >= 3).all()
    duration = durations["WX-LIN"]
    assert (duration.outcome, duration.days, duration.limiting) == ("not shown", None, "Residue")


def test_harm_to_an_object_stops(durations: dict[str, Duration]) -> None:
    """Putty on polished oak, which stands for an object: the polish came away, and one coupon is enough."""
    table = dots("PU-OAK")
    harmed = table[table["failure_pattern"].isin(["SF", "CSF", "DF"]) & (table["side"] != "mount")]
    assert len(harmed) >= 1
    substrates = pd.read_csv(DATA / "substrates.csv").set_index("substrate")
    assert substrates.loc["polished-oak", "stands_for"] == "object"
    duration = durations["PU-OAK"]
    assert (duration.outcome, duration.days, duration.limiting) == ("stopped", None, "Harm to the surface")
