"""The instruments of Register as a person keeps them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.browser


def test_an_instrument_and_its_calibration_by_page(own: Any, open_page: Callable[..., Any]) -> None:
    """A gauge is registered, calibrated, and stands with its days; a wrong day is told at its field."""
    page = open_page(own, "/register")
    page.get_by_role("link", name="Instruments").click()
    page.locator("h1", has_text="Instruments").wait_for()
    for label, text in (("Key", "gauge-9"), ("Name", "hand gauge"), ("Up to", "50 N"), ("Entered by", "R. Vale")):
        page.get_by_label(label).first.fill(text)
    page.get_by_label("Measures").first.fill("force")
    page.get_by_role("option", name="force").click()
    page.get_by_role("button", name="Register the instrument").click()
    row = page.locator("#tools-on-file tr", has_text="gauge-9")
    row.locator("td", has_text="never calibrated").wait_for()
    assert page.get_by_label("Key").first.input_value() == "", "the form is ready for the next"
    page.get_by_text("Record a calibration").click()
    page.get_by_role("textbox", name="Instrument").click()
    page.get_by_role("option", name="gauge-9").click()
    page.get_by_label("Calibrated on").first.fill("2026-10-01")
    page.get_by_label("Valid until").first.fill("2025-10-01")
    page.get_by_label("Recorded by").fill("R. Vale")
    page.get_by_role("button", name="Record the calibration").click()
    page.locator(".mantine-InputWrapper-error", has_text="lies before the calibration").wait_for()
    page.get_by_label("Valid until").first.fill("2027-10-01")
    page.get_by_role("button", name="Record the calibration").click()
    row.locator("td", has_text="in calibration until 1").wait_for()
