"""Schema of planning and its accidents: plans, positions, replanned coupons, interruptions, amendments, climate."""

from __future__ import annotations

PLAN_TABLES = """
CREATE TABLE plans (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, text TEXT NOT NULL CHECK (json_valid(text)), seed INTEGER NOT NULL,
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_plan_in_force ON plans(name) WHERE superseded_change IS NULL;

CREATE TABLE positions (
  id INTEGER PRIMARY KEY, code TEXT NOT NULL REFERENCES coupons(code),
  shelf TEXT NOT NULL, place INTEGER NOT NULL CHECK (place > 0),
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_position_in_force ON positions(code) WHERE superseded_change IS NULL;

CREATE TABLE replannings (
  id INTEGER PRIMARY KEY, code TEXT NOT NULL REFERENCES coupons(code), pull_label TEXT NOT NULL, test TEXT NOT NULL,
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_replanning_in_force ON replannings(code) WHERE superseded_change IS NULL;

CREATE TABLE interruptions (
  id INTEGER PRIMARY KEY, environment TEXT NOT NULL REFERENCES environments(key),
  kind TEXT NOT NULL CHECK (kind IN ('light out', 'climate out', 'moved', 'access')),
  from_on TEXT NOT NULL, to_on TEXT NOT NULL CHECK (to_on >= from_on), note TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;

CREATE TABLE amendments (
  id INTEGER PRIMARY KEY, set_key TEXT NOT NULL REFERENCES coupon_sets(key),
  protocol_digest TEXT NOT NULL REFERENCES protocols(digest), from_on TEXT NOT NULL,
  readings_seen INTEGER NOT NULL CHECK (readings_seen >= 0),
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE duties (
  id INTEGER PRIMARY KEY, duty TEXT NOT NULL, person TEXT NOT NULL, from_on TEXT NOT NULL,
  note TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_person_a_duty ON duties(duty) WHERE superseded_change IS NULL;

CREATE TABLE climate_records (
  id INTEGER PRIMARY KEY, environment TEXT NOT NULL REFERENCES environments(key),
  sha256 TEXT NOT NULL REFERENCES files(sha256), name TEXT NOT NULL, zone TEXT NOT NULL DEFAULT '',
  from_at TEXT NOT NULL, to_at TEXT NOT NULL, summary TEXT NOT NULL CHECK (json_valid(summary)),
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
"""

KEPT_PLAN = {
    "plans": ("name", "text", "seed", "entered_change"),
    "positions": ("code", "shelf", "place", "entered_change"),
    "replannings": ("code", "pull_label", "test", "entered_change"),
    "interruptions": ("environment", "kind", "from_on", "to_on", "note", "entered_change"),
    "duties": ("duty", "person", "from_on", "note", "entered_change"),
    "climate_records": ("environment", "sha256", "name", "zone", "from_at", "to_at", "summary", "entered_change"),
}
