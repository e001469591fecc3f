"""Layouts and own marks: kept as text, read back the same; spellings made one without merging anything."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from study.model.layout import READING_COLUMNS, RESIDUE_SCALES, STUDY_COLUMNS, Layout
from study.model.own_mark import near_marks, tidy_mark

WORDS = st.text(max_size=20)


@given(
    st.builds(
        Layout,
        name=WORDS,
        columns=st.dictionaries(WORDS, st.sampled_from(["", *READING_COLUMNS, *STUDY_COLUMNS]), max_size=5),
        decimal_mark=st.sampled_from([".", ",", ""]),
        header_row=st.integers(0, 1_048_576),
        residue_table=st.sampled_from([{}, *RESIDUE_SCALES.values()]),
        people=st.dictionaries(WORDS, WORDS, max_size=3),
        fill_down=st.dictionaries(WORDS, st.sampled_from(["yes", "no"]), max_size=3),
    )
)
def test_a_layout_survives_being_kept(layout: Layout) -> None:
    """Whatever headings a laboratory has."""
    assert Layout.model_validate_json(layout.text()) == layout


def test_an_empty_layout_takes_no_room_and_strange_parts_are_refused() -> None:
    """Parts that are found need not be kept; a part nobody knows is an error."""
    assert Layout().text() == "{}"
    with pytest.raises(ValidationError):
        Layout.model_validate_json('{"decimals": ","}')


@pytest.mark.parametrize("scale", RESIDUE_SCALES)
def test_every_scale_maps_to_grades_in_one_direction(scale: str) -> None:
    """Best stays best: our grades fall or rise with theirs, and reach from clean to severe."""
    table = {int(theirs): [int(part) for part in ours.split("-")] for theirs, ours in RESIDUE_SCALES[scale].items()}
    ours = [sum(table[theirs]) / len(table[theirs]) for theirs in sorted(table)]
    assert ours in (sorted(ours), sorted(ours, reverse=True))
    assert min(min(pair) for pair in table.values()) == 0
    assert max(max(pair) for pair in table.values()) == 5


@given(st.text("ABabQ012OoIl -–—_.\u00a0\u2009ＡＢ０１２éÉßµ", max_size=12))
def test_a_tidy_mark_is_tidy(text: str) -> None:
    """Once tidied, what people write on coupons stays as it is."""
    assert tidy_mark(tidy_mark(text)) == tidy_mark(text)


@given(st.text(max_size=8), st.lists(st.text(max_size=8), max_size=6))
def test_near_marks_are_known_ones_and_never_the_mark_itself(text: str, known: list[str]) -> None:
    """Offered marks come from the study, and differ from what was typed."""
    near = near_marks(text, known)
    assert set(near) <= set(known)
    assert tidy_mark(text) not in {tidy_mark(mark) for mark in near}
    assert len(near) <= 3


def test_a_dash_between_numbers_parts_them() -> None:
    """A-1-2 and A-12 are two pieces; AB–012 and ab 012 are one."""
    assert tidy_mark("A-1-2") != tidy_mark("A-12")
    assert tidy_mark("AB\u2013012") == tidy_mark("ab 012") == "AB012"
