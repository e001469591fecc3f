"""The dwell ribbon says what the estimate says, in shape and in words."""

from __future__ import annotations

import itertools
from dataclasses import replace
from types import ModuleType
from xml.etree import ElementTree

import pytest

from study.outputs.palette import DARK, LIGHT, PAPER
from study.outputs.ribbon import axis_months, draw_axis, draw_ribbon, duration_line, ribbon_sentence, stacks

SVG = "{http://www.w3.org/2000/svg}"
OUTCOMES = ("supported", "provisional", "not shown", "stopped")


def squares(svg: str, colour: str) -> int:
    """How many coupons are drawn with an outline of a colour."""
    return sum(
        rect.get("stroke") == colour and float(rect.get("width", "99%").rstrip("%")) < 6
        for rect in ElementTree.fromstring(svg).iter(f"{SVG}rect")
    )


@pytest.mark.parametrize("outcome", OUTCOMES)
def test_every_coupon_is_one_square(made_up: ModuleType, outcome: str) -> None:
    """Each coupon read stands once on the ribbon, however many criteria judge it, filled where any finds it bad."""
    estimate = made_up.pairing(outcome)
    codes = {o.code: False for e in estimate.estimates for o in e.observations if o.unacceptable is not None}
    for criterion in estimate.estimates:
        for seen in criterion.observations:
            if seen.unacceptable:
                codes[seen.code] = True
    svg = draw_ribbon(estimate, months=36, height_px=56)
    assert squares(svg, LIGHT.harm) == sum(codes.values())
    assert squares(svg, LIGHT.quiet) == len(codes) - sum(codes.values())


def test_a_supported_duration_ends_at_its_day(made_up: ModuleType) -> None:
    """The solid bar spans the supported days on the month axis, between the insets."""
    estimate = made_up.pairing("supported")
    svg = draw_ribbon(estimate, months=36, width_px=1000)
    (bar,) = [r for r in ElementTree.fromstring(svg).iter(f"{SVG}rect") if r.get("fill") == LIGHT.accent]
    assert float(bar.get("x", "")) == pytest.approx(25)
    assert float(bar.get("width", "")) == pytest.approx(950 * 561 / 1095, abs=0.01)


def test_each_outcome_has_its_own_shape(made_up: ModuleType) -> None:
    """Solid, hatched, open ring or cross: the outcome is told without colour."""
    drawn = {outcome: draw_ribbon(made_up.pairing(outcome), months=36) for outcome in OUTCOMES}
    assert [name for name, svg in drawn.items() if 'fill="url(#hatch)"' in svg] == ["provisional"]
    assert [name for name, svg in drawn.items() if "<circle" in svg] == ["not shown"]
    assert [name for name, svg in drawn.items() if 'stroke-width="2.4" fill="none"' in svg] == ["stopped"]
    assert [name for name, svg in drawn.items() if f'fill="{LIGHT.accent}"' in svg] == ["supported"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_only_colours_of_the_scheme_are_used(made_up: ModuleType, scheme: str) -> None:
    """A dark ribbon holds no light colour, and the other way round."""
    svg = draw_ribbon(made_up.pairing("provisional"), months=36, scheme=scheme)
    own, other = (LIGHT, DARK) if scheme == "light" else (DARK, LIGHT)
    assert own.accent in svg
    assert other.accent not in svg
    assert other.quiet not in svg


def test_paper_takes_literal_colours(made_up: ModuleType) -> None:
    """A printed ribbon carries its months and its words inside the drawing."""
    svg = draw_ribbon(made_up.pairing("stopped"), months=36, width_px=900, height_px=84, compact=False, palette=PAPER)
    words = [text.text for text in ElementTree.fromstring(svg).iter(f"{SVG}text")]
    assert words[:7] == ["0", "6", "12", "18", "24", "30", "36"]
    assert words[7:] == ["stopped", "because of harm to the surface"]


def test_the_sentence_says_the_pulls(made_up: ModuleType) -> None:
    """Who cannot see the ribbon hears outcome, limit and every pull."""
    said = ribbon_sentence(made_up.pairing("supported"))
    assert said.startswith("18 months; limited by residue. Pulls: 0 of 10 unacceptable at 1 week, ")
    assert "1 of 10 unacceptable at 18 months" in said


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        ("supported", "18 months"),
        ("provisional", "13 months, provisional"),
        ("not shown", "not shown"),
        ("stopped", "stopped"),
    ],
)
def test_duration_line(made_up: ModuleType, outcome: str, words: str) -> None:
    """Months are rounded down, and a number never stands without its standing."""
    assert duration_line(made_up.pairing(outcome).duration) == words


def test_early_stacks_do_not_cover_each_other(made_up: ModuleType) -> None:
    """At the least width the one-week and one-month stacks stand beside each other."""
    svg = draw_ribbon(made_up.pairing("supported"), months=36, width_px=300, height_px=24)
    edges = []
    root = ElementTree.fromstring(svg)
    parent_of = {child: parent for parent in root.iter() for child in parent}
    groups = [g for g in root.iter(f"{SVG}g") if len(g.findall(f"{SVG}rect")) > 1]
    for group in groups:
        own = float(group.get("transform", "")[10:].split()[0])
        outer = float(parent_of[group].get("transform", "")[10:].split()[0])
        lefts = [float(r.get("x", "")) for r in group.findall(f"{SVG}rect")]
        rights = [float(r.get("x", "")) + float(r.get("width", "")) for r in group.findall(f"{SVG}rect")]
        edges.append((outer + own + min(lefts), outer + own + max(rights)))
    assert len(edges) == 8
    assert all(left[1] < right[0] for left, right in itertools.pairwise(edges))


def test_axis_reaches_the_last_pull(made_up: ModuleType) -> None:
    """The shared axis ends at the first half year that holds every pull."""
    assert axis_months([made_up.pairing("supported"), made_up.pairing("stopped")]) == 36
    assert axis_months([made_up.pairing("stopped")]) == 6
    assert ">36<" in draw_axis(months=36)


def test_a_pairing_without_readings_is_drawn(made_up: ModuleType) -> None:
    """Nothing read yet is an empty ribbon with an open end, not an error."""
    bare = made_up.pairing("not shown")
    bare = replace(
        bare, estimates=(), duration=replace(bare.duration, last_dwell_days=0.0, coupons=0, pulls=0, limiting="")
    )
    assert stacks(bare) == []
    assert "<circle" in draw_ribbon(bare, months=6)
    assert ribbon_sentence(bare) == "Not shown. Pulls: no coupon read yet."
