"""Read, whole: a museum's own sheet, in its words, on an empty study; each thing that is open is asked once."""

from __future__ import annotations

from pathlib import Path

import pytest

from study.commands.read_import import layouts
from study.commands.read_whole import begin_from, preview_whole
from study.commands.register import register_one
from study.errors import Unanswered
from study.intake.protocol_file import known_protocols
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.pulls import fetch_pulls
from study.store.readings import fetch_in_force, fetch_readings
from study.store.register import fetch_sets
from study.store.study_file import StudyFile

HEAD = (
    "Tile no.,Adhesive,Adhesive class,Batch,Tile,Preparation,Stands for,Stored in,Stuck down,Taken off,How it came off,"
    "Planned (months),Dot dia (mm),Dots,Peak force (N),Residue (0 = clean),Tilt to fall (deg),Gauge\n"
)
OF = "Gel Q,acrylic gel,Q-7,glazed tile,cleaned,object,store 2,2025-01-15"
READ_ON = {"column for read_on": "same as the pull day"}


def written(folder: Path, *rows: str, head: str = HEAD) -> Path:
    path = folder / "study.csv"
    path.write_text(head + "".join(f"{row}\n" for row in rows), "utf-8")
    return path


def line(mark: str, off: str = "2025-04-15", how: str = "", pull: str = "3", read: str = "5.1,1,,") -> str:
    return f"{mark},{OF},{off},{how},{pull},8,3,{read}"


def keys(found: object) -> list[str]:
    return [question.key for question in getattr(found, "questions", ())]


def test_a_museum_s_own_headings_are_taken_and_a_pull_at_zero_is_time_zero(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """“Stuck down”, “Taken off”, “Tile no.”; 0 months, or taken off on the very day."""
    path = written(tmp_path, line("G1"), line("G2", off="2025-01-16", pull="0"), line("G3", off="2025-01-15", pull="0",
                   how="pulled"), line("G4", off="", pull="36", read=",,,"))  # fmt: skip
    found = preview_whole(empty, path, answers=READ_ON, signature=signature)
    assert keys(found) == ["test"]
    assert "Row 5 has neither" in found.questions[0].what
    begin_from(empty, path, answers=READ_ON | {"test": "pull-off-dot"}, signature=signature)
    roles = {c.own_mark: fetch_sets(empty)[c.set_key].role for c in fetch_coupons(empty).values()}
    assert roles == {"G1": "test", "G2": "time-zero", "G3": "time-zero", "G4": "test"}
    assert {c.own_mark: c.pull_label for c in fetch_coupons(empty).values()}["G4"] == "36 months"


def test_coupons_alone_are_entered_without_a_day_of_reading(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """A sheet in which nothing is read yet is not asked when it was read."""
    head = ",".join(HEAD.strip().split(",")[:14]) + "\n"
    path = written(tmp_path, line("G1", off="", read="").rstrip(","), head=head)
    done = begin_from(empty, path, answers={"test": "pull-off-dot"}, signature=signature)
    assert (len(done.coupons), len(done.readings)) == (1, 0)


def test_words_for_how_a_coupon_left_and_its_pull_are_asked_once_and_remembered(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """“abgefallen” and a pull that the schedule does not have: a problem and a question, once a word."""
    path = written(tmp_path, line("G1", how="abgefallen", read=",,,"), line("G2", how="abgefallen", read=",,,"),
                   line("G3", off="2025-06-20", pull="5"))  # fmt: skip
    answers = READ_ON | {"test": "pull-off-dot"}
    found = preview_whole(empty, path, answers=answers, signature=signature)
    assert keys(found) == ["pull_kind abgefallen", "pull 5 months"]
    assert [(problem.row, problem.column) for problem in found.problems] == [
        (2, "How it came off"), (4, "Planned (months)"),
    ]  # fmt: skip
    answers |= {"pull_kind abgefallen": "released by itself", "pull 5 months": "the nearest by its dates"}
    begin_from(empty, path, answers=answers, remember="ours", signature=signature)
    marks = {c.own_mark: c for c in fetch_coupons(empty).values()}
    pulls = fetch_pulls(empty)
    assert pulls[marks["G1"].code].kind == pulls[marks["G2"].code].kind == "released by itself"
    assert marks["G3"].pull_label == "6 months"
    assert layouts(empty)["ours"][0].words["pull_kind"] == {"abgefallen": "released by itself"}
    later = written(tmp_path, line("G9", how="Abgefallen", read=",,,"))
    again = preview_whole(empty, later, layout="ours", answers={"test": "pull-off-dot"}, signature=signature)
    assert again.ready


def test_a_word_for_the_pull_at_zero_is_asked_where_it_is_not_sure(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """“start” on a coupon of six months is no time zero by itself; “at begin” may be one, and the layout keeps that."""
    head, test = HEAD.replace("Planned (months)", "Pull"), READ_ON | {"test": "pull-off-dot"}
    path = written(tmp_path, line("G1", off="2025-01-16", pull="start"), line("G2", off="2025-07-15", pull="start"),
                   line("G3", off="2025-01-16", pull="at begin"), line("G4", off="", pull="none", read=",,,"),
                   head=head)  # fmt: skip
    found = preview_whole(empty, path, answers=test, signature=signature)
    assert keys(found) == ["pull start", "pull at begin", "pull none"]
    assert all("time zero" in question.answers for question in found.questions)
    answers = test | {"pull start": "6 months", "pull at begin": "Time zero", "pull none": "36 months"}
    assert preview_whole(empty, path, answers=answers, signature=signature, strict=True).ready
    begin_from(empty, path, answers=answers, remember="ours", signature=signature)
    sets = fetch_sets(empty)
    found_as = {c.own_mark: (sets[c.set_key].role, c.pull_label) for c in fetch_coupons(empty).values()}
    assert found_as == {"G1": ("time-zero", ""), "G2": ("test", "6 months"), "G3": ("time-zero", ""),
                        "G4": ("test", "36 months")}  # fmt: skip
    later = written(tmp_path, line("G9", off="2025-01-16", pull="at begin"), head=head)
    assert preview_whole(empty, later, layout="ours", answers=test, signature=signature, strict=True).ready
    named = written(tmp_path, f"{line('T1', pull='at begin')},test", head=f"{head.strip()},Role\n")
    (asked,) = preview_whole(empty, named, answers=test, signature=signature).questions
    assert asked.key == "pull at begin"
    assert "time zero" not in asked.answers, "a test coupon, as the sheet says itself"


def test_keys_of_sets_are_never_longer_than_a_key_may_be(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Long names, a role and a number of its own: cut, still different, and coupons can be added to each."""
    of = OF.replace("Gel Q,", "Acrylic gel of long name,").replace("glazed tile", "earthenware glazed")
    rows = [
        f"G{n},{of.replace('2025-01-15', f'2025-01-{14 + n}')},2025-01-{14 + n},,0,8,3,5.1,1,," for n in range(1, 4)
    ]
    begin_from(empty, written(tmp_path, *rows), answers=READ_ON, signature=signature)
    sets = list(fetch_sets(empty))
    assert len(set(sets)) == 3
    assert max(map(len, sets)) == 40
    for key in sets:
        register_one(empty, "coupons", {"set": key, "test": "pull-off-dot"}, signature=signature)


def test_weeks_in_a_heading_are_weeks(empty: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """13 under “Planned (weeks)” is three months of the schedule by its days, 4 is not four months."""
    path = written(tmp_path, line("G1", off="2025-01-22", pull="1"), head=HEAD.replace("months", "weeks"))
    begin_from(empty, path, answers=READ_ON, signature=signature)
    assert [coupon.pull_label for coupon in fetch_coupons(empty).values()] == ["1 week"]
    other = written(tmp_path, line("G2", off="2025-02-12", pull="4"), head=HEAD.replace("months", "weeks"))
    assert keys(preview_whole(empty, other, answers=READ_ON, signature=signature)) == ["pull 4 weeks"]


def test_what_a_test_does_not_read_is_kept_in_the_note_if_somebody_says_so(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Residue beside a tilt: the protocol has no place for it, the sheet has; nothing is dropped in silence."""
    path = written(tmp_path, line("G1", read=",2,75,"))
    found = preview_whole(empty, path, answers=READ_ON, signature=signature)
    assert keys(found) == ["not read"]
    assert "residue grade beside hold-angle in row 2" in found.questions[0].what
    begin_from(empty, path, answers=READ_ON | {"not read": "keep it in the note"}, signature=signature)
    (code,) = fetch_coupons(empty)
    readings = fetch_in_force(empty, code)
    assert set(readings) == {"hold_angle"}
    assert readings["hold_angle"].details.note == "residue_grade: 2"


def test_an_instrument_nobody_registered_is_no_dead_end(empty: StudyFile, tmp_path: Path, signature: Signature) -> None:
    """An empty study has none: the name is kept in the note."""
    path = written(tmp_path, line("G1", read="5.1,1,,FG-2"))
    found = preview_whole(empty, path, answers=READ_ON, signature=signature)
    assert [(one.key, one.answers) for one in found.questions] == [("instrument FG-2", ("keep in the note",))]
    begin_from(empty, path, answers=READ_ON | {"instrument FG-2": "keep in the note"}, signature=signature)
    (code,) = fetch_coupons(empty)
    assert fetch_in_force(empty, code)["removal_force"].details.note == "instrument: FG-2"


def test_what_is_unusual_is_named_by_the_sheet_s_own_marks(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Nobody has seen the codes yet."""
    path = written(tmp_path, line("G1", read="5100,1,,"))
    with pytest.raises(Unanswered, match="G1 removal_force: 5100 N lies outside"):
        begin_from(empty, path, answers=READ_ON, signature=signature)
    found = preview_whole(empty, path, answers=READ_ON, signature=signature)
    assert "reading" not in found.words()


WAX = "Wax H,microcrystalline wax,H-1,limestone,cleaned,object,store,2024-01-15,8,3"
OF_WAX = "Coupon,Adhesive,Adhesive class,Lot,Substrate,Preparation,Stands for,Environment,Placed on,Dot dia (mm),Dots"


def test_columns_of_several_pulls_become_pulls_and_readings(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Force, residue and day of 3 and of 12 months side by side: each coupon was pulled at one of them, or waits."""
    head = f"{OF_WAX},Date 3 mo,Force 3 mo (N),Residue 3 mo,Date 12 mo,Force 12 mo (N),Residue 12 mo\n"
    path = written(tmp_path, f"D1,{WAX},2024-04-16,4.1,1,,,", f"D2,{WAX},,,,2025-01-16,5.2,2", f"D3,{WAX},,,,,,",
                   head=head)  # fmt: skip
    asked = preview_whole(empty, path, signature=signature)
    assert keys(asked) == ["column for pulled_on", "residue scale"]
    answers = {"column for pulled_on": "same as the day of reading", "residue scale": "0 to 5, 0 is clean"}
    answers |= {"test": "pull-off-dot", "coupons still placed": "next pull"}
    begin_from(empty, path, answers=answers, signature=signature)
    coupons = {coupon.own_mark: coupon for coupon in fetch_coupons(empty).values()}
    assert [coupons[mark].pull_label for mark in ("D1", "D2", "D3")] == ["3 months", "12 months", "36 months"]
    pulls = fetch_pulls(empty)
    assert [str(pulls[coupons[mark].code].on) for mark in ("D1", "D2")] == ["2024-04-16", "2025-01-16"]
    assert coupons["D3"].code not in pulls
    assert fetch_in_force(empty, coupons["D2"].code)["removal_force"].lower == 5.2


def test_looks_of_several_months_are_dated_as_planned_if_somebody_says_so(
    empty: StudyFile, tmp_path: Path, signature: Signature
) -> None:
    """Colours in place under their months, one force at the end on its own day."""
    protocol = known_protocols()["display-dots"].read_text("utf-8")
    protocol = protocol.replace('unit = "ΔE*00"', 'unit = "ΔE*00"\nlooks = "in place"')
    (tmp_path / "glass.toml").write_text(protocol, "utf-8")
    looks = ",".join(f"{axis}* {span}" for span in ("3 months", "6 months") for axis in "Lab")
    head = f"{OF_WAX},L* before,a* before,b* before,{looks},Taken off,Force (N)\n"
    path = written(tmp_path, f"P1,{WAX},82,1,3,81,1,4,80,1,5,2025-01-15,5.1", head=head)
    answers = {"colour": "in place", "column for read_on": "same as the pull day"}
    asked = preview_whole(empty, path, protocol="glass.toml", answers=answers, signature=signature)
    assert keys(asked) == ["look days"]
    answers["look days"] = "on the planned days"
    begin_from(empty, path, protocol="glass.toml", answers=answers, signature=signature)
    (code,) = fetch_coupons(empty)
    read = {(reading.kind, str(reading.read_on)) for reading, _ in fetch_readings(empty, code)}
    assert read == {
        ("colour_before", "2024-01-15"), ("colour_look", "2024-04-15"), ("colour_look", "2024-07-15"),
        ("removal_force", "2025-01-15"),
    }  # fmt: skip
