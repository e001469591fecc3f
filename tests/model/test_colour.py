"""Conditions of a colour reading, and what sets two readings apart."""

from __future__ import annotations

from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from study.model.colour import BACKINGS, GEOMETRIES, ILLUMINANTS, OBSERVERS_DEG, SPECULAR, ColourConditions, mixed

USUAL = ColourConditions(
    illuminant="D65", observer_deg=10, specular="SCI", geometry="d/8", aperture_mm=8, backing="white"
)
CONDITIONS = st.builds(
    ColourConditions,
    illuminant=st.sampled_from((*ILLUMINANTS, "")),
    observer_deg=st.sampled_from((*OBSERVERS_DEG, None)),
    specular=st.sampled_from(("SCE", "")),
    geometry=st.sampled_from((*GEOMETRIES, "")),
    aperture_mm=st.sampled_from((4.0, 8.0, None)),
    backing=st.sampled_from((*BACKINGS, "")),
)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"illuminant": "A"}, "The illuminant differs: D65 before, A after."),
        ({"observer_deg": 2}, "The observer differs: 10° observer before, 2° observer after."),
        ({"specular": "SCE"}, "The gloss setting differs: SCI before, SCE after."),
        ({"geometry": "45/0", "specular": ""}, "The geometry differs: d/8 before, 45/0 after."),
        ({"aperture_mm": 4}, "The aperture differs: 8 mm before, 4 mm after."),
        ({"backing": "none"}, "The backing differs: white backing before, no backing after."),
    ],
)
def test_each_difference_is_named(changed: dict[str, Any], sentence: str) -> None:
    """Readings that cannot be compared say why, with both sides."""
    other = ColourConditions(**{**USUAL.model_dump(), **changed})
    assert mixed(USUAL, other) == (sentence,)


def test_all_differences_are_named_at_once() -> None:
    """A reading from another instrument altogether."""
    assert len(mixed(USUAL, ColourConditions(illuminant="C", observer_deg=2, aperture_mm=3, specular="SCE"))) == 4


@given(CONDITIONS, CONDITIONS)
def test_only_what_both_state_is_compared(one: ColourConditions, other: ColourConditions) -> None:
    """As many sentences as parts that both state and that differ, in either direction; none against nothing."""
    parts = [(getattr(one, name), getattr(other, name)) for name in ColourConditions.model_fields]
    apart = sum(first not in ("", None) and second not in ("", None) and first != second for first, second in parts)
    assert len(mixed(one, other)) == len(mixed(other, one)) == apart
    assert mixed(one, ColourConditions()) == mixed(one, one) == ()


@pytest.mark.parametrize(
    "slip",
    [{"illuminant": "D66"}, {"observer_deg": 5}, {"specular": "SPIN"}, {"geometry": "45/45"}, {"aperture_mm": 0},
     {"aperture_mm": 500}, {"aperture_mm": float("nan")}, {"backing": "grey"}, {"lamp": "D65"},
     {"geometry": "45/0", "specular": "SCI"}],
)  # fmt: skip
def test_a_slip_is_refused(slip: dict[str, Any]) -> None:
    """Unknown words, impossible apertures, and gloss included where the geometry leaves it out."""
    with pytest.raises(ValidationError):
        ColourConditions(**slip)


def test_the_lists_are_what_a_reading_may_say() -> None:
    """What a form offers and what a reading takes are one list."""
    fields = ColourConditions.model_fields
    for name, offered in (
        ("illuminant", ILLUMINANTS), ("specular", SPECULAR), ("geometry", GEOMETRIES), ("backing", BACKINGS),
    ):  # fmt: skip
        assert set(get_args(fields[name].annotation)) == {*offered, ""}


def test_words_say_what_is_known() -> None:
    """One line, without what nobody wrote down."""
    assert USUAL.words() == "D65, 10° observer, SCI, d/8, 8 mm, white backing"
    assert ColourConditions(observer_deg=2).words() == "2° observer"
    assert ColourConditions().words() == ""
