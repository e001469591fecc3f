"""Fields of a coupon's form: what its protocol asks for, what may follow folded away, and the sitting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import dash_mantine_components as dmc
from dash import html

from dashboard.components.aria import heard_as
from dashboard.components.fields import ORDER, choice_field, text_field
from study.commands.read_form import CONDITIONS, READING_OF, CouponForm, FormField, beside_columns
from study.model.details import RESIDUE_AIDS, RESIDUE_FLAGS
from study.model.protocol import PATTERN_WORDS

MANY = ("residue_flags", "residue_aids")
"""Several of a few words may be ticked."""
SIDES_TOLD = {"object": "object's side", "mount": "mount's side", "both": "both sides", "unknown": "not known"}


def open_fields(form: CouponForm) -> list[FormField]:
    """What may still be typed: the fields of readings that are not in force; what goes with a colour while one is."""
    left = [f for f in form.fields if f.kind not in CONDITIONS and READING_OF[f.kind] not in form.in_force]
    if form.pull_kind == "released by itself":
        # Nothing was left to pull or tilt.
        left = [f for f in left if READING_OF[f.kind] not in ("removal_force", "hold_angle")]
    if any(READING_OF[f.kind].startswith("colour") for f in left):
        left += [f for f in form.fields if f.kind in CONDITIONS]
    return left


def field_rows(fields: Sequence[FormField]) -> list[html.Div]:
    """One row for each reading that is awaited."""
    awaited = [field for field in fields if not field.optional]
    kinds = list(dict.fromkeys(READING_OF[field.kind] for field in awaited))
    return [
        html.Div([reading_field(f) for f in awaited if READING_OF[f.kind] == kind], className="row") for kind in kinds
    ]


def folded(fields: Sequence[FormField]) -> list[html.Details]:
    """What is asked for only when there is something to say; it stays as open or folded as it was left."""
    optional = [field for field in fields if field.optional]
    groups = (
        ("residue", "More about residue", lambda f: f.kind not in CONDITIONS and "residue" in READING_OF[f.kind]),
        ("before", "Colour before placing", lambda f: READING_OF.get(f.kind) == "colour_before"),
        ("colour", "How the colour was read", lambda f: f.kind in CONDITIONS),
    )
    shown = []
    for key, words, belongs in groups:
        found = [field for field in optional if belongs(field)]
        if found:
            ident = {"kind": "fold", "group": key}
            row = html.Div([reading_field(field) for field in found], className="row")
            shown.append(html.Details([html.Summary(words), row], className="fold", id=ident))
    return shown


def reading_field(field: FormField, *, kind: str = "reading", value: str = "") -> html.Div:
    """One thing to type, and under it what is made of it; ``value`` is what stands in it at first."""
    ident = {"kind": kind, "column": field.kind}
    last = f"last: {field.last}" if field.last else ""
    help_line = " · ".join(part for part in (field.help, last) if part)
    if field.kind in MANY:
        boxes = [dmc.Checkbox(label=choice, value=choice, size="sm") for choice in field.choices]
        made: Any = dmc.CheckboxGroup(
            html.Div(boxes, className="ticks"), id=ident, label=field.label, description=help_line,
            inputWrapperOrder=ORDER, value=ticked(value),
        )  # fmt: skip
    elif field.choices and field.kind != "failure_pattern":
        # The unit of the coupon before is offered; where there is none, nothing is taken for granted.
        unit = field.last if field.kind == "force_unit" and field.last in field.choices else ""
        options = [(choice, SIDES_TOLD.get(choice, choice)) for choice in field.choices]
        made = choice_field(ident, field.label, options, help_line, value=value or unit or None,
                            searchable=True, selectFirstOptionOnChange=True, allowDeselect=False)  # fmt: skip
    else:
        made = text_field(ident, field.label, help_line, value=value, spellCheck=False, **_unit(field.unit))
    wide = " wide-field" if field.kind in ("failure_pattern", "cleaning_step", "note") else ""
    told = html.P(id={"kind": "tell", "column": field.kind}, className="tell")
    return html.Div([made, told], className=f"field{wide}")


def ticked(text: str) -> list[str]:
    """Words of a cell that holds several, of flags or of aids, as they are ticked."""
    return [word for word in (*RESIDUE_FLAGS, *RESIDUE_AIDS, "bare eye") if word in text]


def beside_fields(form: CouponForm, kind: str) -> list[FormField]:
    """What stands beside a reading of a kind, each as a field of its own: a correction may say it anew."""
    asked = {field.kind: field for field in form.fields}
    temperature, _, humidity = form.climate.partition(", ")
    sat = {
        "read_on": FormField("read_on", "Read on", "", "year-month-day", ""),
        "temperature_c": FormField("temperature_c", "Temperature", "°C", _wanted(temperature), ""),
        "humidity_percent": FormField("humidity_percent", "Humidity", "%", _wanted(humidity), ""),
        "instrument": FormField("instrument", "Instrument", "", "", "", form.instruments),
        "read_by": FormField("read_by", "Read by", "", "where that is not who entered it", ""),
        "note": FormField("note", "Note", "", "on this reading", ""),
    }
    known = {**asked, **sat}
    return [replace(known[column], last="") for column in beside_columns(kind) if column in known]


def _unit(unit: str) -> dict[str, Any]:
    if not unit:
        return {}
    return {"rightSection": html.Span(unit, className="quiet"), "rightSectionWidth": 90 if len(unit) > 3 else 36}


def sitting(instruments: Sequence[str], climate: str, *, today: date, of: str = "") -> html.Div:
    """When, by whom, with what and in which room: remembered until this window is closed.

    ``of`` begins the names of the fields, where they stand above a grid.
    """
    kept: dict[str, Any] = {"persistence": True, "persistence_type": "session"}
    temperature, _, humidity = climate.partition(", ")

    def ident(column: str) -> dict[str, str]:
        return {"kind": f"{of}sitting", "column": column}

    offered = [(key, key) for key in instruments]
    return html.Div(
        [
            text_field(f"{of}read-on", "Read on", "year-month-day", value=today.isoformat(), **kept),
            text_field(f"{of}read-by", "Read by", "your name stands beside each reading", persistence=True),
            *([choice_field(ident("instrument"), "Instrument", offered, **kept)] if offered else []),
            text_field(ident("temperature_c"), "Temperature", _wanted(temperature), unit="°C", **kept),
            text_field(ident("humidity_percent"), "Humidity", _wanted(humidity), unit="%", **kept),
            *([] if of else [text_field(ident("note"), "Note", "on these readings", className="long")]),
        ],
        className="row above" if of else "row sitting",
    )


def _wanted(band: str) -> str:
    return f"the protocol wants {band}" if band else ""


def letters() -> html.Details:
    """What the letters of a failure pattern mean."""
    lines = [html.Li([html.Strong(letters), f" {words}"]) for letters, words in PATTERN_WORDS.items()]
    ident = {"kind": "fold", "group": "letters"}
    return html.Details(
        [html.Summary("What the letters of a failure pattern mean"), html.Ul(lines, className="letters")],
        className="fold", id=ident,
    )  # fmt: skip


def find_form(code: str) -> html.Div:
    """Where a code is typed or scanned; what stands in it is replaced by the next scan."""
    return html.Div(
        [
            dmc.TextInput(
                id="find-code",
                label="Coupon code",
                description="Scan it, or type the code or your own mark; Enter opens it.",
                value=code,
                className="code-field",
                spellCheck=False,
                autoComplete="off",
                inputWrapperOrder=["label", "input", "description"],
            ),
            html.Button("Open coupon", id="find", className="second"),
        ],
        className="find",
        role="search",
        **heard_as("Find a coupon"),
    )
