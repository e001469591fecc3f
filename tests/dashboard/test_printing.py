"""Printing from the dashboard: PDFs at their addresses, refusals in words."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from dashboard.app import create_app


@pytest.mark.parametrize(
    "address",
    ["/print/labels.pdf?set=tile", "/print/labels.pdf?set=tile&blind=yes&grid=2 x 4: 90 x 60&start=3",
     "/print/bench-sheet.pdf?pull=3 months", "/print/pull-list.pdf"],
)  # fmt: skip
def test_each_print_is_a_pdf(study_path: Path, address: str) -> None:
    """Nothing of it is kept by the browser."""
    with create_app(study_path, today=lambda: date(2025, 4, 15)).server.test_client() as client:
        answer = client.get(address)
    assert (answer.status_code, answer.mimetype, answer.data[:5]) == (200, "application/pdf", b"%PDF-")
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    ("address", "said"),
    [("/print/labels.pdf?set=oak", "not a set"), ("/print/labels.pdf?grid=big", "not a label grid"),
     ("/print/labels.pdf?start=x", "not on the sheet"), ("/print/labels.pdf?start=²", "not on the sheet"),
     ("/print/bench-sheet.pdf?pull=4 months", "Known: 3 months"),
     ("/print/shelf-map.pdf", "No coupon has a place")],
)  # fmt: skip
def test_what_cannot_be_printed_is_said(study_path: Path, address: str, said: str) -> None:
    """What happened and what to do, instead of an empty sheet."""
    with create_app(study_path, today=lambda: date(2025, 4, 15)).server.test_client() as client:
        answer = client.get(address)
    assert answer.status_code == 409
    assert said in answer.text


@pytest.mark.parametrize("address", ["/calendar.ics", "/print/pull-list.pdf", f"/file/{'0' * 64}"])
def test_a_study_that_is_gone_is_said(study_path: Path, address: str) -> None:
    """A program that asks every hour gets a sentence too, once the file was moved away."""
    with create_app(study_path, today=lambda: date(2025, 4, 15)).server.test_client() as client:
        study_path.unlink()
        answer = client.get(address)
    assert (answer.status_code, answer.mimetype) == (409, "text/plain")
    assert "no study file" in answer.text
