"""Decide: issued under a name, recomputed years later, overtaken by newer readings."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from study.commands.decide import check_decisions, issue_decision, stand_of, standing
from study.commands.estimates import Analysed, Evidence
from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read import record_reading
from study.commands.read_correct import correct_reading
from study.commands.register import pool_lots, register_one
from study.commands.today import day_sheet
from study.errors import NotPossible, Unknown
from study.model.decision import evidence_digest
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.decisions import fetch_decisions
from study.store.register import fetch_sets
from study.store.study_file import StudyFile

DAY = date(2026, 3, 2)


def test_every_outcome_appears_in_the_demo(demo_path: Path) -> None:
    """The invented study shows supported, provisional, not shown and stopped, each with its reason."""
    with open_study(demo_path) as study:
        found = [standing.analysed.estimate.duration for standing in standing(study)]
    assert {duration.outcome for duration in found} == {"supported", "provisional", "not shown", "stopped"}
    assert all((duration.days is not None) == (duration.outcome in ("supported", "provisional")) for duration in found)
    assert all(duration.why and duration.steps for duration in found)


def test_a_decision_recomputes_to_the_day(demo_path: Path) -> None:
    """Each stored decision comes out the same from what was known then; one of them is overtaken since."""
    with open_study(demo_path) as study:
        checks = check_decisions(study)
        assert len(checks) >= 5
        assert all(check.same for check in checks)
        overtaken = {check.decision.pairing: check.overtaken for check in checks if check.overtaken}
        assert list(overtaken) == ["P02"]
        assert "Newer readings change decision" in overtaken["P02"]
        assert [s.decision.pairing for s in day_sheet(study, on=DAY).overtaken if s.decision] == ["P02"]


def test_worse_readings_shorten_and_overtake(demo_path: Path, signature: Signature) -> None:
    """Forces corrected upwards make the duration of a pairing shorter, and its decision says so."""
    with open_study(demo_path) as study:
        before = stand_of(study, "p03")
        assert before.decision is not None
        assert before.overtaken == ""
        coupons = [c for c in fetch_coupons(study).values() if (c.set_key, c.test) == ("GA-GLZ", "pull-off-dot")]
        for coupon in coupons[10:20]:
            correct_reading(study, coupon.code, "residue_grade", "5", signature=signature)
        after = stand_of(study, "P03")
        then, now = before.analysed.estimate.duration.bound_days, after.analysed.estimate.duration.bound_days
        assert then is not None
        assert (now or 0) < then
        assert "Newer readings change decision" in after.overtaken
        (check,) = check_decisions(study, key="P03")
        assert check.same


def test_a_decision_needs_a_reason_and_something_new(demo_path: Path, signature: Signature) -> None:
    """Without a reason, or on the same readings again, nothing is issued."""
    with open_study(demo_path) as study:
        with pytest.raises(NotPossible, match="needs a reason"):
            issue_decision(study, "P02", signature=signature.because(" "), on=DAY)
        issued = issue_decision(study, "P02", signature=signature, on=DAY)
        assert fetch_decisions(study)["P02"] == issued
        assert not issued.interim
        with pytest.raises(NotPossible, match="same readings"):
            issue_decision(study, "P02", signature=signature, on=DAY)
        with pytest.raises(Unknown):
            issue_decision(study, "P99", signature=signature, on=DAY)
        assert check_decisions(study, key="P02")[0].overtaken == ""


def test_an_altered_register_is_noticed(demo_path: Path) -> None:
    """If somebody changes a placement date behind the log's back, the check of the decision says so."""
    with open_study(demo_path) as study:
        study.db.execute("UPDATE coupon_sets SET placed_on = '2023-02-06' WHERE key = 'GA-ACR'")
        (check,) = check_decisions(study, key="P01")
        assert not check.same
        assert "altered since" in check.words


def test_an_altered_reading_is_named(demo_path: Path) -> None:
    """If somebody gets past the guards and changes one stored force, the check names the coupon."""
    with open_study(demo_path) as study:
        code = study.rows("SELECT code FROM readings_now WHERE pairing = 'P01' AND reading = 'removal_force'")[3][
            "code"
        ]
        study.db.execute("DROP TRIGGER readings_are_only_superseded")
        study.db.execute("UPDATE readings SET lower = 1.0 WHERE code = ? AND kind = 'removal_force'", [code])
        (check,) = check_decisions(study, key="P01")
        assert not check.same
        assert f"altered since, at {code}" in check.words


def test_another_library_is_named(demo_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If the numbers come out otherwise, the check says with which versions the decision was issued and made again."""
    import study.commands.decide as decide

    with open_study(demo_path) as study:
        real = decide.analysed

        def other(evidence: Evidence, **options: Any) -> Analysed:
            now = real(evidence, **options)
            duration = replace(now.estimate.duration, days=1, bound_days=1.0)
            return Analysed(evidence, replace(now.estimate, duration=duration))

        monkeypatch.setattr(decide, "analysed", other)
        (check,) = check_decisions(study, key="P01")
    assert not check.same
    assert "numpy" in check.words


def test_an_early_look_is_called_interim(study: StudyFile, signature: Signature) -> None:
    """A decision at three months, which the protocol does not plan, says interim and shows no duration."""
    for coupon in fetch_coupons(study).values():
        if coupon.set_key == "sheet" and coupon.pull_label == "3 months" and coupon.test == "pull-off-dot":
            record_pulls(study, [coupon.code], kind="pulled", on=date(2025, 4, 15), signature=signature)
            typed = {"removal_force": "5.1 N", "failure_pattern": "AF", "side": "object", "residue_grade": "1"}
            record_reading(study, coupon.code, typed, read_on=date(2025, 4, 16), signature=signature)
    issued = issue_decision(study, "P01", signature=signature, on=DAY)
    assert issued.interim
    assert issued.outcome == "not shown"
    sheet = day_sheet(study, on=DAY)
    assert {missing for unread in sheet.unread for missing in unread.missing} == {"colour_before", "colour_after"}


def test_lots_count_apart_until_pooled_on_record(study: StudyFile, signature: Signature) -> None:
    """A second lot of the same gel is evidence of its own; pooling is an act with a reason."""
    register_one(study, "lots", {"lot": "A-2", "adhesive": "gel-a"}, signature=signature)
    cells = {"set": "sheet-2", "lot": "A-2", "substrate": "sheet", "environment": "store", "protocol": "display-dots",
             "placed_on": "2025-02-01", "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2"}  # fmt: skip
    register_one(study, "sets", cells, signature=signature)
    assert {coupon_set.pairing for coupon_set in fetch_sets(study).values()} == {"P01", "P02"}
    assert [s.analysed.evidence.key for s in standing(study)] == ["P01", "P01/A-2", "P02"]
    issue_decision(study, "P01/A-2", signature=signature, on=DAY)
    pool_lots(study, "P01", signature=signature)
    assert fetch_decisions(study) == {}, "a decision on one lot alone has no evidence of its own any more"
    assert [s.analysed.evidence.key for s in standing(study)] == ["P01", "P02"]
    with pytest.raises(NotPossible, match="pooled already"):
        pool_lots(study, "P01", signature=signature)


def test_the_digest_of_evidence_ignores_order_and_sees_values(demo_path: Path) -> None:
    """Coupons in another order are the same evidence; one grade changed is not."""
    with open_study(demo_path) as study:
        evidence = stand_of(study, "P01").analysed.evidence
    assert evidence_digest(evidence.histories[::-1], faces_object=False) == evidence.digest
    assert evidence_digest(evidence.histories[1:], faces_object=False) != evidence.digest
    assert evidence_digest(evidence.histories, faces_object=True) != evidence.digest
