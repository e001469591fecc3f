"""The Analyse page shows every picture an estimate carries, and says beside each that it never decides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from dashboard.components.beside import never_deciding
from dashboard.pages import analyse
from study.commands.estimates import Analysed, Standing
from study.model.estimate import Estimate, GradePull, GradeShares, GroupDifference, LotPooling, ObservedCurve

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
