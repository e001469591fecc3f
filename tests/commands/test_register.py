"""Register: what enters the study, and what is refused with its place."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands import register
from study.errors import DwellbookError, FileRefused, NotPossible
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.register import fetch_adhesives, fetch_pairings, fetch_sets
from study.store.study_file import StudyFile

SET = "set,role,lot,substrate,environment,protocol,placed_on,dot_diameter_mm,dots\n"


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "file.csv"
    path.write_text(text, "utf-8")
    return path


def test_pairings_come_from_sets(study: StudyFile) -> None:
    """Two surfaces under one gel are two pairings; the same parts again are the same pairing."""
    assert [(p.key, p.title) for p in fetch_pairings(study).values()] == [
        ("P01", "Gel A on acrylic sheet"),
        ("P02", "Gel A on glazed tile"),
    ]
    assert {coupon_set.pairing for coupon_set in fetch_sets(study).values()} == {"P01", "P02"}


def test_all_problems_of_a_file_are_told_at_once(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """Three rows with four faults give four problems with row and column, and nothing is written."""
    path = write(
        tmp_path,
        SET + "S1,test,A-9,sheet,store,display-dots,2025-01-15,8,3\n"
        "S2,test,A-1,sheet,store,display-dots,2027-01-15,8,\n"
        "S3,blank,A-1,cloth,store,display-dots,2025-01-15,,\n",
    )
    before = study.last_change()
    with pytest.raises(FileRefused) as refusal:
        register.register_file(study, "sets", path, signature=signature)
    places = {(problem.row, problem.column) for problem in refusal.value.problems}
    assert places == {(2, "lot"), (3, "placed_on"), (3, "dots"), (4, "substrate"), (4, "lot")}
    assert study.last_change() == before


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("lots", "lot,adhesive\nA-1,gel-a\n", "registered already"),
        ("lots", "lot,adhesive\nA-2,gel-a\nA-2,gel-a\n", "more than once"),
        ("lots", "lot,adhesive\nA-2,gel-z\n", "not a known adhesive"),
        ("lots", "lot,adhesive,cure_hours\nA-2,gel-a,\"2,5\"\n", "Write 2.5"),
        ("substrates", "substrate,name,preparation,stands_for\nx,y,polished,object\n", "as found, cleaned"),
        ("adhesives", "adhesive,name,composition_class,formulation_version\nx,y,glue,1\n", "acrylic gel"),
        (
            "adhesives",
            "adhesive,name,composition_class,formulation_version,successor_of\nx,y,other,1,q\n",
            "known adhesive",
        ),
        ("coupons", "set,test,pull\nsheet,pull-off-dot,5 months\n", "not in the schedule"),
        ("coupons", "set,test,pull\nsheet,strip-peel-90,3 months\n", "not a test of protocol"),
        ("coupons", "set,test,pull,code\nsheet,hold-angle,3 months,AAAA-3\n", "check character"),
        ("coupons", "set,test,pull\ncloth,hold-angle,3 months\n", "not a known coupon set"),
        ("sets", SET + "S1,test,A-1,sheet,store,nothing.toml,2025-01-15,8,3\n", "Known protocols"),
    ],
)  # fmt: skip
def test_each_fault_is_said_in_words(
    study: StudyFile, tmp_path: Path, signature: Signature, kind: str, text: str, words: str
) -> None:
    """A row that cannot be taken says what is wrong and which words would do."""
    with pytest.raises(FileRefused) as refusal:
        register.register_file(study, kind, write(tmp_path, text), signature=signature)
    assert words in str(refusal.value)


def test_a_friable_surface_carries_a_warning(study: StudyFile, signature: Signature) -> None:
    """Registering a friable surface, and a set on it, says what may happen to it."""
    cells = {
        "substrate": "plaster",
        "name": "soft plaster",
        "preparation": "as found",
        "stands_for": "object",
        "friable": "yes",
    }
    done = register.register_one(study, "substrates", cells, signature=signature)
    assert "Friable surface" in done.warnings[0]
    cells = {"set": "S9", "lot": "A-1", "substrate": "plaster", "environment": "store", "protocol": "display-dots",
             "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "1"}  # fmt: skip
    assert "Friable surface" in register.register_one(study, "sets", cells, signature=signature).warnings[0]


def test_coupons_get_codes_or_bring_their_own(study: StudyFile, signature: Signature) -> None:
    """Codes are assigned where none is given; a code that is taken is refused."""
    taken = next(iter(fetch_coupons(study)))
    cells = {"set": "sheet", "test": "hold-angle", "pull": "6 months"}
    done = register.register_one(study, "coupons", {**cells, "count": "2"}, signature=signature)
    assert len(set(done.keys) | set(fetch_coupons(study))) == 26
    with pytest.raises(FileRefused, match="taken already"):
        register.register_one(study, "coupons", {**cells, "code": taken}, signature=signature)


def test_a_status_changes_with_a_reason_and_leaves_a_trail(study: StudyFile, signature: Signature) -> None:
    """What the status was before stands in the log."""
    on = date(2026, 1, 5)
    with pytest.raises(NotPossible, match="needs a reason"):
        register.change_status(study, "gel-a", status="withdrawn", on=on, signature=signature.because(""))
    register.change_status(study, "gel-a", status="withdrawn", on=on, signature=signature)
    assert fetch_adhesives(study)["gel-a"].status == "withdrawn"
    line = study.rows("SELECT before, after, why FROM changes ORDER BY number DESC LIMIT 1")[0]
    assert '"active"' in line["before"]
    assert '"withdrawn"' in line["after"]
    assert line["why"] == signature.why


@pytest.mark.parametrize(
    ("about", "subject", "text"),
    [
        ("environment", "attic", "hot"),
        ("weather", "store", "hot"),
        ("environment", "store", " "),
        ("coupon", "XXXX-X", "x"),
    ],
)
def test_a_note_belongs_to_something_known(
    study: StudyFile, signature: Signature, about: str, subject: str, text: str
) -> None:
    """A note about nothing, or with nothing in it, is refused."""
    with pytest.raises(DwellbookError):
        register.add_note(study, about=about, subject=subject, text=text, on=date(2026, 1, 5), signature=signature)
