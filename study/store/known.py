"""What was known at a change: a row counts from the change that entered it to the one that superseded it."""

from __future__ import annotations

ALL_CHANGES = 2**62
"""Later than any change: what is known now."""


def as_known(table: str) -> str:
    """The condition, with ``:change`` in it, under which a row of a table, by its name in the query, was in force."""
    return (
        f"{table}.entered_change <= :change "
        f"AND ({table}.superseded_change IS NULL OR {table}.superseded_change > :change)"
    )
