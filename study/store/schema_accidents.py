"""Schema of accidents: amendments kept for good, days of placing corrected, and views of what holds now."""

from __future__ import annotations

ACCIDENT_RULES = """
CREATE TRIGGER amendments_are_never_altered BEFORE UPDATE ON amendments
BEGIN SELECT RAISE(ABORT, 'an amendment stays on file, never altered'); END;
CREATE TRIGGER amendments_are_never_deleted BEFORE DELETE ON amendments
BEGIN SELECT RAISE(ABORT, 'an amendment stays on file, never deleted'); END;
CREATE INDEX amendments_by_set ON amendments(set_key);
CREATE INDEX interruptions_by_environment ON interruptions(environment);

DROP VIEW coupons_now;
CREATE VIEW coupons_now AS
  SELECT c.code, c.own_mark, c.set_key AS coupon_set, t.role, t.pairing, t.lot, coalesce(n.test, c.test) AS test,
    coalesce(n.pull_label, c.pull_label) AS destined_to_pull, t.placed_on, coalesce(p.kind, 'placed') AS state,
    p.on_date AS state_since, CAST(julianday(p.on_date) - julianday(t.placed_on) AS INTEGER) AS dwell_days, p.note,
    s.shelf, s.place
  FROM coupons c JOIN coupon_sets t ON t.key = c.set_key
    LEFT JOIN pulls p ON p.code = c.code AND p.superseded_change IS NULL
    LEFT JOIN replannings n ON n.code = c.code AND n.superseded_change IS NULL
    LEFT JOIN positions s ON s.code = c.code AND s.superseded_change IS NULL;

CREATE VIEW interruptions_now AS
  SELECT i.id AS number, i.environment, i.kind, i.from_on, i.to_on, i.note, g.by AS entered_by, g.at AS entered_at
  FROM interruptions i JOIN changes g ON g.number = i.entered_change WHERE i.superseded_change IS NULL;

CREATE VIEW amendments_in_words AS
  SELECT a.set_key AS coupon_set, p.key AS protocol, p.version, a.from_on, a.readings_seen, g.by, g.at, g.why
  FROM amendments a JOIN protocols p ON p.digest = a.protocol_digest JOIN changes g ON g.number = a.entered_change;
"""

PLACING_TABLES = """
CREATE TABLE placings (
  id INTEGER PRIMARY KEY, set_key TEXT NOT NULL REFERENCES coupon_sets(key), placed_on TEXT NOT NULL,
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_placing_in_force ON placings(set_key) WHERE superseded_change IS NULL;

DROP VIEW coupons_now;
CREATE VIEW coupons_now AS
  SELECT c.code, c.own_mark, c.set_key AS coupon_set, t.role, t.pairing, t.lot, coalesce(n.test, c.test) AS test,
    coalesce(n.pull_label, c.pull_label) AS destined_to_pull, coalesce(d.placed_on, t.placed_on) AS placed_on,
    coalesce(p.kind, 'placed') AS state, p.on_date AS state_since,
    CAST(julianday(p.on_date) - julianday(coalesce(d.placed_on, t.placed_on)) AS INTEGER) AS dwell_days, p.note,
    s.shelf, s.place
  FROM coupons c JOIN coupon_sets t ON t.key = c.set_key
    LEFT JOIN placings d ON d.set_key = t.key AND d.superseded_change IS NULL
    LEFT JOIN pulls p ON p.code = c.code AND p.superseded_change IS NULL
    LEFT JOIN replannings n ON n.code = c.code AND n.superseded_change IS NULL
    LEFT JOIN positions s ON s.code = c.code AND s.superseded_change IS NULL;
"""
KEPT_PLACINGS: dict[str, tuple[str, ...]] = {"placings": ("set_key", "placed_on", "entered_change")}
