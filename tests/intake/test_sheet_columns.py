"""Headings: a scale or a rater's number in them leads to the column that is meant, not to a like-sounding one."""

from __future__ import annotations

import pytest

from study.intake.sheet_columns import column_of, columns_guess, wide_column


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("Residue 0-5", "residue_grade"),
        ("Residue, 0 to 5", "residue_grade"),
        ("Grade 0–5", "residue_grade"),
        ("Hold angle 0-90", "hold_angle_deg"),
        ("Residue 1", "residue_grade"),
        ("Residue 2", "residue_second"),
    ],
)
def test_a_scale_or_a_rater_in_a_heading(heading: str, column: str) -> None:
    """The ends of a scale are no part of the name; a rater's number is."""
    assert column_of(heading) == (column, True)


def test_another_number_is_another_thing() -> None:
    """A third residue column is offered as residue, never as the second rater's for its likeness."""
    assert column_of("Residue 3")[0] != "residue_second"
    assert columns_guess(["Residue 1", "Residue 2"]) == {"Residue 1": "residue_grade", "Residue 2": "residue_second"}


@pytest.mark.parametrize(
    ("heading", "column"),
    [("Surface", "substrate"), ("Placed", "placed_on"), ("INTERVAL", "pull"), ("Pulled:", "pulled_on"), ("Load", "")],
)
def test_some_headings_are_plain_in_a_sheet_of_a_whole_study(heading: str, column: str) -> None:
    """They are offered in a sheet of readings; what stays doubtful in both is not among them."""
    assert wide_column(heading) == column
    assert not column_of(heading)[1]
