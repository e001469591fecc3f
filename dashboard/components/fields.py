"""Fields of a form: label above, help below, the refusal in place; forms and their foot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html

from study.errors import DwellbookError, FileRefused

ORDER = ["label", "input", "description", "error"]
BY_HELP = "your name stands beside it"


def text_field(ident: Any, label: str, help_line: str = "", *, unit: str = "", **more: Any) -> dmc.TextInput:
    """A line of text, with its unit inside."""
    if unit:
        more |= {"rightSection": html.Span(unit, className="quiet"), "rightSectionWidth": 40}
    return dmc.TextInput(
        id=ident, label=label, description=help_line, autoComplete="off", inputWrapperOrder=ORDER, **more
    )


def choice_field(
    ident: Any, label: str, options: Sequence[tuple[str, str]], help_line: str = "", **more: Any
) -> dmc.Select:
    """One of several, each a value and its words."""
    return dmc.Select(
        id=ident,
        label=label,
        description=help_line,
        data=[{"value": value, "label": words} for value, words in options],
        inputWrapperOrder=ORDER,
        # What may not be cleared is not lost either by choosing once more what is chosen.
        **{"clearable": True, "searchable": len(options) > 8, "allowDeselect": more.get("clearable", True), **more},
    )


def name_field(ident: Any, label: str, help_line: str = BY_HELP) -> dmc.TextInput:
    """Who does it; kept in this browser for the next act."""
    return text_field(ident, label, help_line, persistence=True)


def row(*fields: Any) -> html.Div:
    """Fields beside each other."""
    return html.Div(list(fields), className="row")


def foot(ident: Any, words: str, *, primary: bool = True, beside: Any = None) -> html.Div:
    """The button that does it."""
    button = html.Button(words, id=ident, className="primary" if primary else "second")
    return html.Div([button, *([beside] if beside is not None else [])], className="foot")


def values_by_column(states: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """What was typed, by column, from the states of a form's numbered fields."""
    return typed_by(states, "column")


def typed_by(states: Sequence[Mapping[str, Any]], name: str, **only: str) -> dict[str, str]:
    """What was typed, by one part of the fields' identities; only of those whose other parts are as said."""
    return {
        entry["id"][name]: str(entry.get("value") or "").strip()
        for entry in states
        if all(entry["id"][part] == wanted for part, wanted in only.items())
    }


def places(error: DwellbookError, columns: Sequence[str]) -> dict[str, str]:
    """The sentences of a refusal that belong to fields of the form."""
    if not isinstance(error, FileRefused):
        return {}
    found: dict[str, str] = {}
    for problem in error.problems:
        if problem.column in columns:
            value = f"“{problem.value}” " if problem.value else ""
            said = f"{value}{problem.what} {problem.do}"
            found[problem.column] = f"{found[problem.column]} {said}" if problem.column in found else said
    return found
