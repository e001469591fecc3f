"""Two groups of one table: whichever is named first, each keeps its own bounds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from study.commands.analyse import LookColumns, analyse_table
from study.model.looks import LookEstimate, LookRule

DAYS = (91, 182, 365, 730)
BAD = st.lists(st.integers(0, 3), min_size=4, max_size=4)
FORCE = st.lists(st.floats(1.0, 9.0).map(lambda v: round(v, 2)), min_size=8, max_size=8)


def groups(tmp_path: Path, header: str, lines: list[str], columns: LookColumns) -> dict[str, LookEstimate]:
    """What a table says, by group."""
    path = tmp_path / "table.csv"
    path.write_text("\n".join([header, *lines]) + "\n", "utf-8")
    return {found.group: found for found in analyse_table(path, columns=columns, rule=LookRule(day_share=0.2))[1]}


def swapped(found: dict[str, LookEstimate]) -> dict[str, LookEstimate]:
    """The same answers under each other's name."""
    return {name: replace(found[other], group=name) for name, other in (("east", "west"), ("west", "east"))}


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(BAD, BAD)
def test_swapped_verdicts_swap_their_bounds(tmp_path: Path, east: list[int], west: list[int]) -> None:
    """Verdicts under the other group's name give the other group's curve, bound and duration, to the last digit."""
    assume(east != west)
    columns = LookColumns(dwell="dwell", acceptable="ok", count="n", group="g")

    def told(**by_name: list[int]) -> dict[str, LookEstimate]:
        lines = [
            f"{day},{word},{count},{name}"
            for name, bad in by_name.items()
            for day, x in zip(DAYS, bad, strict=True)
            for word, count in (("no", x), ("yes", 3 - x))
            if count
        ]
        return groups(tmp_path, "dwell,ok,n,g", lines, columns)

    plain = told(east=east, west=west)
    assert told(east=west, west=east) == swapped(plain)
    assert plain["east"].pulls != plain["west"].pulls


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(FORCE, FORCE)
def test_swapped_readings_swap_their_bounds(tmp_path: Path, east: list[float], west: list[float]) -> None:
    """Readings under the other group's name give the other group's line and bounds, to the last digit."""
    assume(east != west)
    columns = LookColumns(dwell="dwell", value="v", limit="> 8", group="g")

    def told(**by_name: list[float]) -> dict[str, LookEstimate]:
        lines = [f"{day},{value},{name}" for name, values in by_name.items()
                 for day, value in zip(DAYS * 2, values, strict=True)]  # fmt: skip
        return groups(tmp_path, "dwell,v,g", lines, columns)

    plain = told(east=east, west=west)
    assert told(east=west, west=east) == swapped(plain)


@pytest.mark.parametrize("first", ["east", "west"])
def test_a_worse_group_has_the_shorter_bound(tmp_path: Path, first: str) -> None:
    """Where one group fails more at every pull, its bound is the shorter, wherever it stands."""
    bad = {"east": (0, 0, 0, 1), "west": (0, 1, 2, 3)}
    names = [first, *(name for name in bad if name != first)]
    lines = [f"{day},{word},{count},{name}" for name in names for day, x in zip(DAYS, bad[name], strict=True)
             for word, count in (("no", x), ("yes", 3 - x)) if count]  # fmt: skip
    found = groups(tmp_path, "dwell,ok,n,g", lines, LookColumns(dwell="dwell", acceptable="ok", count="n", group="g"))
    east, west = found["east"].bound.lower_days, found["west"].bound.lower_days
    assert east is not None
    assert west is not None
    assert west < east
