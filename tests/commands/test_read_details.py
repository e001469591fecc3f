"""Read, how it was read: area shares, two raters, flags, spots and conditions; what is unusual is asked once."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest

from study.commands.opening import open_study
from study.commands.pull import record_pulls
from study.commands.read import flags_in_force, record_reading, record_readings
from study.commands.read_correct import correct_reading, correction_effect, withdraw_reading
from study.commands.register_instruments import record_calibration, register_instrument
from study.errors import FileRefused, NotPossible, Unanswered
from study.intake.residue_cells import area_grade
from study.model.person import Signature
from study.store.changes import fetch_changes
from study.store.coupons import fetch_coupons
from study.store.readings import fetch_in_force, fetch_readings
from study.store.register import fetch_pairings
from study.store.soundness import fetch_faults
from study.store.study_file import StudyFile

PULLED, READ = date(2025, 4, 15), date(2025, 4, 16)


@pytest.fixture
def tiles(study: StudyFile, signature: Signature) -> list[str]:
    """Dot coupons on the glazed tile, which stands for an object; the first three are pulled."""
    codes = [c.code for c in fetch_coupons(study).values() if (c.set_key, c.test) == ("tile", "pull-off-dot")]
    record_pulls(study, codes[:3], kind="pulled", on=PULLED, signature=signature)
    return codes


def problems(error: FileRefused) -> set[tuple[str, str]]:
    return {(problem.column, problem.what) for problem in error.problems}


def test_area_shares_keep_their_sides(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """Shares add up to the dot; the largest names the pattern, each keeps its side."""
    cells = {"failure_pattern": "CF 60 object; AF 40 mount"}
    record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    found = fetch_in_force(study, tiles[0])["failure_pattern"]
    assert [(s.pattern, s.side, s.percent) for s in found.details.shares] == [("CF", "object", 60), ("AF", "mount", 40)]
    assert (found.pattern, found.side, found.typed) == ("CF", "both", "CF 60 object; AF 40 mount")


@pytest.mark.parametrize("typed", ["AF 60 object; CF 30 object", "AF/CF", "AF 60; CF 40", "crust 100 object"])
def test_shares_that_do_not_add_up_or_name_no_side_are_refused(
    study: StudyFile, tiles: list[str], signature: Signature, typed: str
) -> None:
    """Nothing is rescaled or guessed."""
    with pytest.raises(FileRefused) as refused:
        record_reading(study, tiles[0], {"failure_pattern": typed}, read_on=READ, signature=signature)
    assert {column for column, _ in problems(refused.value)} == {"failure_pattern"}
    assert fetch_in_force(study, tiles[0]) == {}


def test_a_small_share_of_object_surface_stops_the_pairing(
    study: StudyFile, tiles: list[str], signature: Signature
) -> None:
    """Ten per cent of the surface torn on the object side is harm; the same on the mount side is not."""
    shares = {"failure_pattern": "AF 90 object; CSF 10 object"}
    harmed = record_reading(study, tiles[0], shares, read_on=READ, signature=signature)
    assert [(w.unacceptable, w.stop) for w in harmed if w.criterion == "Harm to the surface"] == [(True, True)]
    shares = {"failure_pattern": "AF 90 object; CSF 10 mount"}
    spared = record_reading(study, tiles[1], shares, read_on=READ, signature=signature)
    assert [(w.unacceptable, w.stop) for w in spared if w.criterion == "Harm to the surface"] == [(False, False)]


def test_lost_substance_stops_without_any_pattern(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """The flag loss beside a residue grade is harm by itself; stain is kept and changes no grade."""
    cells = {"residue_grade": "0", "residue_flags": "loss stain"}
    words = record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    assert [w.stop for w in words if w.criterion == "Harm to the surface"] == [True]
    kept = fetch_in_force(study, tiles[0])["residue_grade"]
    assert (kept.lower, kept.upper, kept.details.flags) == (0.0, 0.0, ("stain", "loss"))


@pytest.mark.parametrize(
    ("area_percent", "grade"), [(0, 0), (0.2, 1), (1, 1), (1.1, 2), (5, 2), (15, 3), (15.5, 4), (35, 4), (36, 5)]
)
def test_area_gives_the_grade_of_the_scale(area_percent: float, grade: int) -> None:
    """Own scale 0 to 5: upper ends 0, 1, 5, 15, 35 %; 5, 15 and 35 follow the published cross-cut scale."""
    assert area_grade(area_percent) == grade


def test_the_worse_of_sight_and_area_counts_and_both_stay(
    study: StudyFile, tiles: list[str], signature: Signature
) -> None:
    """Grade 1 by sight over 12 % of the footprint is grade 3; by sight alone worse stays as seen."""
    cells = {"residue_grade": "1", "residue_area_percent": "12", "residue_aids": "lens, UV"}
    words = record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    assert any("residue grade 1 by sight, grade 3 by area" in word.words for word in words)
    found = fetch_in_force(study, tiles[0])["residue_grade"]
    assert (found.lower, found.details.sight_grade, found.details.area_percent) == (3.0, (1, 1), 12.0)
    assert found.details.aids == ("10x", "UV-A")
    cells = {"residue_grade": "3-4", "residue_area_percent": "2", "halo_percent": "140"}
    record_reading(study, tiles[1], cells, read_on=READ, signature=signature)
    found = fetch_in_force(study, tiles[1])["residue_grade"]
    assert (found.lower, found.upper, found.details.sight_grade, found.details.halo_percent) == (3.0, 4.0, None, 140.0)


def test_two_raters_are_both_kept_and_the_worse_is_judged(
    study: StudyFile, tiles: list[str], signature: Signature
) -> None:
    """1 and 3: both stand on file, residue is judged unacceptable."""
    cells = {"residue_grade": "1", "residue_second": "3", "second_rater": "J. Poole"}
    words = record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    assert [w.unacceptable for w in words if w.criterion == "Residue"] == [True]
    found = fetch_in_force(study, tiles[0])
    assert (found["residue_grade"].lower, found["residue_second"].lower) == (1.0, 3.0)
    assert found["residue_second"].details.read_by == "J. Poole"


def test_after_cleaning_needs_the_step(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """A grade after cleaning without the agreed step is refused; flags beside no grade are not dropped."""
    with pytest.raises(FileRefused, match="cleaning step"):
        record_reading(study, tiles[0], {"residue_cleaned": "0"}, read_on=READ, signature=signature)
    with pytest.raises(FileRefused, match="stands beside no residue_grade"):
        record_reading(
            study, tiles[0], {"removal_force": "5 N", "residue_flags": "ghost"}, read_on=READ, signature=signature
        )
    cells = {"residue_cleaned": "0", "cleaning_step": "dry swab, 10 strokes"}
    record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    assert fetch_in_force(study, tiles[0])["residue_cleaned"].details.cleaning_step == "dry swab, 10 strokes"


def test_several_readings_of_a_spot_are_meant_and_kept(
    study: StudyFile, tiles: list[str], signature: Signature
) -> None:
    """Three readings a spot: the mean counts, all three stay; an uneven count is refused."""
    cells = {"L_before": "82.0 82.2; 82.4", "a_before": "1 1 1", "b_before": "3 4 5", "illuminant": "d65",
             "observer_deg": "10°", "specular": "included", "aperture_mm": "8 mm", "backing": "White"}  # fmt: skip
    record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    found = fetch_in_force(study, tiles[0])["colour_before"]
    assert found.lab == (pytest.approx(82.2), 1.0, 4.0)
    assert len(found.details.spots) == 3
    details = found.details
    assert (details.illuminant, details.observer_deg, details.specular, details.aperture_mm, details.backing) == (
        "D65", 10, "SCI", 8.0, "white",
    )  # fmt: skip
    cells = {"L_after": "82.0 82.2", "a_after": "1", "b_after": "3 4"}
    with pytest.raises(FileRefused, match="has 2, 1, 2 readings"):
        record_reading(study, tiles[0], cells, read_on=READ, signature=signature)


def test_mixed_conditions_refuse_a_difference(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """D50 before and D65 after are no change of the spot: nothing is judged, and it is said why."""
    before = {"L_before": "82", "a_before": "1", "b_before": "3", "illuminant": "D50"}
    after = {"L_after": "80", "a_after": "1", "b_after": "5", "illuminant": "D65"}
    record_reading(study, tiles[0], before, read_on=READ, signature=signature)
    words = record_reading(study, tiles[0], after, read_on=READ, signature=signature)
    (said,) = [w for w in words if w.criterion == "Discoloration"]
    assert said.unacceptable is None
    assert "illuminant differs: D50 before, D65 after" in said.words


def test_a_unit_jump_inside_a_set_is_asked_and_the_answer_stays(
    study: StudyFile, tiles: list[str], signature: Signature
) -> None:
    """Three near 5 N, then 0.52: about 9.8 times below; kept only when somebody says so, and marked for good."""
    record_pulls(study, tiles[3:4], kind="pulled", on=PULLED, signature=signature)
    for code, force in zip(tiles[:3], ("5.0", "5.2", "5.1"), strict=True):
        record_reading(study, code, {"removal_force": force, "force_unit": "N"}, read_on=READ, signature=signature)
    typed = {"removal_force": "0.52", "force_unit": "N"}
    with pytest.raises(Unanswered, match=r"about 9\.8 times below") as asked:
        record_reading(study, tiles[3], typed, read_on=READ, signature=signature)
    assert [question.key for question in asked.value.questions] == ["unusual"]
    assert fetch_in_force(study, tiles[3]) == {}
    answered = {"unusual": "as typed"}
    record_reading(study, tiles[3], typed, read_on=READ, signature=signature, answers=answered)
    (mark,) = fetch_in_force(study, tiles[3])["removal_force"].details.marks
    assert mark.startswith("unusual, kept as typed:")


@pytest.mark.parametrize(("force", "asked"), [("510", True), ("5.1 N", False), ("0.52 kgf", False), ("0", True)])
def test_units_that_agree_are_not_asked(
    study: StudyFile, tiles: list[str], signature: Signature, force: str, asked: bool
) -> None:
    """0.52 kgf is 5.1 N and stands quietly among its set; 510 N and 0 N are asked about."""
    record_pulls(study, tiles[3:4], kind="pulled", on=PULLED, signature=signature)
    for code, typed in zip(tiles[:3], ("5.0", "5.2", "5.1"), strict=True):
        record_reading(study, code, {"removal_force": f"{typed} N"}, read_on=READ, signature=signature)
    cell = force if " " in force else f"{force} N"
    if asked:
        with pytest.raises(Unanswered):
            record_reading(study, tiles[3], {"removal_force": cell}, read_on=READ, signature=signature)
    else:
        record_reading(study, tiles[3], {"removal_force": cell}, read_on=READ, signature=signature)
        assert fetch_in_force(study, tiles[3])["removal_force"].lower == pytest.approx(5.1, rel=1e-3)


@pytest.mark.parametrize(
    ("pattern", "grade", "asked"),
    [
        ("AF mount", "0", "stayed on the object"),
        ("AF 90 object; AF 10 mount", "0-1", "over 10 % of its area"),
        ("CF object", "0", "split inside"),
        ("AF mount", "5", ""),
        ("AF 90 object; AF 10 mount", "2", ""),
        ("CF 60 object; AF 40 mount", "4", ""),
        ("AF object", "0", ""),
        ("CF object", "1", ""),
    ],
)
def test_a_grade_cleaner_than_the_break_is_asked(
    study: StudyFile, tiles: list[str], signature: Signature, pattern: str, grade: str, asked: str
) -> None:
    """What let go at the mount stays on the object, 10 % of the dot is grade 3: much less is a slip of either."""
    cells = {"failure_pattern": pattern, "residue_grade": grade}
    if not asked:
        record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
        return
    with pytest.raises(Unanswered, match=asked):
        record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    record_reading(study, tiles[0], cells, read_on=READ, signature=signature, answers={"unusual": "as typed"})
    (mark,) = fetch_in_force(study, tiles[0])["residue_grade"].details.marks
    assert asked in mark


def test_a_wrong_year_is_asked(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """Read a year after its pull: possible, and worth a question."""
    with pytest.raises(Unanswered, match="wrong year"):
        record_reading(study, tiles[0], {"residue_grade": "1"}, read_on=date(2026, 2, 1), signature=signature)


def test_a_retry_after_a_lost_connection_saves_once(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """The same attempt twice is one change; another attempt at the same cell is refused, not an overwrite."""
    for _ in range(2):
        record_reading(study, tiles[0], {"residue_grade": "1"}, read_on=READ, signature=signature, token="attempt-1")
    assert len(fetch_readings(study, tiles[0])) == 1
    assert [c["act"] for c in fetch_changes(study)].count("enter readings") == 1
    with pytest.raises(FileRefused, match="is in the study already"):
        record_reading(study, tiles[0], {"residue_grade": "2"}, read_on=READ, signature=signature, token="attempt-2")


def test_a_pull_of_coupons_enters_whole_or_not_at_all(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """One wrong cell in the third row keeps all three out; mended, all enter in one change."""
    rows = [{"coupon": code, "removal_force": "5.1", "force_unit": "N"} for code in tiles[:3]]
    bad = [*rows[:2], {**rows[2], "removal_force": "5.1 stone"}]
    with pytest.raises(FileRefused) as refused:
        record_readings(study, bad, read_on=READ, signature=signature)
    assert [(p.row, p.column) for p in refused.value.problems] == [(3, "removal_force")]
    assert all(fetch_in_force(study, code) == {} for code in tiles)
    entered = record_readings(study, rows, read_on=READ, signature=signature)
    assert [reading.code for reading in entered] == tiles[:3]
    assert fetch_changes(study)[0]["subject"] == "3 coupons"


def test_a_correction_of_what_another_changed_is_a_conflict(
    study: StudyFile, tiles: list[str], signature: Signature
) -> None:
    """Two people looked at the same reading; the second to write is told what it is now."""
    record_reading(study, tiles[0], {"residue_grade": "1"}, read_on=READ, signature=signature)
    seen = fetch_in_force(study, tiles[0])["residue_grade"].number
    correct_reading(study, tiles[0], "residue_grade", "2", signature=signature, seen=seen)
    with pytest.raises(NotPossible, match=r"Somebody else changed residue_grade .* now “2”"):
        correct_reading(study, tiles[0], "residue_grade", "3", signature=signature, seen=seen)
    with pytest.raises(NotPossible, match="Somebody else"):
        withdraw_reading(study, tiles[0], "residue_grade", signature=signature, seen=seen)
    assert [reading.typed for reading, _ in fetch_readings(study, tiles[0])] == ["1", "2"]


def test_a_correction_keeps_how_it_was_read(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """Room, aids and area stay with the corrected grade, and the area still counts where it is worse."""
    cells = {"residue_grade": "0", "residue_area_percent": "4", "residue_aids": "10x", "temperature_c": "21.5"}
    record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    _, new = correct_reading(study, tiles[0], "residue_grade", "1", signature=signature)
    assert (new.lower, new.details.area_percent, new.details.aids, new.details.temperature_c) == (
        2.0,
        4.0,
        ("10x",),
        21.5,
    )
    assert new.details.sight_grade == (1, 1)


def test_what_a_correction_moves_is_said_before(demo_path: Path, signature: Signature) -> None:
    """On the demo: excluding a coupon's force says which duration it touches and writes nothing."""
    with open_study(demo_path) as demo:
        _effect_on_the_demo(demo, signature)


def test_a_blank_moves_what_is_judged_net_of_it(demo_path: Path, signature: Signature) -> None:
    """A blank is no evidence itself; every pairing on its surface is named before its colour is corrected."""
    with open_study(demo_path) as demo:
        before = demo.last_change()
        found = demo.rows(
            "SELECT r.code, s.substrate, s.environment FROM readings r JOIN coupons c ON c.code = r.code "
            "JOIN coupon_sets s ON s.key = c.set_key "
            "JOIN pairings p ON (p.substrate, p.environment) = (s.substrate, s.environment) "
            "WHERE s.role = 'blank' AND r.kind = 'colour_after' AND r.superseded_change IS NULL ORDER BY r.id LIMIT 1"
        )[0]
        later = Signature(signature.by, datetime.fromisoformat("2026-11-24T09:00+00:00"), signature.why)
        moved = correction_effect(demo, found["code"], "colour_after", "40 0 60", signature=later,
                                  answers={"unusual": "as typed"})  # fmt: skip
        pairings = fetch_pairings(demo).values()
        beside = {
            p.key
            for p in pairings
            if (p.substrate.key, p.environment.key) == (found["substrate"], found["environment"])
        }
        assert moved
        assert {one.key for one in moved} <= beside
        assert (demo.last_change(), fetch_faults(demo)) == (before, [])


def _effect_on_the_demo(demo: StudyFile, signature: Signature) -> None:
    before = demo.last_change()
    code = demo.rows("SELECT code FROM readings WHERE kind = 'removal_force' AND superseded_change IS NULL LIMIT 1")
    later = Signature(signature.by, datetime.fromisoformat("2026-11-24T09:00+00:00"), signature.why)
    (moved,) = correction_effect(demo, code[0]["code"], "removal_force", "19.9 N", signature=later,
                                 answers={"unusual": "as typed"})  # fmt: skip
    assert moved.key.startswith("P")
    assert moved.before != ""
    assert moved.after != ""
    assert demo.last_change() == before


def test_a_gauge_past_calibration_marks_its_own_readings_alone(
    study: StudyFile, tiles: list[str], signature: Signature
) -> None:
    """Force and grade in one row, the gauge past its date: the force keeps the flag, the grade by eye does not."""
    register_instrument(study, {"instrument": "gauge-1", "name": "Gauge", "measures": "force"}, signature=signature)
    dates = {"instrument": "gauge-1", "calibrated_on": "2024-01-01", "valid_until": "2024-12-31"}
    record_calibration(study, dates, signature=signature)
    cells = {"removal_force": "5 N", "residue_grade": "1", "instrument": "gauge-1"}
    record_reading(study, tiles[0], cells, read_on=READ, signature=signature)
    found = fetch_in_force(study, tiles[0])
    assert found["residue_grade"].details.marks == ()
    assert [mark for mark in found["removal_force"].details.marks if "past calibration" in mark] == flags_in_force(
        study, tiles[0]
    )
    assert len(flags_in_force(study, tiles[0])) == 1


def test_a_second_grade_alone_is_judged(study: StudyFile, tiles: list[str], signature: Signature) -> None:
    """The first rater has not been yet: grade 4 by the second is unacceptable all the same."""
    words = record_reading(study, tiles[0], {"residue_second": "4"}, read_on=READ, signature=signature)
    assert [word.unacceptable for word in words if word.criterion == "Residue"] == [True]
