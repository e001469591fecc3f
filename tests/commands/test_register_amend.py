"""Protocols amended under way: judged by the new version from then on, as known then before, visible for good."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from study.commands.decide import check_decisions, issue_decision, stand_of, standing
from study.commands.estimates import find_evidence
from study.commands.opening import open_study
from study.commands.pull import due_pulls, record_pulls
from study.commands.read import record_reading
from study.commands.register import pool_lots, register_one
from study.commands.register_amend import amend_protocol, amendment_moves, foresee_amendment
from study.commands.shelf import remarks
from study.commands.today import day_sheet
from study.errors import NotPossible, Unknown
from study.intake.protocol_file import known_protocols
from study.model.decision import duration_text
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.register import fetch_sets
from study.store.study_file import StudyFile

ON = date(2026, 3, 1)
Version = Callable[..., Path]


@pytest.fixture
def version(tmp_path: Path) -> Version:
    """Writes a version of the default protocol with some of its text changed."""

    def write(name: str, *changes: tuple[str, str]) -> Path:
        text = known_protocols()["display-dots"].read_text("utf-8")
        for old, new in (('version = "2"', f'version = "{name}"'), *changes):
            assert old in text
            text = text.replace(old, new)
        path = tmp_path / f"{name}.toml"
        path.write_text(text, "utf-8")
        return path

    return write


LIMIT = ('unacceptable = "above"\nlimit = 2\nunit = "grade"', 'unacceptable = "above"\nlimit = 3\nunit = "grade"')


def test_a_laxer_limit_judges_anew_and_stays_visible(demo_path: Path, version: Version, signature: Signature) -> None:
    """After its readings were seen the residue limit of P02 goes from 2 to 3; the old decision recomputes by 2."""
    with open_study(demo_path) as study:
        before = stand_of(study, "P02")
        issue_decision(study, "P02", signature=signature, on=ON)
        seen = study.rows(
            "SELECT count(*) AS n FROM readings r JOIN coupons c ON c.code = r.code JOIN coupon_sets s "
            "ON s.key = c.set_key WHERE s.pairing = 'P02' AND r.kind <> 'colour_before'"
        )[0]["n"]
        (moved,) = amendment_moves(study, "p02", version("3", LIMIT), from_on=ON, signature=signature)
        assert study.rows("SELECT count(*) AS n FROM amendments")[0]["n"] == 0
        done = amend_protocol(study, "p02", version("3", LIMIT), from_on=ON, signature=signature)
        assert done.readings_seen == seen > 100
        assert done.changed == ("residue: limit 2 → 3",)
        told = [told for told in remarks(study, "P02") if "Criteria changed" in told]
        assert told == [
            f"Criteria changed on 2026-03-01, after {seen} readings had been seen: residue: limit 2 → 3 "
            "(version 2 → 3). R. Vale, 2026-03-02: Because the test needs it."
        ]
        now = stand_of(study, "P02")
        texts = [
            duration_text(d.outcome, d.days)
            for d in (before.analysed.estimate.duration, now.analysed.estimate.duration)
        ]
        assert (moved.key, moved.before, moved.after) == ("P02", *texts), "what was foreseen is what came"
        assert moved.decision
        assert now.analysed.evidence.key == before.analysed.evidence.key == "P02"
        assert now.analysed.evidence.protocol.version == "3"
        assert now.analysed.evidence.digest == before.analysed.evidence.digest
        limits = {e.criterion: e.limit for e in now.analysed.estimate.estimates}
        assert (limits["residue"], limits["removal-force"]) == (3, 20)
        assert now.overtaken.startswith("An amended protocol")
        assert "P02" in [s.decision.pairing for s in day_sheet(study, on=ON).overtaken if s.decision]
        assert all(check.same for check in check_decisions(study))
        again = issue_decision(study, "P02", signature=signature, on=ON)
        entry = study.rows("SELECT after FROM changes WHERE act = 'issue decision' ORDER BY number DESC LIMIT 1")[0]
        assert json.loads(entry["after"])["criteria_changed"] == told
        assert again.protocol_digest != before.analysed.evidence.protocol_digest
        assert stand_of(study, "P02").overtaken == ""
        assert all(check.same for check in check_decisions(study))
        # Amended back, both changes stay.
        amend_protocol(study, "P02", version("4"), from_on=ON, signature=signature)
        assert sum("Criteria changed" in told for told in remarks(study, "P02")) == 2
        assert [e.limit for e in stand_of(study, "P02").analysed.estimate.estimates if e.criterion == "residue"] == [2]


def test_other_pairings_are_judged_as_before(demo_path: Path, version: Version, signature: Signature) -> None:
    """Only the pairing that was amended changes; every key stays."""
    with open_study(demo_path) as study:
        before = {s.analysed.evidence.key: s.analysed.evidence for s in standing(study)}
        amend_protocol(study, "P03", version("3", LIMIT), from_on=ON, signature=signature)
        after = {s.analysed.evidence.key: s.analysed.evidence for s in standing(study)}
        assert list(before) == list(after)
        changed = [key for key in before if before[key].protocol_digest != after[key].protocol_digest]
        assert changed == ["P03"]
        assert {key: e.digest for key, e in before.items()} == {key: e.digest for key, e in after.items()}


def test_sets_that_count_together_are_amended_together(
    study: StudyFile, version: Version, signature: Signature
) -> None:
    """A second set of the pairing, and one registered later under the old version, follow; the key stays."""
    common = {"substrate": "sheet", "environment": "store", "protocol": "display-dots", "placed_on": "2025-01-15",
              "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2"}  # fmt: skip
    register_one(study, "sets", {"set": "second", "lot": "A-1", **common}, signature=signature)
    done = amend_protocol(study, "second", version("3", LIMIT), from_on=ON, signature=signature)
    assert done.sets == ("sheet", "second")
    assert done.readings_seen == 0
    register_one(study, "sets", {"set": "third", "lot": "A-1", **common}, signature=signature)
    register_one(study, "coupons", {"set": "third", "test": "hold-angle", "pull": "3 months"}, signature=signature)
    assert find_evidence(study, "P01").protocol.version == "3"
    assert find_evidence(study, "P02").protocol.version == "2"
    assert any("before any reading had been seen" in told for told in remarks(study, "P01"))
    assert not any("Criteria" in told for told in remarks(study, "P02"))


def test_a_clock_that_is_made_to_stop_moves_due_days(study: StudyFile, version: Version, signature: Signature) -> None:
    """An interruption already on record is left out of dwell once the amended protocol says so."""
    from study.commands.pull_interrupt import interrupt

    interrupt(study, "store", "light out", from_on=date(2025, 3, 1), to_on=date(2025, 3, 9), signature=signature)
    clock = ('clock_start = "placement"', 'clock_start = "placement"\nclock_stops_for = ["light out"]')
    done = amend_protocol(study, "P01", version("3", clock), from_on=ON, signature=signature)
    assert done.changed == ("the clock stops for nothing → light out",)
    due = {pull.set_key: pull.due_on for pull in due_pulls(study, on=date(2025, 4, 15))}
    assert due == {"sheet": date(2025, 4, 24), "tile": date(2025, 4, 15)}
    assert any("left out of dwell" in told for told in remarks(study, "P01"))


def test_what_is_refused(study: StudyFile, version: Version, signature: Signature) -> None:
    """No reason, a day ahead, another protocol, the same text, a version used twice, a pull or test that is lost."""
    new = version("3", LIMIT)
    cases: list[tuple[str, str | Path, Signature, date, str]] = [
        ("P01", new, signature.because(" "), ON, "needs a reason"),
        ("P01", new, signature, date(2026, 4, 1), "lies ahead"),
        ("P01", "display-dots", signature, ON, "holds for them already"),
        (
            "P01",
            version("5", ('key = "display-dots"', 'key = "other-dots"')),
            signature,
            ON,
            "holds the protocol other",
        ),
        ("P01", version("2", LIMIT), signature, ON, "another text in this study"),
        ("P01", version("6", ('label = "3 months"', 'label = "13 weeks"')), signature, ON, "does not know pull “3 mon"),
    ]
    for subject, path, signed, on, match in cases:
        with pytest.raises(NotPossible, match=match):
            amend_protocol(study, subject, path, from_on=on, signature=signed)
    with pytest.raises(Unknown, match="neither a pairing, a coupon set nor a protocol"):
        amend_protocol(study, "P99", new, from_on=ON, signature=signature)
    assert study.rows("SELECT count(*) AS n FROM amendments")[0]["n"] == 0


def test_what_it_does_is_said_before_it_is_done(study: StudyFile, version: Version, signature: Signature) -> None:
    """Lots that do not count together are judged alike and named, each with its readings; nothing is written yet."""
    register_one(study, "lots", {"lot": "A-2", "adhesive": "gel-a"}, signature=signature)
    cells = {"set": "tile-2", "lot": "A-2", "substrate": "tile", "environment": "store", "protocol": "display-dots",
             "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2",
             "coupons_per_pull": "1"}  # fmt: skip
    register_one(study, "sets", cells, signature=signature)
    (pairing,) = {s.pairing for s in fetch_sets(study).values() if s.key in ("tile", "tile-2")}
    code = next(c.code for c in fetch_coupons(study).values() if (c.set_key, c.test) == ("tile", "pull-off-dot"))
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    record_reading(study, code, {"residue_grade": "1"}, read_on=date(2025, 4, 16), signature=signature)
    before = study.last_change()
    seen = foresee_amendment(study, pairing, version("3", LIMIT), from_on=ON, today=ON)
    assert study.last_change() == before
    assert set(seen.sets) == {"tile", "tile-2"}
    assert seen.apart == ((pairing, (("A-1", 1), ("A-2", 0))),)
    told = " ".join(seen.sentences())
    assert f"The lots of {pairing} do not count together" in told
    assert "A-1 (1 reading seen), A-2 (0 readings seen)" in told
    assert "Judged differently: residue: limit 2 → 3." in told
    assert amend_protocol(study, pairing, version("3", LIMIT), from_on=ON, signature=signature) == seen
    pool_lots(study, pairing, signature=signature)
    assert foresee_amendment(study, pairing, version("4", LIMIT), from_on=ON, today=ON).apart == ()


def test_a_whole_protocol_is_amended_at_once(study: StudyFile, version: Version, signature: Signature) -> None:
    """Every set under it, of any pairing; once they stand under several versions each has to be named."""
    done = amend_protocol(study, "Display-Dots", version("3", LIMIT), from_on=ON, signature=signature)
    assert set(done.sets) == set(fetch_sets(study))
    amend_protocol(study, "tile", version("4", LIMIT), from_on=ON, signature=signature)
    with pytest.raises(NotPossible, match="stand under 2 versions of it"):
        amend_protocol(study, "display-dots", version("5", LIMIT), from_on=ON, signature=signature)
    text = version("6", LIMIT).read_text("utf-8")
    assert amend_protocol(study, "sheet", "six.toml", content=text, from_on=ON, signature=signature).after.endswith("6")


def test_what_was_amended_cannot_be_taken_away(study: StudyFile, version: Version, signature: Signature) -> None:
    """Rows of amendments are neither altered nor deleted, whoever opens the file."""
    amend_protocol(study, "P01", version("3", LIMIT), from_on=ON, signature=signature)
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        study.db.execute("DELETE FROM amendments")
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        study.db.execute("UPDATE amendments SET readings_seen = 0")
    row = json.loads(study.rows("SELECT after FROM changes WHERE act = 'amend protocol'")[0]["after"])
    assert row["judged_differently"] == ["residue: limit 2 → 3"]


def test_a_reading_counts_once_seen_even_if_corrected(study: StudyFile, version: Version, signature: Signature) -> None:
    """One force and one grade were seen; a correction is a third reading that was seen."""
    from study.commands.read_correct import correct_reading

    code = next(c.code for c in fetch_coupons(study).values() if c.set_key == "sheet")
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    typed = {"removal_force": "5.1", "force_unit": "N", "residue_grade": "1"}
    record_reading(study, code, typed, read_on=date(2025, 4, 15), signature=signature)
    correct_reading(study, code, "residue_grade", "2", signature=signature)
    assert amend_protocol(study, "P01", version("3"), from_on=ON, signature=signature).readings_seen == 3
    told = [told for told in remarks(study, "P01") if "amended" in told]
    assert told == [
        "Protocol amended on 2026-03-01, after 3 readings had been seen (version 2 → 3); it judges alike. "
        "R. Vale, 2026-03-02: Because the test needs it."
    ]
