"""Cells of a plan that differ: numbers for single cells, 0 leaves one out, and numbers for single pulls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any

import dash_mantine_components as dmc
from dash import html

from dashboard.components.tables import Column, table
from dashboard.plan.writing import Cell

MOST = 240
"""Fields that a page still draws quickly."""


def cell_matrix(lists: Mapping[str, Sequence[str]], tests: Sequence[str], typed: Mapping[Cell, str]) -> list[Any]:
    """One line for each adhesive on each substrate, a field for each environment and test."""
    environments = list(lists["environments"])
    lines = list(product(lists["adhesives"], lists["substrates"]))
    if not lines or not environments:
        return [html.P("Cells stand here once adhesives, substrates and environments are named.", className="quiet")]
    if len(lines) * len(environments) * len(tests) > MOST:
        words = f"{len(lines) * len(environments)} cells are too many to list: leave some out in a plan file instead."
        return [html.P(words, className="quiet")]
    columns = [Column("adhesive", "Adhesive"), Column("substrate", "Substrate")]
    columns += [
        Column(f"{environment}|{test}", environment, unit=test) for environment, test in product(environments, tests)
    ]
    rows = []
    for adhesive, substrate in lines:
        shown: dict[str, Any] = {"adhesive": adhesive, "substrate": substrate}
        for environment, test in product(environments, tests):
            cell = (adhesive, substrate, environment, test)
            shown[f"{environment}|{test}"] = _number(
                {"plan-cell": "|".join(cell)}, ", ".join(cell), typed.get(cell, "")
            )
        rows.append(shown)
    words = "Coupons at each pull: blank as above, 0 leaves the cell out, another number counts at every pull."
    return [html.P(words, className="quiet"), table(columns, rows, caption="Cells with other numbers")]


def pull_matrix(pulls: Sequence[str], tests: Sequence[str], typed: Mapping[Any, str]) -> list[Any]:
    """A field for each test at each pull."""
    if not pulls:
        return []
    columns = [Column("test", "Test", tight=True), *(Column(pull, pull) for pull in pulls)]
    rows = [
        {"test": test,
         **{pull: _number({"plan-at": f"{test}|{pull}"}, f"{test} at {pull}", typed.get((test, pull), ""))
            for pull in pulls}}
        for test in tests
    ]  # fmt: skip
    words = "A pull with another number: blank as above. A cell with a number of its own keeps it."
    return [html.P(words, className="quiet"), table(columns, rows, caption="Pulls with other numbers")]


def _number(ident: dict[str, str], heard: str, value: str) -> Any:
    return dmc.TextInput(
        id=ident, value=value, debounce=250, size="xs", className="few", autoComplete="off", **{"aria-label": heard}
    )
