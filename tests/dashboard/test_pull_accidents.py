"""The page Pull offers what accidents need: a missing coupon's place, lamps and racks, and who is in charge."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from dashboard.book import Book
from dashboard.pages import pull as pull_page
from dashboard.pull import changed, happened, in_charge, replanning
from study.commands.display import add_display
from study.commands.keep_duties import duties
from study.commands.opening import open_study
from study.commands.pull import due_pulls, record_pulls
from study.commands.pull_interrupt import interruptions
from study.commands.pull_move import shelves
from study.commands.read import record_reading
from study.commands.register import register_one
from study.intake.protocol_file import known_protocols
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.positions import save_positions

Said = Callable[[Any], str]
DUE = date(2025, 4, 15)
OBJECT = {
    "object": "2019.44", "location": "Case 3", "lot": "A-1", "object_pairing": "P03", "support_pairing": "P01",
    "environment": "gallery-lit", "dots": "3", "dot_diameter_mm": "8", "load_n": "2", "placed_on": "2026-01-05",
    "placed_by": "M. Quill",
}  # fmt: skip


@pytest.fixture
def missing(small: Book, signature: Signature) -> tuple[str, str]:
    """A coupon lost at its pull, and a spare of its set."""
    with open_study(small.study_file) as study:
        register_one(study, "coupons", {"set": "sheet", "test": "hold-angle"}, signature=signature)
        code = due_pulls(study, on=DUE)[0].codes[0]
        record_pulls(study, [code], kind="lost", on=DUE, signature=signature)
        spare = list(fetch_coupons(study))[-1]
    return code, spare


def test_a_missing_coupons_place_is_offered_given_and_taken_back(
    small: Book, missing: tuple[str, str], said: Said
) -> None:
    """The spare stands first with its counts; given, the page says who has it; taken back, it is free again."""
    code, spare = missing
    text = said(replanning.place_shown(small, code))
    assert f"{code} is missing there" in text
    assert f"{spare}: spare" in str(replanning.place_shown(small, code))
    assert "3 instead of 2" in text
    refused, kept = replanning.done(small, code, spare, by="R. Vale", why="", taken=False)
    assert not kept
    assert "needs a reason" in said(refused)
    shown, kept = replanning.done(small, code, spare, by="R. Vale", why="It fell.", taken=False)
    assert kept
    assert f"{spare} takes the place: pull-off-dot, 3 months" in said(shown)
    assert "has taken it" in said(replanning.place_shown(small, code))
    _, kept = replanning.done(small, code, spare, by="R. Vale", why="It was found.", taken=True)
    assert kept
    assert "is missing there" in said(replanning.place_shown(small, code))


def test_nothing_is_offered_where_nothing_is_missing(small: Book) -> None:
    """A coupon that waits, or came off as planned, has no such section."""
    with open_study(small.study_file) as study:
        code = due_pulls(study, on=DUE)[0].codes[0]
    assert replanning.place_shown(small, code) == []


def test_a_lamp_is_recorded_and_taken_back(small: Book, said: Said) -> None:
    """What follows is said; the list has it; a fault is refused; taken back with a reason it is gone."""
    typed = {"environment": "store", "kind": "light out", "from": "2025-03-01", "to": "2025-03-09", "by": "R. Vale"}
    shown, kept = happened.done(small, "interrupt", typed)
    assert kept
    assert "The clock runs on in sheet, tile" in said(shown)
    assert "light out" in said(pull_page.layout(small, view="happened"))
    for wrong, words in (({"to": "soon"}, "is not a day"), ({"by": ""}, "Nobody's name"), ({"kind": "rain"}, "rain")):
        shown, kept = happened.done(small, "interrupt", {**typed, **wrong})
        assert not kept
        assert words in said(shown)
    assert happened.done(small, "back", {"number": "1", "by": "R. Vale", "why": "Another room."})[1]
    with open_study(small.study_file) as study:
        assert interruptions(study) == []


def test_moved_durations_wait_for_a_second_step(
    small: Book, said: Said, signature: Signature, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What follows for the clock is said without an estimate; the durations come after, where a clock stops at all."""
    text = known_protocols()["display-dots"].read_text("utf-8").replace('version = "2"', 'version = "2-light"')
    path = tmp_path / "stopping.toml"
    path.write_text(text.replace('t = "placement"', 't = "placement"\nclock_stops_for = ["light out"]'), "utf-8")
    cells = {"set": "lit", "substrate": "sheet", "lot": "A-1", "environment": "store", "protocol": str(path),
             "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2"}  # fmt: skip
    with open_study(small.study_file) as study:
        register_one(study, "sets", cells, signature=signature)
        cells = {"set": "lit", "test": "pull-off-dot", "pull": "3 months", "count": "2"}
        register_one(study, "coupons", cells, signature=signature)
    typed = {"environment": "store", "kind": "light out", "from": "2025-03-01", "to": "2025-03-09"}
    assert "None rests on them yet." in said(happened.moves_shown(small, "interrupt", typed))
    with open_study(small.study_file) as study:
        code = next(coupon.code for coupon in fetch_coupons(study).values() if coupon.set_key == "lit")
        record_pulls(study, [code], kind="pulled", on=DUE, signature=signature)
        record_reading(study, code, {"residue_grade": "1"}, read_on=DUE, signature=signature)
    assert "stays not shown" in said(happened.moves_shown(small, "interrupt", typed))
    assert "is before" in said(happened.moves_shown(small, "interrupt", {**typed, "to": "2025-02-01"}))
    monkeypatch.delattr(happened, "interruption_moves")
    shown, moving = happened.foreseen(small, "interrupt", typed)
    assert moving
    assert "Dwell leaves out 9" in said(shown)
    assert not happened.foreseen(small, "interrupt", {**typed, "kind": "access"})[1]
    assert happened.done(small, "interrupt", {**typed, "by": "R. Vale"})[1]
    shown, moving = happened.foreseen(small, "back", {"number": "1"})
    assert moving
    assert "Dwell counts these 9 days again" in said(shown)
    assert "stays not shown" in said(happened.moves_shown(small, "back", {"number": "1"}))
    assert "There is no interruption 7" in said(happened.moves_shown(small, "back", {"number": "7"}))


def test_a_rack_is_moved(small: Book, said: Said, signature: Signature) -> None:
    """All that stands on a shelf is on another one; an unknown shelf is refused with those that are known."""
    with open_study(small.study_file) as study, study.change(signature, act="place", subject="test") as change:
        save_positions(study, {code: ("A", n) for n, code in enumerate(fetch_coupons(study), 1)}, change=change)
    assert "Shelves with coupons: A." in said(pull_page.layout(small, view="happened"))
    typed = {"from": "A", "to": "B", "on": "2025-04-15", "by": "R. Vale"}
    assert "24 coupons stand on shelf B now." in said(happened.done(small, "move", typed)[0])
    assert "Shelves with coupons: B" in said(happened.done(small, "move", typed)[0])
    with open_study(small.study_file) as study:
        assert shelves(study) == ["B"]


def test_a_tile_says_where_its_coupon_stands(small: Book, said: Said, signature: Signature) -> None:
    """The list that is scanned goes along the shelf and names each place; the coupon's own page does so too."""
    with open_study(small.study_file) as study, study.change(signature, act="place", subject="test") as change:
        code = due_pulls(study, on=DUE)[0].codes[-1]
        save_positions(study, {code: ("A", 7)}, change=change)
    shown = said(pull_page.layout(small, view="scan"))
    assert f"{code}  A · 7" in shown
    assert shown.index(code) < min(shown.index(other) for other in due_codes(small) if other != code)
    assert "Stands at A · 7" in said(pull_page.layout(small, code=code))


def due_codes(book: Book) -> list[str]:
    with open_study(book.study_file) as study:
        return [code for pull in due_pulls(study, on=DUE) for code in pull.codes]


def test_whoever_is_in_charge_stands_on_the_list_and_hands_over(small: Book, said: Said) -> None:
    """Named, shown beside each pull, handed over with what is open."""
    assert "Nobody is named yet" in said(pull_page.layout(small, view="charge"))
    shown, kept = in_charge.done(
        small, "name", {"duty": "pulls", "person": "M. Quill", "on": "2025-01-01", "by": "R. Vale"}
    )
    assert kept
    assert "M. Quill" in said(pull_page.layout(small))
    typed = {"from": "M. Quill", "to": "A. Reed", "on": "2025-04-15", "by": "R. Vale"}
    assert "needs a reason" in said(in_charge.done(small, "over", typed)[0])
    shown, kept = in_charge.done(small, "over", {**typed, "why": "She leaves."})
    assert kept
    assert "A. Reed is in charge of pulls." in said(shown)
    assert "3 months of sheet, 6 coupons" in said(shown)
    with open_study(small.study_file) as study:
        assert [(one.duty, one.person) for one in duties(study)] == [("pulls", "A. Reed")]
    assert "Hand over" in said(pull_page.layout(small, view="charge"))


def test_what_a_maker_changed_stands_with_what_rests_on_it(demo_path: Path, said: Said, signature: Signature) -> None:
    """An object on a discontinued gel, and its successor compared where it stands on the same surface."""
    demo = Book(study_file=demo_path, today=lambda: date(2026, 11, 24))
    with open_study(demo_path) as study:
        add_display(study, OBJECT, signature=signature)
    shown = said(pull_page.layout(demo, view="changed"))
    assert "discontinued" in shown
    assert "1 object on show stands on Acrylic gel A: 2019.44." in shown
    assert "gel-b follows it" in shown
    assert "They keep their dates" in shown
    compared = said(changed.bridges_shown(demo))
    assert "P12, Acrylic gel B on" in compared
    assert "No difference shown with n =" in compared


def test_a_protocol_is_amended_on_the_page(small: Book, said: Said) -> None:
    """What it does is said as soon as a file is chosen, and nothing is written until it is recorded with a reason."""
    text = known_protocols()["display-dots"].read_text("utf-8").replace('version = "2"', 'version = "3"')
    sent = "data:;base64," + b64encode(text.replace("limit = 20.0", "limit = 25.0").encode()).decode()
    typed = {"subject": "display-dots", "on": "2025-03-01", "by": "R. Vale"}
    assert "every set under display-dots" in str(pull_page.layout(small, view="changed"))
    assert changed.foreseen(small, typed, None, None) == ([], False)
    shown, moving = changed.foreseen(small, typed, sent, "three.toml")
    assert not moving, "nothing was read yet"
    seen = said(shown)
    assert "display-dots 2 → display-dots 3 for 2 sets: sheet, tile." in seen
    assert "Judged differently: removal force: limit 20 → 25." in seen
    assert "lies ahead" in said(changed.foreseen(small, {**typed, "on": "2030-01-01"}, sent, "three.toml")[0])
    assert "not readable as TOML" in said(changed.foreseen(small, typed, "data:;base64,W1s=", "odd.toml")[0])
    for named in ("display-dots", str(small.study_file)):
        # An empty file is an empty protocol; the name a browser sends is never opened here.
        empty = said(changed.foreseen(small, typed, "data:;base64,", named)[0])
        assert "key: Field required" in empty
    assert "None rests on them yet." in said(changed.moves_shown(small, typed, sent, "three.toml"))
    for wrong, words in (
        ({"by": ""}, "Nobody's name"), ({}, "needs a reason"), ({"why": "x", "subject": "P99"}, "neither a pairing"),
    ):  # fmt: skip
        shown, kept = changed.done(small, {**typed, **wrong}, sent, "three.toml")
        assert not kept
        assert words in said(shown)
    assert "No file is chosen" in said(changed.done(small, typed, None, None)[0])
    shown, kept = changed.done(small, {**typed, "why": "Stronger hands."}, sent, "three.toml")
    assert kept
    assert "display-dots 3 holds for 2 sets from" in said(shown)
    assert "removal force: limit 20 → 25" in said(pull_page.layout(small, view="changed"))
