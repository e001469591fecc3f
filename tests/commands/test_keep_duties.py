"""Duties and hand-over: who pulls stands on the list, and everything goes to a successor in one change."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands.keep_duties import duties, hand_over, open_matters, put_in_charge
from study.commands.opening import open_study
from study.commands.pull import due_pulls, record_pulls
from study.errors import NotPossible, Unknown
from study.model.person import Signature
from study.store.study_file import StudyFile

ON = date(2025, 4, 15)


def test_the_list_names_who_pulls(study: StudyFile, signature: Signature) -> None:
    """Whoever is named for a set goes before whoever pulls in general; nobody is nobody."""
    assert [pull.in_charge for pull in due_pulls(study, on=ON)] == ["", ""]
    put_in_charge(study, "Pulls", "M. Quill", from_on=ON, signature=signature)
    put_in_charge(study, "pulls of TILE", " A.  Reed ", from_on=ON, note="Has the key.", signature=signature)
    assert {p.set_key: p.in_charge for p in due_pulls(study, on=ON)} == {"sheet": "M. Quill", "tile": "A. Reed"}
    assert [(one.duty, one.person) for one in duties(study)] == [("pulls", "M. Quill"), ("pulls of tile", "A. Reed")]
    put_in_charge(study, "pulls", "A. Reed", from_on=ON, signature=signature)
    assert len(duties(study)) == 2
    with pytest.raises(NotPossible, match="in charge of pulls already"):
        put_in_charge(study, "pulls", "A. Reed", from_on=ON, signature=signature)
    with pytest.raises(NotPossible, match="not a duty"):
        put_in_charge(study, "tea", "A. Reed", from_on=ON, signature=signature)
    with pytest.raises(Unknown, match="not a coupon set"):
        put_in_charge(study, "pulls of attic", "A. Reed", from_on=ON, signature=signature)
    with pytest.raises(NotPossible, match="Nobody is named"):
        put_in_charge(study, "readings", " ", from_on=ON, signature=signature)


def test_a_hand_over_is_one_change_and_lists_what_is_open(study: StudyFile, signature: Signature) -> None:
    """Three duties go over at once, others stay; pulls within sixty days and coupons not read are listed."""
    for duty in ("pulls", "readings", "calendar"):
        put_in_charge(study, duty, "M. Quill", from_on=date(2025, 1, 1), signature=signature)
    put_in_charge(study, "decisions", "R. Vale", from_on=date(2025, 1, 1), signature=signature)
    first = due_pulls(study, on=ON)[0].codes[0]
    record_pulls(study, [first], kind="pulled", on=ON, signature=signature)
    before = study.last_change()
    done = hand_over(study, "m. quill", "A. Reed", on=ON, note="Keys in the safe.", signature=signature)
    assert study.last_change() == before + 1
    assert [one.duty for one in done.duties] == ["calendar", "pulls", "readings"]
    assert {one.duty: one.person for one in duties(study)} == {
        "calendar": "A. Reed", "decisions": "R. Vale", "pulls": "A. Reed", "readings": "A. Reed"
    }  # fmt: skip
    assert {pull.in_charge for pull in done.matters.pulls} == {"A. Reed"}
    assert [one.code for one in done.matters.unread] == [first]
    sentences = done.matters.by_person()["A. Reed"]
    assert "Due: 3 months of sheet, 5 coupons, due 2025-04-15." in sentences
    assert any(sentence.startswith(f"Pulled 2025-04-15, not read: {first} (") for sentence in sentences)
    put_in_charge(study, "pulls of tile", "R. Vale", from_on=ON, signature=signature)
    whose = dict(open_matters(study, on=ON).parts("a. reed"))
    assert list(whose) == ["With A. Reed", "With R. Vale"], "one's own first"
    assert whose["With R. Vale"] == ["Due: 3 months of tile, 6 coupons, due 2025-04-15."]
    with pytest.raises(Unknown, match="in charge of nothing"):
        hand_over(study, "M. Quill", "A. Reed", on=ON, signature=signature)
    with pytest.raises(NotPossible, match="same person"):
        hand_over(study, "A. Reed", "a. reed", on=ON, signature=signature)
    with pytest.raises(NotPossible, match="needs a reason"):
        hand_over(study, "A. Reed", "M. Quill", on=ON, signature=signature.because(""))


def test_pulls_sixty_days_ahead_are_open_and_no_further(study: StudyFile) -> None:
    """The window of 15 April opens on the 8th: sixty days before that it is listed, sixty-one days before it is not."""
    assert len(open_matters(study, on=date(2025, 2, 7)).pulls) == 2
    quiet = open_matters(study, on=date(2025, 2, 6))
    assert quiet.pulls == ()
    assert quiet.parts("A. Reed") == []


def test_overtaken_decisions_are_open(demo_path: Path) -> None:
    """The demo's decision that newer readings overtook is among what a successor reads."""
    with open_study(demo_path) as study:
        matters = open_matters(study, on=date(2026, 3, 2))
    assert [s.decision.pairing for s in matters.overtaken if s.decision] == ["P02"]
    told = {person: " ".join(sentences) for person, sentences in matters.by_person().items()}
    assert [person for person, words in told.items() if "Newer readings change decision" in words] == [
        matters.held.get("decisions", "")
    ]
