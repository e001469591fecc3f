"""Schema: the tables of a study file, made by numbered migrations, and views that ordinary SQLite tools can read."""

from __future__ import annotations

from sqlite_utils import Database, Migrations

from study.store.chain import link_all
from study.store.schema_accidents import ACCIDENT_RULES, KEPT_PLACINGS, PLACING_TABLES
from study.store.schema_bench import BENCH_TABLES, KEPT_BENCH
from study.store.schema_plan import KEPT_PLAN, PLAN_TABLES

APPLICATION_ID = 0x4457424B
"""Marks an SQLite file as a study file ("DWBK" in ASCII)."""
SCHEMA_VERSION = 6

migrations = Migrations("dwellbook-study")

_TABLES = """
CREATE TABLE facts (name TEXT PRIMARY KEY, content TEXT NOT NULL) STRICT;

CREATE TABLE changes (
  number INTEGER PRIMARY KEY AUTOINCREMENT,
  at TEXT NOT NULL, by TEXT NOT NULL CHECK (trim(by) <> ''),
  act TEXT NOT NULL, subject TEXT NOT NULL,
  before TEXT, after TEXT, why TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE TRIGGER changes_are_never_altered BEFORE UPDATE ON changes
  BEGIN SELECT RAISE(ABORT, 'the change log is append-only'); END;
CREATE TRIGGER changes_are_never_replaced BEFORE INSERT ON changes
  WHEN EXISTS (SELECT 1 FROM changes WHERE number = new.number)
  BEGIN SELECT RAISE(ABORT, 'the change log is append-only'); END;
CREATE TRIGGER changes_are_never_deleted BEFORE DELETE ON changes
  BEGIN SELECT RAISE(ABORT, 'the change log is append-only'); END;

CREATE TABLE protocols (
  digest TEXT PRIMARY KEY, key TEXT NOT NULL, version TEXT NOT NULL, title TEXT NOT NULL, text TEXT NOT NULL,
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE adhesives (
  key TEXT PRIMARY KEY, name TEXT NOT NULL, composition_class TEXT NOT NULL, formulation_version TEXT NOT NULL,
  status TEXT NOT NULL CHECK (status IN ('active', 'discontinued', 'reformulated', 'withdrawn')),
  status_on TEXT, successor_of TEXT REFERENCES adhesives(key),
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE lots (
  key TEXT PRIMARY KEY, adhesive TEXT NOT NULL REFERENCES adhesives(key),
  supplied_on TEXT, mix_parts_by_mass TEXT NOT NULL DEFAULT '', cure_hours REAL CHECK (cure_hours >= 0),
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE substrates (
  key TEXT PRIMARY KEY, name TEXT NOT NULL, finish TEXT NOT NULL,
  preparation TEXT NOT NULL CHECK (preparation IN ('as found', 'cleaned', 'barrier', 'consolidated')),
  stands_for TEXT NOT NULL CHECK (stands_for IN ('object', 'display surface')),
  friable INTEGER NOT NULL CHECK (friable IN (0, 1)),
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE environments (
  key TEXT PRIMARY KEY, name TEXT NOT NULL, temperature_c TEXT NOT NULL DEFAULT '',
  humidity_percent TEXT NOT NULL DEFAULT '', light TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE pairings (
  key TEXT PRIMARY KEY,
  adhesive TEXT NOT NULL REFERENCES adhesives(key), substrate TEXT NOT NULL REFERENCES substrates(key),
  environment TEXT NOT NULL REFERENCES environments(key),
  dot_diameter_mm REAL NOT NULL CHECK (dot_diameter_mm > 0), dots INTEGER NOT NULL CHECK (dots > 0),
  dwell_load_n REAL NOT NULL CHECK (dwell_load_n >= 0),
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  UNIQUE (adhesive, substrate, environment, dot_diameter_mm, dots, dwell_load_n)
) STRICT;

CREATE TABLE lot_poolings (
  pairing TEXT PRIMARY KEY REFERENCES pairings(key),
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE coupon_sets (
  key TEXT PRIMARY KEY, pairing TEXT REFERENCES pairings(key), lot TEXT REFERENCES lots(key),
  substrate TEXT NOT NULL REFERENCES substrates(key), environment TEXT NOT NULL REFERENCES environments(key),
  protocol_digest TEXT NOT NULL REFERENCES protocols(digest), placed_on TEXT NOT NULL,
  role TEXT NOT NULL CHECK (role IN ('test', 'blank', 'time-zero', 'control', 'spare')),
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  CHECK ((role = 'blank') = (pairing IS NULL)), CHECK ((pairing IS NULL) = (lot IS NULL))
) STRICT;

CREATE TABLE coupons (
  code TEXT PRIMARY KEY, set_key TEXT NOT NULL REFERENCES coupon_sets(key),
  test TEXT NOT NULL, pull_label TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;
CREATE INDEX coupons_by_set ON coupons(set_key);

CREATE TABLE pulls (
  id INTEGER PRIMARY KEY, code TEXT NOT NULL REFERENCES coupons(code),
  kind TEXT NOT NULL CHECK (kind IN ('pulled', 'pulled in error', 'released by itself', 'lost', 'damaged')),
  on_date TEXT NOT NULL, last_seen_on TEXT, note TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_pull_in_force ON pulls(code) WHERE superseded_change IS NULL;

CREATE TABLE readings (
  id INTEGER PRIMARY KEY, code TEXT NOT NULL REFERENCES coupons(code),
  kind TEXT NOT NULL CHECK (kind IN
    ('removal_force', 'failure_pattern', 'residue_grade', 'colour_before', 'colour_after', 'colour_look',
     'hold_angle')),
  read_on TEXT NOT NULL, typed TEXT NOT NULL, unit TEXT NOT NULL DEFAULT '',
  lower REAL, upper REAL, pattern TEXT NOT NULL DEFAULT '', side TEXT NOT NULL DEFAULT '',
  l_star REAL, a_star REAL, b_star REAL,
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_reading_in_force
  ON readings(code, kind, CASE kind WHEN 'colour_look' THEN read_on ELSE '' END) WHERE superseded_change IS NULL;

CREATE TABLE decisions (
  number INTEGER PRIMARY KEY, pairing TEXT NOT NULL,
  outcome TEXT NOT NULL CHECK (outcome IN ('supported', 'provisional', 'not shown', 'stopped')),
  days INTEGER, bound_days REAL, limiting TEXT NOT NULL, reason TEXT NOT NULL,
  interim INTEGER NOT NULL CHECK (interim IN (0, 1)),
  protocol_digest TEXT NOT NULL REFERENCES protocols(digest), rule TEXT NOT NULL,
  evidence_digest TEXT NOT NULL, change_seen INTEGER NOT NULL REFERENCES changes(number),
  seed INTEGER NOT NULL, versions TEXT NOT NULL,
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_decision_in_force ON decisions(pairing) WHERE superseded_change IS NULL;

CREATE TABLE notes (
  id INTEGER PRIMARY KEY, on_date TEXT NOT NULL, about TEXT NOT NULL, subject TEXT NOT NULL, text TEXT NOT NULL,
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;
"""

# What was entered is never altered or deleted; the one thing that may happen to it is to be superseded, once.
_KEPT = {
    "pulls": ("code", "kind", "on_date", "last_seen_on", "note", "entered_change"),
    "readings": ("code", "kind", "read_on", "typed", "unit", "lower", "upper", "pattern", "side",
                 "l_star", "a_star", "b_star", "entered_change"),
    "decisions": ("pairing", "outcome", "days", "bound_days", "limiting", "reason", "interim", "protocol_digest",
                  "rule", "evidence_digest", "change_seen", "seed", "versions", "entered_change"),
}  # fmt: skip

_VIEWS = """
CREATE VIEW pairings_in_words AS
  SELECT p.key AS pairing, a.name AS adhesive, a.formulation_version, a.status AS adhesive_status,
    s.name AS substrate, s.finish, s.preparation, s.stands_for, e.name AS environment,
    p.dot_diameter_mm, p.dots, p.dwell_load_n
  FROM pairings p JOIN adhesives a ON a.key = p.adhesive JOIN substrates s ON s.key = p.substrate
    JOIN environments e ON e.key = p.environment;

CREATE VIEW coupons_now AS
  SELECT c.code, c.set_key AS coupon_set, t.role, t.pairing, t.lot, c.test, c.pull_label AS destined_to_pull,
    t.placed_on, coalesce(p.kind, 'placed') AS state, p.on_date AS state_since,
    CAST(julianday(p.on_date) - julianday(t.placed_on) AS INTEGER) AS dwell_days, p.note
  FROM coupons c JOIN coupon_sets t ON t.key = c.set_key
    LEFT JOIN pulls p ON p.code = c.code AND p.superseded_change IS NULL;

CREATE VIEW readings_now AS
  SELECT r.code, n.pairing, n.lot, n.role, n.dwell_days, r.kind AS reading, r.typed, r.unit AS unit_as_typed,
    r.lower AS at_least, r.upper AS at_most, r.pattern AS failure_pattern, r.side, r.l_star, r.a_star, r.b_star,
    r.read_on, g.by AS entered_by, g.at AS entered_at
  FROM readings r JOIN coupons_now n ON n.code = r.code JOIN changes g ON g.number = r.entered_change
  WHERE r.superseded_change IS NULL;

CREATE VIEW readings_superseded AS
  SELECT r.code, r.kind AS reading, r.typed, r.read_on, g.by AS superseded_by, g.at AS superseded_at, g.why
  FROM readings r JOIN changes g ON g.number = r.superseded_change;

CREATE VIEW decisions_now AS
  SELECT d.number, d.pairing, d.outcome, d.days AS maximum_display_days, d.limiting AS limiting_criterion, d.reason,
    CASE d.interim WHEN 1 THEN 'interim' ELSE 'at a decision pull' END AS look,
    g.by AS issued_by, g.at AS issued_at
  FROM decisions d JOIN changes g ON g.number = d.entered_change WHERE d.superseded_change IS NULL;
"""


_DISPLAY_TABLES = """
CREATE TABLE displays (
  number INTEGER PRIMARY KEY,
  object_number TEXT NOT NULL CHECK (trim(object_number) <> ''), location TEXT NOT NULL,
  lot TEXT NOT NULL REFERENCES lots(key),
  object_pairing TEXT NOT NULL REFERENCES pairings(key), support_pairing TEXT NOT NULL REFERENCES pairings(key),
  environment TEXT NOT NULL REFERENCES environments(key),
  dots INTEGER NOT NULL CHECK (dots > 0), dot_diameter_mm REAL NOT NULL CHECK (dot_diameter_mm > 0),
  load_n REAL NOT NULL CHECK (load_n >= 0), placed_on TEXT NOT NULL, placed_by TEXT NOT NULL,
  follows INTEGER REFERENCES displays(number),
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE INDEX displays_by_object ON displays(object_number);

CREATE TABLE removals (
  id INTEGER PRIMARY KEY, display INTEGER NOT NULL REFERENCES displays(number),
  removed_on TEXT NOT NULL, removed_by TEXT NOT NULL, harm INTEGER NOT NULL CHECK (harm IN (0, 1)),
  residue_grade INTEGER CHECK (residue_grade BETWEEN 0 AND 5), pattern TEXT NOT NULL DEFAULT '',
  side TEXT NOT NULL DEFAULT '', force TEXT NOT NULL DEFAULT '', tool TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  superseded_change INTEGER REFERENCES changes(number)
) STRICT;
CREATE UNIQUE INDEX one_removal_in_force ON removals(display) WHERE superseded_change IS NULL;

CREATE TABLE acknowledgements (
  id INTEGER PRIMARY KEY, display INTEGER NOT NULL REFERENCES displays(number), basis TEXT NOT NULL,
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;
CREATE INDEX acknowledgements_by_display ON acknowledgements(display);

CREATE TABLE rechecks (
  id INTEGER PRIMARY KEY, display INTEGER NOT NULL REFERENCES displays(number), on_date TEXT NOT NULL,
  after TEXT NOT NULL, found TEXT NOT NULL CHECK (found IN ('holds', 'moved', 'loose', 'fallen')),
  note TEXT NOT NULL DEFAULT '',
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE stop_lifts (
  id INTEGER PRIMARY KEY, pairing TEXT NOT NULL REFERENCES pairings(key), second_person TEXT NOT NULL,
  coupons TEXT NOT NULL, removals TEXT NOT NULL,
  entered_change INTEGER NOT NULL REFERENCES changes(number)
) STRICT;

CREATE TABLE carried_results (
  pairing TEXT NOT NULL REFERENCES pairings(key), adhesive TEXT NOT NULL REFERENCES adhesives(key),
  entered_change INTEGER NOT NULL REFERENCES changes(number),
  PRIMARY KEY (pairing, adhesive)
) STRICT;

ALTER TABLE lots ADD COLUMN withdrawn_on TEXT;
ALTER TABLE decisions ADD COLUMN evidence TEXT NOT NULL DEFAULT '{}';
DROP TRIGGER decisions_are_only_superseded;
DROP TRIGGER decisions_are_never_deleted;

CREATE VIEW displays_now AS
  SELECT d.number, d.object_number, d.location, d.lot, d.object_pairing, d.support_pairing, d.environment, d.dots,
    d.dot_diameter_mm, d.load_n, d.placed_on, d.placed_by, d.follows AS stuck_again_after, r.removed_on, r.harm,
    r.residue_grade, r.pattern AS failure_pattern, r.side
  FROM displays d LEFT JOIN removals r ON r.display = d.number AND r.superseded_change IS NULL
  WHERE d.superseded_change IS NULL;
"""
_KEPT_DISPLAYS = {
    "decisions": (*_KEPT["decisions"], "evidence"),
    "displays": ("object_number", "location", "lot", "object_pairing", "support_pairing", "environment", "dots",
                 "dot_diameter_mm", "load_n", "placed_on", "placed_by", "follows", "entered_change"),
    "removals": ("display", "removed_on", "removed_by", "harm", "residue_grade", "pattern", "side", "force", "tool",
                 "note", "entered_change"),
}  # fmt: skip


def _guards(kept: dict[str, tuple[str, ...]]) -> str:
    lines = []
    for table, columns in kept.items():
        same = " AND ".join(f"old.{column} IS new.{column}" for column in columns)
        lines.append(
            f"CREATE TRIGGER {table}_are_only_superseded BEFORE UPDATE ON {table} "
            f"WHEN NOT ({same} AND old.superseded_change IS NULL AND new.superseded_change IS NOT NULL) "
            f"BEGIN SELECT RAISE(ABORT, 'what was entered is superseded, never altered'); END;\n"
            f"CREATE TRIGGER {table}_are_never_deleted BEFORE DELETE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, 'what was entered is superseded, never deleted'); END;"
        )
    return "\n".join(lines)


@migrations()
def m001_first_tables(db: Database) -> None:
    """The first tables, guards and views."""
    db.executescript(_TABLES + _guards(_KEPT) + _VIEWS)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute("PRAGMA user_version = 1")


@migrations()
def m002_displays(db: Database) -> None:
    """Objects on display, their removal, rechecks, lifted stops, carried results; evidence of a decision by coupon."""
    db.executescript(_DISPLAY_TABLES + _guards(_KEPT_DISPLAYS))
    db.execute("PRAGMA user_version = 2")


@migrations()
def m003_bench(db: Database) -> None:
    """Details of readings, instruments, attached files, layouts, and a chain over every change so far."""
    db.executescript(BENCH_TABLES + _guards(KEPT_BENCH))
    link_all(db.conn)
    db.execute("PRAGMA user_version = 3")


@migrations()
def m004_plans(db: Database) -> None:
    """Plans, positions on the shelf, coupons replanned from spares, interruptions, amendments, climate records."""
    db.executescript(PLAN_TABLES + _guards(KEPT_PLAN))
    db.execute("PRAGMA user_version = 4")


@migrations()
def m005_accidents(db: Database) -> None:
    """Amendments are kept for good; views of coupons as destined now, of interruptions and of amendments."""
    db.executescript(ACCIDENT_RULES)
    db.execute("PRAGMA user_version = 5")


@migrations()
def m006_placings(db: Database) -> None:
    """Days of placing that were corrected."""
    db.executescript(PLACING_TABLES + _guards(KEPT_PLACINGS))
    db.execute("PRAGMA user_version = 6")
