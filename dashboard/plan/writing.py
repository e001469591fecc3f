"""A plan as it is typed on the page, and as the text of a plan file: one written into the other and back."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

from study.commands.plan import PlanInHand, plan_template, read_plan_text
from study.errors import DwellbookError
from study.model.plan import CellChange, Plan

LISTS = ("adhesives", "substrates", "environments")
NAMELESS = "plan"
"""Stands in for a name that is not typed yet, so that everything else can be counted already."""
PERCENT = ("controls.spare_share",)
PICTURE_PERCENT = ("start_share", "scatter", "day_scatter")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_DEFAULT = read_plan_text(plan_template())

Cell = tuple[str, str, str, str]
"""Adhesive, substrate, environment and test."""


@dataclass(frozen=True)
class Typed:
    """Everything that stands in the form."""

    fields: Mapping[str, Any]
    """By the key in a plan file, such as controls.glass; the three lists as lists."""
    tests: Mapping[str, str]
    """Coupons of each cell at each pull, by destructive test."""
    cells: Mapping[Cell, str] = field(default_factory=dict)
    pulls: Mapping[tuple[str, str], str] = field(default_factory=dict)
    """By test and pull."""
    lots: Mapping[str, str] = field(default_factory=dict)
    decisions: Sequence[str] = ()
    pictures: Sequence[Mapping[str, Any]] = ()
    changes: Sequence[Mapping[str, Any]] = ()
    """Changes of a plan file that the two matrices of the page cannot hold."""


def plan_text(typed: Typed, *, nameless: str = "") -> str:
    """The text of a plan file; ``nameless`` stands in for a name that is not typed yet."""
    tops: dict[str, Any] = {}
    tables: dict[str, dict[str, str]] = {}
    for key, value in typed.fields.items():
        if key in LISTS:
            tops[key] = json.dumps(list(value or []), ensure_ascii=False)
            continue
        text = str(value if value is not None else "").strip()
        table, _, name = key.rpartition(".")
        if key == "name":
            text = text or nameless
        if not text and key not in ("name", "pulls"):
            continue
        written = _hundredth(text) if key in PERCENT else _value(text, key)
        (tables.setdefault(table, {}) if table else tops)[json.dumps(name) if table else name] = written
    if typed.decisions:
        tops["decision_pulls"] = _quoted(", ".join(typed.decisions))
    tables["coupons"] = {json.dumps(test): _value(count or "0") for test, count in typed.tests.items()}
    if any(typed.lots.values()):
        tables["lots"] = {json.dumps(key): _quoted(lot) for key, lot in typed.lots.items() if lot}
    lines = [f"{name} = {value}" for name, value in tops.items()]
    for table, entries in tables.items():
        lines += [f"[{table}]", *(f"{name} = {value}" for name, value in entries.items())]
    for entry in _changes(typed):
        lines += ["[[change]]", *(f"{name} = {_plain(value)}" for name, value in entry.items() if value != "")]
    for picture in typed.pictures:
        lines += [
            "[[picture]]",
            *(f"{name} = {_plain(value)}" for name, value in picture.items() if value not in ("", None)),
        ]
    return "\n".join(lines) + "\n"


def _changes(typed: Typed) -> Iterable[Mapping[str, Any]]:
    # The last change that fits counts: a cell's own number, above all a cell left out, stands over that of a pull.
    yield from typed.changes
    for (test, pull), count in typed.pulls.items():
        if count.strip():
            yield {"test": test, "pull": pull, "per_pull": count.strip()}
    for (adhesive, substrate, environment, test), count in typed.cells.items():
        if count.strip():
            yield {"adhesive": adhesive, "substrate": substrate, "environment": environment, "test": test,
                   "per_pull": count.strip()}  # fmt: skip


def _value(text: str, key: str = "") -> str:
    if key in ("name", "title", "protocol", "pulls", "controls.glass") or not _NUMBER.fullmatch(text):
        return _quoted(text)
    return text.lstrip("0") if text.lstrip("0")[:1].isdigit() else f"0{text.lstrip('0')}"


def _plain(value: Any) -> str:
    if isinstance(value, list | tuple):
        return json.dumps(list(value), ensure_ascii=False)
    return repr(value) if isinstance(value, int | float) else _value(str(value))


def _hundredth(text: str) -> str:
    return f"{float(text) / 100:.6g}" if _NUMBER.fullmatch(text) else _quoted(text)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def typed_of(plan: Plan) -> Typed:
    """A plan as the form holds it."""
    fields: dict[str, Any] = {key: list(getattr(plan, key)) for key in LISTS}
    fields |= {"name": plan.name, "title": plan.title, "protocol": plan.protocol, "pulls": words_of(plan.pulls)}
    fields |= {key: f"{getattr(plan, key):g}" for key in ("dot_diameter_mm", "dots", "dwell_load_n")}
    controls = plan.controls
    fields |= {f"controls.{key}": str(getattr(controls, key)) for key in ("blanks_per_pull", "time_zero", "glass")}
    fields["controls.glass_per_pull"] = str(controls.glass_per_pull)
    fields["controls.spare_share"] = f"{100 * controls.spare_share:g}"
    for table in ("bench", "shelf"):
        own = {k: v for k, v in getattr(plan, table).model_dump().items() if k != "minutes"}
        fields |= {f"{table}.{key}": f"{value:g}" for key, value in own.items()}
    fields |= {f"bench.minutes.{method}": f"{value:g}" for method, value in plan.bench.minutes.items()}
    cells, pulls, others = _matrices(plan)
    usual = _DEFAULT.plan.pictures
    return Typed(
        fields, {test.method: str(test.per_pull) for test in plan.tests}, cells, pulls, dict(plan.lots),
        plan.schedule.decision_pulls,
        [picture.model_dump(mode="json") for picture in plan.pictures if picture not in usual], others,
    )  # fmt: skip


def blank(pulls: str, decisions: Sequence[str]) -> Typed:
    """A form nobody has typed in yet, with the usual numbers of coupons."""
    usual = typed_of(_DEFAULT.plan)
    fields = {**usual.fields, "name": "", "title": "", "pulls": pulls, **{key: [] for key in LISTS}}
    return Typed(fields | {"controls.glass": "", "controls.glass_per_pull": "0"}, usual.tests, decisions=decisions)


def _matrices(plan: Plan) -> tuple[dict[Cell, str], dict[tuple[str, str], str], list[dict[str, Any]]]:
    tests = [test.method for test in plan.tests]
    cells: dict[Cell, str] = {}
    pulls: dict[tuple[str, str], str] = {}
    for change in plan.changes:
        asked = (change.adhesive, change.substrate, change.environment)
        if change.pull and not any(asked):
            pulls |= {(test, change.pull): str(change.per_pull) for test in tests if change.test in ("", test)}
        elif not change.pull:
            every = product(plan.adhesives, plan.substrates, plan.environments, tests)
            wanted = (*asked, change.test)
            cells |= {cell: str(change.per_pull) for cell in every
                      if all(a in ("", b) for a, b in zip(wanted, cell, strict=True))}  # fmt: skip
    again = [CellChange.model_validate(entry) for entry in _changes(Typed({}, {}, cells, pulls))]
    if _counts(plan) == _counts(plan.model_copy(update={"changes": tuple(again)})):
        return cells, pulls, []
    return {}, {}, [change.model_dump() for change in plan.changes]


def _counts(plan: Plan) -> list[int]:
    every = product(plan.adhesives, plan.substrates, plan.environments, plan.tests, plan.pulls)
    return [plan.per_pull(*cell) for cell in every]


def words_of(labels: Sequence[str]) -> str:
    """Pulls as a person writes them, the unit once for numbers that share it."""
    parts = [label.split(" ") for label in labels]
    words = []
    for place, part in enumerate(parts):
        after = parts[place + 1][-1] if place + 1 < len(parts) else ""
        shared = len(part) == 2 and after.rstrip("s") == part[1].rstrip("s")
        words.append(part[0] if shared else " ".join(part))
    return ", ".join(words)


def pull_labels(pulls: str) -> tuple[str, ...]:
    """Labels of the pulls that words name; empty where they cannot be read."""
    fields = {"name": NAMELESS, "pulls": pulls, **{key: ["a"] for key in LISTS}}
    try:
        return read_plan_text(plan_text(Typed(fields, {_DEFAULT.plan.tests[0].method: "1"}))).plan.pulls
    except DwellbookError:
        return ()


def usual() -> PlanInHand:
    """The plan that the template holds: its bench, shelf and pictures are where a new plan begins."""
    return _DEFAULT
