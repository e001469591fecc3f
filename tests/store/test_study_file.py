"""The study file: one writing at a time, nothing half-written, nothing altered."""

from __future__ import annotations

import multiprocessing
import shutil
import sqlite3
from pathlib import Path

import pytest

from study.commands.opening import begin_study, open_study
from study.errors import DwellbookError, NotAStudy, NotPossible
from study.model.person import Signature
from study.store.schema import APPLICATION_ID, SCHEMA_VERSION
from study.store.study_file import StudyFile, copy_file


def test_a_study_opens_with_safe_settings(study: StudyFile) -> None:
    """Rollback journal, full synchronisation, foreign keys: the safe choice for this SQLite."""
    values = [
        study.db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous", "foreign_keys")
    ]
    assert values == ["delete", 2, 1]
    own_tables = [table for table in study.db.tables if not table.name.startswith(("sqlite_", "_sqlite"))]
    assert all(table.strict for table in own_tables)


@pytest.mark.parametrize("content", [b"", b"coupon,on\n", b"SQLite format 3\x00 not really"])
def test_what_is_no_study_is_refused(tmp_path: Path, content: bytes) -> None:
    """An empty file, a table and a damaged file are refused and left as they are."""
    path = tmp_path / "thing.sqlite"
    path.write_bytes(content)
    with pytest.raises(NotAStudy, match="not a study"):
        StudyFile(path)
    assert path.read_bytes() == content


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    """An SQLite file that Dwellbook did not begin is not taken over."""
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE coupons (code TEXT)")
    other.close()
    with pytest.raises(NotAStudy, match="not a study"):
        StudyFile(path)


def test_a_missing_study_says_how_to_begin_one(tmp_path: Path) -> None:
    """Opening what is not there names the command that makes it, and makes nothing."""
    with pytest.raises(NotAStudy) as refusal:
        StudyFile(tmp_path / "none.sqlite")
    assert "dwellbook begin" in refusal.value.do
    assert not (tmp_path / "none.sqlite").exists()


def test_a_newer_study_is_refused_and_left_alone(study_path: Path) -> None:
    """A file that a newer Dwellbook wrote is not touched by an older one."""
    with sqlite3.connect(study_path) as newer:
        newer.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    newer.close()
    before = study_path.read_bytes()
    with pytest.raises(NotAStudy, match="newer Dwellbook"):
        StudyFile(study_path)
    assert study_path.read_bytes() == before


def test_a_locked_study_says_so(study_path: Path, signature: Signature) -> None:
    """While another program writes, a person is told to wait, and nothing is written."""
    other = sqlite3.connect(study_path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with (
        StudyFile(study_path, busy_ms=50) as study,
        pytest.raises(NotAStudy, match="locked"),
        study.change(signature, act="note", subject="nothing"),
    ):
        pytest.fail("a second writer must not get in")
    other.rollback()
    other.close()


def test_a_read_only_study_says_so(study: StudyFile, signature: Signature) -> None:
    """Where the file may not be written, the refusal says so in words."""
    study.db.execute("PRAGMA query_only = ON")
    with pytest.raises(NotAStudy, match="read-only"), study.change(signature, act="note", subject="nothing"):
        pytest.fail("a read-only study must not be written")


def test_a_writing_that_fails_leaves_nothing(study: StudyFile, signature: Signature) -> None:
    """A writing that breaks off half-way leaves neither rows nor a line in the log."""
    before = study.last_change()
    note = {"on_date": "2026-01-01", "about": "lot", "subject": "A-1", "text": "half"}

    def break_off() -> None:
        with study.change(signature, act="note", subject="x") as change:
            study.db.table("notes").insert({**note, "entered_change": change})
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        break_off()
    assert study.last_change() == before
    assert study.rows("SELECT * FROM notes") == []


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE changes SET by = 'nobody' WHERE number = 1",
        "DELETE FROM changes WHERE number = 1",
        "DELETE FROM pulls",
        "UPDATE pulls SET on_date = '2020-01-01'",
    ],
)
def test_what_was_entered_cannot_be_altered(study: StudyFile, signature: Signature, sql: str) -> None:
    """Neither the log nor a pull can be altered or deleted, not even with SQL."""
    from study.commands.pull import record_pulls
    from study.store.coupons import fetch_codes

    record_pulls(study, fetch_codes(study)[:1], kind="pulled", on=signature.at.date(), signature=signature)
    with pytest.raises(sqlite3.IntegrityError, match=r"append-only|superseded, never"):
        study.db.execute(sql)


def test_a_signature_is_never_empty(signature: Signature) -> None:
    """No act stands without a name."""
    with pytest.raises(DwellbookError, match="name"):
        Signature(by="  ", at=signature.at)


def test_beginning_never_overwrites(study_path: Path, signature: Signature) -> None:
    """A file that is already there is left alone."""
    before = study_path.read_bytes()
    with pytest.raises(NotPossible, match="already there"):
        begin_study(study_path, institution="x", signature=signature)
    assert study_path.read_bytes() == before


def _open(path: str, answers: object) -> None:
    try:
        with StudyFile(Path(path), fresh=True) as study:
            answers.put(study.rows("SELECT count(*) AS n FROM pairings_in_words")[0]["n"])  # type: ignore[attr-defined]
    except BaseException as fault:
        answers.put(repr(fault))  # type: ignore[attr-defined]


def test_processes_that_start_at_once_migrate_once(tmp_path: Path) -> None:
    """Four processes that meet a file without tables all end with the same whole study."""
    path = tmp_path / "fresh.sqlite"
    path.touch()
    context = multiprocessing.get_context("spawn")
    answers = context.Queue()
    processes = [context.Process(target=_open, args=(str(path), answers)) for _ in range(4)]
    for process in processes:
        process.start()
    found = [answers.get(timeout=60) for _ in processes]
    for process in processes:
        process.join()
    assert found == [0, 0, 0, 0]
    with StudyFile(path) as study:
        assert study.rows("SELECT count(*) AS n FROM _sqlite_migrations")[0]["n"] == SCHEMA_VERSION


def test_a_copy_is_verified_and_the_same(study: StudyFile, tmp_path: Path) -> None:
    """A copy opens as a study, holds the same rows, and never replaces a file."""
    to = tmp_path / "copy.sqlite"
    counts = copy_file(study, to)
    assert counts["coupons"] == 24
    with StudyFile(to) as copied:
        assert copied.rows("SELECT * FROM coupons") == study.rows("SELECT * FROM coupons")
    with pytest.raises(NotPossible, match="already there"):
        copy_file(study, to)
    assert not list(tmp_path.glob("*.part"))


def test_a_copy_that_cannot_be_written_says_so(study: StudyFile, tmp_path: Path) -> None:
    """A folder that is not there is a refusal, and nothing is left behind."""
    with pytest.raises(NotPossible, match="could not be written"):
        copy_file(study, tmp_path / "none" / "copy.sqlite")


def test_ordinary_tools_can_read_the_study(demo_path: Path) -> None:
    """Opened with plain SQLite, the views tell coupons, readings and decisions in words."""
    plain = sqlite3.connect(demo_path)
    assert plain.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    row = plain.execute(
        "SELECT r.pairing, p.adhesive, p.substrate, r.dwell_days, r.at_least FROM readings_now r "
        "JOIN pairings_in_words p ON p.pairing = r.pairing WHERE reading = 'removal_force' ORDER BY r.code LIMIT 1"
    ).fetchone()
    assert row[1].startswith(("Acrylic", "Silicone", "Wax", "Putty"))
    assert row[3] >= 0
    assert row[4] > 0
    assert plain.execute("SELECT count(*) FROM readings_superseded").fetchone()[0] == 1
    states = {state for (state,) in plain.execute("SELECT DISTINCT state FROM coupons_now")}
    assert states == {"placed", "pulled", "lost", "damaged", "released by itself"}
    assert plain.execute("SELECT count(*) FROM decisions_now").fetchone()[0] >= 5
    plain.close()


def test_a_moved_study_is_the_same_study(demo_path: Path, tmp_path: Path) -> None:
    """The study is one file: moved to another folder it opens and holds everything."""
    with open_study(demo_path) as study:
        before = study.last_change()
    moved = shutil.move(demo_path, tmp_path / "elsewhere.sqlite")
    with open_study(Path(moved)) as study:
        assert study.last_change() == before


def test_two_writers_of_one_reading_do_not_both_win(study_path: Path, signature: Signature) -> None:
    """What the first wrote stands; the second is told to look again, and nothing of it is written."""
    from study.commands.pull import record_pulls
    from study.model.pull import PullEvent
    from study.store.coupons import fetch_codes
    from study.store.pulls import save_pulls

    on = signature.at.date()
    with open_study(study_path) as first, open_study(study_path) as second:
        code = fetch_codes(first)[0]
        record_pulls(first, [code], kind="pulled", on=on, signature=signature)
        before = second.last_change()

        def write_too() -> None:
            with second.change(signature, act="record pulls", subject=code) as change:
                save_pulls(second, [PullEvent(code, "lost", on)], change=change)

        with pytest.raises(NotPossible, match="Somebody else wrote"):
            write_too()
        assert second.last_change() == before


def test_a_frozen_protocol_cannot_be_altered_unnoticed(study: StudyFile) -> None:
    """A limit changed behind the log's back is found the next time the protocol is needed."""
    from study.store.protocols import fetch_protocols

    assert len(fetch_protocols(study)) == 1
    study.db.execute("UPDATE protocols SET text = replace(text, '\"limit\": 20.0', '\"limit\": 40.0')")
    with pytest.raises(NotAStudy, match="has been altered"):
        fetch_protocols(study)


def test_an_older_study_is_brought_up_to_date(tmp_path: Path) -> None:
    """A file made before displays existed opens with its rows, and can hold displays."""
    from sqlite_utils import Database, Migrations

    from study.store.schema import m001_first_tables

    path = tmp_path / "old.sqlite"
    old = Database(path)
    first = Migrations("dwellbook-study")
    first()(m001_first_tables)
    first.apply(old)
    old.execute("INSERT INTO changes (at, by, act, subject) VALUES ('2025-01-01', 'R. Vale', 'begin study', 'x')")
    old.close()
    with StudyFile(path) as study:
        assert study.rows("SELECT by FROM changes") == [{"by": "R. Vale"}]
        assert study.rows("SELECT * FROM displays_now") == []
        assert study.db.execute("PRAGMA user_version").fetchone()[0] == SCHEMA_VERSION
