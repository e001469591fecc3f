"""What every test may use: a study file of its own and a signature with a fixed moment."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from study.model.person import Signature


@pytest.fixture
def signature() -> Signature:
    """An invented conservator's signature at a fixed moment."""
    return Signature(by="R. Vale", at=datetime(2026, 3, 2, 9, 30, tzinfo=UTC))
