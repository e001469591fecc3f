"""Changes that touched a scheduled pull or a display: how often, and when last."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from study.store.study_file import StudyFile

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True)
class Touched:
    """How many changes touched something after the one that made it, and the moment of the last."""

    later_changes: int
    last_at: datetime


_PULLS = """
SELECT c.set_key, c.pull_label AS label, c.entered_change AS change FROM coupons c
UNION SELECT c.set_key, c.pull_label, p.entered_change FROM coupons c JOIN pulls p ON p.code = c.code
UNION SELECT c.set_key, c.pull_label, p.superseded_change FROM coupons c JOIN pulls p ON p.code = c.code
UNION SELECT c.set_key, c.pull_label, r.entered_change FROM coupons c JOIN replannings r ON r.code = c.code
UNION SELECT c.set_key, r.pull_label, r.entered_change FROM coupons c JOIN replannings r ON r.code = c.code
UNION SELECT c.set_key, r.pull_label, r.superseded_change FROM coupons c JOIN replannings r ON r.code = c.code
UNION SELECT c.set_key, r.pull_label, p.entered_change FROM coupons c JOIN replannings r ON r.code = c.code
  JOIN pulls p ON p.code = c.code
UNION SELECT c.set_key, c.pull_label, a.entered_change FROM coupons c JOIN amendments a ON a.set_key = c.set_key
UNION SELECT c.set_key, c.pull_label, n.entered_change FROM coupons c JOIN placings n ON n.set_key = c.set_key
UNION SELECT c.set_key, c.pull_label, i.entered_change FROM coupons c JOIN coupon_sets s ON s.key = c.set_key
  JOIN interruptions i ON i.environment = s.environment
UNION SELECT c.set_key, c.pull_label, i.superseded_change FROM coupons c JOIN coupon_sets s ON s.key = c.set_key
  JOIN interruptions i ON i.environment = s.environment
"""

# Whatever can move a remove-by date: decisions and acts on either face, its lot or adhesive, harm found anywhere.
_FACES = (
    "(e.pairing IN (d.object_pairing, d.support_pairing) "
    "OR substr(e.pairing, 1, instr(e.pairing || '/', '/') - 1) IN (d.object_pairing, d.support_pairing))"
)
_HARM = (
    "(r.pattern IN ('SF', 'CSF', 'DF') OR r.details LIKE '%\"SF\"%' OR r.details LIKE '%\"CSF\"%' "
    "OR r.details LIKE '%\"DF\"%' OR r.details LIKE '%\"loss\"%')"
)
_DISPLAYS = f"""
WITH harm(pairing, change) AS (
  SELECT s.pairing, r.entered_change FROM readings r JOIN coupons c ON c.code = r.code
    JOIN coupon_sets s ON s.key = c.set_key WHERE {_HARM}
  UNION SELECT s.pairing, r.superseded_change FROM readings r JOIN coupons c ON c.code = r.code
    JOIN coupon_sets s ON s.key = c.set_key WHERE {_HARM}
  UNION SELECT o.object_pairing, m.entered_change FROM removals m JOIN displays o ON o.number = m.display WHERE m.harm
  UNION SELECT o.support_pairing, m.entered_change FROM removals m JOIN displays o ON o.number = m.display WHERE m.harm
)
SELECT number, entered_change AS change FROM displays
UNION SELECT number, superseded_change FROM displays
UNION SELECT display, entered_change FROM removals
UNION SELECT display, superseded_change FROM removals
UNION SELECT d.number, e.entered_change FROM displays d JOIN decisions e ON {_FACES}
UNION SELECT d.number, e.superseded_change FROM displays d JOIN decisions e ON {_FACES}
UNION SELECT d.number, e.entered_change FROM displays d JOIN stop_lifts e ON {_FACES}
UNION SELECT d.number, e.entered_change FROM displays d JOIN carried_results e ON {_FACES}
UNION SELECT d.number, e.change FROM displays d JOIN harm e ON {_FACES}
UNION SELECT d.number, g.number FROM displays d JOIN lots l ON l.key = d.lot
  JOIN changes g ON g.subject IN (l.key, l.adhesive) AND g.act IN ('withdraw lot', 'change adhesive status')
"""


def fetch_touched_pulls(study: StudyFile) -> dict[tuple[str, str], Touched]:
    """Changes of each scheduled pull, by (set, pull label): coupons made, pulled, taken back, replanned, amended."""
    rows = study.rows(_PULLS)
    return _counted(
        study, (((row["set_key"], row["label"]), row["change"]) for row in rows if row["label"] and row["change"])
    )


def fetch_touched_displays(study: StudyFile) -> dict[int, Touched]:
    """Changes of each display and of what its remove-by date rests on, by its number."""
    return _counted(study, ((row["number"], row["change"]) for row in study.rows(_DISPLAYS) if row["change"]))


def _counted(study: StudyFile, pairs: Iterable[tuple[Key, int]]) -> dict[Key, Touched]:
    changes: dict[Key, set[int]] = {}
    for key, change in pairs:
        changes.setdefault(key, set()).add(change)
    at = {row["number"]: row["at"] for row in study.rows("SELECT number, at FROM changes")}
    return {key: Touched(len(found) - 1, datetime.fromisoformat(at[max(found)])) for key, found in changes.items()}
