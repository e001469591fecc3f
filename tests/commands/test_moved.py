"""An act done only to see what comes of it gives what it gave, and leaves nothing."""

from __future__ import annotations

import pytest

from study.commands.moved import turned_back
from study.commands.register import register_one
from study.errors import DwellbookError
from study.model.person import Signature
from study.store.register import fetch_lots
from study.store.study_file import StudyFile


def test_an_act_is_turned_back(study: StudyFile, signature: Signature) -> None:
    """What it gave is handed on, a refusal too; neither the change nor its row is on file."""
    before, lots = study.last_change(), set(fetch_lots(study))

    def act() -> set[str]:
        register_one(study, "lots", {"lot": "A-9", "adhesive": "gel-a"}, signature=signature)
        return set(fetch_lots(study))

    assert turned_back(study, act) == {*lots, "A-9"}
    with pytest.raises(DwellbookError):
        turned_back(study, lambda: register_one(study, "lots", {"lot": "A-9", "adhesive": "no"}, signature=signature))
    assert set(fetch_lots(study)) == lots
    assert study.last_change() == before


def test_it_is_never_turned_back_within_a_writing(study: StudyFile) -> None:
    """There the outer writing alone could be turned back, and what was done to look would stay."""
    with pytest.raises(RuntimeError, match="by itself"), study.writing():
        turned_back(study, lambda: None)
