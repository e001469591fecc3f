"""Options and cells of a table somebody already has: right, or refused all at once."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from study.errors import FileRefused
from study.intake.looks_file import LookColumns, LookOptions, parse_looks
from study.model.looks import LookRule

SEEN = LookColumns(dwell="d", acceptable="ok")
VALUES = LookColumns(dwell="d", value="v", limit="> 4")


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "table.csv"
    path.write_text(text, "utf-8")
    return path


def told(tmp_path: Path, text: str, columns: LookColumns, options: LookOptions) -> list[tuple[int, str]]:
    """Where the problems lie, in the order told."""
    with pytest.raises(FileRefused) as refusal:
        parse_looks(written(tmp_path, text), columns=columns, rule=options)
    return [(problem.row, problem.column) for problem in refusal.value.problems]


def test_slips_in_options_and_cells_are_told_together(tmp_path: Path) -> None:
    """Every option that is no number or out of its range, and every bad cell, in one refusal."""
    options = LookOptions("10%", "95", "1-12", "often", "1.5", "linear")
    found = told(tmp_path, "d,ok\n1,perhaps\n,yes\n", SEEN, options)
    assert sorted(found) == sorted([
        (0, "--day-share"), (0, "--shape"), (0, "--seed"), (0, "--value-scale"), (0, "--permitted"),
        (0, "--confidence"), (2, "ok"), (3, "d"),
    ])  # fmt: skip


def test_a_bad_option_and_a_missing_column_are_told_together(tmp_path: Path) -> None:
    """The header is looked at though an option is wrong."""
    found = told(tmp_path, "d,good\n1,yes\n", SEEN, LookOptions(permitted="0.9"))
    assert found == [(0, "--permitted"), (1, "ok")]


@pytest.mark.parametrize("limit", [">=4", "≥ 4", "4", "> four", ">", "> 4 N", "> nan", "> 4,5"])
def test_a_limit_that_cannot_be_understood(tmp_path: Path, limit: str) -> None:
    """A limit has one of two signs and a number."""
    columns = LookColumns(dwell="d", value="v", limit=limit)
    assert told(tmp_path, "d,v\n1,3\n", columns, LookOptions()) == [(0, "--limit")]


@pytest.mark.parametrize(
    ("limit", "scale", "side", "found"),
    [(">4", "log", "above", 4.0), (" <  0.5 ", "log", "below", 0.5), ("> -1", "as-read", "above", -1.0)],
)
def test_a_limit_as_people_write_it(tmp_path: Path, limit: str, scale: str, side: str, found: float) -> None:
    """Spaces do not matter, and a negative limit stands on the scale as read."""
    columns = LookColumns(dwell="d", value="v", limit=limit)
    rule, _ = parse_looks(written(tmp_path, "d,v\n1,3\n"), columns=columns, rule=LookOptions(value_scale=scale))
    assert (rule.unacceptable, rule.limit) == (side, found)


def test_the_rule_as_typed(tmp_path: Path) -> None:
    """What is typed is what is used; auto leaves the day share to the readings."""
    typed = LookOptions("0.05", "0.9", "0.5:3", "0.2", "7", "as-read")
    path = written(tmp_path, "d,ok\n1,yes\n")
    rule, _ = parse_looks(path, columns=SEEN, rule=typed)
    assert rule == LookRule(0.05, 0.9, 0.5, 3.0, 0.2, 7, value_scale="as read", judged_by="ok")
    assert parse_looks(path, columns=SEEN, rule=LookOptions(day_share="Auto"))[0].day_share is None


def test_columns_nobody_asked_for_may_be_anything(tmp_path: Path) -> None:
    """Trailing commas and a second column of notes are let be; a named column that stands twice is refused."""
    path = written(tmp_path, "d,note,ok,note,,\n1,a,yes,b,,\n2,,no,,,\n")
    _, (rows,) = parse_looks(path, columns=LookColumns(dwell=" d ", acceptable="ok"), rule=LookOptions())
    assert rows.unacceptable is not None
    assert rows.unacceptable.tolist() == [0, 1]
    assert told(tmp_path, "d,ok,ok\n1,yes,no\n", SEEN, LookOptions()) == [(1, "ok")]
    assert told(tmp_path, "d,ok\n1,yes\n", LookColumns(dwell="d", acceptable="d"), LookOptions()) == [(0, "columns")]


@pytest.mark.parametrize(
    ("cell", "found"), [("yes", 0), ("YES", 0), ("True", 0), ("1", 0), ("nO", 1), ("FALSE", 1), ("0", 1), ("", -1)]
)
def test_yes_and_no(tmp_path: Path, cell: str, found: int) -> None:
    """Six words in any case; a blank says nothing and is counted."""
    _, (rows,) = parse_looks(written(tmp_path, f"d,ok\n1,{cell}\n2,yes\n"), columns=SEEN, rule=LookOptions())
    assert rows.unacceptable is not None
    assert rows.unacceptable.tolist() == ([0] if found < 0 else [found, 0])
    assert rows.not_measured == (found < 0)


@pytest.mark.parametrize(
    ("cell", "verdict"),
    [("4", 0), ("4.01", 1), (">4", 1), ("> 3", -1), ("<4", 0), ("<5", -1), (">50", 1), ("1e1", 1)],
)
def test_values_at_a_limit_of_4(tmp_path: Path, cell: str, verdict: int) -> None:
    """Equal is acceptable, a bound decides where it lies wholly on one side, and else decides nothing."""
    _, (rows,) = parse_looks(written(tmp_path, f"d,v\n1,{cell}\n"), columns=VALUES, rule=LookOptions())
    assert rows.unacceptable is not None
    assert rows.unacceptable.tolist() == [verdict]


def test_a_blank_verdict_with_harm_is_counted_once(tmp_path: Path) -> None:
    """The harm stands; the coupon is one that was not measured."""
    columns = LookColumns(dwell="d", acceptable="ok", harm="h", count="n")
    _, (rows,) = parse_looks(
        written(tmp_path, "d,ok,h,n\n1,yes,,2\n2,,yes,3\n3,,no,4\n"), columns=columns, rule=LookOptions()
    )
    assert rows.harm.tolist() == [False, True]
    assert rows.count.tolist() == [2, 3]
    assert rows.not_measured == 7


def test_groups_keep_text_and_order(tmp_path: Path) -> None:
    """A blank group is a group, and names are taken as typed."""
    columns = LookColumns(after="a", by="b", group="g")
    text = 'a,b,g\n3,,"Wax, W"\n,2,\n4,6,"Wax, W"\n'
    _, groups = parse_looks(written(tmp_path, text), columns=columns, rule=LookOptions())
    assert [rows.group for rows in groups] == ["Wax, W", ""]
    assert groups[0].by.tolist() == [math.inf, 6.0]
    assert (groups[1].after.tolist(), groups[1].by.tolist()) == ([0.0], [2.0])
