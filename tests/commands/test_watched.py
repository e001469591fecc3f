"""Hold watched every day: the same adhesive on the same surface in two environments, and two lots pooled."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from study.analysis.observed import group_difference
from study.commands.analyse import across_environments, analyse_one
from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read import record_reading
from study.commands.register import pool_lots, register_one
from study.model.person import Signature
from study.store.study_file import StudyFile

PLACED = date(2025, 1, 15)
FELL = {"store": (60, None, None), "lit": (12, 25, 40)}
"""Dwell at which each of three coupons let go in each room; None: still holding when it was pulled at 91 d."""


@pytest.fixture
def watched(study_path: Path, signature: Signature) -> Iterator[StudyFile]:
    """The small study with a second room, a second lot there, and its hold coupons watched until three months."""
    with open_study(study_path) as study:
        entries = [
            ("environments", "environment=lit|name=gallery, lit"),
            ("lots", "lot=A-2|adhesive=gel-a|cure_hours=24"),
        ]
        common = f"substrate=sheet|protocol=display-dots|placed_on={PLACED}|dot_diameter_mm=8|dots=3|dwell_load_n=2"
        entries += [
            ("sets", f"set=sheet-lit|lot=A-1|environment=lit|{common}"),
            ("sets", f"set=sheet-lit-2|lot=A-2|environment=lit|{common}"),
            ("coupons", "set=sheet-lit|test=hold-angle|pull=3 months|count=3"),
            ("coupons", "set=sheet-lit-2|test=hold-angle|pull=3 months|count=3"),
        ]
        for kind, text in entries:
            register_one(study, kind, dict(part.split("=", 1) for part in text.split("|")), signature=signature)
        for key, room in (("sheet", "store"), ("sheet-lit", "lit")):
            let_go(study, key, FELL[room], signature)
        yield study


def let_go(study: StudyFile, key: str, fell: tuple[int | None, ...], signature: Signature) -> None:
    """Coupons of a set that fell on their day, seen holding the day before, or were pulled and held."""
    wanted = "SELECT code FROM coupons WHERE set_key = :set AND test = 'hold-angle' AND pull_label = '3 months'"
    for row, day in zip(study.rows(wanted, set=key), fell, strict=True):
        on = PLACED + timedelta(days=91 if day is None else day)
        before = "" if day is None else str(on - timedelta(days=1))
        kind = "pulled" if day is None else "released by itself"
        record_pulls(study, [row["code"]], kind=kind, on=on, last_seen=before, signature=signature)
        if day is None:
            record_reading(study, row["code"], {"hold_angle_deg": "80"}, read_on=on, signature=signature)


def lit_key(study: StudyFile) -> str:
    """The key of the pairing in the lit room."""
    return next(row["key"] for row in study.rows("SELECT key FROM pairings WHERE environment = 'lit'"))


def test_environments_are_compared_where_ends_were_seen(watched: StudyFile) -> None:
    """Six coupons of one lot in two rooms: the same log-rank as on the days typed, from either side."""
    days = np.array([91.0 if day is None else day for room in FELL.values() for day in room])
    ended = np.array([day is not None for room in FELL.values() for day in room])
    expected = group_difference(dwell_days=days, ended=ended, group=["store, dark"] * 3 + ["gallery, lit"] * 3)
    for key in ("P01", lit_key(watched)):
        found = across_environments(watched, analyse_one(watched, key))
        assert found == {"hold": expected}
    assert expected.p < 0.1


def test_another_surface_is_no_environment(watched: StudyFile) -> None:
    """The same adhesive on another surface is not compared."""
    assert across_environments(watched, analyse_one(watched, "P02")) == {}


def test_pooled_lots_are_compared(watched: StudyFile, signature: Signature) -> None:
    """Lots of one room stand together by a recorded act; whether they end alike is said beside the curve."""
    let_go(watched, "sheet-lit-2", (70, None, None), signature)
    key = lit_key(watched)
    single = next(e for e in analyse_one(watched, key).estimate.estimates if e.criterion == "hold")
    assert single.watched is not None
    assert (single.watched.n, single.lots_alike) == (3, None)
    pool_lots(watched, key, signature=signature)
    hold = next(e for e in analyse_one(watched, key).estimate.estimates if e.criterion == "hold")
    assert hold.watched is not None
    assert (hold.watched.n, hold.watched.ended) == (6, 4)
    assert hold.lots_alike is not None
    assert hold.lots_alike.groups == ("A-1", "A-2")
