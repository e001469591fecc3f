"""Register: what enters the study, and what is refused with its place."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from study.commands import register
from study.commands.register import register_one
from study.errors import DwellbookError, FileRefused, NotPossible, Unknown
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.particulars import fetch_particulars
from study.store.register import fetch_adhesives, fetch_pairings, fetch_poolings, fetch_sets
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
    """Each fault of four rows is a problem with its row and column, and nothing is written."""
    path = write(
        tmp_path,
        SET + "S1,test,A-9,sheet,store,display-dots,2025-01-15,8,3\n"
        "S2,test,A-1,sheet,store,display-dots,2027-01-15,8,\n"
        "S3,blank,A-1,cloth,store,display-dots,2025-01-15,,\n"
        "S4,blank,,sheet,store,display-dots,2025-01-15,8,3\n",
    )
    before = study.last_change()
    with pytest.raises(FileRefused) as refusal:
        register.register_file(study, "sets", path, signature=signature)
    places = {(problem.row, problem.column) for problem in refusal.value.problems}
    assert places == {(2, "lot"), (3, "placed_on"), (3, "dots"), (4, "substrate"), (4, "lot"), (5, "dots")}
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


FORM_SET = {"set": "S9", "lot": "A-1", "substrate": "tile", "environment": "store", "protocol": "display-dots",
            "placed_on": "2026-01-15", "dot_diameter_mm": "8", "dots": "3"}  # fmt: skip


@pytest.mark.parametrize(
    ("role", "tests", "pulls", "count"), [("test", 2, 8, 80), ("blank", 1, 8, 40), ("time-zero", 2, 1, 10)]
)
def test_a_set_brings_its_coupons(
    study: StudyFile, signature: Signature, role: str, tests: int, pulls: int, count: int
) -> None:
    """Five of each test at each pull: two tests and eight pulls make 80; a blank needs one test, time zero no pull."""
    cells = {**FORM_SET, "role": role, "coupons_per_pull": "5"}
    if role == "blank":
        cells = {name: cell for name, cell in cells.items() if name not in ("lot", "dots", "dot_diameter_mm")}
    plan = register.coupon_plan("display-dots", role=role, per_pull=5)
    assert (len({p.test for p in plan}), len({p.pull for p in plan}), sum(p.count for p in plan)) == (
        tests,
        pulls,
        count,
    )
    done = register.register_rows(study, "sets", [cells], signature=signature)
    assert (done.count, len(done.coupons)) == (1, count)
    on_shelf = [c for c in fetch_coupons(study).values() if c.set_key == "S9"]
    assert list(done.coupons) == on_shelf
    assert len({c.code for c in on_shelf}) == count


def test_a_trial_writes_nothing_and_says_the_same(study: StudyFile, signature: Signature) -> None:
    """Checked rows are tried out whole and turned back; entered, they do what the trial said."""
    before = study.last_change()
    cells = {**FORM_SET, "coupons_per_pull": "3"}
    tried = register.register_rows(study, "sets", [cells], signature=signature, only_check=True)
    assert study.last_change() == before
    assert "S9" not in fetch_sets(study)
    assert register.register_rows(study, "sets", [cells], signature=signature) == tried


def test_rows_are_numbered_as_in_a_spreadsheet(study: StudyFile, signature: Signature) -> None:
    """A blank row counts and is passed over; the fault of the third row stands in row 4."""
    rows = [{"lot": "B-1", "adhesive": "gel-a"}, {"lot": "", "adhesive": " "}, {"lot": "B-2", "adhesive": "gel-z"}]
    with pytest.raises(FileRefused) as refusal:
        register.register_rows(study, "lots", rows, signature=signature, only_check=True)
    assert [(problem.row, problem.column) for problem in refusal.value.problems] == [(4, "adhesive")]
    with pytest.raises(NotPossible, match="Nothing is filled in"):
        register.register_rows(study, "lots", [{}, {"lot": ""}], signature=signature)


def test_one_button_pressed_twice_registers_once(study: StudyFile, signature: Signature) -> None:
    """Coupons without codes are never repeats; the token of their form is."""
    rows = [{"set": "sheet", "test": "hold-angle", "pull": "6 months", "count": "2"}]
    register.register_rows(study, "coupons", rows, token="one", signature=signature)
    with pytest.raises(NotPossible, match="taken already"):
        register.register_rows(study, "coupons", rows, token="one", signature=signature)
    register.register_rows(study, "coupons", rows, token="two", signature=signature)
    assert len(fetch_coupons(study)) == 28


def test_particulars_are_kept_and_checked(study: StudyFile, signature: Signature) -> None:
    """What else is known of a lot is kept beside it; a comma or a day in another order is refused like any cell."""
    cells = {"lot": "B-1", "adhesive": "gel-a", "opened_on": "2026-01-05", "solids_percent": "12.5", "storage": "dry"}
    register.register_one(study, "lots", cells, signature=signature)
    (known,) = fetch_particulars(study, "lots").values()
    assert known.model_dump(exclude_defaults=True) == {
        "opened_on": date(2026, 1, 5), "solids_percent": 12.5, "storage": "dry",
    }  # fmt: skip
    assert '"solids_percent": 12.5' in study.rows("SELECT after FROM changes ORDER BY number DESC LIMIT 1")[0]["after"]
    wrong = {**cells, "lot": "B-2", "opened_on": "5.1.2026", "solids_percent": "12,5"}
    with pytest.raises(FileRefused) as refusal:
        register.register_one(study, "lots", wrong, signature=signature)
    assert {problem.column for problem in refusal.value.problems} == {"opened_on", "solids_percent"}


@pytest.mark.parametrize("separator", ["\t", ";", ","])
def test_a_pasted_block_is_read_by_its_header(separator: str) -> None:
    """Any order, any case, spaces for underscores; blank lines count as rows."""
    text = "Lot|ADHESIVE|Cure Hours\r\nB-1|gel-a|24\r\n\r\nB-2|gel-a|\r\n".replace("|", separator)
    assert register.read_block(text, "lots") == [
        {"lot": "B-1", "adhesive": "gel-a", "cure_hours": "24"},
        {},
        {"lot": "B-2", "adhesive": "gel-a", "cure_hours": ""},
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("lot\tadhesive\n", "no rows"),
        ("lot\tglue\nB-1\tx\n", "column is not known"),
        ("lot\tlot\tadhesive\nB-1\tx\ty\n", "stands twice"),
        ("lot\nB-1\n", "column is missing"),
        ("lot\tadhesive\nB-1\tgel-a\tmore\n", "has 3 cells"),
    ],
)
def test_a_block_that_does_not_fit_is_refused(text: str, words: str) -> None:
    """The header and the shape of the block are checked before any cell."""
    with pytest.raises(FileRefused, match=words):
        register.read_block(text, "lots")


def test_lots_are_pooled_once_with_a_reason(study: StudyFile, signature: Signature) -> None:
    """Pooling needs a reason, a pairing, and happens once; it is on record."""
    with pytest.raises(Unknown, match="P09"):
        register.pool_lots(study, "P09", signature=signature)
    with pytest.raises(NotPossible, match="needs a reason"):
        register.pool_lots(study, "P01", signature=signature.because(" "))
    register.pool_lots(study, "P01", signature=signature)
    assert fetch_poolings(study) == {"P01"}
    with pytest.raises(NotPossible, match="pooled already"):
        register.pool_lots(study, "P01", signature=signature)


def test_faults_and_unknown_names_are_told_together(study: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """A cell that cannot be read does not hide a name that is not registered, in a file as in rows."""
    path = write(tmp_path, 'lot,adhesive,cure_hours\nA-2,gel-z,"2,5"\n')
    with pytest.raises(FileRefused) as refusal:
        register.register_file(study, "lots", path, signature=signature)
    assert {problem.column for problem in refusal.value.problems} == {"adhesive", "cure_hours"}


@pytest.mark.parametrize("diameter", ["0.8", "80"])
def test_a_dot_of_another_size_is_asked_about(study: StudyFile, signature: Signature, diameter: str) -> None:
    """0.8 or 80 for 8 mm is usually a slip: refused once, taken when somebody writes that it is as typed."""
    cells = {
        "set": "slip", "substrate": "tile", "environment": "store", "protocol": "display-dots", "lot": "A-1",
        "placed_on": "2025-01-15", "dot_diameter_mm": diameter, "dots": "3", "dwell_load_n": "2",
    }  # fmt: skip
    with pytest.raises(FileRefused, match="as typed") as refused:
        register_one(study, "sets", cells, signature=signature)
    assert [problem.column for problem in refused.value.problems] == ["dot_diameter_mm"]
    register_one(study, "sets", {**cells, "unusual": "as typed"}, signature=signature)
