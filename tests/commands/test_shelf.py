"""Shelf: what tiles are labelled from, and what else is on record."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands.opening import begin_study, open_study
from study.commands.pull import record_pulls
from study.commands.read_grid import waiting_pulls
from study.commands.register import add_note, change_status, register_file, register_one
from study.commands.shelf import register_book, remarks, shelf_list
from study.errors import NotPossible, Unknown
from study.model.person import Signature
from study.store.study_file import StudyFile


def test_every_coupon_stands_on_the_list(study: StudyFile) -> None:
    """Twenty-four coupons with set, pairing, test, pull and state; one set alone where asked."""
    assert len(shelf_list(study)) == 24
    assert {line.state for line in shelf_list(study, set_key="tile")} == {"placed"}
    assert len(shelf_list(study, set_key="tile")) == 12
    with pytest.raises(Unknown):
        shelf_list(study, set_key="cloth")


def test_a_blank_names_its_surface(study: StudyFile, signature: Signature) -> None:
    """In the register and among the pulls that wait, since blanks of several surfaces stand beside each other."""
    cells = {"set": "bare", "role": "blank", "substrate": "tile", "environment": "store", "protocol": "display-dots",
             "placed_on": "2025-01-15", "coupons_per_pull": "1"}  # fmt: skip
    register_one(study, "sets", cells, signature=signature)
    assert [one.title for one in register_book(study).sets if one.coupon_set.key == "bare"] == ["blank tile"]
    code = next(line.code for line in shelf_list(study, set_key="bare") if line.pull == "3 months")
    record_pulls(study, [code], kind="pulled", on=date(2025, 4, 15), signature=signature)
    (waiting,) = waiting_pulls(study)
    assert (waiting.title, waiting.unread) == ("blank tile", 1)


def test_what_is_on_record_is_told_with_the_pairing(study: StudyFile, signature: Signature) -> None:
    """A lamp that failed and an adhesive that is no longer made stand beside the pairing's duration."""
    assert remarks(study, "P01") == []
    on = date(2026, 1, 5)
    add_note(study, about="environment", subject="store", text="Lamp out 9 days.", on=on, signature=signature)
    add_note(study, about="set", subject="tile", text="Rack moved.", on=on, signature=signature)
    change_status(study, "gel-a", status="discontinued", on=on, signature=signature)
    told = remarks(study, "P01")
    assert any("discontinued since 2026-01-05" in line for line in told)
    assert any("Lamp out 9 days." in line for line in told)
    assert not any("Rack moved." in line for line in told)
    assert any("Rack moved." in line for line in remarks(study, "P02"))


def test_a_file_of_coupons_is_registered_once(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """The same coupon file again would double the shelf: it is refused."""
    path = tmp_path / "coupons.csv"
    path.write_text("set,test,pull,count\nsheet,hold-angle,6 months,5\n", "utf-8")
    register_file(study, "coupons", path, signature=signature)
    with pytest.raises(NotPossible, match="taken already"):
        register_file(study, "coupons", path, signature=signature)
    assert len(shelf_list(study)) == 29


def test_two_studies_begin_with_other_codes(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """Two studies of one house do not give the same code to their first tiles."""
    path = tmp_path / "other.sqlite"
    begin_study(path, institution="Another invented museum", signature=signature)
    with open_study(path) as other:
        assert other.fact("first_code") != study.fact("first_code")
