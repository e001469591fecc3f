"""The clock that stops, through to estimates: looks in place, decisions overtaken, and recomputed as known then."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands.decide import check_decisions, issue_decision, stand_of
from study.commands.opening import open_study
from study.commands.pull_interrupt import interrupt
from study.commands.read import record_reading
from study.commands.register import register_one
from study.commands.register_amend import amend_protocol
from study.intake.protocol_file import known_protocols
from study.model.person import Signature
from study.store.coupons import fetch_coupons, fetch_histories
from study.store.protocols import fetch_protocols
from study.store.study_file import StudyFile

ON = date(2026, 3, 1)


@pytest.fixture
def stopping(tmp_path: Path) -> Path:
    """The default protocol with colours looked at in place and a clock that stops without light."""
    text = known_protocols()["display-dots"].read_text("utf-8").replace('version = "2"', 'version = "3"')
    text = text.replace('clock_start = "placement"', 'clock_start = "placement"\nclock_stops_for = ["light out"]')
    path = tmp_path / "third.toml"
    path.write_text(text.replace('unit = "ΔE*00"', 'unit = "ΔE*00"\nlooks = "in place"'), "utf-8")
    return path


def test_looks_while_the_clock_stands_are_one_moment(study: StudyFile, stopping: Path, signature: Signature) -> None:
    """Looks on the 40th, 50th and 55th day, ten days from the 46th on left out: two moments, the later look tells."""
    cells = {"set": "seen", "substrate": "sheet", "lot": "A-1", "environment": "store", "protocol": str(stopping),
             "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2"}  # fmt: skip
    register_one(study, "sets", cells, signature=signature)
    register_one(study, "coupons", {"set": "seen", "test": "pull-off-dot", "pull": "3 months"}, signature=signature)
    code = list(fetch_coupons(study))[-1]
    before = {"L_before": "60", "a_before": "2", "b_before": "10"}
    record_reading(study, code, before, read_on=date(2025, 1, 15), signature=signature)
    for day, b_star in (("2025-02-24", "10.1"), ("2025-03-06", "10.4"), ("2025-03-11", "18")):
        typed = {"L_look": "60", "a_look": "2", "b_look": b_star}
        record_reading(study, code, typed, read_on=date.fromisoformat(day), signature=signature)
    known = study.last_change()
    interrupt(study, "store", "light out", from_on=date(2025, 3, 2), to_on=date(2025, 3, 11), signature=signature)
    protocols = fetch_protocols(study)

    def looks(change: int) -> list[tuple[float, float]]:
        (found,) = [h for group in fetch_histories(study, protocols, change=change).values() for h in group]
        return [(dwell, look.lab[2] if look.lab else 0.0) for dwell, look in found.looks]

    assert looks(known) == [(40, 10.1), (50, 10.4), (55, 18)]
    assert looks(study.last_change()) == [(40, 10.1), (46, 18)]
    estimates = {e.criterion: e for e in stand_of(study, _key(study)).analysed.estimate.estimates}
    (seen,) = [o for o in estimates["discoloration"].observations if o.code == code]
    assert (seen.after_days, seen.by_days) == (40, 46)


def _key(study: StudyFile) -> str:
    digest = study.rows("SELECT protocol_digest FROM coupon_sets WHERE key = 'seen'")[0]["protocol_digest"]
    return f"P01/display-dots 3 {digest[:6]}"


def test_a_stopped_clock_overtakes_and_the_old_decision_recomputes(
    demo_path: Path, stopping: Path, signature: Signature
) -> None:
    """Sixty days without light, entered later, shorten every dwell of P03 after them; decided before, it recomputes."""
    text = stopping.read_text("utf-8").replace('\nlooks = "in place"', "")
    stopping.write_text(text, "utf-8")
    with open_study(demo_path) as study:
        amend_protocol(study, "P03", stopping, from_on=ON, signature=signature)
        issue_decision(study, "P03", signature=signature, on=ON)
        before = {h.code: h.dwell_days for h in stand_of(study, "P03").analysed.evidence.histories}
        done = interrupt(
            study, "gallery-lit", "light out", from_on=date(2024, 6, 1), to_on=date(2024, 7, 30), signature=signature
        )  # fmt: skip
        assert set(done.stopped) == {"GA-GLZ", "GA-GLZ-T0"}
        now = stand_of(study, "P03")
        after = {h.code: h.dwell_days for h in now.analysed.evidence.histories}
        taken_off = {before[code] - after[code] for code in before}
        assert taken_off == {0, 60}
        assert all(before[code] - after[code] == (60 if before[code] > 450 else 0) for code in before)
        assert now.overtaken.startswith("Newer readings or days left out of dwell")
        checks = check_decisions(study)
        assert "P03" in [check.decision.pairing for check in checks]
        assert all(check.same for check in checks)
        assert [h.dwell_days for h in stand_of(study, "P01").analysed.evidence.histories]
