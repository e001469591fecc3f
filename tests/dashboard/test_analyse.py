"""The Analyse page shows every picture an estimate carries, and says beside each that it never decides."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dashboard.components.against import against_links, dose_shown, known_against
from dashboard.components.beside import never_deciding
from dashboard.pages import analyse
from study.commands.analyse import analyse_one
from study.commands.analyse_dose import dose_pictures
from study.commands.estimates import Analysed, Standing
from study.commands.opening import open_study
from study.commands.read_climate import LoggerFile, record_climate
from study.model.estimate import Estimate, GradePull, GradeShares, GroupDifference, LotPooling, ObservedCurve
from study.model.person import Signature

Said = Callable[[Any], str]
GRADES = GradeShares("sqrt", 10, 0, ((0, 1), (2, 2)), (GradePull(91, 5, (4,), (4,)), GradePull(365, 5, (1,), (1,))))
CURVE = ObservedCurve((100.0,), (0.9,), (0.6,), (0.99,), 10, 1, "Kaplan-Meier, log-log limits")


@pytest.fixture
def carrying(standings: list[Standing]) -> Callable[..., Analysed]:
    """The first pairing, its chosen criterion carrying what is asked."""

    def change(criterion: str, **carried: Any) -> Analysed:
        analysed = standings[0].analysed
        changed = tuple(replace(e, **carried) if e.criterion == criterion else e for e in analysed.estimate.estimates)
        return replace(analysed, estimate=replace(analysed.estimate, estimates=changed))

    return change


def keys(shown: list[Any]) -> list[str]:
    """The figures of a page, in order."""
    return [figure.children[1].id for figure in shown]


def test_grades_have_their_figure(carrying: Callable[..., Analysed], said: Said) -> None:
    """Residue shows its shares by grade beneath the acceptable share; other criteria have no such figure."""
    analysed = carrying("residue", grades=GRADES)
    shown = analyse.figures_shown(analysed, "residue", scheme="light")
    assert keys(shown)[:3] == ["decline", "share", "grades"]
    assert "never decides" in said(shown[2])
    assert "grades" not in keys(analyse.figures_shown(analysed, "removal-force", scheme="light"))


def test_hold_watched_every_day_has_its_figure(carrying: Callable[..., Analysed], said: Said) -> None:
    """Where ends were seen on their days, the curve stands on the page; else it does not."""
    shown = analyse.figures_shown(carrying("hold", watched=CURVE), "hold", scheme="dark")
    assert "watched" in keys(shown)
    assert "1 became unacceptable" in said(shown)
    assert "watched" not in keys(analyse.figures_shown(carrying("hold"), "hold", scheme="dark"))


def test_lots_and_rooms_are_told_beside(carrying: Callable[..., Analysed], said: Said) -> None:
    """Pooling of lots and a comparison of environments are sentences under the figures."""
    estimates: tuple[Estimate, ...] = carrying("hold").estimate.estimates
    force = next(e for e in estimates if e.criterion == "removal-force")
    assert force.decline is not None
    lots = LotPooling(("A-1", "A-2"), 0.61, 0.4, "one line", 300.0)
    rooms = GroupDifference(("gallery", "store"), 5.46, 1, 0.019, "log-rank")
    text = said(never_deciding(replace(force, decline=replace(force.decline, lots=lots)), elsewhere=rooms))
    assert "lots A-1 and A-2 pooled at 0.25, p = 0.61" in text
    assert "environments “gallery” and “store” differ: log-rank 5.46" in text
    assert "pooled" not in said(never_deciding(force))


def test_what_is_not_reached_is_no_number(carrying: Callable[..., Analysed], said: Said) -> None:
    """A figure beside the bound that stays within the limit to the last pull is told so, not as the last day."""
    estimates: tuple[Estimate, ...] = carrying("hold").estimate.estimates
    force = next(e for e in estimates if e.criterion == "removal-force")
    assert force.decline is not None
    decline = replace(force.decline, lower_alike_days=None, mean_limit_days=432.9)
    text = said(never_deciding(replace(force, decline=decline)))
    assert "If all pulls were alike: not reached by the last pull" in text
    assert "Mean reaches the limit: 432\u202fd (14 months)" in text


def test_against_light_dose_is_a_picture(demo_path: Path, said: Said) -> None:
    """Without a record it says what to do; with one it shows the readings, and says that it never decides."""
    with open_study(demo_path) as study:
        found = analyse_one(study, "P01")
        nothing = dose_pictures(study, found, against="dose")["removal-force"]
        assert "40 readings are not shown: nothing was logged over their dwell" in said(
            dose_shown(nothing, "dose", scheme="light")
        )
        rows = ["time,lux", *(f"{date(2023, 3, 6) + timedelta(day)} 12:00,100" for day in range(800))]
        record_climate(
            study, LoggerFile("lux.csv", "\n".join(rows).encode(), "UTC"), environment="gallery-lit",
            signature=Signature("R. Vale", datetime(2026, 3, 2, tzinfo=UTC), ""),
        )  # fmt: skip
        shown = dose_shown(dose_pictures(study, found, against="dose")["removal-force"], "dose", scheme="dark")
    text = said(shown)
    assert "never against light dose" in text
    assert "5 readings at hollow arrows had at least that much" in text
    assert keys(shown[:1]) == ["against-dose"]
    assert "no readings on a scale" in said(dose_shown(None, "heat", scheme="light"))


def test_the_axis_is_chosen_by_link(standings: list[Standing]) -> None:
    """Days, light dose and heat, the chosen one marked; an unknown word means days."""
    links = against_links("P01/A-2", "hold", known_against("heat")).children[1:]
    assert [link.className for link in links] == ["word", "word", "word here"]
    assert links[0].href == "/analyse?pairing=P01%2FA-2&criterion=hold"
    assert links[1].href.endswith("&against=dose")
    assert known_against("weather") is None


def test_the_list_says_what_has_no_duration(carrying: Callable[..., Analysed], said: Said) -> None:
    """Counts of all four outcomes stand above the list, and a stop or a missing duration looks like one in the grid."""
    found = carrying("hold")
    cases = [
        replace(found, estimate=replace(found.estimate, duration=replace(found.estimate.duration, outcome=o)))
        for o in ("supported", "not shown", "stopped", "stopped")
    ]
    assert analyse.status_line(cases) == (
        "Of 4 pairings 1 carry a supported duration, 0 a provisional one; 1 not shown, 2 stopped."
    )
    assert analyse.status_line(cases[:1]).endswith("0 a provisional one.")
    looks = str(analyse.matrix(cases))
    assert [looks.count(f"className='{tone}'") for tone in ("shown", "plain", "harm")] == [1, 1, 2]


def test_a_caption_names_only_marks_that_are_there(carrying: Callable[..., Analysed]) -> None:
    """Triangles are explained where a reading is a bound, and a line of two grades where there is one."""
    estimates = {e.criterion: e for e in carrying("hold").estimate.estimates}
    asked: dict[str, Any] = {"confidence": 0.95, "permitted": 0.1}
    hold, residue = estimates["hold"], estimates["residue"]
    for estimate, raised, word in ((hold, math.inf, "Triangles"), (residue, 1, "A line joins two grades")):
        first, *others = (replace(o, upper=o.lower) for o in estimate.observations)
        assert word not in analyse.decline_words(replace(estimate, observations=(first, *others)), **asked)
        bounded = (replace(first, upper=first.lower + raised), *others)
        assert word in analyse.decline_words(replace(estimate, observations=bounded), **asked)
