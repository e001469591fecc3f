"""Bench sheets, shelf maps and pull lists on paper: what to take, in which order, and what to write down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from study.errors import DwellbookError
from study.model.paper import BenchSheet, PullList, ShelfMap
from study.outputs.typeset import typeset_pdf


def bench_sheet(sheets: Sequence[BenchSheet]) -> bytes:
    """Bench sheets as one PDF, each pull on a page of its own.

    Raises
    ------
    DwellbookError
        If no coupon waits.
    """
    if not sheets:
        raise DwellbookError("No coupon waits for this pull.", "Look at dwellbook pull due.")
    return typeset_pdf("bench_sheet", {"sheets": [asdict(sheet) for sheet in sheets]})


def pull_list(found: PullList) -> bytes:
    """The pull list as a PDF; a list with nothing on it says so."""
    return typeset_pdf("pull_list", asdict(found))


def shelf_map(found: ShelfMap) -> bytes:
    """A map of each shelf.

    Raises
    ------
    DwellbookError
        If no coupon has a place.
    """
    if not found.shelves:
        raise DwellbookError("No coupon has a place on a shelf yet.", "Allocate a plan, or record positions first.")
    shelves = [
        {
            "name": shelf.name,
            "across": shelf.across,
            "places": [{"number": n, "code": code, "words": words} for n, code, words in shelf.places],
        }
        for shelf in found.shelves
    ]
    return typeset_pdf("shelf_map", {"study": found.study, "shelves": shelves})
