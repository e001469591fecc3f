"""Schema of the bench: how readings were taken, instruments, attached files, layouts, and the chain of changes."""

from __future__ import annotations

BENCH_TABLES = """
DROP VIEW readings_now;
DROP VIEW readings_superseded;
DROP VIEW coupons_now;
CREATE TABLE readings_wider (
  id INTEGER PRIMARY KEY, code TEXT NOT NULL REFERENCES coupons(code),
  kind TEXT NOT NULL CHECK (kind IN
    ('removal_force', 'failure_pattern', 'residue_grade', 'residue_second', 'residue_cleaned',
     'colour_before', 'colour_after', 'colour_look', 'hold_angle')),
  read_on TEXT NOT NULL, typed TEXT NOT NULL, unit TEXT NOT NULL DEFAULT '',
  lower REAL, upper REAL, pattern TEXT NOT NULL DEFAULT '', side TEXT NOT NULL DEFAULT '',
  l_star REAL, a_star REAL, b_star REAL,
  details TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(details)),
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
INSERT INTO readings_wider (id, code, kind, read_on, typed, unit, lower, upper, pattern, side, l_star, a_star, b_star,
    entered_change, superseded_change)
  SELECT id, code, kind, read_on, typed, unit, lower, upper, pattern, side, l_star, a_star, b_star,
    entered_change, superseded_change FROM readings;
DROP TRIGGER readings_are_never_deleted;
DROP TABLE readings;
ALTER TABLE readings_wider RENAME TO readings;
CREATE UNIQUE INDEX one_reading_in_force
  ON readings(code, kind, CASE kind WHEN 'colour_look' THEN read_on ELSE '' END) WHERE superseded_change IS NULL;
CREATE INDEX readings_by_change ON readings(entered_change);
CREATE INDEX readings_by_end ON readings(superseded_change) WHERE superseded_change IS NOT NULL;

ALTER TABLE coupons ADD COLUMN own_mark TEXT NOT NULL DEFAULT '';
CREATE INDEX coupons_by_change ON coupons(entered_change);
CREATE INDEX pulls_by_change ON pulls(entered_change);
ALTER TABLE adhesives ADD COLUMN particulars TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(particulars));
ALTER TABLE lots ADD COLUMN particulars TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(particulars));
ALTER TABLE substrates ADD COLUMN particulars TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(particulars));
ALTER TABLE environments ADD COLUMN particulars TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(particulars));
ALTER TABLE coupon_sets ADD COLUMN particulars TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(particulars));

CREATE TABLE instruments (
  key TEXT PRIMARY KEY, name TEXT NOT NULL, measures TEXT NOT NULL, capacity TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;
CREATE TABLE calibrations (
  id INTEGER PRIMARY KEY, instrument TEXT NOT NULL REFERENCES instruments(key),
  calibrated_on TEXT NOT NULL, valid_until TEXT NOT NULL CHECK (valid_until >= calibrated_on),
  certificate TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;

CREATE TABLE files (
  sha256 TEXT PRIMARY KEY, media_type TEXT NOT NULL, bytes INTEGER NOT NULL, content BLOB NOT NULL, thumbnail BLOB,
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;
CREATE TABLE attachments (
  id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL REFERENCES files(sha256), code TEXT NOT NULL REFERENCES coupons(code),
  kind TEXT NOT NULL DEFAULT '', name TEXT NOT NULL, note TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE INDEX attachments_by_coupon ON attachments(code);
-- Closing a change looks up what it entered; without these it would walk through every byte of every file.
CREATE INDEX files_by_change ON files(entered_change);
CREATE INDEX attachments_by_change ON attachments(entered_change);
CREATE INDEX attachments_by_end ON attachments(superseded_change);
CREATE TABLE imports (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, sha256 TEXT NOT NULL REFERENCES files(sha256),
  layout TEXT NOT NULL DEFAULT '', entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;
CREATE TABLE layouts (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, text TEXT NOT NULL CHECK (json_valid(text)),
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_layout_in_force ON layouts(name) WHERE superseded_change IS NULL;

CREATE TABLE chain (number INTEGER PRIMARY KEY REFERENCES changes(number), hash TEXT NOT NULL) STRICT;
CREATE TRIGGER chain_is_never_altered BEFORE UPDATE ON chain
  BEGIN SELECT RAISE(ABORT, 'the chain is append-only'); END;
CREATE TRIGGER chain_is_never_deleted BEFORE DELETE ON chain
  BEGIN SELECT RAISE(ABORT, 'the chain is append-only'); END;

CREATE VIEW coupons_now AS
  SELECT c.code, c.own_mark, c.set_key AS coupon_set, t.role, t.pairing, t.lot, c.test,
    c.pull_label AS destined_to_pull, t.placed_on, coalesce(p.kind, 'placed') AS state, p.on_date AS state_since,
    CAST(julianday(p.on_date) - julianday(t.placed_on) AS INTEGER) AS dwell_days, p.note
  FROM coupons c JOIN coupon_sets t ON t.key = c.set_key
    LEFT JOIN pulls p ON p.code = c.code AND p.superseded_change IS NULL;

CREATE VIEW readings_now AS
  SELECT r.code, n.pairing, n.lot, n.role, n.dwell_days, r.kind AS reading, r.typed, r.unit AS unit_as_typed,
    r.lower AS at_least, r.upper AS at_most, r.pattern AS failure_pattern, r.side, r.l_star, r.a_star, r.b_star,
    r.details, r.read_on, g.by AS entered_by, g.at AS entered_at
  FROM readings r JOIN coupons_now n ON n.code = r.code JOIN changes g ON g.number = r.entered_change
  WHERE r.superseded_change IS NULL;

CREATE VIEW readings_superseded AS
  SELECT r.code, r.kind AS reading, r.typed, r.read_on, g.by AS superseded_by, g.at AS superseded_at, g.why
  FROM readings r JOIN changes g ON g.number = r.superseded_change;
"""

KEPT_BENCH = {
    "readings": ("code", "kind", "read_on", "typed", "unit", "lower", "upper", "pattern", "side",
                 "l_star", "a_star", "b_star", "details", "entered_change"),
    "calibrations": ("instrument", "calibrated_on", "valid_until", "certificate", "entered_change"),
    "attachments": ("sha256", "code", "kind", "name", "note", "entered_change"),
    "layouts": ("name", "text", "entered_change"),
}  # fmt: skip
