"""The memo of estimates: worked out once for each digest, and only again for what changed."""

from __future__ import annotations

from pathlib import Path

import pytest

from study.commands.estimates import analysed, gather_evidence
from study.commands.memo import remembered
from study.commands.opening import open_study
from study.commands.read_correct import correct_reading
from study.model.estimate import PairingEstimate
from study.model.person import Signature


def test_a_changed_reading_recomputes_only_its_pairing(demo_path: Path, signature: Signature) -> None:
    """After one correction, every other pairing keeps the very estimate it had."""
    with open_study(demo_path) as study:
        before = {e.key: analysed(e).estimate for e in gather_evidence(study)}
        code = next(h.code for h in gather_evidence(study)[0].histories if "residue_grade" in h.readings)
        correct_reading(study, code, "residue_grade", "5", signature=signature)
        after = {e.key: analysed(e).estimate for e in gather_evidence(study)}
    assert [key for key in before if before[key] != after[key]] == ["P01"]


def test_the_memo_gives_back_what_was_kept(demo_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Kept and read again, an estimate is the same to the last digit; damaged, it is computed anew."""
    with open_study(demo_path) as study:
        estimate = analysed(gather_evidence(study)[1]).estimate
    monkeypatch.setenv("DWELLBOOK_MEMO", str(tmp_path))
    computed: list[int] = []

    def compute() -> PairingEstimate:
        computed.append(1)
        return estimate

    assert remembered(("a", "b"), compute) == estimate
    kept = remembered(("a", "b"), compute)
    assert len(computed) == 1
    assert repr(kept) == repr(estimate)
    (file,) = tmp_path.glob("*.json")
    file.write_text(file.read_text("utf-8")[:100], "utf-8")
    assert remembered(("a", "b"), compute) == estimate
    assert len(computed) == 2
    remembered(("a", "c"), compute)
    assert len(computed) == 3
    monkeypatch.setenv("DWELLBOOK_MEMO", "")
    remembered(("a", "b"), compute)
    assert len(computed) == 4
