"""A refusal as the answer at an address that is no page: what happened and what to do, as plain text."""

from __future__ import annotations

from flask import Response

from study.errors import DwellbookError


def refusal_answer(error: DwellbookError) -> Response:
    """Said in words, with status 409: the study does not allow what was asked for."""
    return Response(f"{error.what}\n{error.do}\n", status=409, mimetype="text/plain")
