"""Plan files: what is written is read back as the same plan, and tables say what the numbers are."""

from __future__ import annotations

import pytest

from study.intake.plan_file import parse_plan, template_text
from study.model.support import Chance, Option, chance_words
from study.outputs.plan_file import plan_file_text
from study.outputs.plan_tables import median_words, tabulate_chances, tabulate_options

ODD = r"""
name = "p"
title = "Quotes \" and \\ and µ; = # ["
adhesives = ["gel-a", "wax-b"]
substrates = ["tile"]
environments = ["store"]
pulls = "2 weeks, 1, 3 months"
decision_pulls = "3 months"
[coupons]
"pull-off-dot" = 4
[lots]
"gel-a" = "A-1"
[[change]]
adhesive = "wax-b"
pull = "1 month"
per_pull = 0
[[picture]]
key = "mine"
title = "Mine"
verdict_months = 12.5
"""


@pytest.mark.parametrize("text", [template_text(), ODD])
def test_a_plan_is_read_back_as_it_was(text: str) -> None:
    """Every part of it, odd characters too."""
    plan, protocol = parse_plan(text)
    again, _ = parse_plan(plan_file_text(plan, protocol_schedule=protocol.schedule))
    assert again == plan


def test_the_protocols_own_pulls_are_not_written() -> None:
    """They stay the protocol's, with its windows."""
    bare = "\n".join(
        line for line in ODD.splitlines() if not line.startswith(("pull", "decision_pulls")) or "off" in line
    )
    plan, protocol = parse_plan(bare)
    text = plan_file_text(plan, protocol_schedule=protocol.schedule)
    assert "pulls =" not in text
    assert parse_plan(text)[0] == plan


def test_chances_are_never_rounded_to_certainty() -> None:
    """What happened once is not 0 %, what failed once not 100 %."""
    assert chance_words(0.82, 0.79, 0.84) == "82\u202f% (79 to 84)"
    assert chance_words(0.001, 0.0, 0.006) == "<1\u202f% (0 to <1)"
    assert chance_words(0.999, 0.994, 1.0) == ">99\u202f% (>99 to 100)"
    assert median_words(0) == "not shown"
    assert median_words(None) == "not worked out"
    assert median_words(365) == "12 months (365 d)"


def test_options_that_fell_short_early_say_at_most() -> None:
    """An upper limit is called one; fewest coupons first where asked."""
    chance = Chance("x", 365, 0.5, 0.45, 0.55, 0.4, 0.35, 0.45)
    options = [Option("1, 3 months", 5, 40, 200, chance), Option("1, 3 months", 3, 24, None, chance)]
    rows = tabulate_options(options, by_coupons=True)
    assert [row["coupons"] for row in rows] == ["24", "40"]
    assert rows[0]["chance"].startswith("at most 50\u202f%")
    assert tabulate_chances([chance])[0]["supported"] == "40\u202f% (35 to 45)"
