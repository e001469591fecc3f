"""Inputs that bite later and belong to the study: a limit changed after the results, a lot that was never tested."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from study.commands import display
from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read import record_readings
from study.commands.register import register_one
from study.commands.register_amend import amend_protocol
from study.commands.shelf import remarks
from study.intake.protocol_file import known_protocols
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.study_file import StudyFile


def test_34_a_limit_changed_after_results_were_seen_stays_visible(
    study: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """What changed, from what to what, after how many readings, by whom and why: beside the pairing, for good."""
    code = next(c.code for c in fetch_coupons(study).values() if (c.set_key, c.test) == ("sheet", "pull-off-dot"))
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    record_readings(study, [{"coupon": code, "residue_grade": "3"}], read_on=date(2025, 4, 16), signature=signature)
    assert not any("Criteria changed" in line for line in remarks(study, "P01"))
    text = known_protocols()["display-dots"].read_text("utf-8")
    laxer = text.replace('version = "2"', 'version = "3"').replace(
        'limit = 2\nunit = "grade"', 'limit = 3\nunit = "grade"'
    )
    assert laxer.count("limit = 3") == text.count("limit = 3") + 1
    path = tmp_path / "laxer.toml"
    path.write_text(laxer, "utf-8")
    amend_protocol(study, "P01", path, from_on=date(2026, 3, 1), signature=signature)
    (told,) = [line for line in remarks(study, "P01") if "Criteria changed" in line]
    assert "after 1 reading had been seen: residue: limit 2 → 3" in told
    assert "R. Vale" in told
    assert signature.why in told


def test_35_an_object_stuck_with_a_lot_without_any_study_has_no_evidence(demo_path: Path, signature: Signature) -> None:
    """The same adhesive by name is not enough: nothing is inherited from its other lot, and no date is given."""
    entry = {
        "object": "2019.44", "location": "Case 3", "object_pairing": "P03", "support_pairing": "P01",
        "environment": "gallery-lit", "dots": "3", "dot_diameter_mm": "8", "load_n": "2", "placed_on": "2026-01-05",
        "placed_by": "M. Quill",
    }  # fmt: skip
    with open_study(demo_path) as study:
        register_one(study, "lots", {"lot": "A-9", "adhesive": "gel-a"}, signature=signature)
        tested = display.add_display(study, entry | {"lot": "A-1"}, signature=signature)
        untested = display.add_display(study, entry | {"lot": "A-9", "object": "2019.45"}, signature=signature)
    assert tested.remove_by is not None
    assert (untested.state, untested.remove_by) == ("no evidence", None)
    assert "A-9" in untested.why
