"""The made-up estimates, given to the tests of the drawings."""

from __future__ import annotations

from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def made_up() -> ModuleType:
    """The builders of invented estimates in made_up.py."""
    spec = spec_from_file_location("made_up", Path(__file__).with_name("made_up.py"))
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
