"""What several tests of commands begin with: a command run as a person runs it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from study.cli.main import app


@pytest.fixture
def dwellbook() -> Callable[..., str]:
    """Output of one command on a study; where a status is expected, the words of its refusal."""

    def run(study: Path, *arguments: str, status: int = 0) -> str:
        environment = {"DWELLBOOK_BY": "R. Vale", "DWELLBOOK_STUDY": str(study)}
        done = CliRunner().invoke(app, list(arguments), env=environment)
        if status:
            assert done.exception is not None
            return str(done.exception)
        if done.exception and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == 0, done.output
        return done.output

    return run
