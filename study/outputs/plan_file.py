"""Plan files written: a plan as TOML that a person can edit and Dwellbook reads back."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from study.model.plan import Plan
from study.model.protocol import Schedule

SCALARS = ("name", "title", "protocol", "adhesives", "substrates", "environments")
DOTS = ("dot_diameter_mm", "dots", "dwell_load_n")


def plan_file_text(plan: Plan, *, protocol_schedule: Schedule | None = None) -> str:
    """The plan as TOML; read back it is the same plan, its windows by the house rule.

    Parameters
    ----------
    plan : Plan
    protocol_schedule : Schedule, optional
        The protocol's own; where the plan keeps it, no pulls are written.
    """
    content = plan.model_dump(mode="json")
    lines = [_pair(name, content[name]) for name in SCALARS]
    if plan.schedule != protocol_schedule:
        lines += [
            _pair("pulls", ", ".join(plan.pulls)), _pair("decision_pulls", ", ".join(plan.schedule.decision_pulls)),
        ]  # fmt: skip
    lines += [_pair(name, content[name]) for name in DOTS]
    lines += _table("coupons", [(test.method, test.per_pull) for test in plan.tests])
    controls = [(name, value) for name, value in content["controls"].items() if value != ""]
    lines += _table("controls", controls)
    lines += _table("lots", plan.lots.items()) if plan.lots else []
    lines += _table("bench", [(name, value) for name, value in content["bench"].items() if name != "minutes"])
    lines += _table("bench.minutes", plan.bench.minutes.items())
    lines += _table("shelf", content["shelf"].items())
    for change in content["changes"]:
        lines += _table("[change]", [(name, value) for name, value in change.items() if value != ""])
    for picture in content["pictures"]:
        lines += _table("[picture]", [(name, value) for name, value in picture.items() if value is not None])
    return "\n".join(lines) + "\n"


def _table(name: str, pairs: Iterable[tuple[str, Any]]) -> list[str]:
    return ["", f"[{name}]", *(_pair(key, value) for key, value in pairs)]


def _pair(name: str, value: Any) -> str:
    # A JSON string, number or list of strings is the same in TOML, but for DEL, which JSON leaves bare.
    plain = name if name.replace("_", "").isalnum() and name.isascii() else json.dumps(name)
    return f"{plain} = {json.dumps(value, ensure_ascii=False)}".replace("\x7f", "\\u007f")
