"""Analyse at the command line: the pictures in sentences, and a table of values as JSON."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from study.cli.main import app
from study.cli.tables import fitting_widths

runner = CliRunner()


def test_show_tells_the_pictures(demo_path: Path) -> None:
    """Residue is told by grade, and a hold that is only known as a bound says why it has no line."""
    done = runner.invoke(app, ["analyse", "show", "P01", "--study", str(demo_path)])
    assert done.exit_code == 0, done.output
    words = " ".join(done.output.split())
    assert "by a cumulative probit on the square root of dwell through 45 coupons, 3 typed as two grades" in words
    assert "No mean line through 40 readings, 40 of them only a bound" in words


def test_values_in_json(tmp_path: Path) -> None:
    """Forces that grow with the root of dwell: the line is found, decides, and JSON alone stands on standard output."""
    rows = ["days,newton"]
    for day in (30, 91, 182, 365, 730):
        for scatter in (-0.1, 0.0, 0.1):
            rows.append(f"{day},{math.exp(0.5 + 0.05 * math.sqrt(day) + scatter)!r}")
    path = tmp_path / "forces.csv"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    asked = ["analyse", "table", str(path), "--dwell", "days", "--value", "newton", "--limit", "> 5", "--json"]
    done = runner.invoke(app, asked)
    assert done.exit_code == 0, done.output
    answer = json.loads(done.stdout)
    (group,) = answer["groups"]
    root = next(line for line in group["decline"] if line["time_scale"] == "sqrt")
    assert (root["intercept"], root["slope"]) == pytest.approx((0.5, 0.05), abs=1e-9)
    assert root["used"] is True
    assert group["duration"]["outcome"] == "supported"
    assert group["duration"]["dwell"] == root["lower"]
    # The mean reaches 5 where 0.5 + 0.05 sqrt(t) = log 5; a bound on the worst coupons lies well before it.
    assert 91 < root["lower"] < ((math.log(5) - 0.5) / 0.05) ** 2
    assert (group["n"], group["unacceptable"]) == (15, 3)


def test_a_value_without_a_limit_is_refused(tmp_path: Path) -> None:
    """A value means nothing until somebody says which is unacceptable: status 2 and nothing on standard output."""
    path = tmp_path / "forces.csv"
    path.write_text("d,v\n30,4\n", "utf-8")
    asked = ["analyse", "table", str(path), "--dwell", "d", "--value", "v", "--json"]
    command = [sys.executable, "-c", "from study.cli.main import run; run()", *asked]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert "--limit" in done.stderr


def test_columns_wrap_between_words_only_where_there_is_room() -> None:
    """Widths never cut a word; where all fits on one line, or not even the words do, none are set."""
    heads = {"name": "group", "outcome": "outcome", "bound": "bound of pass, fail"}
    rows = [{"name": "gel on board", "outcome": "not shown", "bound": "137.1"}]
    assert fitting_widths(rows, heads, room=80) == {}
    assert fitting_widths(rows, heads, room=15) == {}
    found = fitting_widths(rows, heads, room=24)
    assert sum(found.values()) == 24
    assert all(found[name] >= least for name, least in {"name": 5, "outcome": 7, "bound": 5}.items())


def test_a_name_is_shown_as_it_is(tmp_path: Path) -> None:
    """Square brackets in somebody's names are no command to the terminal, and a blank group can be read."""
    path = tmp_path / "t.csv"
    path.write_text("d,ok,g\n1,yes,[red]x[/red]\n2,no,\n", "utf-8")
    done = runner.invoke(app, ["analyse", "table", str(path), "--dwell", "d", "--acceptable", "ok", "--group", "g"])
    assert done.exit_code == 0, done.output
    table, sentences = done.output.split("Times are in the unit of “d”")
    assert "[red]x[/red]" in table
    assert "(blank)" in table
    assert "(blank): Not shown: the only coupon unacceptable at the first pull (2)" in sentences
