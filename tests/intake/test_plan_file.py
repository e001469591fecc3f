"""Plan files and schedules in plain words: read as meant, refused with every fault and its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from study.errors import FileRefused
from study.intake.cells import CellFault
from study.intake.plan_file import common_pictures, common_schedules, parse_plan, parse_plan_file
from study.intake.protocol_file import known_protocols, parse_protocol
from study.intake.schedule_words import parse_decisions, parse_pulls, parse_span

WHOLE = """
name = "glass-2027"
adhesives = ["gel-a", "wax-b"]
substrates = ["tile", "sheet"]
environments = ["store"]
pulls = "1 week, 1, 3, 6, 12 months"
[coupons]
"pull-off-dot" = 5
"hold-angle" = 3
[controls]
blanks_per_pull = 3
spare_share = 0.1
[bench.minutes]
"hold-angle" = 20.0
[[change]]
adhesive = "wax-b"
pull = "12 mo"
per_pull = 8
[[picture]]
key = "slow"
title = "My slow one"
readings_months = 48.0
"""


@pytest.mark.parametrize(
    ("typed", "labels"),
    [
        (
            "1 week, 1, 3, 6, 12, 18, 24, 36 months",
            "1 week|1 month|3 months|6 months|12 months|18 months|24 months|36 months",
        ),
        ("0, 1 wk, 1 mo, 1 year", "1 week|1 month|12 months"),
        ("time zero; 1, 2 weeks and 3 Months", "1 week|2 weeks|3 months"),
        ("every 6 months to 12 months, every year to 3 years", "6 months|12 months|24 months|36 months"),
        ("1 week, every month to 3 months", "1 week|1 month|2 months|3 months"),
        ("6 months then every 6 months to 2 years", "6 months|12 months|18 months|24 months"),
    ],
)  # fmt: skip
def test_a_unit_carries_to_the_numbers_before_it(typed: str, labels: str) -> None:
    """Pulls as a person writes them."""
    assert [pull.label for pull in parse_pulls(typed)] == labels.split("|")


def test_windows_are_those_of_the_default_protocol() -> None:
    """The house rule gives the windows that the protocol states for the same pulls."""
    own = parse_protocol(known_protocols()["display-dots"]).schedule.pulls
    assert parse_pulls("1 week, 1, 3, 6, 12, 18, 24, 36 months") == own


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "names no pull"),
        ("3, 6", "without a unit"),
        ("3 fortnights", "unit “fortnights”"),
        ("6, 3 months", "3 months after"),
        ("3, 3 months", "3 months after"),
        ("soon", "no time after placing"),
        ("every 5 months to 12 months", "do not end there"),
        ("every 2 weeks to 3 months", "Count weeks"),
        ("99 years", "between 1 week and 50 years"),
        ("1.5 months", "no time"),
        ("every month to 50 years", "600 pulls"),
    ],
)
def test_words_that_are_no_schedule_are_refused(typed: str, words: str) -> None:
    """With what was found and what to write."""
    with pytest.raises(CellFault, match=words) as refusal:
        parse_pulls(typed)
    assert refusal.value.do


def test_decision_pulls_are_among_the_pulls() -> None:
    """Named in the same words; the last pull where none is named; one span alone where one is asked for."""
    pulls = parse_pulls("3, 6, 12 months")
    assert parse_decisions("6, 12 months", pulls) == ("6 months", "12 months")
    assert parse_decisions("1 year", pulls) == ("12 months",)
    assert parse_decisions("", pulls) == ("12 months",)
    with pytest.raises(CellFault, match="not among the pulls"):
        parse_decisions("9 months", pulls)
    with pytest.raises(CellFault, match="more than one"):
        parse_span("1, 2 months")


def test_a_whole_file_is_read(tmp_path: Path) -> None:
    """Tests with what follows them, changes in the schedule's spelling, own minutes and pictures beside the usual."""
    path = tmp_path / "plan.toml"
    path.write_text(WHOLE, "utf-8")
    plan, protocol = parse_plan_file(path)
    assert protocol.key == "display-dots"
    assert plan.tests[0].then_read == ("residue-0-5", "discoloration-de00")
    assert plan.changes[0].pull == "12 months"
    assert plan.schedule.decision_pulls == ("12 months",)
    assert plan.bench.minutes["hold-angle"] == 20
    assert plan.bench.minutes["pull-off-dot"] == 6
    assert plan.blank_reads == ("discoloration-de00",)
    assert plan.picture("slow").title == "My slow one"
    assert plan.picture("fast").readings_months == 12


def test_common_schedules_are_read() -> None:
    """Each that comes with Dwellbook can be named in a plan, and its decision pulls are among its pulls."""
    for key in common_schedules():
        text = WHOLE.replace('pulls = "1 week, 1, 3, 6, 12 months"', f'schedule = "{key}"')
        plan, _ = parse_plan(text)
        assert len(plan.schedule.pulls) == (9 if key == "shelf-life-five-years" else 8)
        assert len(plan.schedule.decision_pulls) >= 2
    assert {picture.key for picture in common_pictures()} == {"slow", "middling", "fast"}
    plan, protocol = parse_plan(WHOLE.replace('pulls = "1 week, 1, 3, 6, 12 months"', ""))
    assert plan.schedule == protocol.schedule


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ('"hold-angle" = 3', '"hold-angel" = 3', "coupons.hold-angel: “3” is not a destructive test"),
        ('pulls = "1 week', 'pulls = "1 fortnight', "pulls:"),
        ("pulls =", 'schedule = "odd"\npulls =', "stands beside pulls"),
        ('adhesive = "wax-b"', 'adhesive = "wax-z"', "adhesive wax-z is not in the plan"),
        ('pull = "12 mo"', 'pull = "13 mo"', "pull 13 months is not in the plan"),
        ('pull = "12 mo"', 'pull = "6, 12 mo"', "more than one pull"),
        ("spare_share = 0.1", "spare_share = 10", "controls.spare_share"),
        ('name = "glass-2027"', 'name = "Glass 2027!"', "name: “glass-2027!” is no name that can be kept. Use small"),
        (
            'adhesives = ["gel-a"',
            'adhesives = ["gel a"',
            "adhesives[1]: “gel a” is no name that can be kept. Use letters",
        ),
        ('name = "glass-2027"', "", "name: Field required"),
        ("[controls]", "[contorls]", "contorls"),
        ('name = "glass-2027"', 'name = "glass-2027', "not readable as TOML"),
        ('name = "glass-2027"', 'name = "g"\nprotocol = "none.toml"', "cannot be read"),
        ("readings_months = 48.0", "readings_months = -1.0", "pictures[1].readings_months"),
    ],
)
def test_faults_are_told_with_their_place(before: str, after: str, words: str) -> None:
    """What and where, and what to do."""
    assert before in WHOLE
    with pytest.raises(FileRefused) as refusal:
        parse_plan(WHOLE.replace(before, after), name="plan.toml")
    assert words in str(refusal.value)


def test_a_name_is_brought_to_its_one_spelling() -> None:
    """Capitals and spaces of a plan's name are folded; names of the register are taken as they are registered."""
    plan, _ = parse_plan(WHOLE.replace('"glass-2027"', '" Glass_2027  Spring "').replace("gel-a", "Gel_A.2"))
    assert plan.name == "glass-2027-spring"
    assert plan.adhesives[0] == "Gel_A.2"


def test_all_faults_are_told_at_once() -> None:
    """A wrong pull does not hide a wrong share."""
    text = WHOLE.replace('pulls = "1 week', 'pulls = "1 fortnight').replace("spare_share = 0.1", "spare_share = 10")
    with pytest.raises(FileRefused) as refusal:
        parse_plan(text)
    assert {problem.column for problem in refusal.value.problems} == {"pulls", "controls.spare_share"}


@pytest.mark.parametrize("text", ["coupons = 3", "controls = 1", "bench = 4", 'change = "x"', "picture = 3"])
def test_words_where_tables_belong_are_refused(text: str) -> None:
    """A number where a table belongs is no crash."""
    with pytest.raises(FileRefused):
        parse_plan(f'{text}\nname = "a"\nadhesives = ["a"]\nsubstrates = ["b"]\nenvironments = ["c"]')
