"""Typesetting: one template and its data to a PDF, or to pictures of its pages; the same input gives the same bytes."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any, Literal

_MOMENT = datetime(2000, 1, 1, tzinfo=UTC)
"""Stands in every file, so that nothing in it tells when it was made."""


def typeset_pdf(template: str, data: dict[str, Any]) -> bytes:
    """A PDF from a template of ``outputs/templates``.

    Parameters
    ----------
    template : str
        Its name without ending: labels, bench_sheet, shelf_map, pull_list.
    data : dict
        What the template shows; plain numbers, texts and lists. Text is shown as text, never read as markup.
    """
    return bytes(_compiled(template, data, "pdf", None))


def typeset_pages(template: str, data: dict[str, Any], *, dpi: int) -> list[bytes]:
    """The same pages as PNG pictures at a printer's resolution."""
    made = _compiled(template, data, "png", float(dpi))
    return [bytes(page) for page in made] if isinstance(made, list) else [bytes(made)]


def _compiled(template: str, data: dict[str, Any], form: Literal["pdf", "png"], ppi: float | None) -> Any:
    import typst

    source = files("study.outputs").joinpath("templates", f"{template}.typ").read_bytes()
    inputs = {"data": json.dumps(data, ensure_ascii=False)}
    return typst.compile(source, format=form, ppi=ppi, sys_inputs=inputs, ignore_system_fonts=True, timestamp=_MOMENT)
