"""Plans on file: the text and seed of each, and what was made from it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from study.store.study_file import StudyFile

MADE, ARRANGED = "make plan", "arrange plan again"


@dataclass(frozen=True)
class SavedPlan:
    """A plan in force as it was saved."""

    name: str
    text: str
    """The plan as JSON."""
    protocol_digest: str
    """The protocol as the plan follows it, frozen with it."""
    seed: int
    by: str
    at: str
    codes: tuple[str, ...] = ()
    """Kept for its coupons, in order of making, so that labels can be printed before anything is placed."""
    first_shelf: Mapping[str, int] = field(default_factory=dict)
    """Number of its first shelf in each environment."""


@dataclass(frozen=True)
class MadePlan:
    """What was made from a plan: its sets, and when."""

    placed_on: str
    sets: tuple[str, ...]
    allocation_sha256: str
    by: str
    at: str


def save_plan_text(
    study: StudyFile, name: str, *, text: str, protocol_digest: str, seed: int, codes: Sequence[str],
    first_shelf: Mapping[str, int], change: int,
) -> None:  # fmt: skip
    """A plan, within the caller's change; one of the same name in force before it is superseded."""
    study.db.execute(
        "UPDATE plans SET superseded_change = ? WHERE name = ? AND superseded_change IS NULL", [change, name]
    )
    held = {"plan": json.loads(text), "protocol": protocol_digest, "codes": list(codes), "shelves": dict(first_shelf)}
    whole = json.dumps(held, ensure_ascii=False)
    study.db.table("plans").insert({"name": name, "text": whole, "seed": seed, "entered_change": change})


def fetch_plans(study: StudyFile) -> dict[str, SavedPlan]:
    """Plans in force by name, oldest first."""
    rows = study.rows(
        "SELECT p.name, p.text, p.seed, c.by, c.at FROM plans p JOIN changes c ON c.number = p.entered_change "
        "WHERE p.superseded_change IS NULL ORDER BY p.id"
    )
    found = {}
    for row in rows:
        whole = json.loads(row["text"])
        text = json.dumps(whole["plan"], ensure_ascii=False)
        found[row["name"]] = SavedPlan(
            row["name"], text, whole["protocol"], row["seed"], row["by"], row["at"], tuple(whole.get("codes", ())),
            whole.get("shelves", {}),
        )  # fmt: skip
    return found


def fetch_made(study: StudyFile, name: str) -> MadePlan | None:
    """What was made from the plan of that name, or None."""
    rows = study.rows(
        "SELECT after, by, at FROM changes WHERE act = :act AND subject = :name ORDER BY number", act=MADE, name=name
    )
    if not rows:
        return None
    after = json.loads(rows[0]["after"])
    return MadePlan(after["placed_on"], tuple(after["sets"]), after["allocation_sha256"], rows[0]["by"], rows[0]["at"])
