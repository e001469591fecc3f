"""The bench's look-ups: which coupons lie together, and everything that ever happened to one of them."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date
from typing import Any

from study.store.study_file import StudyFile


def fetch_codes_of_sets(study: StudyFile, set_keys: Iterable[str]) -> list[str]:
    """Codes of these sets, in order of registration."""
    rows = study.rows(
        "SELECT code FROM coupons WHERE set_key IN (SELECT value FROM json_each(:sets)) ORDER BY rowid",
        sets=json.dumps(sorted(set_keys)),
    )
    return [row["code"] for row in rows]


def fetch_codes_pulled_on(study: StudyFile, on: date) -> list[str]:
    """Codes of the coupons that left their placement on a day."""
    rows = study.rows(
        "SELECT code FROM pulls WHERE on_date = :on AND superseded_change IS NULL ORDER BY code", on=on.isoformat()
    )
    return [row["code"] for row in rows]


def fetch_coupon_changes(study: StudyFile, code: str) -> list[dict[str, Any]]:
    """Rows of every table that speak of one coupon, each with what it is and with its change.

    A row of a thing that was superseded comes twice: once as entered, once as ended.
    """
    return study.rows(_STORY, code=code)


_STORY = """
WITH told AS (
  SELECT 'made' AS what, '' AS kind, '' AS day, c.test || ' | ' || c.pull_label || ' | ' || c.set_key AS value,
    '' AS more, '' AS details, c.entered_change AS change, 0 AS part FROM coupons c WHERE c.code = :code
  UNION ALL SELECT 'placed', '', s.placed_on, s.key, s.role, '', s.entered_change, 0
    FROM coupons c JOIN coupon_sets s ON s.key = c.set_key WHERE c.code = :code
  UNION ALL SELECT 'placed anew', '', p.placed_on, p.set_key, '', '', p.entered_change, p.id
    FROM coupons c JOIN placings p ON p.set_key = c.set_key WHERE c.code = :code
  UNION ALL SELECT 'pull', kind, on_date, coalesce(last_seen_on, ''), note, '', entered_change, id
    FROM pulls WHERE code = :code
  UNION ALL SELECT 'pull ended', kind, on_date, '', '', '', superseded_change, id
    FROM pulls WHERE code = :code AND superseded_change IS NOT NULL
  UNION ALL SELECT 'reading', kind, read_on, typed, unit, details, entered_change, id
    FROM readings WHERE code = :code
  UNION ALL SELECT 'reading ended', kind, read_on, typed, unit, details, superseded_change, id
    FROM readings WHERE code = :code AND superseded_change IS NOT NULL
  UNION ALL SELECT 'attached', kind, '', name, note, '', entered_change, id FROM attachments WHERE code = :code
  UNION ALL SELECT 'attached ended', kind, '', name, note, '', superseded_change, id
    FROM attachments WHERE code = :code AND superseded_change IS NOT NULL
  UNION ALL SELECT 'lifted', l.pairing, '', '', l.second_person, '', l.entered_change, l.id
    FROM stop_lifts l WHERE EXISTS (SELECT 1 FROM json_each(l.coupons) WHERE value = :code)
  UNION ALL SELECT 'note', n.about, n.on_date, n.text, n.subject, '', n.entered_change, n.id
    FROM notes n JOIN coupons c ON c.code = :code JOIN coupon_sets s ON s.key = c.set_key
    LEFT JOIN lots t ON t.key = s.lot
    WHERE (n.about = 'coupon' AND n.subject = c.code) OR (n.about = 'set' AND n.subject = s.key)
      OR (n.about = 'lot' AND n.subject = s.lot) OR (n.about = 'environment' AND n.subject = s.environment
        AND n.on_date >= coalesce((SELECT placed_on FROM placings WHERE set_key = s.key AND superseded_change IS NULL),
          s.placed_on))
      OR (n.about = 'substrate' AND n.subject = s.substrate) OR (n.about = 'adhesive' AND n.subject = t.adhesive)
)
SELECT told.*, g.at, g.by, g.act, g.subject, g.why, g.before, g.after
FROM told JOIN changes g ON g.number = told.change ORDER BY told.change, told.part
"""
