"""A lamp or chamber out: the protocol says for what the clock stops, pulls and dwell follow, or it is remarked."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from study.commands.at_shelf import coupon_pull, outside_windows
from study.commands.pull import due_pulls, record_pulls
from study.commands.pull_interrupt import (
    end_interruption,
    end_moves,
    foresee_end,
    foresee_interruption,
    interrupt,
    interruption_moves,
    interruptions,
)
from study.commands.read import record_reading
from study.commands.read_form import coupon_form
from study.commands.read_grid import pull_grid
from study.commands.register import register_one
from study.commands.register_placing import correct_placing, foresee_placing
from study.commands.shelf import remarks
from study.commands.today_calendar import calendar_events
from study.errors import NotPossible, Unknown
from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.person import Signature
from study.model.protocol import criteria_changed
from study.store.coupons import fetch_coupons, fetch_histories
from study.store.protocols import fetch_protocols
from study.store.study_file import StudyFile

FROM, TO = date(2025, 3, 1), date(2025, 3, 9)
DEFAULT = known_protocols()["display-dots"]


@pytest.fixture
def stopping(study: StudyFile, tmp_path: Path, signature: Signature) -> str:
    """A set of the same pairing whose protocol stops the clock while the light is out; three coupons at 3 months."""
    text = DEFAULT.read_text("utf-8").replace(
        'clock_start = "placement"', 'clock_start = "placement"\nclock_stops_for = ["light out"]'
    )
    path = tmp_path / "stopping.toml"
    path.write_text(text.replace('version = "2"', 'version = "2-light"'), "utf-8")
    cells = {"set": "lit", "substrate": "sheet", "lot": "A-1", "environment": "store", "protocol": str(path),
             "placed_on": "2025-01-15", "dot_diameter_mm": "8", "dots": "3", "dwell_load_n": "2"}  # fmt: skip
    register_one(study, "sets", cells, signature=signature)
    cells = {"set": "lit", "test": "pull-off-dot", "pull": "3 months", "count": "3"}
    register_one(study, "coupons", cells, signature=signature)
    return "lit"


@pytest.fixture
def of(study: StudyFile) -> Callable[[str], list[str]]:
    """Codes of a set for the 3 months pull by pull-off."""
    return lambda key: [
        c.code
        for c in fetch_coupons(study).values()
        if (c.set_key, c.test, c.pull_label) == (key, "pull-off-dot", "3 months")
    ]


def test_the_default_protocol_keeps_its_text(tmp_path: Path) -> None:
    """A protocol that stops for nothing has the text and digest it had before the field was known; a change is said."""
    plain = parse_protocol(DEFAULT)
    assert "clock_stops_for" not in plain.text()
    other = plain.model_copy(update={"clock_stops_for": ("light out", "moved")})
    assert '"clock_stops_for": [\n  "light out",\n  "moved"\n ]' in other.text()
    assert criteria_changed(plain, other) == ["the clock stops for nothing → light out, moved"]


def test_nine_days_out_move_the_pulls_of_one_set_alone(
    study: StudyFile, stopping: str, of: Callable[[str], list[str]], signature: Signature
) -> None:
    """The set whose clock stops is due nine days later, in list, calendar and window; for the others it is a remark."""
    before = {event.uid: event for event in calendar_events(study, on=TO)}
    done = interrupt(study, "store", "light out", from_on=FROM, to_on=TO, note="Ballast.", signature=signature)
    assert done.stopped == (stopping,)
    assert done.running == ("sheet", "tile")
    assert [(m.set_key, m.pull, m.before, m.after) for m in done.moved] == [
        ("lit", "3 months", date(2025, 4, 15), date(2025, 4, 24))
    ]
    due = {p.set_key: p for p in due_pulls(study, on=date(2025, 4, 20))}
    assert (due["lit"].window_from, due["lit"].due_on) == (date(2025, 4, 17), date(2025, 4, 24))
    assert (due["lit"].window_to, due["sheet"].window_to) == (date(2025, 5, 1), date(2025, 4, 22))
    assert coupon_pull(study, of("lit")[0]).due_on == date(2025, 4, 24)
    outside = outside_windows(study, [*of("lit"), *of("sheet")], on=date(2025, 4, 30))
    assert [one.set_key for one in outside] == ["sheet"]
    after = {event.uid: event for event in calendar_events(study, on=TO)}
    (moved,) = [uid for uid in after if after[uid].on != before[uid].on]
    assert after[moved].on == date(2025, 4, 24)
    assert after[moved].sequence > before[moved].sequence
    told = [t for t in remarks(study, "P02") if "Light out" in t]
    assert told == [
        "Light out in store, dark, 2025-03-01 to 2025-03-09 (9 days): the clock of dwell ran on. Ballast."
    ]  # fmt: skip


def test_a_corrected_day_of_placing_leaves_the_days_out_too(
    study: StudyFile, stopping: str, signature: Signature
) -> None:
    """What is foreseen for a set whose clock stood still is what its due list then says."""
    interrupt(study, "store", "light out", from_on=FROM, to_on=TO, signature=signature)
    (found,) = foresee_placing(study, [stopping], date(2025, 1, 10), signature=signature)
    assert [(label, (after - before).days) for label, before, after in found.due] == [("3 months", -5)]
    assert found.due[0][1] == date(2025, 4, 24)
    correct_placing(study, [stopping], date(2025, 1, 10), signature=signature)
    waiting = {pull.set_key: pull.due_on for pull in due_pulls(study, on=date(2025, 4, 24))}
    assert waiting[stopping] == found.due[0][2]


def test_dwell_and_groups_leave_the_days_out_as_known_then(
    study: StudyFile, stopping: str, of: Callable[[str], list[str]], signature: Signature
) -> None:
    """A coupon off on 30 April has dwelt 96 d and is of the 3 months pull; before the entry it stood alone at 105 d."""
    day = date(2025, 4, 30)
    record_pulls(study, [of(stopping)[0], of("sheet")[0]], kind="pulled", on=day, signature=signature)
    cells = {"kind": "released by itself", "on": date(2025, 3, 8), "last_seen": "2025-03-03"}
    record_pulls(study, [of(stopping)[1]], signature=signature, **cells)  # type: ignore[arg-type]
    known, protocols = study.last_change(), fetch_protocols(study)
    interrupt(study, "store", "light out", from_on=FROM, to_on=TO, signature=signature)
    interrupt(study, "store", "light out", from_on=date(2025, 3, 5), to_on=date(2025, 3, 7), signature=signature)

    def found(change: int) -> dict[str, tuple[float, float, str]]:
        groups = fetch_histories(study, protocols, change=change).values()
        return {h.code: (h.dwell_days, h.last_seen_days, h.pull_group) for group in groups for h in group}

    now = found(study.last_change())
    assert now[of(stopping)[0]] == (96, 0, "3 months")
    assert now[of("sheet")[0]] == (105, 0, "105 d")
    # Released while the clock stood: on the clock it let go within the last day before it stopped.
    assert now[of(stopping)[1]] == (45, 44, "45 d")
    # The bench says the same dwell, and puts the coupon into the grid of the pull it really was part of.
    assert coupon_form(study, of(stopping)[0]).dwell_days == 96
    (row,) = [r for r in pull_grid(study, set_key=stopping, pull="3 months").rows if r.coupon.code == of(stopping)[0]]
    assert row.dwell_days == 96
    then = found(known)
    assert then[of(stopping)[0]] == (105, 0, "105 d")
    assert then[of(stopping)[1]] == (52, 47, "52 d")
    told = [t for t in remarks(study, "P01") if "2025-03-09" in t]
    assert told == [
        "Light out in store, dark, 2025-03-01 to 2025-03-09 (9 days): left out of dwell under one version of the "
        "protocol, not under the other."
    ]


def test_durations_that_a_stopped_clock_moves_are_said_first(
    study: StudyFile, stopping: str, of: Callable[[str], list[str]], signature: Signature
) -> None:
    """Of what was read at an age that changes alone: of the set whose clock stops, not of the others."""
    for key in (stopping, "tile"):
        record_pulls(study, of(key)[:1], kind="pulled", on=date(2025, 4, 15), signature=signature)
        record_reading(study, of(key)[0], {"residue_grade": "1"}, read_on=date(2025, 4, 16), signature=signature)
    before = study.last_change()
    days = {"from_on": FROM, "to_on": TO}
    (moved,) = interruption_moves(study, "store", "light out", **days, signature=signature)
    assert (moved.before, moved.after, moved.moves) == ("not shown", "not shown", False)
    assert moved.key.startswith("P01/")
    assert interruption_moves(study, "store", "access", **days, signature=signature) == []
    seen = foresee_interruption(study, "store", "light out", **days, signature=signature)
    assert seen.sentences()[0] == "Dwell leaves out 9 days in lit; readings after them count at that age."
    assert study.last_change() == before
    number = interrupt(study, "store", "light out", **days, signature=signature).interruption.number
    back = foresee_end(study, number, signature=signature).sentences(back=True)
    assert back[0] == "Dwell counts these 9 days again in lit; readings after them count at that age."
    (moved,) = end_moves(study, number, signature=signature)
    assert (moved.key.split("/")[0], moved.moves) == ("P01", False)
    assert [one.number for one in interruptions(study)] == [number]


def test_taken_back_it_is_as_before(study: StudyFile, stopping: str, signature: Signature) -> None:
    """An entry made by mistake is taken back with a reason; the pulls fall where they fell."""
    done = interrupt(study, "store", "light out", from_on=FROM, to_on=TO, signature=signature)
    number = done.interruption.number
    with pytest.raises(NotPossible, match="needs a reason"):
        end_interruption(study, number, signature=signature.because(""))
    back = end_interruption(study, number, signature=signature)
    assert [(m.before, m.after) for m in back.moved] == [(date(2025, 4, 24), date(2025, 4, 15))]
    assert interruptions(study) == []
    assert not any("Light out" in told for told in remarks(study, "P01"))
    with pytest.raises(Unknown, match="no interruption"):
        end_interruption(study, number, signature=signature)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"environment": "attic"}, "not an environment"),
        ({"kind": "rain"}, "not an interruption"),
        ({"to_on": date(2025, 2, 1)}, "is before"),
        ({"to_on": date(2027, 1, 1)}, "lies ahead"),
    ],
)
def test_what_is_refused(study: StudyFile, signature: Signature, change: dict[str, object], match: str) -> None:
    """Each refusal names the value, and nothing is written."""
    asked: dict[str, object] = {"environment": "store", "kind": "light out", "from_on": FROM, "to_on": TO, **change}
    with pytest.raises((NotPossible, Unknown), match=match):
        interrupt(study, signature=signature, **asked)  # type: ignore[arg-type]
    assert interruptions(study) == []
    interrupt(study, "store", "light out", from_on=FROM, to_on=TO, signature=signature)
    with pytest.raises(NotPossible, match="on record already"):
        interrupt(study, "store", "light out", from_on=FROM, to_on=TO, signature=signature)
